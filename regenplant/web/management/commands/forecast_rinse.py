"""Forecasts for a file of rinses: ``forecast_rinse CURVES.json --out FORECASTS.json``."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from pathlib import Path
from typing import Any

from django.core.management.base import BaseCommand, CommandError

from regenplant.core.errors import DomainError
from regenplant.core.process.forecasting.curve_files import as_entry, curves_of
from regenplant.core.process.forecasting.forecast import forecast
from regenplant.web.json_files import read_json, write_text


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
        content = read_json(Path(options["curves"]), "a curves file")
        try:
            curves = curves_of(content)
        except DomainError as refusal:
            raise CommandError(refusal.message) from refusal
        entries = [as_entry(name, forecast(rinse)) for name, rinse in curves]
        write_text(Path(options["out"]), json.dumps({"forecasts": entries}, indent=1))
        unsaid = sum(not entry["enough_data"] for entry in entries)
        self.stdout.write(f"{len(entries)} forecasts in {options['out']}, {unsaid} without enough data.")
