"""All of a batch record together: from the rows to what the paper says. Reads only."""

from __future__ import annotations

from datetime import date

from regenplant.batches.frozen import is_untouched, plan_of
from regenplant.batches.models import Batch
from regenplant.batches.selectors import batch_numbered
from regenplant.core.process.lifecycle import StepState, label
from regenplant.core.process.vocabulary import IonicForm, ResinFamily, SegregationClass
from regenplant.documents.batch_record import quality, steps, trail
from regenplant.documents.batch_record.content import BatchRecordContent, RecordInstrument, RecordTopUp
from regenplant.documents.batch_record.here import Here, figure_of
from regenplant.documents.issue import Issue
from regenplant.keeping.nothing import ENDED
from regenplant.plant.selectors import profile

WASTE = (
    "waste_m3", "waste_ph", "waste_temperature_kelvin", "neutralizer_first_kg_100", "neutralizer_second_kg_100",
)  # fmt: skip
"""Totals of the plan that say what leaves the plant."""


def batch_record_content(batch_number: str, issue: Issue) -> BatchRecordContent:
    """What the record of this batch says. Raises RecordRefused for an unknown batch."""
    batch = batch_numbered(batch_number)
    here = Here(batch, plan_of(batch), profile())
    recipe, limits = batch.recipe_version, batch.specification_version
    run = steps.steps_of(here)  # first: changes are numbered in the order of the paper
    rinse = quality.rinse_of(here)
    measurements = quality.measurements_of(here)
    return BatchRecordContent(
        plant=here.plant.name,
        zone=here.plant.time_zone,
        batch_number=batch.number,
        state=_state(here),
        resin=batch.resin_type.code,
        resin_description=batch.resin_type.description,
        family=ResinFamily(batch.resin_type.family).label,
        segregation_class=f"{batch.segregation_class} · {SegregationClass(batch.segregation_class).label}",
        dedicated_to=_dedicated(batch),
        vessel=_vessels(batch),
        rework_of=batch.parent.number if batch.parent else "",
        rework_cause=batch.rework_cause,
        children=tuple(batch.children.order_by("pk").values_list("number", flat=True)),
        resin_volume_m3=batch.resin_volume_m3,
        resin_form=IonicForm(batch.resin_volume_form).label,
        recipe=f"{recipe.recipe.code} version {recipe.number}",
        recipe_name=recipe.recipe.name,
        recipe_digest=recipe.digest,
        specification=f"{limits.specification.code} version {limits.number}",
        specification_name=limits.specification.name,
        specification_digest=limits.digest,
        planned=here.by(batch.planned_at, batch.planned_by),
        started=here.at(batch.started_at),
        rinsed=here.at(batch.rinsed_at),
        judged=here.at(batch.judged_at),
        finished=here.at(batch.finished_at),
        lot_in=here.plan.request.resin.lot_code,
        lot=batch.lot.code if batch.lot else "",
        lot_parents=_parents(batch),
        top_ups=_top_ups(here),
        core_version=batch.core_version,
        plan_digest=batch.plan_digest,
        is_plan_untouched=is_untouched(batch),
        waste=tuple(figure_of(here.plan.totals[key]) for key in WASTE if key in here.plan.totals),
        tanks=steps.tanks_of(here),
        steps=run,
        separation=steps.separation_of(here, run),
        rinse=rinse,
        measurements=measurements,
        decisions=quality.decisions_of(here),
        reopenings=quality.reopenings_of(here),
        reviews=quality.reviews_of(here),
        deviations=quality.deviations_of(here),
        holds=steps.holds_of(here),
        draws=trail.draws_of(here),
        strengths=trail.strengths_of(here),
        planned_kg_100=trail.planned_kg_100(here.plan),
        instruments=_instruments(here),
        signatures=trail.signatures_of(here),
        papers=trail.papers_of(here),
        forms=trail.forms_of(here),
        acts=trail.acts_of(here),
        issue=issue,
    )


def _state(here: Here) -> str:
    words = label(here.state)
    words = f"{words[:1].upper()}{words[1:]}"
    if here.state in ENDED:
        return f"{words} {here.at(here.batch.finished_at)}."
    running = here.batch.steps.filter(state=StepState.RUNNING.value).order_by("number")
    where = "".join(f", step {step.number}, {step.name}" for step in running)
    return f"{words}{where}. The record is open: more may be written after this print."


def _dedicated(batch: Batch) -> str:
    link = batch.tank_links.select_related("visit__tank__dedicated_to").order_by("position").first()
    owner = link.visit.tank.dedicated_to if link and batch.segregation_class == "A" else None
    return str(owner) if owner else ""


def _vessels(batch: Batch) -> str:
    main = f"{batch.vessel.code} {batch.vessel.name}"
    return f"{main}, anion leg in {batch.anion_vessel.code}" if batch.anion_vessel else main


def _parents(batch: Batch) -> tuple[tuple[str, float], ...]:
    if batch.lot is None:
        return ()
    links = batch.lot.parent_links.select_related("parent").order_by("-fraction", "parent__code")
    return tuple((link.parent.code, link.fraction) for link in links)


def _top_ups(here: Here) -> tuple[RecordTopUp, ...]:
    rows = here.batch.top_ups.select_related("lot", "topped_by").order_by("topped_at", "pk")
    return tuple(
        RecordTopUp(
            row.lot.code, row.added_m3, row.bed_m3, row.lost_m3, here.at(row.topped_at), row.topped_by.full_name, row.reason
        )
        for row in rows
    )  # fmt: skip


def _instruments(here: Here) -> tuple[RecordInstrument, ...]:
    """Every instrument this batch was measured with, and its calibration as it stands now."""
    rows = sorted(here.instruments.values(), key=lambda row: row.code)
    return tuple(
        RecordInstrument(row.code, row.name, _day(row.calibrated_on), _day(row.calibration_due_on))
        for row in rows
    )


def _day(on: date | None) -> str:
    return on.isoformat() if on else ""
