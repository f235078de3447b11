"""Copy everything the database holds into one file, of which either kind of database can be restored."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from regenplant.audit.by import By
from regenplant.core.errors import DomainError
from regenplant.keeping import backup
from regenplant.keeping.services import note_backup


class Command(BaseCommand):
    requires_system_checks: list[str] = []
    """A backup is made, and brought back, on a machine too on which something else is wrong."""

    help = (
        "Write a backup of the whole database into FILE, as it stands now, while the plant goes on working; and write down, as an act, "
        "that it was made. Copy it to another machine, and try a restore now and then. It holds the digests of all passwords."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("file", type=Path, help="where to write it; nothing may be there yet")

    def handle(self, *args: Any, **options: Any) -> None:
        path: Path = options["file"]
        now = timezone.now()
        try:
            manifest = backup.back_up(path, now)
            note_backup(
                by=By(None, now, "command line"), file_name=path.name, digest=manifest.digest, rows=manifest.rows,
                head_number=manifest.head_number, head=manifest.head,
            )  # fmt: skip
        except DomainError as refusal:
            raise CommandError(refusal.message) from refusal
        self.stdout.write(f"{path}: {manifest.rows} rows of {len(manifest.tables)} tables.")
        self.stdout.write(f"Head of the chain: event {manifest.head_number}, {manifest.head}")
        self.stdout.write(f"Digest of the backup: {manifest.digest}")
