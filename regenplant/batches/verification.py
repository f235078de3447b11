"""Batches: frozen plans, what was written down against what was typed, readings against their raw values, running numbers."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable, Iterator

from regenplant import CORE_VERSION, units
from regenplant.audit import gone
from regenplant.audit.verifying.registry import Check, Finding, Look, register
from regenplant.audit.verifying.sequences import missing_numbers, running, shown_gap
from regenplant.batches.frozen import freeze, is_untouched, plan_of
from regenplant.batches.models import (
    Batch,
    BatchTank,
    Deviation,
    EntryCheck,
    MeterLog,
    RinseReading,
    StepEntry,
    StepRun,
)
from regenplant.batches.points import digest_of
from regenplant.batches.received import unlike_its_text
from regenplant.batches.within import is_within
from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.errors import DomainError
from regenplant.core.process.batch_plan import plan_batch
from regenplant.core.process.entry_rules import NO_NUMBERS
from regenplant.core.process.plan import EntrySpec
from regenplant.core.process.specification import RinseReading as CoreReading

CLOSE = 1e-9
"""Relative difference up to which two calculations of the same figure are the same."""
FIRST_BATCH, FIRST_DEVIATION = 10001, 1001
"""Where the acts begin to count."""
ANEW = "plans"
"""Option: work every plan out anew."""


# --- plans ----------------------------------------------------------------------------------------------------------
def check_plans(look: Look) -> Iterator[Finding]:
    """Each frozen plan against its digest, and against what the batch says it runs under."""
    batches = Batch.objects.select_related("recipe_version__recipe", "specification_version", "vessel")
    for batch in batches.order_by("pk").iterator(200):
        look.saw()
        if not is_untouched(batch):
            yield Finding("plan", f"The frozen plan of batch {batch.number} no longer fits its digest.")
            continue
        yield from (Finding("plan", f"Batch {batch.number} {words}.") for words in _unlike_its_plan(batch))


def _unlike_its_plan(batch: Batch) -> Iterator[str]:
    plan = plan_of(batch)
    request, version = plan.request, batch.recipe_version
    if (request.recipe.code, request.recipe_version) != (version.recipe.code, version.number):
        yield (
            f"names recipe {version.recipe.code} version {version.number}, its plan was frozen under {request.recipe.code} "
            f"version {request.recipe_version}"
        )
    if not math.isclose(request.resin_volume_m3, batch.resin_volume_m3, rel_tol=CLOSE):
        yield (
            f"names {units.twin(batch.resin_volume_m3, 'resin_volume')} of resin, its plan was frozen for "
            f"{units.twin(request.resin_volume_m3, 'resin_volume')}"
        )
    if request.segregation_class != batch.segregation_class:
        yield f"names class {batch.segregation_class}, its plan was frozen for class {request.segregation_class}"
    if plan.core_version != batch.core_version:
        yield f"names core version {batch.core_version}, its plan was worked out by {plan.core_version}"


def check_plans_anew(look: Look) -> Iterator[Finding]:
    """Each plan of this core version worked out again from what it was asked: the same figures come out."""
    for batch in Batch.objects.filter(core_version=CORE_VERSION).order_by("pk").iterator(50):
        if not is_untouched(batch):
            continue
        look.saw()
        text, _ = freeze(plan_batch(plan_of(batch).request))
        if text != batch.plan_text:
            yield Finding("plan", f"The plan of batch {batch.number}, worked out anew, gives other figures.")


# --- what was written down ----------------------------------------------------------------------------------------------
def check_entries(look: Look) -> Iterator[Finding]:
    """Each entry: its value from what was typed, its judgement from its limits, its limits from the plan."""
    rows = StepEntry.objects.select_related("step__batch").defer("step__batch__plan_text")
    for row in rows.order_by("pk").iterator(1000):
        look.saw()
        name = f"{row.name} of step {row.step.number} of batch {row.step.batch.number}"
        if row.standing != StepEntry.Standing.WRITTEN:
            if row.value is not None or row.value_as_typed or not row.reason:
                yield Finding(
                    "entry",
                    f"{name[:1].upper()}{name[1:]} stands as {row.words} and holds a value, or no reason.",
                )
            continue
        if row.kind not in NO_NUMBERS and not _as_typed(
            row.value, row.value_as_typed, row.unit_as_typed, row.kind
        ):
            yield Finding(
                "entry",
                f"The value of {name} is not what was typed, {row.value_as_typed} {row.unit_as_typed}.",
            )
        if row.is_within != is_within(row.value, EntrySpec(row.key, row.name, row.kind, row.low, row.high)):
            yield Finding(
                "entry", f"Whether {name} lies within its limits was stored otherwise than it comes out."
            )


def check_checks(look: Look) -> Iterator[Finding]:
    """Each check of a critical value: two typings that agree, or a second person who signed exactly what stands."""
    rows = EntryCheck.objects.select_related("entry__step__batch", "reading__batch", "signature")
    for row in rows.order_by("pk").iterator(1000):
        look.saw()
        thing, batch = (
            (row.entry, row.entry.step.batch) if row.entry is not None else (row.reading, row.reading.batch)  # type: ignore[union-attr]
        )
        assert thing is not None
        name = f"the check of {thing} of batch {batch.number}"
        if row.method == EntryCheck.Method.TWICE:
            kind, value = (
                (thing.kind, thing.value)
                if isinstance(thing, StepEntry)
                else ("conductivity", thing.conductivity_siemens_per_m)
            )
            if row.checked_by_id != thing.entered_by_id or not _typed_the_same(value, row.typed_again, kind):
                yield Finding("check", f"In {name} the second typing is not the first.")
            continue
        what = f"entry {row.entry_id}" if row.entry_id else f"reading {row.reading_id}"
        signature = row.signature
        signed = signature is not None and (
            signature.record_kind, signature.record_key, signature.person_id,
        ) == ("entry_check", f"{batch.number} {what}", row.checked_by_id)  # fmt: skip
        if not signed or row.checked_by_id == thing.entered_by_id:
            yield Finding(
                "check", f"{name[:1].upper()}{name[1:]} bears no signature of a second person for it."
            )


def _typed_the_same(value: float | None, again: str, kind: str) -> bool:
    """Whether the second typing gives the first's value in one of the unit systems a person may have."""
    if value is None:
        return False
    for system in units.SYSTEMS:
        try:
            if math.isclose(
                value, units.understand(again, kind, system=system).value, rel_tol=CLOSE, abs_tol=1e-15
            ):
                return True
        except DomainError:
            continue
    return False


def check_deviations(look: Look) -> Iterator[Finding]:
    """Each signed decision on a deviation: the signature is its own, and says what the deviation says."""
    rows = Deviation.objects.filter(signature__isnull=False).select_related("signature")
    for row in rows.order_by("pk").iterator(500):
        look.saw()
        signature = row.signature
        assert signature is not None
        signed = json.loads(signature.content)
        own = (signature.record_kind, signature.record_key, signature.record_version, signature.person_id)
        if own != ("deviation", row.number, row.version, row.decided_by_id):
            yield Finding(
                "deviation",
                f"Deviation {row.number} bears a signature that was given on {signature.record_kind} {signature.record_key}.",
            )
        elif any(signed.get(name) != getattr(row, name) for name in SIGNED_OF_A_DEVIATION):
            yield Finding("deviation", f"Deviation {row.number} no longer says what was signed.")


SIGNED_OF_A_DEVIATION = (
    "severity",
    "what",
    "measure",
    "cause_category",
    "cause",
    "decision_kind",
    "decision",
)


def check_readings(look: Look) -> Iterator[Finding]:
    """Each rinse reading: conductivity from what was typed, and at 25 °C from what the meter showed."""
    rows = RinseReading.objects.select_related("batch").defer("batch__plan_text")
    for row in rows.order_by("pk").iterator(1000):
        look.saw()
        name = f"reading {row.value_as_typed} {row.unit_as_typed} of batch {row.batch.number}, {row.occurred_at:%Y-%m-%d %H:%M} UTC"
        if not _as_typed(
            row.conductivity_siemens_per_m, row.value_as_typed, row.unit_as_typed, "conductivity"
        ):
            yield Finding("reading", f"The value of the {name} is not what was typed.")
        if not _as_typed(row.temperature_kelvin, row.temperature_as_typed, "", "temperature"):
            yield Finding("reading", f"The temperature of the {name} is not what was typed.")
        if row.batch.core_version == CORE_VERSION and not _fits_at_25(row):
            yield Finding("reading", f"The {name} comes out otherwise at 25 °C than it was stored.")


def check_logs(look: Look) -> Iterator[Finding]:
    """Each packet of a meter: what was received against its digest, and what was worked out of it against what was received."""
    rows = MeterLog.objects.select_related("batch", "instrument").defer("batch__plan_text")
    for row in rows.order_by("pk").iterator(20):
        look.saw()
        name = f"log {row.name or row.get_source_display()} of {row.instrument.code} in batch {row.batch.number}, {row.first_at:%Y-%m-%d %H:%M} UTC"
        if digest_of(row.received_text, row.columns) != row.digest:
            yield Finding(
                "log", f"What was received, or was worked out of it, no longer fits the digest of the {name}."
            )
        yield from (Finding("log", f"The {name} {words}.") for words in unlike_its_text(row))


def _as_typed(value: float | None, typed: str, unit: str, kind: str) -> bool:
    """Whether reading the typed text again gives the stored value."""
    text = typed if unit in ("", "h:min") else f"{typed} {unit}"
    try:
        read = units.understand(text, kind).value
    except DomainError:
        return False
    return value is not None and math.isclose(value, read, rel_tol=CLOSE, abs_tol=1e-15)


def _fits_at_25(row: RinseReading) -> bool:
    try:
        seen = CoreReading(
            0.0,
            0.0,
            row.conductivity_siemens_per_m,
            row.temperature_kelvin,
            Compensation(row.meter_compensation),
            "",
            True,
        )
        anew = seen.at_25_celsius(Compensation(row.water_kind))
    except (DomainError, ValueError):
        return False
    return math.isclose(anew, row.conductivity_25_siemens_per_m, rel_tol=CLOSE)


# --- numbers ------------------------------------------------------------------------------------------------------------
def check_numbers(look: Look) -> Iterator[Finding]:
    """Numbers that were given out without a gap have none."""
    for what, texts, prefix, first in (
        ("Batch", Batch.objects.values_list("number", flat=True), "B-", FIRST_BATCH),
        ("Deviation", Deviation.objects.values_list("number", flat=True), "D-", FIRST_DEVIATION),
    ):
        numbers = running([*texts, *gone.numbers(prefix)], prefix)
        look.saw(len(numbers))
        for gap in missing_numbers(numbers, first):
            yield Finding("number", f"{what} {shown_gap(gap, prefix)} missing in the record.")
    yield from _inside(look, "Step", StepRun.objects.values_list("batch__number", "number"))
    yield from _inside(look, "Tank position", BatchTank.objects.values_list("batch__number", "position"))


def _inside(look: Look, what: str, rows: Iterable[tuple[str, int]]) -> Iterator[Finding]:
    by_batch: dict[str, list[int]] = {}
    for batch, number in rows:
        by_batch.setdefault(batch, []).append(number)
    for batch, numbers in by_batch.items():
        look.saw(len(numbers))
        for gap in missing_numbers(numbers, 1):
            yield Finding("number", f"{what} {shown_gap(gap)} missing in batch {batch}.")


register(Check("plan", "Frozen plans", "batch plans", check_plans), place=40)
register(Check("plan_anew", "Plans worked out anew", "plans", check_plans_anew, option=ANEW), place=41)
register(Check("entry", "Entries", "entries", check_entries), place=42)
register(Check("reading", "Readings", "readings", check_readings), place=43)
register(Check("log", "Logs of meters", "logs", check_logs), place=43)
register(Check("check", "Checks of critical values", "checks", check_checks), place=44)
register(Check("deviation", "Decided deviations", "decisions", check_deviations), place=45)
register(Check("number", "Running numbers", "numbers", check_numbers), place=80)
