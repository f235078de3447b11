"""Writing the capacity factor of a lot: one row behind the others, by compare-and-set."""

from __future__ import annotations

from regenplant.audit.by import By
from regenplant.audit.records import within, words_of
from regenplant.core.errors import RecordRefused, StaleRecord
from regenplant.core.process.resin_ageing import Belief
from regenplant.resins.capacities import LEAST_FACTOR, MOST_FACTOR
from regenplant.resins.models import LotCapacity, ResinLot


def write_capacity(
    by: By, lot: ResinLot, factor: float, *, proposed: Belief, basis: str, reason: str, seen_number: int
) -> LotCapacity:
    """The next factor of this lot. ``seen_number``: of the factor that was shown, 0 for none.

    Raises: OutOfRange; RecordRefused for a scrapped lot or words that are missing; StaleRecord.
    """
    if lot.is_scrapped:
        raise RecordRefused(f"{lot.code} is scrapped; no plan counts with it any more.", code="scrapped")
    within(factor, LEAST_FACTOR, MOST_FACTOR, "The capacity factor", "fraction", field="factor")
    words = words_of(reason, "The reason", field="reason", most=300, least=10)
    newest = LotCapacity.objects.filter(lot=lot).order_by("-number").first()
    standing = newest.number if newest is not None else 0
    if standing != seen_number:
        raise StaleRecord(
            f"The capacity of {lot.code} was set by somebody else since this page was shown. Look at it again.",
            seen=seen_number,
            present=standing,
            table="resins_lotcapacity",
            key=str(newest.pk) if newest is not None else "",
        )
    return LotCapacity.objects.create(
        lot=lot,
        number=standing + 1,
        factor=factor,
        proposed=proposed.mean,
        proposed_low=proposed.low,
        proposed_high=proposed.high,
        basis=basis[:600],
        reason=words,
        set_at=by.at,
        set_by=by.user,
    )
