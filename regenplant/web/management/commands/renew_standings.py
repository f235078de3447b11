"""How each rinse stands, worked out anew: ``renew_standings``."""

from __future__ import annotations

from argparse import ArgumentParser
from typing import Any

from django.core.management.base import BaseCommand
from django.db import transaction
from django.utils import timezone

from regenplant.batches.models import Batch
from regenplant.batches.services._standing import renew
from regenplant.batches.standing import is_fresh


class Command(BaseCommand):
    help = (
        "Works out anew how each rinse stands, where that is missing or out of date. It is derived from the readings and no record; "
        "pages are slow without it, and right."
    )

    def add_arguments(self, parser: ArgumentParser) -> None:
        parser.add_argument("--all", action="store_true", help="also those that are up to date")

    def handle(self, *args: Any, **options: Any) -> None:
        batches = (
            Batch.objects.filter(readings__isnull=False) | Batch.objects.filter(meter_logs__isnull=False)
        ).distinct()
        renewed = seen = 0
        for batch in (
            batches.select_related("resin_type", "specification_version").order_by("pk").iterator(50)
        ):
            seen += 1
            if options["all"] or not is_fresh(batch):
                with transaction.atomic():
                    renew(batch, timezone.now())
                renewed += 1
        self.stdout.write(f"{seen} rinses seen, {renewed} worked out anew.")
