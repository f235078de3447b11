"""Write the rows, shares and months of the audit of use anew, from plan and ledger: after an upgrade, or when a rule of reading changed."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand
from django.db import transaction

from regenplant.use.services._rows import renew_all


class Command(BaseCommand):
    help = "Read every started batch into the audit of use anew. Changes no record."

    def handle(self, *args: Any, **options: Any) -> None:
        with transaction.atomic():
            count = renew_all()
        self.stdout.write(f"{count} batches are read into the audit of use.")
