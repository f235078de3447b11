"""Writing the capacity factor of a lot: one row behind the others, by compare-and-set."""

from __future__ import annotations

from regenplant.audit.by import By
from regenplant.audit.records import within, words_of
from regenplant.core.errors import RecordRefused, StaleRecord
from regenplant.core.process.resin_ageing import Belief
from regenplant.people.signing import SignaturePermit, bind
from regenplant.resins.capacities import LEAST_FACTOR, MOST_FACTOR
from regenplant.resins.models import LotCapacity, ResinLot

CAPACITY_MEANING = "capacity that plans count with, set for this lot"
RECORD_KIND = "lot_capacity"


def write_capacity(
    by: By,
    lot: ResinLot,
    factor: float,
    *,
    proposed: Belief,
    basis: str,
    reason: str,
    seen_number: int,
    permit: SignaturePermit,
    zone: str,
) -> LotCapacity:
    """The next factor of this lot, signed. ``seen_number``: of the factor that was shown, 0 for none.

    Raises: OutOfRange; RecordRefused for a scrapped lot or words that are missing; StaleRecord; SignatureRefused.
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
    row = LotCapacity(
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
    row.signature = bind(
        permit, by=by, meaning=CAPACITY_MEANING, record_kind=RECORD_KIND, record_key=key_of(row), record_version=row.number,
        content=signed_content(row), zone=zone,
    )  # fmt: skip
    row.save(force_insert=True)
    return row


def key_of(row: LotCapacity) -> str:
    """What the signature names: "N-1/2"."""
    return f"{row.lot.code}/{row.number}"


def signed_content(row: LotCapacity) -> dict[str, object]:
    """What is signed: the factor, what was proposed then with its band and what it rested on, and why it was set so."""
    return {
        "lot": row.lot.code,
        "number": row.number,
        "factor": row.factor,
        "proposed": row.proposed,
        "proposed_low": row.proposed_low,
        "proposed_high": row.proposed_high,
        "basis": row.basis,
        "reason": row.reason,
    }
