"""The audit of use: its sums against ledger and rows, its shares against the whole, its reports against their signatures."""

from __future__ import annotations

from collections.abc import Iterator

from django.db.models import Sum

from regenplant import units
from regenplant.audit.verifying.registry import Check, Finding, Look, register
from regenplant.batches.endings import mass_fed_kg_100
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch, StepRun
from regenplant.chemicals.models import Movement, Place
from regenplant.chemicals.selectors import draws_of_step, net_grams, use_by_reference
from regenplant.core.process.lifecycle import StepState
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


def check_draws(look: Look) -> Iterator[Finding]:
    """What the ledger has for each ended step against what stands written of it. A draw that was taken back by hand stands for itself."""
    ended = (
        StepRun.objects.filter(state=StepState.DONE.value)
        .select_related("batch")
        .order_by("batch__number", "number")
    )
    drawn = _draws_by_step()
    for step in ended.iterator(500):
        planned = plan_of(step.batch).step(step.number)
        if planned.chemical is None:
            continue
        look.saw()
        draws = drawn.get((step.batch.number, planned.chemical.value, step.number))
        if draws is None:  # nothing was drawn, or by an older program that did not name the step
            draws = draws_of_step(step.batch.number, planned.chemical.value, step.number, step.finished_at)
        written = round(mass_fed_kg_100(step, planned) * 1000)
        net, without_taken_back = net_grams(draws), net_grams(one for one in draws if one.corrects_id is None)
        if written not in (net, without_taken_back):
            yield Finding(
                "draws",
                f"By its entries step {step.number} of {step.batch.number} took {_kg(written)} of {planned.chemical.label.lower()} as 100 %, by "
                f"the ledger {_kg(net)}.",
                is_notice=any(one.step_number is None for one in draws),
            )


def _draws_by_step() -> dict[tuple[str, str, int], list[Movement]]:
    found: dict[tuple[str, str, int], list[Movement]] = {}
    rows = Movement.objects.filter(step_number__isnull=False).select_related("from_place", "to_place")
    for row in rows.order_by("number").iterator(2000):
        assert row.step_number is not None
        found.setdefault((row.reference, row.chemical, row.step_number), []).append(row)
    return found


def _kg(grams: int) -> str:
    return units.twin(grams / 1000.0, "mass")


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
register(Check("draws", "Draws of steps", "steps", check_draws), place=53)
register(Check("use_report", "Signed reports of use", "reports", check_reports), place=54)
assert set(SPLIT) <= set(NAMES)
