"""The one writer of rows, shares and months: what is known of a batch is taken out of the sums and put in again as the record says."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date

from django.db.models import F

from regenplant.batches.models import Batch
from regenplant.chemicals.models import Movement, Place
from regenplant.core.process.use_audit import NAMES, Sums
from regenplant.use.gathering import Taken, started_of, taken_by
from regenplant.use.models import UseMonth, UseRow, UseShare
from regenplant.use.pricing import PriceList

Cell = tuple[date, str, str, str, str, str, str, str]
"""Month, kind, key, chemical, family, class, vessel, shift: one cell of the months."""
CELL_FIELDS = ("month", "kind", "key", "chemical", "family", "segregation_class", "vessel", "shift")


def sums_of(row: UseRow | UseShare | UseMonth) -> Sums:
    """The sums a stored row holds."""
    return Sums(*(getattr(row, name) for name in NAMES))


def cell_of_row(row: UseRow) -> Cell:
    """The cell of the months a row counts in."""
    month = row.day.replace(day=1)
    return (month, "", "", row.chemical, row.family, row.segregation_class, row.vessel, row.shift)


def cell_of_share(row: UseRow, share: UseShare) -> Cell | None:
    """The cell of a share; None for resin lots, which are as many as batches and are read singly."""
    if share.kind == UseShare.Kind.RESIN_LOT:
        return None
    return (row.day.replace(day=1), share.kind, share.key, row.chemical, row.family, "", "", "")


def renew_numbered(number: str) -> None:
    """The batch with this number is read anew; a reference that is no batch's changes nothing."""
    batch = (
        Batch.objects.filter(number=number)
        .select_related("resin_type", "vessel", "lot", "recipe_version__recipe")
        .first()
    )
    if batch is not None:
        renew(batch)


def renew(batch: Batch, prices: PriceList | None = None) -> None:
    """This batch, and those it reworks, read anew from the record. Inside an act, which makes writers follow one another."""
    list_ = prices or PriceList()
    one: Batch | None = batch
    while one is not None:
        if one.started_at is not None:
            _renew_one(one, list_)
        one = (
            Batch.objects.select_related("resin_type", "vessel", "lot", "recipe_version__recipe").get(
                pk=one.parent_id
            )
            if one.parent_id
            else None
        )


def _renew_one(batch: Batch, prices: PriceList) -> None:
    known = list(UseRow.objects.filter(number=batch.number).prefetch_related("shares"))
    if not known and not _brings_chemicals(batch):
        return
    taken = taken_by(batch, prices)
    changes: dict[Cell, Sums] = {}
    for row in known:
        _count(changes, row, row.shares.all(), sign=-1)
    UseRow.objects.filter(pk__in=[row.pk for row in known]).delete()
    if taken is not None:
        for row, shares in made_rows(batch, taken):
            row.save(force_insert=True)
            for share in shares:
                share.row = row
            UseShare.objects.bulk_create(shares)
            _count(changes, row, shares, sign=1)
    _add_to_months(changes)


def _brings_chemicals(batch: Batch) -> bool:
    """Whether there can be anything to read: a movement under its number, or an ended step."""
    return (
        Movement.objects.filter(reference=batch.number).exists() or batch.steps.filter(state="done").exists()
    )


def made_rows(batch: Batch, taken: Taken) -> list[tuple[UseRow, list[UseShare]]]:
    """The rows of a batch with their shares; nothing is saved."""
    found = []
    for one in taken.chemicals:
        row = UseRow(
            number=batch.number,
            chemical=one.chemical,
            started_at=started_of(batch),
            day=taken.day,
            shift=taken.shift,
            family=batch.resin_type.family,
            resin_type=batch.resin_type.code,
            segregation_class=batch.segregation_class,
            vessel=batch.vessel.code,
            recipe=batch.recipe_version.recipe.code,
            volume_form=batch.resin_volume_form,
            **_values(one.sums),
        )
        shares = [
            UseShare(
                row=row,
                kind=kind,
                key=key,
                chemical=row.chemical,
                day=taken.day,
                lots=one.customer_lots[key] if kind == UseShare.Kind.CUSTOMER else {},
                **_values(sums),
            )
            for kind, by_key in one.shares.items()
            for key, sums in by_key.items()
        ]
        found.append((row, shares))
    return found


def _values(sums: Sums) -> dict[str, int]:
    return {name: getattr(sums, name) for name in NAMES}


def _count(changes: dict[Cell, Sums], row: UseRow, shares: Iterable[UseShare], *, sign: int) -> None:
    own = cell_of_row(row)
    counted = [(own, sums_of(row))]
    counted += [(cell, sums_of(share)) for share in shares if (cell := cell_of_share(row, share))]
    for cell, sums in counted:
        changes[cell] = changes.get(cell, Sums()) + (sums if sign > 0 else -sums)


def _add_to_months(changes: dict[Cell, Sums]) -> None:
    """Whole numbers are added, so that the order of acts does not matter. A cell that counts no batch any more goes."""
    emptied = False
    for cell, sums in changes.items():
        if sums == Sums():
            continue
        where = dict(zip(CELL_FIELDS, cell, strict=True))
        added = {name: F(name) + getattr(sums, name) for name in NAMES}
        if not UseMonth.objects.filter(**where).update(**added):
            UseMonth.objects.create(**where, **_values(sums))
        emptied = emptied or sums.batches < 0
    if emptied:
        UseMonth.objects.filter(batches=0, month__in={cell[0] for cell in changes}).delete()


def renew_all() -> int:
    """Every batch that was started is read anew, oldest first, and the months are summed from nothing; returns how many have a row."""
    UseMonth.objects.all().delete()
    prices = PriceList()
    wanted = Batch.objects.exclude(started_at=None).select_related(
        "resin_type", "vessel", "lot", "recipe_version__recipe"
    )
    UseRow.objects.exclude(number__in=wanted.values("number")).delete()
    count = 0
    for batch in wanted.order_by("started_at", "id").iterator(200):
        taken = taken_by(batch, prices)
        UseRow.objects.filter(number=batch.number).delete()
        if taken is None:
            continue
        changes: dict[Cell, Sums] = {}
        for row, shares in made_rows(batch, taken):
            row.save(force_insert=True)
            UseShare.objects.bulk_create(shares)
            _count(changes, row, shares, sign=1)
        _add_to_months(changes)
        count += 1
    return count


def renew_priced(lots: Iterable[str]) -> int:
    """Every batch that drew from one of these chemical lots is read anew: their cost changed. Returns how many."""
    kind = Place.Kind.BATCH
    numbers = (
        Movement.objects.filter(lot__code__in=list(lots), to_place__kind=kind)
        .order_by()
        .values_list("reference", flat=True)
        .distinct()
    )
    prices, count = PriceList(), 0
    rows = Batch.objects.filter(number__in=list(numbers)).select_related(
        "resin_type", "vessel", "lot", "recipe_version__recipe"
    )
    for batch in rows.order_by("started_at", "id"):
        if batch.started_at is not None:
            _renew_one(batch, prices)
            count += 1
    return count
