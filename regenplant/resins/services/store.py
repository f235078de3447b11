"""Acts in the store of resin: mix, split, top up, scrap, count; what goes into a batch or a tank, and what is kept of a batch.

Volumes are written as counted, with their ionic form; they are added in the exhausted form, by the swelling of the resin type. Lots
of different pooling keys never meet.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.records import code_of, within, words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.core.process import resin_lots
from regenplant.core.process.vocabulary import IonicForm, SegregationClass
from regenplant.resins import bodies
from regenplant.resins.capacities import factors_of
from regenplant.resins.models import LotMovement, ResinLot
from regenplant.resins.services._rules import key_words, lot_subject, refuse_parent
from regenplant.resins.services._store import (
    LEAST_M3,
    MOST_M3,
    Counted,
    exhausted_form,
    locked_lot,
    move,
    reference_m3,
    refuse_held,
    refuse_more_than_stored,
    refuse_unfit,
    take,
)
from regenplant.resins.services.lots import mix_lot

MOST_PIECES = 12
"""Into how many lots one is split at once, and from how many one is mixed."""
SHORTEST_REASON = 10


@dataclass(frozen=True, slots=True)
class Taken:
    """Resin that goes into a mixture: of which lot, and how much as counted."""

    resin_lot_id: int
    counted: Counted


@dataclass(frozen=True, slots=True)
class Piece:
    """One of the lots a lot is split into."""

    code: str
    counted: Counted


@use_case("resin_lot.mixed_in_store", permission="resin.mix")
def mix_in_store(
    *,
    by: By,
    code: str,
    segregation_class: str,
    taken: Sequence[Taken],
    counted: Counted,
    reason: str,
    resin_lot_ids: Sequence[int] = (),
    version: int | None = None,
) -> Outcome:
    """Mix resin of several lots in the store into a new one. ``counted`` is the settled volume of the mixture; what it differs from the
    volumes that went in is written down as a difference by count. ``version`` is that of the first lot's page.

    ``resin_lot_ids`` are the lots of ``taken``, so that the right is asked for in the class of each.

    Raises: RecordRefused for lots of another key, unfit ones, or more than stands there; OutOfRange; StaleRecord.
    """
    if set(resin_lot_ids) != {one.resin_lot_id for one in taken}:
        raise RecordRefused("The lots named are not those that are mixed.", code="other_lots")
    if len({one.resin_lot_id for one in taken}) < 2 or len(taken) > MOST_PIECES:
        raise RecordRefused(
            f"{len(taken)} lots were chosen. A mixture is made from 2 to {MOST_PIECES} different lots.",
            field="taken",
            code="number_of_lots",
        )
    lots = [
        locked_lot(one.resin_lot_id, version if number == 0 else None) for number, one in enumerate(taken)
    ]
    words = _reason(reason)
    made, lost = _made(by, code, segregation_class, [(lot, one.counted) for lot, one in zip(lots, taken, strict=True)], counted, words, "mixed in the store")  # fmt: skip
    return _made_outcome(made, lots, lost, words)


@use_case("resin_lot.topped_up", permission="resin.mix")
def top_up_lot(
    *,
    by: By,
    code: str,
    resin_lot_id: int,
    with_lot_id: int,
    added: Counted,
    counted: Counted,
    reason: str,
    version: int | None = None,
) -> Outcome:
    """Top up what stands in the store of a lot with conditioned resin of the same key; the whole becomes a lot of its own.

    Raises: as ``mix_in_store``.
    """
    if resin_lot_id == with_lot_id:
        raise RecordRefused("A lot is not topped up with itself.", field="with_lot_id", code="itself")
    lot, other = locked_lot(resin_lot_id, version), locked_lot(with_lot_id)
    stored = bodies.stored_m3(lot)
    if not stored:
        raise RecordRefused(
            f"Nothing of {lot.code} stands in the store, so there is nothing to top up.",
            code="nothing_stored",
        )
    words = _reason(reason)
    whole = Counted(stored, exhausted_form(lot))
    made, lost = _made(
        by,
        code,
        lot.segregation_class,
        [(lot, whole), (other, added)],
        counted,
        words,
        f"{lot.code} topped up",
    )
    return _made_outcome(made, [lot, other], lost, words)


@use_case("resin_lot.split", permission="resin.mix")
def split_lot(
    *, by: By, resin_lot_id: int, pieces: Sequence[Piece], reason: str, version: int | None = None
) -> Outcome:
    """Part of what stands in the store of a lot becomes lots of their own; the rest stays under its code. Of new resin the
    parts wait for conditioning too.

    Raises: RecordRefused, OutOfRange, StaleRecord.
    """
    if not 1 <= len(pieces) <= MOST_PIECES:
        raise RecordRefused(
            f"{len(pieces)} parts were written. A lot is split into 1 to {MOST_PIECES} at once.",
            field="pieces",
            code="number_of_lots",
        )
    lot = locked_lot(resin_lot_id, version)
    refuse_held(lot)
    words = _reason(reason)
    before = bodies.stored_m3(lot)
    made: list[ResinLot] = []
    for piece in pieces:
        child = _child(
            by, piece.code, lot.segregation_class, {lot: 1.0}, piece.counted, f"split from {lot.code}"
        )
        volume = take(
            by, lot, LotMovement.Kind.TAKEN, piece.counted, field="pieces", other=child, reason=words
        )
        move(by, child, LotMovement.Kind.MADE, piece.counted, exhausted_m3=volume, reason=words)
        made.append(child)
    if lot.needs_conditioning:
        ResinLot.objects.filter(pk__in=[child.pk for child in made]).update(needs_conditioning=True)
    return Outcome(
        subject=lot_subject(lot),
        before={"stored_m3": before},
        after={"stored_m3": bodies.stored_m3(lot)},
        facts={"into": ", ".join(_told(one) for one in made)},
        reason=words,
        related=tuple(("resin_lot", str(one.pk)) for one in made),
        result=tuple(made),
    )


@use_case("resin_lot.scrapped_in_part", permission="resin.edit")
def scrap_stored(
    *, by: By, resin_lot_id: int, counted: Counted | None, reason: str, version: int | None = None
) -> Outcome:
    """Resin in the store goes out of use for good: a counted volume, or (None) all that stands there.

    Raises: RecordRefused, OutOfRange, StaleRecord.
    """
    lot = locked_lot(resin_lot_id, version)
    words = _reason(reason)
    before = bodies.stored_m3(lot)
    if not before:
        raise RecordRefused(f"Nothing of {lot.code} stands in the store.", code="nothing_stored")
    gone = counted or Counted(before, exhausted_form(lot))
    volume = take(by, lot, LotMovement.Kind.SCRAPPED, gone, field="volume_m3", reason=words)
    return Outcome(
        subject=lot_subject(lot),
        before={"stored_m3": before},
        after={"stored_m3": bodies.stored_m3(lot)},
        facts={"shown": _volume(gone), "exhausted_m3": volume},
        reason=words,
        result=lot,
    )


@use_case("resin_lot.counted", permission="resin.mix")
def count_stored(
    *, by: By, resin_lot_id: int, counted: Counted, reason: str, version: int | None = None
) -> Outcome:
    """What stands in the store was counted; the difference to the book is written down with its reason, a count without one too.
    A count of 0 says that nothing is left.

    Raises: RecordRefused for a count above what may be there (then a receipt is missing), OutOfRange, StaleRecord.
    """
    lot = locked_lot(resin_lot_id, version)
    words = _reason(reason)
    within(counted.volume_m3, 0.0, MOST_M3, "The volume", "resin_volume", field="volume_m3")
    before = bodies.stored_m3(lot)
    seen = bodies.exhausted_m3(lot.resin_type, counted.volume_m3, counted.form) if counted.volume_m3 else 0.0
    most = before * (1.0 + resin_lots.COUNT_BAND_FRAC)
    if seen > most + bodies.NOTHING_M3:
        raise OutOfRange(
            f"{units.twin(seen, 'resin_volume')} in the exhausted form were counted; by the book {units.twin(before, 'resin_volume')} of "
            f"{lot.code} stand there, and a count may be {resin_lots.COUNT_BAND_FRAC:.0%} above it. Count again; resin that came in is received "
            "as a lot of its own.",
            field="volume_m3",
            seen=seen,
            allowed_high=most,
        )
    move(by, lot, LotMovement.Kind.COUNTED, counted, exhausted_m3=seen - before, reason=words)
    return Outcome(
        subject=lot_subject(lot),
        before={"stored_m3": before},
        after={"stored_m3": seen},
        facts={"shown": _volume(counted), "difference": _signed(seen - before)},
        reason=words,
        result=lot,
    )


@use_case("resin_lot.conditioned", permission="resin.mix")
def condition_lot(*, by: By, resin_lot_id: int, how: str, version: int | None = None) -> Outcome:
    """New resin was conditioned: say how, or by whose certificate. Raises: RecordRefused, StaleRecord."""
    lot = locked_lot(resin_lot_id, version)
    if not lot.needs_conditioning:
        raise RecordRefused(f"{lot.code} does not wait for conditioning.", code="not_new")
    words = _reason(how, "How it was conditioned", field="how")
    ResinLot.objects.filter(pk=lot.pk).update(needs_conditioning=False)
    lot.needs_conditioning = False
    return Outcome(
        subject=lot_subject(lot),
        before={"needs_conditioning": True},
        after={"needs_conditioning": False},
        reason=words,
        result=lot,
    )


# --- what goes into batches and tanks, and what is kept of a batch: called by their services ----------------------------
@use_case("resin_lot.taken_for_batch", permission="batch.run")
def take_for_batch(
    *,
    by: By,
    resin_lot_id: int,
    counted: Counted,
    reference: str,
    resin_type_id: int,
    segregation_class: str,
    dedicated_to: str,
    reason: str,
) -> Outcome:
    """Conditioned resin of the same key goes from the store into the bed of a batch; what it was in the exhausted form is the result [m^3].

    Raises: RecordRefused, OutOfRange.
    """
    lot = locked_lot(resin_lot_id)
    refuse_unfit(lot)
    same = (lot.resin_type_id, lot.segregation_class, lot.dedicated_to)
    if same != (resin_type_id, segregation_class, dedicated_to):
        raise RecordRefused(
            f"{lot.code} is {key_words(lot)}; {reference} is another pool. A bed is topped up with resin of its own key only.",
            field="resin_lot_id",
            code="mixed_pool",
        )
    volume = take(by, lot, LotMovement.Kind.TO_BATCH, counted, field="volume_m3", reference=reference, reason=reason)  # fmt: skip
    return _moved(lot, counted, volume, reference, reason)


@use_case("resin_lot.filled_into_tank", permission="tank.edit")
def take_for_tank(*, by: By, resin_lot_id: int, counted: Counted, reference: str) -> Outcome:
    """Resin goes from the store into a tank that is registered with it. Raises: RecordRefused, OutOfRange."""
    lot = locked_lot(resin_lot_id)
    volume = take(by, lot, LotMovement.Kind.TO_TANK, counted, field="resin_volume_m3", reference=reference)
    return _moved(lot, counted, volume, reference, "")


@use_case("resin_lot.kept", permission="batch.run")
def keep_in_store(*, by: By, resin_lot_id: int, counted: Counted, reference: str) -> Outcome:
    """What was left of a batch after its tanks were filled goes into the store. Raises: RecordRefused, OutOfRange."""
    lot = locked_lot(resin_lot_id)
    volume = reference_m3(lot, counted, field="volume_m3")
    move(by, lot, LotMovement.Kind.KEPT, counted, exhausted_m3=volume, reference=reference)
    return _moved(lot, counted, volume, reference, "")


def _moved(lot: ResinLot, counted: Counted, volume_m3: float, reference: str, reason: str) -> Outcome:
    return Outcome(
        subject=lot_subject(lot),
        after={"stored_m3": bodies.stored_m3(lot)},
        facts={"shown": _volume(counted), "exhausted_m3": volume_m3, "reference": reference},
        reason=reason,
        result=volume_m3,
    )


# --- helpers ----------------------------------------------------------------------------------------------------------
def _made(
    by: By,
    code: str,
    segregation_class: str,
    taken: Sequence[tuple[ResinLot, Counted]],
    counted: Counted,
    reason: str,
    origin: str,
) -> tuple[ResinLot, float]:
    """The new lot and its difference by count [m^3, exhausted form]; the volumes that went in are out of the store."""
    first = taken[0][0]
    volumes: dict[ResinLot, float] = {}
    for lot, one in taken:
        refuse_unfit(lot)
        refuse_parent(lot, first.resin_type, segregation_class)
        _refuse_other_owner(lot, first)
        wanted = volumes.get(lot, 0.0) + reference_m3(lot, one, field="taken")
        refuse_more_than_stored(lot, wanted, one, field="taken")
        volumes[lot] = wanted
    whole = sum(volumes.values())
    seen = reference_m3(first, counted, field="counted_m3")
    difference = resin_lots.require_same_count(seen, whole, "The mixture", field="counted_m3")
    shares = {lot: volume / whole for lot, volume in volumes.items()}
    made = _child(by, code, segregation_class, shares, counted, origin)
    for lot, one in taken:
        take(by, lot, LotMovement.Kind.TAKEN, one, field="taken", other=made, reason=reason)
    form = exhausted_form(first)
    move(by, made, LotMovement.Kind.MADE, Counted(whole, form), exhausted_m3=whole, reason=reason)
    if abs(difference) > bodies.NOTHING_M3:
        move(by, made, LotMovement.Kind.COUNTED, counted, exhausted_m3=difference, reason=reason)
    return made, difference


def _child(
    by: By,
    code: str,
    segregation_class: str,
    shares: dict[ResinLot, float],
    counted: Counted,
    origin: str,
) -> ResinLot:
    within(counted.volume_m3, LEAST_M3, MOST_M3, "The volume", "resin_volume", field="counted_m3")
    first = next(iter(shares))
    factors = factors_of(shares)
    made: ResinLot = mix_lot(
        by=by,
        code=code_of(code, "The new lot’s code"),
        resin_type_id=first.resin_type_id,
        segregation_class=segregation_class,
        volume_m3=counted.volume_m3,
        volume_form=counted.form,
        origin=origin,
        parents=[(lot.pk, share) for lot, share in shares.items()],
        cycles=max(lot.cycles for lot in shares),
        capacity_factor=sum(factors[lot.pk] * share for lot, share in shares.items()),
        dedicated_to=first.dedicated_to,
    ).result
    return made


def _refuse_other_owner(lot: ResinLot, first: ResinLot) -> None:
    """Dedicated resin stays its owner's, also in the store."""
    dedicated = SegregationClass.DEDICATED.value
    if dedicated in (lot.segregation_class, first.segregation_class) and not lot.dedicated_to:
        raise RecordRefused(
            f"Whom {lot.code} is dedicated to is not on record, so it is mixed with nothing.",
            field="taken",
            code="owner_unknown",
        )
    if lot.dedicated_to != first.dedicated_to:
        raise RecordRefused(
            f"{lot.code} is {key_words(lot)}, {first.code} is {key_words(first)}. Dedicated resin is never mixed with another’s.",
            field="taken",
            code="mixed_pool",
        )


def _made_outcome(made: ResinLot, lots: Sequence[ResinLot], difference: float, reason: str) -> Outcome:
    shares = {link.parent.code: link.fraction for link in made.parent_links.select_related("parent")}
    return Outcome(
        subject=lot_subject(made),
        after={"volume_m3": made.volume_m3, "volume_form": made.volume_form},
        facts={
            "shown": _told(made),
            "from": ", ".join(f"{code} ({100 * share:.1f} %)" for code, share in shares.items()),
            "difference": _signed(difference),
        },
        reason=reason,
        related=tuple(("resin_lot", str(lot.pk)) for lot in lots),
        result=made,
    )


def _reason(words: str, what: str = "The reason", *, field: str = "reason") -> str:
    return words_of(words, what, field=field, most=300, least=SHORTEST_REASON)


def _told(lot: ResinLot) -> str:
    return f"{lot.code} ({_volume(Counted(lot.volume_m3, lot.volume_form))})"


def _volume(counted: Counted) -> str:
    return f"{units.twin(counted.volume_m3, 'resin_volume')}, {IonicForm(counted.form).label}"


def _signed(volume_m3: float) -> str:
    return f"{volume_m3 * 1000:+.1f} L"


say(
    "resin_lot.mixed_in_store",
    "Resin lot {subject} was mixed in the store: {shown} from {from}; difference by count {difference}",
)
say(
    "resin_lot.topped_up",
    "Resin lot {subject} was made by topping up: {shown} from {from}; difference by count {difference}",
)
say("resin_lot.split", "Resin lot {subject} was split; apart now {into}")
say("resin_lot.scrapped_in_part", "Of resin lot {subject}, {shown} were scrapped out of the store")
say(
    "resin_lot.counted",
    "Resin lot {subject} was counted in the store: {shown}, {difference} against the book",
)
say("resin_lot.conditioned", "New resin of lot {subject} was conditioned")
say("resin_lot.taken_for_batch", "Of resin lot {subject}, {shown} went from the store into {reference}")
say("resin_lot.filled_into_tank", "Of resin lot {subject}, {shown} went from the store into tank {reference}")
say("resin_lot.kept", "Of resin lot {subject}, {shown} was kept in the store after {reference}")
