"""Put a backup into an empty database. Exit code 0: restored and all records hold; 1: refused, or something does not hold."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.core.management.base import BaseCommand, CommandError, CommandParser

from regenplant.core.errors import DomainError
from regenplant.keeping import backup, restoring


class Command(BaseCommand):
    requires_system_checks: list[str] = []
    """A backup is made, and brought back, on a machine too on which something else is wrong."""

    help = (
        "Restore the backup FILE into the database that DATABASE_URL names, which must be empty: its tables are made if it has none. "
        "All rows or none; proven by the digest of every table, then by verify_records."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, help="the backup")
        parser.add_argument(
            "--digest", help="the digest that was written down when the backup was made: compare it first"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            opened = backup.read(options["file"])
            if options["digest"] and not opened.manifest.digest.startswith(options["digest"].strip().lower()):
                raise CommandError(
                    f"The digest of this backup is {opened.manifest.digest}, another than {options['digest']}. Nothing was restored."
                )
            if not backup.migrations_applied():
                call_command("migrate", verbosity=0)
            restoring.restore(opened)
        except DomainError as refusal:
            raise CommandError(refusal.message) from refusal
        manifest = opened.manifest
        self.stdout.write(
            f"Restored {manifest.rows} rows of {len(manifest.tables)} tables, made at {manifest.made_at}."
        )
        self.stdout.write(f"Head of the chain: event {manifest.head_number}, {manifest.head}")
        call_command("verify_records", stdout=self.stdout)
