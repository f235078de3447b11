"""Check that no stored record was altered behind the program's back. Exit code 0: all holds; 1: something does not."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser

from regenplant.audit import chain
from regenplant.quality import verification


class Command(BaseCommand):
    help = (
        "Verify the chain of acts, signatures, frozen plans, recipe versions, the chemical ledger and the locks of the database. "
        "Run it every night, and with --head and the chain head printed on any paper."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--head",
            metavar="DIGEST",
            help="a chain head as printed on a paper (at least 8 characters): check that its event still stands",
        )

    def handle(self, *args: Any, **options: Any) -> None:
        sentences = [f"{found.kind}: {found.sentence}" for found in verification.findings()]
        if options["head"]:
            sentences += self._printed_head(options["head"])
        for sentence in sentences:
            self.stdout.write(sentence)
        seen = verification.extent()
        self.stdout.write(
            f"Looked at {seen.events} events, {seen.signatures} signatures, {seen.batches} batch plans, {seen.versions} recipe and "
            f"specification versions, {seen.movements} movements of chemicals, {seen.locks} locks."
        )
        self.stdout.write(f"Head of the chain: event {seen.events}, {seen.head}")
        if sentences:
            raise CommandError(f"{len(sentences)} of the records do not hold.", returncode=1)
        self.stdout.write("All records hold.")

    def _printed_head(self, digest: str) -> list[str]:
        number = chain.stands(digest)
        if number is None:
            return [
                f"chain: No single event with the head {digest} stands in the chain; it was cut or rewritten."
            ]
        self.stdout.write(f"The printed head {digest} is that of event {number}.")
        return []
