"""Take rows over as they stand: those from before rows were sealed, and those a migration or a repair has changed."""

from __future__ import annotations

import sys
from getpass import getpass
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from regenplant.audit.by import By
from regenplant.audit.services import seal_rows
from regenplant.core.errors import DomainError
from regenplant.people.models import Person


class Command(BaseCommand):
    help = (
        "Seal every row that no act is known to have left as it is, and say so in an act of a named administrator. Run it once after "
        "an upgrade from before rows were sealed, and after a migration that changed rows; look at verify_records first, which "
        "names the rows. Asks for the administrator's password; reads it from a pipe if there is one."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--by", required=True, metavar="NAME", help="user name of the administrator")
        parser.add_argument("--reason", required=True, help="why, in at least 10 characters")

    def handle(self, *args: Any, **options: Any) -> None:
        person = Person.objects.filter(username__iexact=options["by"], is_active=True).first()
        if person is None or not person.check_password(_password()):
            raise CommandError("Name and password do not fit together. Nothing was sealed.")
        try:
            taken = seal_rows(by=By(person, timezone.now(), "command line"), reason=options["reason"]).result
        except DomainError as refusal:
            raise CommandError(refusal.message) from refusal
        self.stdout.write(
            f"Sealed {taken.from_before} rows from before, and {taken.otherwise} that stood otherwise than an act had left them."
        )


def _password() -> str:
    return getpass("Password: ") if sys.stdin.isatty() else sys.stdin.readline().rstrip("\n")
