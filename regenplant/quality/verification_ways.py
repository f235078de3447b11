"""Rinses that went on, downgrades and retained samples: still what was signed, counted and written down."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from typing import Any

from regenplant import units
from regenplant.audit import gone
from regenplant.audit.verifying.registry import Check, Finding, Look, register
from regenplant.audit.verifying.sequences import missing_numbers, running, shown_gap
from regenplant.batches.frozen import is_untouched, plan_of
from regenplant.core.errors import DomainError
from regenplant.plant.selectors import plant_day
from regenplant.quality.models import (
    Downgrade,
    QcDecision,
    RetainedSample,
    ReworkProposal,
    RinseContinuation,
    SampleDiscard,
)
from regenplant.quality.signed_content import downgrade_content
from regenplant.quality.ways import earlier_downgrade

FIRST_SAMPLE = 1001
CLOSE = 1e-9


def check_continuations(look: Look) -> Iterator[Finding]:
    """Each rinse that went on: its step stands behind the plan, rounds follow one another."""
    rounds: dict[int, int] = {}
    rows = RinseContinuation.objects.select_related("batch", "step").order_by("batch", "round")
    for row in rows.iterator(500):
        look.saw()
        name = f"rinse of batch {row.batch.number} that went on, round {row.round}"
        before = rounds.get(row.batch_id, 0)
        rounds[row.batch_id] = row.round
        if row.round != before + 1:
            yield Finding("continued", f"The {name} does not follow round {before}.")
        if not is_untouched(row.batch):
            continue  # the check of plans says so
        planned = len(plan_of(row.batch).steps)
        if row.step.batch_id != row.batch_id or row.step.number != planned + 2 * row.round - 1:
            yield Finding("continued", f"The {name} names another step than the one that was added for it.")


def check_downgrades(look: Look) -> Iterator[Finding]:
    """Each downgrade against both signatures, and that the resin had none behind it."""
    rows = Downgrade.objects.select_related(
        "batch__lot", "batch__specification_version__specification", "decision__signature", "signature",
        "to_version__specification", "from_version",
    ).defer("batch__plan_text")  # fmt: skip
    for row in rows.order_by("pk").iterator(100):
        look.saw()
        name = f"downgrade of batch {row.batch.number}"
        yield from (Finding("downgrade", f"The {name} {words}.") for words in _unlike_signed(row))
        first = earlier_downgrade(row.batch)
        if first is not None and first.pk != row.pk:
            yield Finding(
                "downgrade", f"The {name} is a second one; the resin went down with {first.batch.number}."
            )
    signed = QcDecision.objects.filter(content__contains='"downgrade":{', version=1, downgrade__isnull=True)
    for decision in signed.select_related("batch").defer("batch__plan_text"):
        yield Finding(
            "downgrade",
            f"The QC decision on batch {decision.batch.number} was signed as a downgrade, which is missing.",
        )


def _unlike_signed(row: Downgrade) -> Iterator[str]:
    signature = row.signature
    own = (signature.record_kind, signature.record_key, signature.person_id)
    if own != ("downgrade", row.batch.number, row.agreed_by_id):
        yield f"bears a signature that was given on {signature.record_kind} {signature.record_key}"
    if row.agreed_by_id == row.decision.decided_by_id:
        yield "was signed twice by one person"
    if signature.content != row.decision.content:
        yield "was agreed to over another content than the decision"
    signed = json.loads(row.decision.content).get("downgrade")
    if signed != _as_plain(row):
        yield "no longer says what was signed"
    if row.batch.lot is not None and row.batch.lot.segregation_class != row.to_class:
        yield f"went to class {row.to_class}, and its lot {row.batch.lot.code} is class {row.batch.lot.segregation_class}"


def _as_plain(row: Downgrade) -> dict[str, Any]:
    orders = [
        {
            "customer": order.customer.code,
            "order": order.order_number,
            "accepted_by": order.accepted_by,
            "accepted_on": order.accepted_on.isoformat(),
        }
        for order in row.orders.select_related("customer")
    ]
    return downgrade_content(row.batch, row.to_version, row.to_class, row.reason, orders)


def check_proposals(look: Look) -> Iterator[Finding]:
    """Each proposed rework as it was signed with its decision."""
    for row in ReworkProposal.objects.select_related("decision__batch").order_by("pk").iterator(500):
        look.saw()
        signed = json.loads(row.decision.content).get("rework_proposal") or {}
        same = signed.get("kind") == row.kind and signed.get("chemicals_kg_100") == row.chemicals_kg
        same = same and signed.get("water_m3") == row.water_m3 and signed.get("next_test") == row.next_test
        if not same:
            yield Finding(
                "proposal",
                f"The rework proposed for batch {row.decision.batch.number} is not what was signed.",
            )


def check_samples(look: Look) -> Iterator[Finding]:
    """Each retained sample: its volume as typed; none discarded as due before its day; running numbers."""
    for row in RetainedSample.objects.order_by("pk").iterator(500):
        look.saw()
        if not _as_typed(row):
            yield Finding(
                "sample", f"The volume of sample {row.number} is not what was typed, {row.volume_as_typed}."
            )
    for gone_one in SampleDiscard.objects.select_related("sample").order_by("pk").iterator(500):
        look.saw()
        is_early = plant_day(gone_one.discarded_at) <= gone_one.sample.keep_until
        if gone_one.why == SampleDiscard.Why.DUE and is_early:
            yield Finding(
                "sample",
                f"Sample {gone_one.sample.number} was discarded as due before its day, {gone_one.sample.keep_until}.",
            )
    numbers = running([*RetainedSample.objects.values_list("number", flat=True), *gone.numbers("RS-")], "RS-")
    for gap in missing_numbers(numbers, FIRST_SAMPLE):
        yield Finding("number", f"Sample {shown_gap(gap, 'RS-')} missing in the record.")


def _as_typed(row: RetainedSample) -> bool:
    for system in units.SYSTEMS:
        try:
            read = units.understand(row.volume_as_typed, "liquid_volume", system=system).value
        except DomainError:
            continue
        if math.isclose(read, row.volume_m3, rel_tol=CLOSE):
            return True
    return False


register(Check("continued", "Rinses that went on", "rounds", check_continuations), place=75)
register(Check("downgrade", "Downgrades", "downgrades", check_downgrades), place=76)
register(Check("proposal", "Proposed reworks", "proposals", check_proposals), place=77)
register(Check("sample", "Retained samples", "samples", check_samples), place=78)
