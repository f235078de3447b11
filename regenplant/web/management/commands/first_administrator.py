"""The very first person of a new plant, who then adds all others on the Set-up pages."""

from __future__ import annotations

import sys
from getpass import getpass
from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.utils import timezone

from regenplant.audit.by import By
from regenplant.core.errors import DomainError
from regenplant.people.services import add_first_administrator


class Command(BaseCommand):
    help = "Add the first administrator of an empty plant. Asks for the password; reads it from a pipe if there is one."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("username", help="the name to sign in with; never given to another person")
        parser.add_argument("full_name", help="the name as it stands on papers, in quotation marks")
        parser.add_argument("initials", help="one to four characters, as they stand beside entries")

    def handle(self, *args: Any, **options: Any) -> None:
        by = By(None, timezone.now(), "command line")
        names = {name: options[name] for name in ("username", "full_name", "initials")}
        try:
            add_first_administrator(by=by, password=_password(), **names)
        except DomainError as refusal:
            raise CommandError(refusal.message) from refusal
        self.stdout.write(f"{options['full_name']} may sign in as {options['username']} and add the others.")


def _password() -> str:
    if not sys.stdin.isatty():
        return sys.stdin.readline().rstrip("\n")
    first, second = getpass("Password: "), getpass("Once more: ")
    if first != second:
        raise CommandError("The two passwords differ. Nobody was added; start again.")
    return first
