"""A plan for a file: ``plan_instance INSTANCE.json --seconds N --out PLAN.json``."""

from __future__ import annotations

import json
import time
from argparse import ArgumentParser
from math import inf
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from regenplant.core.errors import DomainError
from regenplant.web.json_files import read_json, write_text

BOUND_FRAC = 0.12
"""Share of the time that is kept for the lower bound where the search does not bring one by the way."""


def searched_s(seconds: float, workers: int) -> float:
    """How long to search: several workers bound by the way."""
    return seconds * (BRINGS_BOUND_FRAC if workers > 1 else 1 - BOUND_FRAC)


BRINGS_BOUND_FRAC = 0.97
"""Share of the time for a search that brings the bound; the rest is for what comes before and after."""


class Command(BaseCommand):
    help = (
        "Plans an instance of the planning problem and writes the plan. Says first what cannot be served by any plan and why; "
        "ends with 1 and writes nothing when the instance cannot be read."
    )
    requires_system_checks: list[str] = []  # nothing of the database or the web is used

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "instance", metavar="INSTANCE.json", help="tanks, vessels, limits, shifts, prices"
        )
        parser.add_argument("--out", metavar="PLAN.json", required=True, help="where the plan goes")
        parser.add_argument("--seconds", type=float, default=10.0, help="how long to search (10)")
        parser.add_argument("--seed", type=int, default=1, help="another seed, another search (1)")
        parser.add_argument("--workers", type=int, default=2, help="processes that search side by side (2)")

    def handle(self, *args: Any, **options: Any) -> None:
        from regenplant.core.scheduling.bounds import lower_bound
        from regenplant.core.scheduling.checker import check
        from regenplant.core.scheduling.compiled import Compiled
        from regenplant.core.scheduling.diagnosis import impossible
        from regenplant.core.scheduling.exchange import plan_to, problem_from
        from regenplant.core.scheduling.solve import Budget, solve

        try:
            began = time.monotonic()
            seconds = options["seconds"]
            workers = options["workers"]
            budget = Budget(seconds=searched_s(seconds, workers), workers=workers, clock=time.monotonic)
            problem = problem_from(read_json(Path(options["instance"]), "an instance"))
            for item in impossible(problem):
                self.stdout.write(f"Cannot be served: {item.reason}")
            answer = solve(problem, options["seed"], budget)
            bound = answer.bound
            if not bound:
                left = max(seconds * BOUND_FRAC / 2, seconds - (time.monotonic() - began))
                known = inf if answer.unplaced else answer.score
                bound = lower_bound(Compiled(problem), left, time.monotonic, at_most=known).total
        except DomainError as refusal:
            raise CommandError(refusal.message) from refusal
        write_text(Path(options["out"]), json.dumps(plan_to(answer.plan), indent=1))
        score = check(problem, answer.plan).score
        self.stdout.write(
            f"{score.batches} batches in {options['out']}: score {score.total:,.2f}, "
            f"{score.weighted_late_h:,.1f} weighted hours late, running cost {score.running_cost:,.2f}, "
            f"done after {score.makespan_h:.1f} h; {answer.steps:,} steps."
        )
        if not answer.unplaced and score.total > 0:
            gap = 1 - bound / score.total
            self.stdout.write(
                f"No plan has a score below {bound:,.2f}; this one is at most {gap:.1%} above it."
            )
        if answer.unplaced:
            self.stdout.write(f"Without a batch: {', '.join(answer.unplaced)}")
