"""What stands on a new paper form: for an open batch its steps and limits, else empty lines of the same kind."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from zoneinfo import ZoneInfo

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.selectors import chain_head
from regenplant.batches.frozen import plan_of
from regenplant.batches.legs import vessel_codes
from regenplant.batches.models import Batch
from regenplant.batches.rinse import specification_of
from regenplant.core.process.hazards import step_cautions, stock_cautions
from regenplant.core.process.lifecycle import StepState
from regenplant.core.process.plan import Caution, EntrySpec, PlannedStep
from regenplant.core.process.specification import CONDUCTIVITY, Limit, Specification
from regenplant.core.process.vocabulary import Chemical, Leg, ResinFamily, StepKind
from regenplant.keeping.models import PaperForm
from regenplant.keeping.paper_content import FormColumn, FormRow, FormSection, PaperFormContent
from regenplant.plant.selectors import profile
from regenplant.quality.specification import sample_limits

Kind = PaperForm.Kind
SENTENCES: dict[str, str] = {
    Kind.STEP_RECORD: "Write while you work: the value with its unit, the time on the clock, your initials.",
    Kind.RINSE_LOG: "One line for each reading, as the meter shows it, with its unit and the temperature of the water.",
    Kind.CHEMICAL_DRAW: "One line for each draw, before the pump starts and after it stops. A second person reads volume and lot as well.",
    Kind.QC: "Results as the instrument shows them, with the unit. Who ran the batch does not measure it.",
    Kind.INTAKE: "One block for each tank, at the dock. Nothing is opened before the first drain was measured.",
}
PURPOSE = "For hours without the system. Each number is used once: spoiled forms are kept, not thrown away."
ON_THE_SHEET = "as on the batch sheet"
AMBIENT_KELVIN = 293.15
RINSE_LINES, DRAW_LINES, RESULT_LINES, STEP_LINES, INTAKE_BLOCKS = 12, 8, 7, 9, 2
USUAL_STRENGTH_FRAC = {Chemical.HYDROCHLORIC_ACID: 0.314, Chemical.SODIUM_HYDROXIDE: 0.5}
"""Usual commercial strengths, common practice; they choose the words of a caution on a form without a batch, nothing else."""


@dataclass(frozen=True, slots=True)
class Printing:
    """Who issues a form, when, and where the record stood."""

    issued_at: str
    issued_by: str
    chain_number: int
    chain_head: str


def printing(by: By) -> Printing:
    """At the plant's own time."""
    number, head = chain_head()
    local = by.at.astimezone(ZoneInfo(profile().time_zone))
    return Printing(_moment(local), by.user.full_name, number, head)


def _moment(local: datetime) -> str:
    offset = local.strftime("%z")
    return f"{local:%Y-%m-%d %H:%M} (UTC{offset[:3]}:{offset[3:]})"


def blank_form(number: str, kind: str, batch: Batch | None, printed: Printing) -> PaperFormContent:
    """Everything that is printed on one form."""
    return PaperFormContent(
        number=number,
        kind=kind,
        title=f"{Kind(kind).label[:1].upper()}{Kind(kind).label[1:]}",
        plant=profile().name,
        batch_number=batch.number if batch else "",
        batch_words=_batch_words(batch) if batch else "",
        sentence=f"{SENTENCES[kind]} {PURPOSE}",
        head=_head(kind, batch),
        sections=_SECTIONS[kind](batch),
        issued_at=printed.issued_at,
        issued_by=printed.issued_by,
        chain_number=printed.chain_number,
        chain_head=printed.chain_head,
    )


def _batch_words(batch: Batch) -> str:
    volume = units.twin(batch.resin_volume_m3, "resin_volume")
    return (
        f"{ResinFamily(batch.resin_type.family).label}, {volume} in {' and '.join(vessel_codes(batch))}, class {batch.segregation_class}. "
        f"Plan {batch.plan_digest[:8]}."
    )


def _head(kind: str, batch: Batch | None) -> tuple[FormRow, ...]:
    found = [FormRow("Date"), FormRow("Name, printed"), FormRow("Initials")]
    if batch is None and kind != Kind.INTAKE:
        found = [FormRow("Batch"), FormRow("Vessel"), *found]
    return tuple(found)


# --- steps ----------------------------------------------------------------------------------------------------------
def _steps(batch: Batch | None) -> tuple[FormSection, ...]:
    if batch is None:
        return (_empty_step("First step"), replace(_empty_step("Next step"), cautions=()))
    open_numbers = set(
        batch.steps.exclude(state__in=[StepState.DONE, StepState.SKIPPED]).values_list("number", flat=True)
    )
    return tuple(_planned(step) for step in plan_of(batch).steps if step.number in open_numbers)


def _empty_step(title: str) -> FormSection:
    columns = (
        FormColumn("What", 0.32), FormColumn("Limits on the sheet", 0.2), FormColumn("Found, with unit", 0.22),
        FormColumn("Time", 0.14, is_time=True), FormColumn("Initials", 0.12),
    )  # fmt: skip
    return FormSection(
        title=title,
        words="Number and name of the step: ……………………………………   Limits stand on the batch sheet; without the sheet no chemical step starts.",
        cautions=_usual_cautions(),
        columns=columns,
        lines=STEP_LINES,
    )


def _planned(step: PlannedStep) -> FormSection:
    before = [_row(spec) for spec in step.entries if spec.is_before]
    during = [_row(spec) for spec in step.entries if not spec.is_before]
    started = FormRow("Step started", "all of the above stands first" if before else "")
    ended = FormRow("Step ended", step.ends_when)
    never_stands = step.chemical is Chemical.SULFURIC_ACID or step.leg is not Leg.WHOLE
    closing = (
        "Safe hold point: the batch may stand after this step."
        if step.is_safe_hold_after
        else "No hold point: go straight on to the next step."
    )
    return FormSection(
        title=f"{step.number} · {step.name}",
        words=step.instruction,
        cautions=step.cautions,
        rows=(*before, started, *during, ended),
        closing=closing,
        no_pause=step.kind is StepKind.INJECT and never_stands,
    )


def _row(spec: EntrySpec) -> FormRow:
    name = spec.name if spec.is_required else f"{spec.name}, if it applies"
    if spec.kind == "confirm":
        return FormRow(name, spec.help, options=("yes", "no"))
    if spec.kind == "second_person":
        return FormRow(name, "two people, both initials")
    if spec.kind in ("text", "choice"):
        return FormRow(name, spec.help, is_words=True)
    return FormRow(name, _range(spec.low, spec.high, spec.kind), units.unit_text(spec.kind))


def _range(low: float | None, high: float | None, kind: str) -> str:
    """The limits in both unit systems."""
    if low is None and high is None:
        return ""
    both = [_range_in(low, high, kind, system) for system in ("metric", "us")]
    return both[0] if both[0] == both[1] else " · ".join(both)


def _range_in(low: float | None, high: float | None, kind: str, system: str) -> str:
    if low is None or high is None:
        word, value = ("at least", low) if high is None else ("at most", high)
        return f"{word} {units.format_quantity(value or 0.0, kind, system)}"
    return f"{units.format_quantity(low, kind, system)} to {units.format_quantity(high, kind, system)}"


# --- rinse, draw, sample, intake --------------------------------------------------------------------------------------
def _rinse(batch: Batch | None) -> tuple[FormSection, ...]:
    columns = (
        FormColumn("Time", 0.13, is_time=True), FormColumn("Water passed", 0.15), FormColumn("Reading, with unit", 0.22),
        FormColumn("At", 0.12, "°C"), FormColumn("Meter corrects", 0.16, options=("yes", "no")), FormColumn("Cell", 0.11),
        FormColumn("Initials", 0.11),
    )  # fmt: skip
    words = _end_point(specification_of(batch)) if batch else f"End point: {ON_THE_SHEET}."
    return (FormSection("Rinse-down readings", words, (_sampling(),), columns=columns, lines=RINSE_LINES),)


def _end_point(specification: Specification) -> str:
    limit = specification.limit(CONDUCTIVITY)
    if limit is None or limit.high is None:
        return f"End point: {ON_THE_SHEET}."
    resistivity = units.twin(1.0 / limit.high, "resistivity")
    held = f", held for {specification.hold_time_s / 60:.0f} min" if specification.hold_time_s else ""
    return (
        f"End point at 25 °C: at most {units.twin(limit.high, 'conductivity')} (at least {resistivity}){held}. "
        f"Specification {specification.code}."
    )


def _of_step(kind: StepKind, code: str) -> Caution:
    """A caution as the steps of a plan carry it, after acid."""
    acid = Chemical.HYDROCHLORIC_ACID
    return next(one for one in step_cautions(kind, acid, None, None, AMBIENT_KELVIN) if one.code == code)


def _sampling() -> Caution:
    return _of_step(StepKind.SAMPLE, "sampling")


def _oxidizer() -> Caution:
    return _of_step(StepKind.LOAD, "oxidizer")


def _draw(batch: Batch | None) -> tuple[FormSection, ...]:
    columns = (
        FormColumn("Time", 0.12, is_time=True), FormColumn("Chemical", 0.14), FormColumn("Lot", 0.12),
        FormColumn("From tank", 0.11), FormColumn("Volume or mass, with unit", 0.2), FormColumn("Strength", 0.11),
        FormColumn("Initials", 0.1), FormColumn("Second", 0.1),
    )  # fmt: skip
    cautions = (
        tuple(c for step in plan_of(batch).steps if step.chemical for c in step.cautions) if batch else ()
    )
    planned = _planned_draws(batch) if batch else f"Planned: {ON_THE_SHEET}."
    shown = tuple({one.code: one for one in cautions}.values()) or _usual_cautions()
    return (FormSection("Chemical drawn", planned, shown, columns=columns, lines=DRAW_LINES),)


def _planned_draws(batch: Batch) -> str:
    parts = []
    for step in plan_of(batch).steps:
        if step.chemical is None or "chemical_kg_100" not in step.figures:
            continue
        lot = batch.chemical_lots.get(step.chemical.value, "")
        mass = units.twin(step.value("chemical_kg_100"), "mass")
        parts.append(
            f"step {step.number}, {step.chemical.label.lower()} {mass} as 100 %{f', lot {lot}' if lot else ''}"
        )
    return f"Planned: {'; '.join(parts)}." if parts else "No chemical is planned."


def _qc(batch: Batch | None) -> tuple[FormSection, ...]:
    taken = FormSection(
        "Sample", "", (_sampling(),), rows=(FormRow("Sample taken"), FormRow("Taken at tap", is_words=True))
    )
    if batch is not None:
        rows = tuple(_limit_row(limit) for limit in sample_limits(batch))
        conductivity = specification_of(batch).limit(CONDUCTIVITY)
        own = (_limit_row(conductivity),) if conductivity is not None else ()
        instruments = tuple(FormRow(f"Instrument for {row.name}", is_words=True) for row in (*own, *rows))
        return (
            taken,
            FormSection("Results", _specified(batch), rows=(*own, *rows)),
            FormSection("Instruments", rows=instruments),
        )
    columns = (
        FormColumn("Measurement", 0.28), FormColumn("Limit", 0.18), FormColumn("Found, with unit", 0.2),
        FormColumn("Instrument", 0.12), FormColumn("Time", 0.12, is_time=True), FormColumn("Initials", 0.1),
    )  # fmt: skip
    return (taken, FormSection("Results", f"Limits: {ON_THE_SHEET}.", columns=columns, lines=RESULT_LINES))


def _specified(batch: Batch) -> str:
    version = batch.specification_version
    return f"Specification {version.specification.code} version {version.number}."


def _limit_row(limit: Limit) -> FormRow:
    return FormRow(
        f"{limit.name}, each tank" if limit.each_tank else limit.name,
        _range(limit.low, limit.high, limit.kind),
        units.unit_text(limit.kind),
    )


def _intake(batch: Batch | None) -> tuple[FormSection, ...]:
    rows = (
        FormRow("Tank and customer", is_words=True),
        FormRow("Customer’s words", is_words=True),
        FormRow("Shell", options=("sound", "cracked", "leaks", "bulged", "frozen")),
        FormRow("Head, fittings", options=("sound", "worn", "damaged", "missing")),
        FormRow("Smell, colour", is_words=True),
        FormRow("Oxidizer strip", "coloured: stop, hold, call the safety lead", options=("none", "coloured")),
        FormRow("First drain pH", "outside 4 to 10: hold"),
        FormRow("Weight", "", units.unit_text("mass")),
        FormRow("Verdict", "class, or why held", is_words=True),
    )
    blocks = [FormSection(f"Tank {number + 1}", rows=rows) for number in range(INTAKE_BLOCKS)]
    return (replace(blocks[0], cautions=(_oxidizer(),)), *blocks[1:])


_SECTIONS: dict[str, Callable[[Batch | None], tuple[FormSection, ...]]] = {
    Kind.STEP_RECORD: _steps,
    Kind.RINSE_LOG: _rinse,
    Kind.CHEMICAL_DRAW: _draw,
    Kind.QC: _qc,
    Kind.INTAKE: _intake,
}


# --- cautions of forms without a batch ----------------------------------------------------------------------------------
def _usual_cautions() -> tuple[Caution, ...]:
    """Acid and caustic, the two that hurt most people; a form without a batch may meet either."""
    found = [
        caution
        for chemical, strength in USUAL_STRENGTH_FRAC.items()
        for caution in stock_cautions(chemical, strength)
    ]
    return tuple({one.code: one for one in found}.values())
