"""Check that no stored record was altered behind the program's back. Exit code 0: all holds; 1: something does not."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import connection
from django.db.migrations.executor import MigrationExecutor
from django.utils import timezone

from regenplant.audit import chain
from regenplant.audit.by import By
from regenplant.audit.services import note_verification
from regenplant.audit.verifying import registry
from regenplant.audit.verifying.registry import Report


class Command(BaseCommand):
    help = (
        "Verify the record: chain of acts, rows against the acts that wrote them, signatures, frozen plans, versions, stored "
        "calculations, running numbers, the chemical ledger, heads printed on papers, locks of the database. Run it every night, "
        "and with --head and the chain head printed on any paper."
    )

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument(
            "--head",
            metavar="DIGEST",
            help="a chain head as printed on a paper (at least 8 characters): check that its event still stands",
        )
        parser.add_argument(
            "--plans", action="store_true", help="work every frozen plan out anew as well (slow)"
        )
        parser.add_argument(
            "--note", action="store_true", help="write the result down as an act, so that the page shows it"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        _refuse_another_shape()
        report = self._run(("plans",) if options["plans"] else (), is_told=options["verbosity"] > 1)
        sentences = [f"{found.kind}: {found.sentence}" for found in report.findings]
        if options["head"]:
            sentences += self._printed_head(options["head"])
        for sentence in sentences:
            self.stdout.write(sentence)
        for notice in report.notices:
            self.stdout.write(f"notice: {notice.sentence}")
        looked = ", ".join(f"{check.seen} {check.counted}" for check in report.checks)
        self.stdout.write(f"Looked at {looked}, in {report.seconds:.1f} s.")
        self.stdout.write(f"Head of the chain: event {report.number}, {report.head}")
        if options["note"]:
            note_verification(by=By(None, timezone.now(), "command line"), report=report)
        if sentences:
            raise CommandError(f"{len(sentences)} of the records do not hold.", returncode=1)
        self.stdout.write("All records hold.")

    def _run(self, options: tuple[str, ...], *, is_told: bool) -> Report:
        for step in registry.steps(options):
            if step.report is not None:
                return step.report
            if is_told:
                self.stdout.write(f"{step.title}: {step.seen}{f' of {step.total}' if step.total else ''}")
        raise RuntimeError("A run ends with its report.")

    def _printed_head(self, digest: str) -> list[str]:
        number = chain.stands(digest)
        if number is None:
            return [
                f"chain: No single event with the head {digest} stands in the chain; it was cut or rewritten."
            ]
        self.stdout.write(f"The printed head {digest} is that of event {number}.")
        return []


def _refuse_another_shape() -> None:
    """Raise CommandError where the tables are not those of this program: an empty data folder, or an upgrade that is half done."""
    executor = MigrationExecutor(connection)
    missing = len(executor.migration_plan(executor.loader.graph.leaf_nodes()))
    if missing:
        changes = "1 change" if missing == 1 else f"{missing} changes"
        raise CommandError(
            f"{changes} of the tables are not made in this database, so nothing can be verified. Is REGENPLANT_DATA or DATABASE_URL "
            "the one that is meant? If so, run manage.py migrate first.",
            returncode=1,
        )
