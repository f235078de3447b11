"""The pages of the audit of use that are asked for where very many batches lie, and that their sums are right."""

from __future__ import annotations

from datetime import timedelta

from regenplant.use.models import UseRow
from regenplant.use.selectors import By, Question, audit
from tests.use.many import Spread


def addresses() -> list[str]:
    """Every grouping over the last week, month and year, and one customer, one chemical and one vessel alone."""
    last = UseRow.objects.latest("day").day
    plain = [
        f"/chemicals/use/?first={last - timedelta(days=days)}&last={last}&by={by.value}"
        for by in By
        for days in (6, 29, 364)
    ]
    year = f"/chemicals/use/?first={last - timedelta(days=364)}&last={last}"
    return [
        *plain,
        f"{year}&customer=K-007",
        f"{year}&chemical=hcl&only=outside",
        f"{year}&vessel=M1&by=shift",
    ]


def agrees(spread: Spread) -> None:
    """All years at once are the sum of the rows."""
    last = UseRow.objects.latest("day").day
    found = audit(Question(spread.first, last, By.VESSEL))
    assert sum(total.sums.used_grams for total in found.totals) == sum(
        UseRow.objects.values_list("used_grams", flat=True).iterator()
    )
