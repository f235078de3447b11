"""The audit of use: its sums against ledger and rows, its shares against the whole, its reports against their signatures."""

from __future__ import annotations

from collections.abc import Iterator

from django.db.models import Sum

from regenplant.audit.verifying.registry import Check, Finding, Look, register
from regenplant.batches.models import Batch
from regenplant.chemicals.selectors import use_by_reference
from regenplant.core.process.use_audit import NAMES, SPLIT, Sums
from regenplant.core.process.vocabulary import Chemical
from regenplant.use.models import UseMonth, UseReport, UseRow, UseShare
from regenplant.use.services._rows import Cell, cell_of_row, cell_of_share, sums_of

PAGE = 500
_AGAIN = "manage.py renew_use reads it anew."


def check_use(look: Look) -> Iterator[Finding]:
    """Every row against the ledger, its shares and its month."""
    numbers = list(UseRow.objects.order_by("number").values_list("number", flat=True).distinct())
    cells: dict[Cell, Sums] = {}
    for begin in range(0, len(numbers), PAGE):
        page = numbers[begin : begin + PAGE]
        drawn = use_by_reference(page)
        for row in UseRow.objects.filter(number__in=page).prefetch_related("shares").order_by("number"):
            look.saw()
            named = f"The audit of use of {row.number}, {Chemical(row.chemical).label.lower()},"
            if drawn[row.number].get(row.chemical, 0) != row.used_grams:
                yield Finding("use", f"{named} is not what the ledger says. {_AGAIN}")
            shares = list(row.shares.all())
            for kind in UseShare.Kind.values:
                parts = [share for share in shares if share.kind == kind]
                if any(sum(getattr(part, name) for part in parts) != getattr(row, name) for name in SPLIT):
                    yield Finding("use", f"{named} is not the sum of its shares by {kind}. {_AGAIN}")
            counted = [(cell_of_row(row), sums_of(row))]
            counted += [(cell, sums_of(one)) for one in shares if (cell := cell_of_share(row, one))]
            for cell, sums in counted:
                cells[cell] = cells.get(cell, Sums()) + sums
    yield from _months(cells)
    yield from _missing()


def _months(cells: dict[Cell, Sums]) -> Iterator[Finding]:
    known = {
        (m.month, m.kind, m.key, m.chemical, m.family, m.segregation_class, m.vessel, m.shift): sums_of(m)
        for m in UseMonth.objects.all().iterator(2000)
    }
    for cell in sorted({*cells, *known}):
        if cells.get(cell, Sums()) != known.get(cell, Sums()):
            what = " ".join(part for part in cell[1:] if part)
            yield Finding(
                "use", f"The month {cell[0]:%Y-%m} of {what} is not the sum of its batches. {_AGAIN}"
            )


def _missing() -> Iterator[Finding]:
    """Batches that drew from the ledger and stand in no row."""
    from regenplant.chemicals.models import Movement, Place

    drew = (
        Movement.objects.filter(to_place__kind=Place.Kind.BATCH)
        .order_by()
        .values_list("reference")
        .annotate(Sum("grams_100"))
    )
    references = {reference for reference, _ in drew} - set(UseRow.objects.values_list("number", flat=True))
    for number in (
        Batch.objects.filter(number__in=references, started_at__isnull=False)
        .order_by("number")
        .values_list("number", flat=True)
    ):
        yield Finding(
            "use", f"Batch {number} took chemicals, and the audit of use does not know it. {_AGAIN}"
        )


def check_reports(look: Look) -> Iterator[Finding]:
    """Each signed report against its signature."""
    for row in UseReport.objects.select_related("signature").order_by("pk").iterator(200):
        look.saw()
        signature = row.signature
        if (signature.record_kind, signature.record_key, signature.person_id) != (
            "use_report",
            row.number,
            row.made_by_id,
        ):
            yield Finding(
                "use_report", f"Report {row.number} bears a signature that was given on something else."
            )
        elif signature.content != row.content:
            yield Finding("use_report", f"What report {row.number} says is not what was signed.")


register(Check("use", "Audit of use", "chemicals of batches", check_use), place=53)
register(Check("use_report", "Signed reports of use", "reports", check_reports), place=54)
assert set(SPLIT) <= set(NAMES)
