"""The plant as it stands, planned: ``plan_day --seconds N``. Nothing is saved and no batch is made."""

from __future__ import annotations

import time
from argparse import ArgumentParser
from typing import Any
from zoneinfo import ZoneInfo

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from regenplant.core.errors import DomainError
from regenplant.planning.live import LivePlant, live_plant
from regenplant.plant.selectors import profile

WHEN = "%a %d %b %H:%M"


class Command(BaseCommand):
    help = (
        "Plans the tanks that wait: which together, in which vessel, when. Says what no plan can serve and why, and what the plan takes "
        "for granted. Nothing is saved."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--seconds", type=float, default=10.0, help="how long to search (10)")
        parser.add_argument("--seed", type=int, default=1, help="another seed, another search (1)")
        parser.add_argument("--workers", type=int, default=1, help="processes that search side by side (1)")

    def handle(self, *args: Any, **options: Any) -> None:
        from regenplant.core.scheduling.checker import check
        from regenplant.core.scheduling.diagnosis import impossible
        from regenplant.core.scheduling.solve import Budget, solve

        try:
            budget = Budget(seconds=options["seconds"], workers=options["workers"], clock=time.monotonic)
            live = live_plant(timezone.now())
        except DomainError as refusal:
            raise CommandError(refusal.message) from refusal
        for left in live.left_out:
            self.stdout.write(f"Not planned: {left.why} ({', '.join(left.serials)})")
        for item in impossible(live.problem, live.clock.words):
            self.stdout.write(f"Cannot be served: {item.reason}")
        for sentence in live.assumed:
            self.stdout.write(f"Taken for granted: {sentence}")
        answer = solve(live.problem, options["seed"], budget)
        self._print_plan(live, answer.plan)
        score = check(live.problem, answer.plan).score
        self.stdout.write(
            f"{score.batches} batches; {score.late_tanks} of {len(live.problem.tanks)} tanks late; all ready after {score.makespan_h:.1f} h "
            f"from midnight; {answer.steps:,} steps."
        )
        if answer.unplaced:
            self.stdout.write(f"Without a batch: {', '.join(answer.unplaced)}")

    def _print_plan(self, live: LivePlant, plan: Any) -> None:
        zone = ZoneInfo(profile().time_zone)
        kinds = {tank.id: f"{tank.family} {tank.segregation}" for tank in live.problem.tanks}
        for batch in plan.batches:
            start, end = (
                live.clock.moment(minute).astimezone(zone) for minute in (batch.start_min, batch.end_min)
            )
            below = ", below the minimum fill" if batch.underfill_waiver else ""
            self.stdout.write(
                f"{batch.vessel}: {kinds[batch.tanks[0]]}, {len(batch.tanks)} tanks{below}, {start:{WHEN}} to {end:{WHEN}}: "
                f"{', '.join(batch.tanks)}"
            )
