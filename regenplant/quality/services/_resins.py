"""Which resin of a lot is spoken of: the whole of it, or one of the two of a mixed bed."""

from __future__ import annotations

from regenplant.audit.records import one_of
from regenplant.core.errors import RecordRefused
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.quality.models import ResinOf
from regenplant.resins.models import ResinLot, ResinType


def resin_of(lot: ResinLot, resin: str) -> ResinType:
    """The resin that was looked at. Raises: RecordRefused for carbon, and where a mixed bed does not say which, or another one does."""
    family = ResinFamily(lot.resin_type.family)
    one_of(resin, ResinOf.values, "Which resin", field="resin")
    if family.is_exchanged:
        raise RecordRefused(
            f"{lot.code} is carbon; it exchanges no ions and has no such figures.", code="carbon"
        )
    if not family.is_mixed:
        if resin:
            raise RecordRefused(
                f"{lot.code} holds one resin; leave out which.", field="resin", code="one_resin"
            )
        return lot.resin_type
    found = {
        ResinOf.CATION.value: lot.resin_type.cation_type,
        ResinOf.ANION.value: lot.resin_type.anion_type,
    }.get(resin)
    if found is None:
        raise RecordRefused(
            f"{lot.code} is a mixed bed: say whether the cation or the anion resin was looked at.",
            field="resin",
            code="which_resin",
        )
    return found
