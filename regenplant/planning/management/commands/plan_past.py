"""Days that are over, planned again and against first come: ``plan_past --from 2026-03-02 --days 5``. Reads the record, writes nothing."""

from __future__ import annotations

from argparse import ArgumentParser
from datetime import date, timedelta
from typing import Any

from django.core.management.base import BaseCommand, CommandError
from django.utils import timezone

from regenplant import units
from regenplant.core.errors import DomainError
from regenplant.core.process.vocabulary import Chemical

STEPS = 1000
"""Of the search: some ten seconds for a hundred tanks."""
PATIENCE_MIN = 12 * 60
"""So long the more patient whiteboard waits for a vessel to fill: an assumption, no figure of the trade."""


class Command(BaseCommand):
    help = (
        "Takes the tanks of the batches that were begun on these days and plans them twice: as a whiteboard would, first come, and by "
        "search. Stock and waste room are taken as kept up. Nothing is saved."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "--from",
            dest="first",
            default="",
            help="first day, such as 2026-03-02; else so that the days end today",
        )
        parser.add_argument("--days", type=int, default=5, help="how many days (5)")
        parser.add_argument(
            "--steps", type=int, default=STEPS, help=f"of the search ({STEPS}); the same give the same plan"
        )
        parser.add_argument("--seed", type=int, default=1, help="another seed, another search (1)")

    def handle(self, *args: Any, **options: Any) -> None:
        from regenplant.core.scheduling.first_come import first_come
        from regenplant.core.scheduling.solve import Budget, solve
        from regenplant.planning.figures_kept import figures_in_force
        from regenplant.planning.first_come import way_of
        from regenplant.planning.past import past_days
        from regenplant.plant.days import plant_day

        try:
            today = plant_day(timezone.now())
            first = (
                date.fromisoformat(options["first"])
                if options["first"]
                else today - timedelta(days=options["days"] - 1)
            )
            past = past_days(first, options["days"], figures_in_force())
            answer = solve(past.problem, options["seed"], Budget(steps=options["steps"]))
        except DomainError as refusal:
            raise CommandError(refusal.message) from refusal
        except ValueError as wrong:
            raise CommandError(f"“{options['first']}” is no day such as 2026-03-02.") from wrong
        ways = [
            way_of(past.problem, plan)
            for plan in (
                first_come(past.problem, past.order),
                first_come(past.problem, past.order, PATIENCE_MIN),
                answer.plan,
            )
        ]
        self.stdout.write(
            f"{first} and {options['days'] - 1} days after: {past.batches} batches were begun, of {len(past.problem.tanks)} tanks."
        )
        self.stdout.write(f"{'':34}{'first come':>14}{'if it waits':>14}{'plan':>14}")
        names = sorted({name for way in ways for name in way.totals.chemicals_kg})
        lines: list[tuple[str, list[float], int]] = [
            ("tanks on time", [way.on_time for way in ways], 0),
            ("tanks in no batch", [way.without_batch for way in ways], 0),
            ("hours late, by weight", [way.totals.weighted_late_h for way in ways], 1),
            ("batches", [way.totals.batches for way in ways], 0),
            ("below the minimum fill", [way.waivers for way in ways], 0),
            ("changeovers", [way.changeovers for way in ways], 0),
            *((f"{Chemical(name).label}, kg", [way.totals.chemicals_kg.get(name, 0.0) for way in ways], 1) for name in names),
            ("water, m³", [way.totals.water_m3 for way in ways], 1),
            ("to the waste tank, m³", [way.totals.waste_m3 for way in ways], 1),
            ("all ready, h after midnight", [way.totals.makespan_h for way in ways], 1),
            ("operators at batches, h", [way.operator_h for way in ways], 1),
            ("technicians at batches, h", [way.technician_h for way in ways], 1),
            ("score", [way.totals.score for way in ways], 0),
        ]  # fmt: skip
        for words, values, decimals in lines:
            shown = "".join(f"{value:>14,.{decimals}f}" for value in values).replace(",", units.THIN_SPACE)
            self.stdout.write(f"{words:34}{shown}")
        self.stdout.write(
            f"First come begins with what is there; if it waits, a vessel below its minimum fill waits for more up to {PATIENCE_MIN // 60} h."
        )
