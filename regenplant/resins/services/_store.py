"""What the acts on the store of resin share: a counted volume, one movement, and what is refused before one."""

from __future__ import annotations

from dataclasses import dataclass

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.records import within
from regenplant.core.errors import RecordRefused, StaleRecord
from regenplant.core.process.vocabulary import EXHAUSTED_FORM, ResinFamily
from regenplant.resins import bodies, elsewhere
from regenplant.resins.models import LotMovement, ResinLot

LEAST_M3, MOST_M3 = 1e-4, 50.0
"""What a single movement of resin may be, to catch slips of unit [m^3]."""
_OUT = (
    LotMovement.Kind.TAKEN,
    LotMovement.Kind.TO_BATCH,
    LotMovement.Kind.TO_TANK,
    LotMovement.Kind.SCRAPPED,
)


@dataclass(frozen=True, slots=True)
class Counted:
    """A settled volume as somebody counted it, with the ionic form it was counted in [m^3]."""

    volume_m3: float
    form: str


def locked_lot(pk: int, version: int | None = None) -> ResinLot:
    """The lot, locked. ``version``: how often resin of it had been moved in the store when the page was shown.

    Raises: RecordRefused for an unknown or scrapped lot, StaleRecord.
    """
    lot = ResinLot.objects.select_for_update(of=("self",)).select_related("resin_type").filter(pk=pk).first()
    if lot is None:
        raise RecordRefused("This resin lot is not known here.", code="unknown", field="resin_lot_id")
    moves = bodies.moves_of(lot)
    if version is not None and version != moves:
        raise StaleRecord(
            f"Resin of {lot.code} was moved since you opened this page: {moves} movements stand there, you had {version}. "
            "What you typed still stands here. Look at the store, then write again.",
            seen=version,
            present=moves,
            table=LotMovement._meta.db_table,
            key=str(lot.pk),
        )
    if lot.is_scrapped:
        raise RecordRefused(f"{lot.code} is scrapped; nothing is done with it any more.", code="scrapped")
    return lot


def reference_m3(lot: ResinLot, counted: Counted, *, field: str) -> float:
    """A counted volume of this lot in the exhausted form [m^3]. Raises: OutOfRange."""
    within(counted.volume_m3, LEAST_M3, MOST_M3, "The volume", "resin_volume", field=field)
    return bodies.exhausted_m3(lot.resin_type, counted.volume_m3, counted.form)


def move(
    by: By,
    lot: ResinLot,
    kind: LotMovement.Kind,
    counted: Counted,
    *,
    exhausted_m3: float | None = None,
    other: ResinLot | None = None,
    reference: str = "",
    reason: str = "",
) -> LotMovement:
    """Write one movement. ``exhausted_m3`` where it is known already, signed; else worked out from the counted volume."""
    volume = (
        bodies.exhausted_m3(lot.resin_type, counted.volume_m3, counted.form)
        if exhausted_m3 is None
        else exhausted_m3
    )
    return LotMovement.objects.create(
        lot=lot,
        kind=kind.value,
        exhausted_m3=-abs(volume) if kind in _OUT else volume,
        volume_m3=counted.volume_m3,
        volume_form=counted.form,
        other_lot=other,
        reference=reference,
        reason=reason,
        moved_at=by.happened_at,
        moved_by=by.user,
    )


def take(
    by: By,
    lot: ResinLot,
    kind: LotMovement.Kind,
    counted: Counted,
    *,
    field: str,
    other: ResinLot | None = None,
    reference: str = "",
    reason: str = "",
) -> float:
    """Take a counted volume out of the store; what it was in the exhausted form [m^3].

    Raises: OutOfRange, RecordRefused when less stands there.
    """
    wanted = reference_m3(lot, counted, field=field)
    refuse_more_than_stored(lot, wanted, counted, field=field)
    move(by, lot, kind, counted, exhausted_m3=wanted, other=other, reference=reference, reason=reason)
    return wanted


def refuse_more_than_stored(lot: ResinLot, wanted_m3: float, counted: Counted, *, field: str) -> None:
    """Raises: RecordRefused when less stands in the store than is wanted, both in the exhausted form [m^3]."""
    stored = bodies.stored_m3(lot)
    if wanted_m3 <= stored + bodies.NOTHING_M3:
        return
    in_form = bodies.in_form_m3(lot.resin_type, stored, counted.form)
    raise RecordRefused(
        f"{units.twin(counted.volume_m3, 'resin_volume')} of {lot.code} was written; by the book {units.twin(in_form, 'resin_volume')} "
        "in this form stand in the store. Count the store, or write a smaller volume.",
        field=field,
        code="more_than_stored",
    )


def refuse_unfit(lot: ResinLot, *, field: str = "resin_lot_id") -> None:
    """Raises: RecordRefused for resin that nothing may be made from: new and unconditioned, or held by a room above (``refuse_held``)."""
    if lot.needs_conditioning:
        raise RecordRefused(
            f"{lot.code} is new resin that was not conditioned yet (backwash, double dose, long rinse). Condition it first, or write "
            "down who did.",
            field=field,
            code="not_conditioned",
        )
    refuse_held(lot, field=field)


def refuse_held(lot: ResinLot, *, field: str = "resin_lot_id") -> None:
    """Raises: RecordRefused with what rooms above hold against using this lot."""
    stops = elsewhere.against_use(lot)
    if stops:
        raise RecordRefused(" ".join(stops), field=field, code="held")


def refuse_elsewhere(lot: ResinLot) -> None:
    """Raises: RecordRefused while tanks or vessels hold resin of this lot."""
    standing = elsewhere.found([lot.pk])
    if standing:
        codes = ", ".join(one.code for one in standing[:6])
        more = f" and {len(standing) - 6} more" if len(standing) > 6 else ""
        raise RecordRefused(
            f"{codes}{more} hold resin of {lot.code}. It is scrapped with its batch; what stands in the store can be scrapped alone.",
            code="still_held",
        )


def exhausted_form(lot: ResinLot) -> str:
    """The form in which volumes of this lot are compared."""
    return EXHAUSTED_FORM[ResinFamily(lot.resin_type.family)].value
