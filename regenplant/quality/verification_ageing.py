"""Samples of resin and capacities that people set: figures are what was typed, numbers follow one another."""

from __future__ import annotations

import math
from collections.abc import Iterator

from regenplant import units
from regenplant.audit import gone
from regenplant.audit.verifying.registry import Check, Finding, Look, register
from regenplant.audit.verifying.sequences import missing_numbers, running, shown_gap
from regenplant.core.errors import DomainError
from regenplant.core.process.canonical import canonical_text
from regenplant.core.process.resin_tests import Property
from regenplant.quality.models import ResinFigure, ResinSample
from regenplant.resins.models import LotCapacity
from regenplant.resins.services._capacity import RECORD_KIND, key_of, signed_content

FIRST_SAMPLE = 1001
CLOSE = 1e-9


def check_samples(look: Look) -> Iterator[Finding]:
    """Each figure against what was typed; a correction corrects the same figure of the same sample; no number is missing."""
    for row in ResinFigure.objects.select_related("sample", "replaces").order_by("pk").iterator(500):
        look.saw()
        name = f"{Property(row.property).label.lower()} of resin sample {row.sample.number}"
        if not _as_typed(row):
            yield Finding(
                "resin_sample",
                f"The {name} is not what was typed, {row.value_as_typed} {row.unit_as_typed}.",
            )
        old = row.replaces
        if old is not None and (old.sample_id, old.property) != (row.sample_id, row.property):
            yield Finding("resin_sample", f"The {name} corrects another figure than its own.")
    numbers = running([*ResinSample.objects.values_list("number", flat=True), *gone.numbers("LT-")], "LT-")
    for gap in missing_numbers(numbers, FIRST_SAMPLE):
        yield Finding("number", f"Resin sample {shown_gap(gap, 'LT-')} missing in the record.")


def _as_typed(row: ResinFigure) -> bool:
    text = f"{row.value_as_typed} {row.unit_as_typed}".strip()
    try:
        read = units.understand(text, Property(row.property).kind).value
    except DomainError:
        return False
    return math.isclose(read, row.value, rel_tol=CLOSE)


def check_capacities(look: Look) -> Iterator[Finding]:
    """The capacities that were set for each lot are numbered without a gap, and are what was signed."""
    before: dict[int, int] = {}
    for row in LotCapacity.objects.select_related("lot", "signature").order_by("lot", "number").iterator(500):
        look.saw()
        yield from _signed(row)
        if row.number != before.get(row.lot_id, 0) + 1:
            yield Finding(
                "capacity",
                f"Capacity {row.number} of resin lot {row.lot.code} does not follow {before.get(row.lot_id, 0)}.",
            )
        before[row.lot_id] = row.number


def _signed(row: LotCapacity) -> Iterator[Finding]:
    """Against its signature; one that an older program set without is a notice."""
    signature, name = row.signature, f"Capacity {row.number} of resin lot {row.lot.code}"
    if signature is None:
        yield Finding("capacity", f"{name} bears no signature: an older program set it.", is_notice=True)
    elif (signature.record_kind, signature.record_key, signature.person_id) != (
        RECORD_KIND,
        key_of(row),
        row.set_by_id,
    ):
        yield Finding("capacity", f"{name} bears a signature that was given on something else.")
    elif signature.content != canonical_text(signed_content(row)):
        yield Finding("capacity", f"{name} is not what was signed.")


register(Check("resin_sample", "Samples of resin", "figures of resin samples", check_samples), place=79)
register(Check("capacity", "Capacities of lots", "capacities of lots", check_capacities), place=80)
