"""The bench calculator for scripts: ``bench --list``, ``bench QUANTITY name=value ...``, ``bench --jsonl FILE``."""

from __future__ import annotations

import os
import sys
from argparse import ArgumentParser
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from regenplant import working
from regenplant.bench import listing
from regenplant.bench.answers import answer, as_json, refusal_json
from regenplant.bench.lines import answer_lines, as_line
from regenplant.bench.names import BenchRefused, quantity_meant
from regenplant.core.errors import DomainError

_STOPPED = 130
"""What a shell shows for a program that was stopped by Ctrl-C."""


class Command(BaseCommand):
    help = (
        "Works out a quantity of the bench calculator and prints it as JSON. --list names all quantities, --list QUANTITY shows "
        "one with its inputs. Ends with 0 for an answer, 1 for a refusal; --jsonl ends with 0, each line bears its own answer or error."
    )
    requires_system_checks: list[str] = []  # nothing of the database or the web is used

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("quantity", nargs="?", help="what to work out, for example density")
        parser.add_argument(
            "inputs", nargs="*", metavar="name=value", help='inputs, for example strength="32 %%"'
        )
        parser.add_argument(
            "--list", action="store_true", dest="is_list", help="every quantity with inputs, units and ranges"
        )
        parser.add_argument("--json", action="store_true", dest="is_json", help="the list for programs")
        parser.add_argument(
            "--jsonl", metavar="FILE", help="answer one JSON object a line; - reads standard input"
        )
        parser.add_argument("--unit", default="", help="unit of the answer, instead of the one listed")
        parser.add_argument("--text", action="store_true", dest="is_text", help="the working in words instead of JSON")  # fmt: skip

    def handle(self, *args: Any, **options: Any) -> None:
        try:
            self._do(options)
            self.stdout.flush()
        except BrokenPipeError:  # whoever read has enough (| head)
            os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        except KeyboardInterrupt:
            sys.exit(_STOPPED)

    def _do(self, options: dict[str, Any]) -> None:
        if options["jsonl"] and options["quantity"]:
            raise CommandError("--jsonl FILE stands alone: the quantity is named in each line.")
        if options["jsonl"]:
            self._answer_file(options["jsonl"])
        elif options["is_list"]:
            self._list(options["quantity"], options["is_json"])
        elif options["quantity"]:
            self._answer(options["quantity"], options["inputs"], options["unit"], options["is_text"])
        else:
            raise CommandError("Name a quantity, or give --list or --jsonl FILE.")

    def _list(self, name: str | None, is_json: bool) -> None:
        if name:
            try:
                self._print(listing.as_json(quantity_meant(name)))
            except BenchRefused as refusal:
                self._print({"quantity": name, "error": refusal_json(refusal)})
                sys.exit(1)
        elif is_json:
            self._print(listing.everything())
        else:
            self.stdout.write(listing.as_table())

    def _answer(self, name: str, pairs: list[str], unit: str, is_text: bool) -> None:
        try:
            found = answer(name, _inputs(pairs), unit=unit)
            shown = as_json(found)
        except DomainError as refusal:
            self._print({"quantity": name, "error": refusal_json(refusal)})
            sys.exit(1)
        if is_text:
            self.stdout.write(working.as_text(found.answer.main, unit=found.unit))
            self.stdout.write("".join(f"Note: {note}\n" for note in found.notes))
        else:
            self._print(shown)

    def _answer_file(self, name: str) -> None:
        if name == "-":
            self._write(answer_lines(sys.stdin))
            return
        path = Path(name)
        if not path.is_file():
            raise CommandError(f"There is no file {name}.")
        with path.open(encoding="utf-8-sig", errors="replace") as lines:
            self._write(answer_lines(lines))

    def _write(self, answers: Iterable[str]) -> None:
        for line in answers:
            self.stdout.write(line)
            self.stdout.flush()

    def _print(self, found: dict[str, Any]) -> None:
        self.stdout.write(as_line(found, indent=2))


def _inputs(pairs: list[str]) -> dict[str, str]:
    found: dict[str, str] = {}
    for pair in pairs:
        name, sign, value = pair.partition("=")
        if not sign:
            raise BenchRefused(f"“{pair[:40]}” is no name=value.", code="no_pair")
        if name in found:
            raise BenchRefused(f"{name} is given twice.", code="given_twice", field=name)
        found[name] = value
    return found
