"""Acts on the ledger: places, draws for batches, counter-movements."""

from __future__ import annotations

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.reasons import reason_of
from regenplant.audit.records import (
    code_of,
    one_of,
    refuse_known,
    saved_words,
    within,
    words_of,
    write_changed,
)
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.chemicals.levels import geometry_of, shape_of
from regenplant.chemicals.models import ChemicalLot, Movement, Place
from regenplant.chemicals.selectors import draws_of_step, net_grams, place_of
from regenplant.chemicals.services._ledger import MOST_GRAMS, move, standing_place
from regenplant.core.errors import RecordRefused, StaleRecord
from regenplant.core.process.vocabulary import Chemical

MOST_REASON = 160
"""Characters of a correction's own words: with its category they fit the movement."""


def _shown(grams_100: int) -> str:
    return units.twin(grams_100 / 1000.0, "mass")


def _subject(movement: Movement) -> tuple[str, str, str]:
    return ("movement", str(movement.number), f"movement {movement.number}")


# --- places ---------------------------------------------------------------------------------------------------------
@use_case("place.added", permission="plant.edit")
def add_place(
    *,
    by: By,
    code: str,
    name: str,
    kind: str,
    chemical: str = "",
    capacity_m3: float | None = None,
    low_stock_grams_100: int = 0,
) -> Outcome:
    """A place where a mass of chemical can be. A bulk tank is for one chemical, for good.

    Raises: RecordRefused, OutOfRange.
    """
    code = code_of(code, "The place’s code", longest=20)
    refuse_known(Place, code, "Place")
    one_of(kind, Place.Kind.values, "The kind of place", field="kind")
    if kind == Place.Kind.BULK_TANK:
        one_of(chemical, [item.value for item in Chemical], "The chemical", field="chemical")
    elif chemical or capacity_m3 is not None or low_stock_grams_100:
        raise RecordRefused("Only a bulk tank has a chemical, a capacity and a low mark.", field="kind")
    elif Place.objects.filter(kind=kind).exists():
        raise RecordRefused(
            f"The ledger has a place of the kind “{Place.Kind(kind).label}” already; it needs one only.",
            field="kind",
        )
    values = _place_values(name, capacity_m3, low_stock_grams_100)
    place = Place.objects.create(code=code, kind=kind, chemical=chemical, **values)
    return Outcome(
        subject=("place", str(place.pk), code), after={"kind": kind, "chemical": chemical}, result=place
    )


@use_case("place.changed", permission="plant.edit")
def change_place(
    *,
    by: By,
    place_id: int,
    name: str,
    capacity_m3: float | None,
    low_stock_grams_100: int,
    version: int | None = None,
) -> Outcome:
    """Name, capacity and low mark of a place. What it is for never changes.

    Raises: RecordRefused, OutOfRange, StaleRecord.
    """
    place = Place.objects.select_for_update().filter(pk=place_id).first()
    if place is None:
        raise RecordRefused("This place is not known here.", code="unknown")
    values = _place_values(name, capacity_m3, low_stock_grams_100)
    _refuse_beyond_shape(place, capacity_m3)
    before, after = write_changed(place, values, version=version, label=f"Place {place.code}")
    return Outcome(subject=("place", str(place.pk), place.code), before=before, after=after, result=place)


def _refuse_beyond_shape(place: Place, capacity_m3: float | None) -> None:
    geometry = geometry_of(place)
    if geometry is None or capacity_m3 is None:
        return
    full = shape_of(geometry).full_volume_m3
    if capacity_m3 > full * (1.0 + geometry.volume_tolerance_frac):
        raise RecordRefused(
            f"The shape of {place.code} holds {units.twin(full, 'liquid_volume')}; a capacity of {units.twin(capacity_m3, 'liquid_volume')} "
            "does not fit into it. One of the two is wrong: look at the drawing.",
            field="capacity_m3",
            code="holds_less",
        )


def _place_values(name: str, capacity_m3: float | None, low_stock_grams_100: int) -> dict[str, object]:
    if capacity_m3 is not None:
        within(capacity_m3, 0.01, 500.0, "The capacity", "liquid_volume", field="capacity_m3")
    within(low_stock_grams_100 / 1000.0, 0.0, MOST_GRAMS / 1000.0, "The low mark", "mass", field="low_stock")
    return {
        "name": words_of(name, "The place’s name", field="name", most=80, least=2),
        "capacity_m3": capacity_m3,
        "low_stock_grams_100": low_stock_grams_100,
    }


# --- movements ------------------------------------------------------------------------------------------------------
@use_case("chemical.drawn", permission="batch.run")
def draw_for_batch(
    *, by: By, chemical: str, grams_100: int, reference: str, step_number: int | None = None
) -> Outcome:
    """Mass that a step of a batch used leaves the bulk tank of the lot in use; ``result`` is the movement.

    Raises: RecordRefused when no lot is in use or the stock is short; OutOfRange for a mass that cannot be.
    """
    return _draw(by, chemical, grams_100, reference, Place.Kind.BATCH, step_number)


@use_case("chemical.draw_adjusted", permission="entry.record")
def adjust_draw(
    *,
    by: By,
    chemical: str,
    grams_100: int,
    reference: str,
    step_number: int,
    reason: str,
    like_number: int | None,
) -> Outcome:
    """What was written down of a step was corrected after its mass had left the stock: the difference follows. Above zero more leaves,
    below zero some comes back, to and from the tank and lot of movement ``like_number``; None where nothing was drawn yet, then of the
    lot in use. ``result`` is the movement.

    Raises: RecordRefused when the tank would hold less than nothing, or for nothing to bring back from; OutOfRange for no mass.
    """
    like = (
        Movement.objects.select_related("lot", "from_place").get(number=like_number)
        if like_number is not None
        else None
    )
    lot: ChemicalLot | None
    lot, tank = (like.lot, like.from_place) if like is not None else _lot_and_tank(chemical)
    batches = standing_place(Place.Kind.BATCH)
    movement = move(
        by=by,
        chemical=chemical,
        lot=lot,
        from_place=tank if grams_100 > 0 else batches,
        to_place=batches if grams_100 > 0 else tank,
        grams_100=abs(grams_100),
        reference=reference,
        reason=reason,
        step_number=step_number,
    )
    return Outcome(
        subject=_subject(movement),
        after={"grams_100": movement.grams_100, "reference": reference},
        facts={
            "shown": _shown(movement.grams_100),
            "way": f"left {tank.code}" if grams_100 > 0 else f"came back to {tank.code}",
            "chemical": Chemical(chemical).label.lower(),
            "reference": reference,
            "step": step_number,
            "corrects": like.number if like else None,
        },
        reason=reason,
        result=movement,
    )


@use_case("chemical.drawn_to_treat", permission="waste.treat")
def draw_to_treat(*, by: By, chemical: str, grams_100: int, reference: str) -> Outcome:
    """Mass that treats waste leaves the bulk tank of the lot in use; ``result`` is the movement.

    Raises: as ``draw_for_batch``.
    """
    return _draw(by, chemical, grams_100, reference, Place.Kind.TREATMENT)


def _lot_and_tank(chemical: str) -> tuple[ChemicalLot, Place]:
    """The lot of a chemical in use and the tank it stands in. Raises: RecordRefused."""
    chemical = one_of(chemical, [item.value for item in Chemical], "The chemical", field="chemical")
    label = Chemical(chemical).label
    lot = ChemicalLot.objects.select_for_update().filter(chemical=chemical, is_in_use=True).first()
    if lot is None:
        raise RecordRefused(
            f"No lot of {label.lower()} is in use, so nothing can be drawn. Put a checked lot in use first.",
            code="no_lot",
        )
    tank = place_of(lot)
    if tank is None:
        raise RecordRefused(f"It is not recorded in which tank lot {lot.code} stands.", code="no_place")
    return lot, tank


def _draw(
    by: By, chemical: str, grams_100: int, reference: str, kind: Place.Kind, step_number: int | None = None
) -> Outcome:
    lot, tank = _lot_and_tank(chemical)
    movement = move(
        by=by,
        chemical=chemical,
        lot=lot,
        from_place=tank,
        to_place=standing_place(kind),
        grams_100=grams_100,
        reference=reference,
        step_number=step_number,
    )
    return Outcome(
        subject=_subject(movement),
        after={"grams_100": grams_100, "reference": reference},
        facts={
            "shown": _shown(grams_100),
            "chemical": Chemical(chemical).label.lower(),
            "reference": reference,
            "lot": lot.code,
            "tank": tank.code,
        },
        related=(("chemical_lot", str(lot.pk)),),
        result=movement,
    )


@use_case("chemical.movement_corrected", permission="chemical.correct")
def correct_movement(*, by: By, movement_id: int, category: str, reason: str) -> Outcome:
    """Take a movement back by its counter-movement; both stay in the ledger. ``result`` is the counter-movement.

    Raises: RecordRefused for a correction of a correction, or when a tank would hold less than nothing; StaleRecord when it
    was corrected already.
    """
    wrong = Movement.objects.select_related("from_place", "to_place", "lot").filter(pk=movement_id).first()
    if wrong is None:
        raise RecordRefused("This movement is not known here.", code="unknown")
    if wrong.corrects_id is not None:
        raise RecordRefused(
            f"Movement {wrong.number} is itself a correction. Write the movement that is right instead.",
            code="is_correction",
        )
    earlier = Movement.objects.filter(corrects=wrong).first()
    if earlier is not None:
        raise StaleRecord(
            f"Movement {wrong.number} was corrected already, by movement {earlier.number}.", code="corrected"
        )
    _refuse_below_nothing(wrong)
    why = reason_of(category, reason, most=MOST_REASON)
    movement = move(
        by=by,
        chemical=wrong.chemical,
        lot=wrong.lot,
        from_place=wrong.to_place,
        to_place=wrong.from_place,
        grams_100=wrong.grams_100,
        reference=wrong.reference,
        reason=why.sentence,
        corrects=wrong,
        step_number=wrong.step_number,
    )
    return Outcome(
        subject=_subject(movement),
        after={"grams_100": wrong.grams_100, "reference": wrong.reference},
        facts={
            "corrects": wrong.number,
            "shown": _shown(wrong.grams_100),
            "chemical": Chemical(wrong.chemical).label.lower(),
            "reason_category": why.category,
        },
        reason=why.sentence,
        related=(("movement", str(wrong.number)),),
        result=movement,
    )


def _refuse_below_nothing(wrong: Movement) -> None:
    """A draw is not taken back whole once a correction of its entry brought a part of it back: the step would have used less than nothing."""
    if wrong.step_number is None or wrong.to_place.kind != Place.Kind.BATCH:
        return
    net = net_grams(draws_of_step(wrong.reference, wrong.chemical, wrong.step_number, None))
    if net < wrong.grams_100:
        raise RecordRefused(
            f"Step {wrong.step_number} of {wrong.reference} used {_shown(net)} by the books, because its entry was corrected since; movement "
            f"{wrong.number} of {_shown(wrong.grams_100)} cannot be taken back whole. Correct the entry of the step.",
            code="entry_corrected",
        )


say("place.added", saved_words("Place"))
say("place.changed", saved_words("Place"))
say("chemical.drawn", "{shown} of {chemical} as 100 % left {tank} for {reference} (lot {lot}, {subject})")
say(
    "chemical.draw_adjusted",
    "{shown} of {chemical} as 100 % {way} for {reference}, step {step}, as its entry was corrected ({reason}; {subject})",
)
say(
    "chemical.drawn_to_treat",
    "{shown} of {chemical} as 100 % left {tank} to treat {reference} (lot {lot}, {subject})",
)
say(
    "chemical.movement_corrected",
    "Movement {corrects} was taken back by {subject}: {shown} of {chemical} as 100 % ({reason})",
)
