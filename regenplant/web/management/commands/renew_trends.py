"""Write what the trends know of every judged batch anew, from the record: after an upgrade, or when a rule of reading it changed."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand
from django.db import transaction

from regenplant.quality.services._outcomes import renew_all


class Command(BaseCommand):
    help = "Read the rinse of every judged batch into the trends anew. Changes no record and raises no alert."

    def handle(self, *args: Any, **options: Any) -> None:
        with transaction.atomic():
            count = renew_all()
        self.stdout.write(f"{count} batches are read into the trends.")
