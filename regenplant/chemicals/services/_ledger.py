"""The one writer of movements, and the places that a ledger always has."""

from __future__ import annotations

from datetime import datetime

from django.db.models import Max

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.records import words_of
from regenplant.chemicals import moved
from regenplant.chemicals.models import ChemicalLot, Movement, Place
from regenplant.chemicals.selectors import balance_grams
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.core.process.vocabulary import Chemical

MOST_GRAMS = 200_000_000
"""200 t in one movement: more than a road tanker brings; a bound against slips of unit."""

_STANDING = {
    Place.Kind.SUPPLIER: ("SUPPLIER", "Suppliers"),
    Place.Kind.BATCH: ("BATCHES", "Used in batches"),
    Place.Kind.TREATMENT: ("TREATMENT", "Used to treat waste"),
    Place.Kind.DRAIN: ("DRAIN", "Drained unused"),
    Place.Kind.SPILLED: ("SPILLED", "Spilled"),
    Place.Kind.UNEXPLAINED: ("UNEXPLAINED", "Unexplained"),
}


def standing_place(kind: Place.Kind) -> Place:
    """The supplier's, batches', drain's or unexplained place; made on first use, as every ledger has one of each."""
    found = Place.objects.filter(kind=kind).order_by("pk").first()
    if found is not None:
        return found
    code, name = _STANDING[kind]
    return Place.objects.create(code=code, name=name, kind=kind)


def move(
    *,
    by: By,
    chemical: str,
    lot: ChemicalLot | None,
    from_place: Place,
    to_place: Place,
    grams_100: int,
    reference: str,
    reason: str = "",
    corrects: Movement | None = None,
    step_number: int | None = None,
    moved_at: datetime | None = None,
) -> Movement:
    """Write one movement. Call inside an act, which makes writers follow one another, so numbers have no gaps.

    ``moved_at`` is when it happened; None: when the act says.

    Raises: OutOfRange for a mass that cannot be; RecordRefused when a bulk tank would hold less than nothing.
    """
    if not 0 < grams_100 <= MOST_GRAMS:
        raise OutOfRange(
            f"A movement of {units.twin(grams_100 / 1000.0, 'mass')} as 100 % cannot be; possible is from 1 g up to "
            f"{units.twin(MOST_GRAMS / 1000.0, 'mass')}.",
            field="quantity",
            seen=grams_100,
            allowed_low=1,
            allowed_high=MOST_GRAMS,
        )
    if from_place.kind == Place.Kind.BULK_TANK:
        _refuse_short(chemical, from_place, grams_100)
    highest = Movement.objects.aggregate(highest=Max("number"))["highest"] or 0
    movement = Movement.objects.create(
        number=highest + 1,
        chemical=chemical,
        lot=lot,
        from_place=from_place,
        to_place=to_place,
        grams_100=grams_100,
        reference=words_of(reference, "The reference", field="reference", most=60, least=1),
        reason=words_of(reason, "The reason", field="reason", most=200),
        moved_at=moved_at or by.happened_at,
        moved_by=by.user,
        corrects=corrects,
        step_number=step_number,
    )
    if Place.Kind.BATCH in (from_place.kind, to_place.kind):
        moved.told(movement.reference)
    return movement


def _refuse_short(chemical: str, place: Place, grams_100: int) -> None:
    held = balance_grams(chemical, place)
    if grams_100 > held:
        raise RecordRefused(
            f"{place.code} holds {units.twin(held / 1000.0, 'mass')} of {Chemical(chemical).formula} as 100 % by the books; "
            f"{units.twin(grams_100 / 1000.0, 'mass')} are wanted. Receive the delivery that is missing, or count the stock.",
            code="stock_short",
            seen=grams_100,
            allowed=held,
        )
