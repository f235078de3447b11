"""The rework that QC proposes with a fail: offered by the rules, signed with the decision, kept with what it would cost."""

from __future__ import annotations

from typing import Any

from regenplant.batches.models import Batch
from regenplant.core.errors import RecordRefused
from regenplant.core.process.rework_options import ReworkOption
from regenplant.quality.models import QcDecision, ReworkProposal
from regenplant.quality.specification import Judged
from regenplant.quality.ways import rework_ways


def proposed(batch: Batch, judged: Judged, verdict: str, kind: str) -> ReworkOption | None:
    """The way that is proposed; None for none. Raises: RecordRefused for one that makes no sense here, or beside a pass."""
    if not kind:
        return None
    if verdict != "fail":
        raise RecordRefused(
            "A batch that passes is not reworked. Choose no rework.", code="no_rework", field="proposal"
        )
    ways = rework_ways(batch, judged)
    found = next((way for way in ways if way.kind.value == kind), None)
    if found is None:
        offered = ", ".join(way.kind.label.lower() for way in ways) or "none"
        raise RecordRefused(
            f"That way does not fit this resin and what it misses. Offered: {offered}.",
            code="no_such_way",
            field="proposal",
        )
    return found


def proposal_content(option: ReworkOption | None) -> dict[str, Any]:
    """What of it is signed."""
    if option is None:
        return {}
    cost = option.cost
    return {
        "rework_proposal": {
            "kind": option.kind.value,
            "chemicals_kg_100": _kilograms(option),
            "water_m3": cost.water_m3,
            "duration_s": cost.duration_s,
            "next_test": option.next_test,
        }
    }


def _kilograms(option: ReworkOption) -> dict[str, float]:
    return {chemical.value: kilograms for chemical, kilograms in option.cost.chemicals}


def write_proposal(decision: QcDecision, option: ReworkOption | None) -> None:
    """Keep it beside the decision."""
    if option is not None:
        ReworkProposal.objects.create(
            decision=decision,
            kind=option.kind.value,
            chemicals_kg=_kilograms(option),
            water_m3=option.cost.water_m3,
            duration_s=option.cost.duration_s,
            next_test=option.next_test,
        )
