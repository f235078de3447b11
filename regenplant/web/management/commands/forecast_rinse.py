"""Forecasts for a file of rinses: ``forecast_rinse CURVES.json --out FORECASTS.json``."""

from __future__ import annotations

import json
import os
import tempfile
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from regenplant.core.errors import DomainError
from regenplant.core.process.forecasting.curve_files import as_entry, curves_of
from regenplant.core.process.forecasting.forecast import forecast

_MOST_BYTES = 200_000_000


class Command(BaseCommand):
    help = (
        "Forecasts the end point of every rinse in a curves file: bed volumes at 5, 50 and 95 %, and the chance that it is never "
        "reached. Ends with 1 and writes nothing when the file is not as the format says."
    )
    requires_system_checks: list[str] = []  # nothing of the database or the web is used

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument(
            "curves", metavar="CURVES.json", help="rinses so far, with the history of their pools"
        )
        parser.add_argument("--out", metavar="FORECASTS.json", required=True, help="where the forecasts go")

    def handle(self, *args: Any, **options: Any) -> None:
        content = _read(Path(options["curves"]))
        try:
            curves = curves_of(content)
        except DomainError as refusal:
            raise CommandError(refusal.message) from refusal
        entries = [as_entry(name, forecast(rinse)) for name, rinse in curves]
        _write(Path(options["out"]), json.dumps({"forecasts": entries}, indent=1))
        unsaid = sum(not entry["enough_data"] for entry in entries)
        self.stdout.write(f"{len(entries)} forecasts in {options['out']}, {unsaid} without enough data.")


def _read(path: Path) -> Any:
    try:
        size = path.stat().st_size
        if size > _MOST_BYTES:
            raise CommandError(f"{path} has {size:,} bytes; at most {_MOST_BYTES:,} are read. Split it.")
        return json.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as trouble:
        raise CommandError(f"{path} cannot be read: {trouble.strerror}.") from trouble
    except UnicodeDecodeError as trouble:
        raise CommandError(
            f"{path} is not text in UTF-8 (byte {trouble.start}); allowed is JSON in UTF-8."
        ) from trouble
    except json.JSONDecodeError as trouble:
        raise CommandError(
            f"{path}, line {trouble.lineno}, column {trouble.colno}: not JSON ({trouble.msg})."
        ) from trouble
    except ValueError as trouble:
        raise CommandError(f"{path} holds a number that is too long to be one: {trouble}.") from trouble
    except RecursionError as trouble:
        raise CommandError(f"{path} is nested too deep to be a curves file.") from trouble


def _write(path: Path, text: str) -> None:
    """All of it or nothing: a half-written file would pass for a short one."""
    try:
        with tempfile.NamedTemporaryFile("w", encoding="utf-8", dir=path.parent, delete=False) as kept:
            kept.write(text)
    except OSError as trouble:
        raise CommandError(f"{path} cannot be written: {trouble.strerror}.") from trouble
    try:
        os.chmod(kept.name, 0o644)
        os.replace(kept.name, path)
    except OSError as trouble:
        Path(kept.name).unlink()
        raise CommandError(f"{path} cannot be written: {trouble.strerror}.") from trouble
