"""The search of one made plan, as its own process: ``search_plan NUMBER``. The Day plan page begins it; it ends by itself."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from regenplant.planning.models import DayPlan


class Command(BaseCommand):
    help = (
        "Searches the plan of this number until its time is up or somebody stops it, and writes what it finds to its row. It is begun "
        "by the page; by hand only where a plan was asked for and no process came."
    )
    requires_system_checks: list[str] = []

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("number", help="of the plan, such as DP-101")

    def handle(self, *args: Any, **options: Any) -> None:
        from regenplant.planning.processes import keep_within
        from regenplant.planning.search import search

        number = options["number"]
        waiting = DayPlan.objects.filter(number=number, state=DayPlan.State.RUNNING).first()
        if waiting is None:
            raise CommandError(f"No plan {number} waits for a search.")
        keep_within(waiting.seconds)
        row = search(number)
        assert row is not None
        self.stdout.write(f"{row.number}: {row.get_state_display()}. {row.failure}".strip())
