"""Acts on spills (EV-05): what got out, how much as 100 %, what it was held against, who was told, and how it ended.

The program compares with the reportable quantity and says so; it never decides whether somebody is called. A spill is kept in any case,
also one that the ledger cannot book because the tank holds less by the books.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.numbering import next_number
from regenplant.audit.records import one_of, within, words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.chemicals.models import ChemicalLot, Movement, Place, Spill, SpillFigure, SpillNote
from regenplant.chemicals.quantities import REFERENCE_KELVIN, Basis, mass_as_100, whole_grams
from regenplant.chemicals.reporting import threshold
from regenplant.chemicals.selectors import balance_grams
from regenplant.chemicals.services._ledger import MOST_GRAMS, move, standing_place
from regenplant.chemicals.services.lots import COLDEST_KELVIN, HOTTEST_KELVIN
from regenplant.chemicals.spills import newest_figure, within_a_day
from regenplant.core.errors import OutOfRange, RecordRefused, StaleRecord
from regenplant.core.process.thresholds import Counted, ThresholdKind
from regenplant.core.process.vocabulary import Chemical

LEAST_WORDS = 10


@dataclass(frozen=True, slots=True)
class Amount:
    """How much: ``quantity`` in m3 for a volume, kg for a mass, of what ``basis`` says; and the words as typed."""

    basis: Basis
    quantity: float
    strength_frac: float
    value_as_typed: str
    unit_as_typed: str = ""
    temperature_kelvin: float = REFERENCE_KELVIN


# --- recording ------------------------------------------------------------------------------------------------------
@use_case("spill.recorded", permission="spill.record")
def record_spill(
    *,
    by: By,
    chemical: str,
    location: str,
    reached: str,
    what_happened: str,
    amount: Amount,
    happened_at: datetime,
    place_id: int | None = None,
) -> Outcome:
    """Write down a spill. ``result`` is it; out of a tank, its mass leaves the tank for "spilled" in the ledger.

    Raises: RecordRefused, OutOfRange, each with its field.
    """
    one_of(chemical, [item.value for item in Chemical], "The chemical", field="chemical")
    one_of(reached, Spill.Reached.values, "Where it went", field="reached")
    if happened_at > by.at:
        raise RecordRefused("That moment is still to come. Write when it was found.", field="happened_at")
    place = _tank(chemical, place_id)
    lot = ChemicalLot.objects.filter(chemical=chemical, is_in_use=True).first() if place else None
    spill = Spill.objects.create(
        number=next_number(Spill, "number", "SP", 10001),
        chemical=chemical,
        place=place,
        lot=lot,
        location=words_of(location, "Where it was", field="location", most=160, least=3),
        reached=reached,
        what_happened=words_of(
            what_happened, "What happened", field="what_happened", most=600, least=LEAST_WORDS
        ),
        happened_at=happened_at,
        written_by=by.user,
        written_at=by.at,
    )
    figure = _figure(by, spill, amount, position=1, reason="")
    return Outcome(
        subject=_subject(spill),
        after={"chemical": chemical, "grams_100": figure.grams_100, "reached": reached},
        facts={"name": Chemical(chemical).label.lower(), "location": spill.location, **_facts(figure)},
        related=_related(spill, figure),
        result=spill,
    )


@use_case("spill.measured_anew", permission="spill.record")
def measure_spill_anew(
    *, by: By, spill_id: int, amount: Amount, reason: str, version: int | None = None
) -> Outcome:
    """A better figure of how much it was; the figures before stay, and the ledger follows. ``result`` is the spill.

    Raises: RecordRefused, OutOfRange, StaleRecord.
    """
    spill = _open(spill_id, version)
    words = words_of(reason, "The reason", field="reason", most=300, least=LEAST_WORDS)
    before = newest_figure(spill)
    if before.movement is not None:
        _take_back(by, spill, before.movement, words)
    figure = _figure(by, spill, amount, position=before.position + 1, reason=words)
    _go_on(spill)
    return Outcome(
        subject=_subject(spill),
        before={"grams_100": before.grams_100},
        after={"grams_100": figure.grams_100},
        facts={"before": _shown(before.grams_100), **_facts(figure)},
        reason=words,
        related=_related(spill, figure),
        result=spill,
    )


def _tank(chemical: str, place_id: int | None) -> Place | None:
    if place_id is None:
        return None
    place = Place.objects.filter(pk=place_id, kind=Place.Kind.BULK_TANK).first()
    if place is None or place.chemical != chemical:
        raise RecordRefused(
            "This is no tank of that chemical. Choose its tank, or none where it came from a hose, a line or a drum.",
            field="place",
            code="wrong_tank",
        )
    return place


def _figure(by: By, spill: Spill, amount: Amount, *, position: int, reason: str) -> SpillFigure:
    within(amount.strength_frac, 0.001, 1.0, "The strength", "strength", field="strength_frac")
    within(
        amount.temperature_kelvin, COLDEST_KELVIN, HOTTEST_KELVIN, "The temperature", "temperature",
        field="temperature_kelvin",
    )  # fmt: skip
    if not amount.quantity > 0:
        raise OutOfRange(
            "A spill of nothing cannot be. Write a first guess; a better figure follows later.",
            field="quantity_volume",
        )
    mass = mass_as_100(
        spill.chemical, amount.basis, amount.quantity, amount.strength_frac, amount.temperature_kelvin
    )
    grams = whole_grams(mass)
    if not 0 < grams <= MOST_GRAMS:
        raise OutOfRange(
            f"A spill of {units.twin(mass.value, 'mass')} as 100 % cannot be; possible is from 1 g up to {units.twin(MOST_GRAMS / 1000.0, 'mass')}.",
            field="quantity_volume",
            seen=grams,
            allowed_low=1,
            allowed_high=MOST_GRAMS,
        )
    product = max(round(mass.value / amount.strength_frac * 1000.0), grams)
    limit = threshold(Chemical(spill.chemical), ThresholdKind.RELEASE)
    counted = limit.counted if limit else Counted.PURE
    others = sum(mass for _, mass in within_a_day(spill.chemical, spill.happened_at, counted, but=[spill.pk]))
    own = grams if counted is Counted.PURE else product
    return SpillFigure.objects.create(
        spill=spill,
        position=position,
        basis=amount.basis.value,
        value_as_typed=words_of(amount.value_as_typed, "The quantity", field="quantity_volume", most=40, least=1),
        unit_as_typed=words_of(amount.unit_as_typed, "The unit", field="quantity_volume", most=40),
        strength_frac=amount.strength_frac,
        temperature_kelvin=amount.temperature_kelvin,
        grams_100=grams,
        product_grams=product,
        movement=_booked(by, spill, grams),
        day_grams=own + others,
        limit_grams=round(limit.limit_kg * 1000.0) if limit else None,
        limit_words=f"{units.twin(limit.limit_kg, 'mass')}, {limit.counted.label}; {limit.citation}"[:300] if limit else "",
        reason=reason,
        written_by=by.user,
        written_at=by.at,
    )  # fmt: skip


def _booked(by: By, spill: Spill, grams: int) -> Movement | None:
    """The mass out of its tank; None where it came out of no tank, or the tank holds less by the books: then a count mends them."""
    if spill.place is None or balance_grams(spill.chemical, spill.place) < grams:
        return None
    return move(
        by=by.happening_at(spill.happened_at),
        chemical=spill.chemical,
        lot=spill.lot,
        from_place=spill.place,
        to_place=standing_place(Place.Kind.SPILLED),
        grams_100=grams,
        reference=spill.number,
    )


def _take_back(by: By, spill: Spill, wrong: Movement, reason: str) -> None:
    """The movement of an earlier figure, the other way round; one that a supervisor took back already stays so."""
    if Movement.objects.filter(corrects=wrong).exists():
        return
    move(
        by=by,
        chemical=wrong.chemical,
        lot=wrong.lot,
        from_place=wrong.to_place,
        to_place=wrong.from_place,
        grams_100=wrong.grams_100,
        reference=spill.number,
        reason=reason[:200],
        corrects=wrong,
    )


# --- following up ---------------------------------------------------------------------------------------------------
@use_case("spill.noted", permission="spill.record")
def note_spill(
    *, by: By, spill_id: int, kind: str, words: str, happened_at: datetime, version: int | None = None
) -> Outcome:
    """What was done about an open spill, who was told, or what was decided about reporting it. ``result`` is the note.

    Raises: RecordRefused, StaleRecord.
    """
    spill = _open(spill_id, version)
    one_of(kind, SpillNote.Kind.values, "What is written", field="kind")
    if happened_at > by.at:
        raise RecordRefused("That moment is still to come. Write when it was.", field="happened_at")
    note = SpillNote.objects.create(
        spill=spill,
        kind=kind,
        words=words_of(words, "The words", field="words", most=600, least=LEAST_WORDS),
        happened_at=happened_at,
        written_by=by.user,
        written_at=by.at,
    )
    _go_on(spill)
    return Outcome(
        subject=_subject(spill),
        after={"kind": kind},
        facts={"kind": SpillNote.Kind(kind).label, "words": note.words},
        result=note,
    )


@use_case("spill.closed", permission="spill.close")
def close_spill(*, by: By, spill_id: int, words: str, version: int | None = None) -> Outcome:
    """End a spill: cleaned up, its cause found, reported or not and why. ``result`` is it.

    Where the reportable quantity is reached, somebody has written before what was decided about reporting it. Raises: RecordRefused,
    StaleRecord.
    """
    spill = _open(spill_id, version)
    told = words_of(words, "How it ended", field="words", most=600, least=LEAST_WORDS)
    decided = any(note.kind == SpillNote.Kind.DECIDED for note in spill.notes.all())
    if newest_figure(spill).is_reached and not decided:
        raise RecordRefused(
            f"The reportable quantity is reached in {spill.number}, and nobody has written what was decided about reporting it. "
            "Write that first, with the name of who decided.",
            code="not_decided",
        )
    _go_on(spill, state=Spill.State.CLOSED.value, closed_by=by.user, closed_at=by.at, closing_words=told)
    return Outcome(
        subject=_subject(spill),
        before={"state": Spill.State.OPEN.value},
        after={"state": Spill.State.CLOSED.value},
        reason=told,
        result=spill,
    )


def _open(spill_id: int, version: int | None) -> Spill:
    spill = (
        Spill.objects.select_for_update(of=("self",))
        .select_related("place", "lot")
        .filter(pk=spill_id)
        .first()
    )
    if spill is None:
        raise RecordRefused("This spill is not known here.", code="unknown")
    if spill.state != Spill.State.OPEN:
        raise StaleRecord(f"{spill.number} is closed. Nothing more is written to it.", code="closed")
    if version is not None and version != spill.version:
        raise StaleRecord(
            f"{spill.number} was changed since you opened it: it is at version {spill.version}, you had version {version}. "
            "What you typed still stands here. Look at the present state, then write again.",
            seen=version,
            present=spill.version,
            table=Spill._meta.db_table,
            key=str(spill.pk),
        )
    return spill


def _go_on(spill: Spill, **fields: Any) -> None:
    """The spill at its next version, if nobody else wrote to it. Raises: StaleRecord."""
    hit = Spill.objects.filter(pk=spill.pk, version=spill.version, state=Spill.State.OPEN).update(
        version=spill.version + 1, **fields
    )
    if hit != 1:
        raise StaleRecord(f"{spill.number} was written to by somebody else at the same moment. Look again.")
    spill.refresh_from_db()


# --- words ----------------------------------------------------------------------------------------------------------
def _subject(spill: Spill) -> tuple[str, str, str]:
    return ("spill", spill.number, spill.number)


def _related(spill: Spill, figure: SpillFigure) -> tuple[tuple[str, str], ...]:
    found = [("place", str(spill.place_id))] if spill.place_id else []
    found += [("chemical_lot", str(spill.lot_id))] if spill.lot_id else []
    found += [("movement", str(figure.movement.number))] if figure.movement else []
    return tuple(found)


def _shown(grams: int) -> str:
    return units.twin(grams / 1000.0, "mass")


def _facts(figure: SpillFigure) -> dict[str, Any]:
    return {
        "shown": _shown(figure.grams_100),
        "typed": f"{figure.value_as_typed} {figure.unit_as_typed}".strip(),
        "limit": figure.limit_words,
        "is_reached": figure.is_reached,
        "day_grams": figure.day_grams,
        "is_booked": figure.movement is not None,
    }


def _against(facts: dict[str, Any]) -> str:
    if not facts.get("limit"):
        return "no reportable quantity is known here"
    return (
        "the reportable quantity is reached" if facts.get("is_reached") else "under the reportable quantity"
    )


def _recorded(subject: str, stored: dict[str, Any]) -> str:
    facts = stored.get("facts", {})
    return (
        f"Spill {subject}: {facts.get('shown', '–')} of {facts.get('name', 'a chemical')} as 100 % from {facts.get('typed', '–')}, "
        f"{facts.get('location', '')}; {_against(facts)}"
    )


def _measured(subject: str, stored: dict[str, Any]) -> str:
    facts = stored.get("facts", {})
    return (
        f"Spill {subject} was {facts.get('shown', '–')} as 100 %, not {facts.get('before', '–')}; {_against(facts)} "
        f"({stored.get('reason', '')})"
    )


say("spill.recorded", _recorded)
say("spill.measured_anew", _measured)
say("spill.noted", "Spill {subject}, {kind}: {words}")
say("spill.closed", "Spill {subject} was closed: {reason}")
