"""The lifecycles as text, made from the tables; DEVELOPERS.md shows it between two marks."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.conf import settings
from django.core.management.base import BaseCommand, CommandError, CommandParser

from regenplant.core.process.lifecycle import LIFECYCLES, diagram

BEGIN, END = "<!-- lifecycles: begin -->", "<!-- lifecycles: end -->"


def text() -> str:
    """All lifecycles, one after another."""
    return "\n\n".join(diagram(lifecycle) for lifecycle in LIFECYCLES)


class Command(BaseCommand):
    help = "Print the lifecycles; with --write put them into DEVELOPERS.md."
    requires_system_checks = ()

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--write", action="store_true", help="renew them in DEVELOPERS.md")

    def handle(self, *args: Any, **options: Any) -> None:
        if not options["write"]:
            self.stdout.write(text())
            return
        path = Path(settings.BASE_DIR) / "DEVELOPERS.md"
        before, begin, rest = path.read_text("utf-8").partition(BEGIN)
        _, end, after = rest.partition(END)
        if not begin or not end:
            raise CommandError(f"DEVELOPERS.md lacks the marks {BEGIN} and {END}.")
        path.write_text(f"{before}{BEGIN}\n```\n{text()}\n```\n{END}{after}", "utf-8")
        self.stdout.write("DEVELOPERS.md shows the lifecycles as they are.")
