"""From records to what a paper says: frozen contents, and the issues made so far."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from zoneinfo import ZoneInfo

from django.db.models import Q, QuerySet

from regenplant.audit.extracts import line_with
from regenplant.audit.selectors import Line, story
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch, BatchTank, StepRun
from regenplant.batches.rinse import specification_of
from regenplant.batches.selectors import batch_numbered
from regenplant.core.errors import RecordRefused
from regenplant.core.process.lifecycle import OPEN_STATES, BatchState, StepState, VisitState, label
from regenplant.core.process.plan import Caution
from regenplant.core.process.vocabulary import (
    REGENERATED_FORM,
    IonicForm,
    Purpose,
    ResinFamily,
    SegregationClass,
    StepKind,
)
from regenplant.documents import handling
from regenplant.documents.batch_sheet_content import (
    BatchSheetContent,
    SheetDeviation,
    SheetTank,
    StepProgress,
)
from regenplant.documents.issue import Issue
from regenplant.documents.models import IssuedPaper
from regenplant.documents.tank_tag import TagReading, TagState, TankTagContent
from regenplant.documents.texts import moment
from regenplant.keeping import container, verify_copy
from regenplant.keeping.copy import COPIED
from regenplant.plant.models import PlantProfile
from regenplant.plant.selectors import profile
from regenplant.quality.specification import judgement
from regenplant.tanks.models import TankVisit


# --- issues -----------------------------------------------------------------------------------------------------
def issues_of(kind: str, key: str) -> QuerySet[IssuedPaper]:
    """The issues of one paper of one subject, newest first."""
    return IssuedPaper.objects.filter(kind=kind, subject_key=key).select_related("issued_by")


def newest_papers(limit: int) -> list[IssuedPaper]:
    """The papers printed last that bear a head of the chain, newest first."""
    return list(IssuedPaper.objects.filter(chain_number__gt=0).select_related("issued_by")[:limit])


def count_of_papers() -> int:
    """How many papers bear a head of the chain."""
    return IssuedPaper.objects.filter(chain_number__gt=0).count()


def at_plant(at: datetime, plant: PlantProfile) -> str:
    """A moment as papers print it: in the plant's zone, with its offset."""
    return moment(at.astimezone(ZoneInfo(plant.time_zone)))


# --- copies -----------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class MadeCopy:
    """A complete copy that was made: by which act, when, by whom, with which digests."""

    act: int
    batch: str
    at: datetime
    who: str
    record_sha256: str
    container_sha256: str
    findings: tuple[str, ...]

    @property
    def file_name(self) -> str:
        return container.file_name(self.batch, self.record_sha256)

    @property
    def listing(self) -> str:
        """The detached digests, as ``sha256sum --check`` takes them."""
        return f"{self.container_sha256}  {self.file_name}\n{self.record_sha256}  {verify_copy.RECORD}\n"


def copies_made(batch_number: str) -> list[MadeCopy]:
    """The copies made of a batch, newest first."""
    lines = story([("batch", batch_number)], newest_first=True)
    return [_made_copy(line) for line in lines if line.event == COPIED]


def copy_with_digest(record_sha256: str) -> MadeCopy | None:
    """The copy made here whose record has this digest, None if none has."""
    found = line_with(COPIED, "record_sha256", record_sha256)
    return _made_copy(found) if found else None


def _made_copy(line: Line) -> MadeCopy:
    facts = line.facts["facts"]
    return MadeCopy(
        line.number,
        line.subject_key,
        line.at,
        line.who,
        facts["record_sha256"],
        facts["container_sha256"],
        tuple(facts["findings"]),
    )


# --- batch sheet ------------------------------------------------------------------------------------------------
def batch_sheet_content(batch_number: str, issue: Issue) -> BatchSheetContent:
    """What the sheet of this batch says. Raises RecordRefused for an unknown batch."""
    batch = batch_numbered(batch_number)
    plant, plan, links = profile(), plan_of(batch), _links(batch)
    version, specification_version = batch.recipe_version, batch.specification_version
    dedicated = next((link.visit.tank.dedicated_to for link in links if batch.segregation_class == "A"), None)
    return BatchSheetContent(
        plant=plant.name,
        hall=plant.hall_name,
        emergency=emergency_texts(plant),
        batch_number=batch.number,
        state=batch_state_sentence(batch),
        rework_of=batch.parent.number if batch.parent else "",
        rework_cause=batch.rework_cause,
        vessel=f"{batch.vessel.code} {batch.vessel.name}",
        resin_type=batch.resin_type.code,
        resin_description=batch.resin_type.description,
        segregation_class=batch.segregation_class,
        class_label=SegregationClass(batch.segregation_class).label,
        dedicated_to=str(dedicated) if dedicated else "",
        tanks=tuple(_sheet_tank(link) for link in links),
        recipe_name=version.recipe.name,
        recipe_digest=version.digest,
        specification=specification_of(batch),
        specification_version=specification_version.number,
        specification_digest=specification_version.digest,
        plan=plan,
        plan_digest=batch.plan_digest,
        checked_at={
            chemical: at_plant(datetime.fromisoformat(stock.checked_at), plant)
            for chemical, stock in plan.request.stock.items()
            if stock.checked_at
        },
        planned_by=batch.planned_by.full_name,
        planned_at=at_plant(batch.planned_at, plant),
        issue=issue,
        progress=_progress(batch, plant),
        deviations=_deviations(batch),
        is_closed=BatchState(batch.state) not in OPEN_STATES,
    )


def _progress(batch: Batch, plant: PlantProfile) -> tuple[StepProgress, ...]:
    """What the record says of every step that is not waiting any more."""
    steps = batch.steps.exclude(state=StepState.WAITING.value).select_related("started_by", "finished_by")
    return tuple(_progress_of(step, plant) for step in steps.order_by("number"))


def _progress_of(step: StepRun, plant: PlantProfile) -> StepProgress:
    if step.state == StepState.SKIPPED.value:
        return StepProgress(
            step.number, f"Skipped: {step.skip_reason.rstrip('.')}. Do not carry it out.", True
        )
    began = at_plant(step.started_at, plant) if step.started_at else ""
    by = step.started_by.full_name if step.started_by else ""
    if step.finished_at is None:
        return StepProgress(
            step.number,
            f"Running since {began}, started by {by}. Do not start it again; go on from the record.",
            False,
        )
    ended_by = step.finished_by.full_name if step.finished_by else by
    ended = at_plant(step.finished_at, plant)
    return StepProgress(
        step.number,
        f"Done: {began} by {by} to {ended} by {ended_by}. It stands in the record; do not do it again.",
        True,
    )


def _deviations(batch: Batch) -> tuple[SheetDeviation, ...]:
    rows = batch.deviations.select_related("step").order_by("opened_at", "id")
    return tuple(
        SheetDeviation(row.number, str(row.step.number) if row.step else "", row.what, row.decision)
        for row in rows
    )


def _links(batch: Batch) -> list[BatchTank]:
    related = ("visit__tank__size", "visit__tank__dedicated_to", "visit__tank__resin_lot", "visit__tank__resin_type", "visit__customer", "visit__refilled_lot")  # fmt: skip
    return list(BatchTank.objects.filter(batch=batch).select_related(*related).order_by("position"))


def _sheet_tank(link: BatchTank) -> SheetTank:
    visit = link.visit
    return SheetTank(
        position=link.position,
        serial=visit.tank.serial,
        visit_number=visit.number,
        size=visit.tank.size.code,
        customer=visit.customer.name,
        resin_volume_m3=link.resin_volume_m3,
        lot_code=visit.tank.resin_lot.code if visit.tank.resin_lot else "",
    )


def emergency_texts(plant: PlantProfile) -> tuple[str, ...]:
    """Places and numbers for an emergency, as far as the plant wrote them down."""
    texts = (
        ("Shower and eyewash", plant.shower_places),
        ("Spill", plant.spill_text),
        ("Call", plant.call_text),
    )
    return tuple(f"{name}: {' '.join(text.split())}" for name, text in texts if text.strip())


def batch_state_sentence(batch: Batch) -> str:
    """Where the batch stands, and that what was written so far is in the record and not on the sheet."""
    state = BatchState(batch.state)
    if batch.started_at is None:
        return f"{label(state).capitalize()}: no step is started."
    running = batch.steps.filter(state=StepState.RUNNING.value).order_by("number")
    where = "".join(f", step {step.number}, {step.name}" for step in running)
    words = label(state)
    return (
        f"{words[:1].upper()}{words[1:]}{where}. What was written so far is in the record, not on this sheet."
    )


_OWN = Q(is_current=True) | Q(is_filled=True, withdrawn_at__isnull=True)
"""A tank belongs to the batch it is in, and after the release to the batch it was filled from; a withdrawn one until it is emptied."""
_BATCH = ("batch__recipe_version", "batch__specification_version")
_OF_VISIT = ("tank__size", "tank__resin_type", "tank__dedicated_to", "tank__resin_lot", "refilled_lot")


# --- labels of chemicals ----------------------------------------------------------------------------------------
def labels_of(lot_code: str) -> list[IssuedPaper]:
    """Labels printed of a chemical lot, newest first."""
    rows = IssuedPaper.objects.filter(kind="chemical_label", subject_key=lot_code)
    return list(rows.select_related("issued_by").order_by("-issue_number"))


def connection_labels_of(tank_code: str) -> list[IssuedPaper]:
    """Labels printed of the fill connection of a tank, newest first."""
    rows = IssuedPaper.objects.filter(kind="connection_label", subject_key=tank_code)
    return list(rows.select_related("issued_by").order_by("-issue_number"))


# --- tank tag ---------------------------------------------------------------------------------------------------
def tank_tag_content(serial: str, issue: Issue) -> TankTagContent:
    """The tag of a tank as it stands now. Raises RecordRefused for an unknown tank or one that never came in."""
    arrivals = TankVisit.objects.filter(tank__serial__iexact=serial.strip()).select_related(*_OF_VISIT)
    visit = arrivals.order_by("-received_at", "-id").first()
    if visit is None:
        raise RecordRefused(
            f"There is no tank {serial} here that came in. A tag is printed for a tank at the plant.",
            code="no_visit",
        )
    link = (
        BatchTank.objects.filter(_OWN, visit=visit)
        .select_related(*_BATCH)
        .order_by("-is_filled", "-pk")
        .first()
    )
    batch = link.batch if link else None
    readings = _release_readings(batch) if batch and _tag_state(visit).may_go_out else ()
    return _tag(visit, batch, _of_tank(readings, visit), profile(), issue)


def batch_tag_contents(batch_number: str, issue: Issue) -> tuple[TankTagContent, ...]:
    """The tags of all tanks of a batch that are still in it, in order."""
    batch = batch_numbered(batch_number)
    plant = profile()
    related = [f"visit__{name}" for name in _OF_VISIT]
    links = BatchTank.objects.filter(_OWN, batch=batch).select_related(*related).order_by("position")
    visits = [link.visit for link in links]
    is_charged = any(_tag_state(visit).may_go_out for visit in visits)
    readings = _release_readings(batch) if is_charged else ()
    contents = tuple(_tag(visit, batch, _of_tank(readings, visit), plant, issue) for visit in visits)
    if not contents:
        raise RecordRefused(
            f"Batch {batch.number} has no tanks any more: they went on to a rework or back to waiting.",
            code="no_tanks",
        )
    return contents


_STATES = {
    VisitState.HELD: TagState.HELD,
    VisitState.REFUSED: TagState.REFUSED,
    VisitState.RELEASED: TagState.CHARGED,
    VisitState.SHIPPED: TagState.CHARGED,
}


def _tag_state(visit: TankVisit) -> TagState:
    state = _STATES.get(VisitState(visit.state), TagState.NOT_RELEASED)
    is_carbon = ResinFamily(visit.tank.resin_type.family).is_exchanged
    return TagState.EXCHANGED if is_carbon and state is TagState.CHARGED else state


def _tag(
    visit: TankVisit, batch: Batch | None, readings: tuple[TagReading, ...], plant: PlantProfile, issue: Issue
) -> TankTagContent:
    state = _tag_state(visit)
    is_charged = state.may_go_out
    tank, family = visit.tank, ResinFamily(visit.tank.resin_type.family)
    judged_class = visit.segregation_class or tank.segregation_class
    lot = visit.refilled_lot or tank.resin_lot
    form = _form_words(visit, family)
    return TankTagContent(
        plant=plant.name,
        state=state,
        state_words=_state_words(state, visit, batch),
        serial=tank.serial,
        visit_number=visit.number,
        size=tank.size.code,
        resin_family=family.label,
        resin_abbreviation=family.abbreviation,
        resin_type=tank.resin_type.code,
        segregation_class=judged_class,
        class_label=SegregationClass(judged_class).label,
        dedicated_to=str(tank.dedicated_to) if tank.dedicated_to else "",
        neck_band=tank.neck_band,
        batch_number=batch.number if batch else "",
        lot_code=lot.code if lot else "",
        resin_volume_m3=visit.refilled_volume_m3
        if visit.refilled_volume_m3 is not None
        else visit.resin_volume_m3,
        resin_form=form,
        released_on=at_plant(visit.released_at, plant)[:10] if is_charged and visit.released_at else "",
        readings=readings if is_charged else (),
        handling=(handling.handling_of_charged if is_charged else handling.handling_of_stopped)(family),
        cautions=_tag_cautions(state, family),
        call=f"Call {' '.join(plant.call_text.split())}" if plant.call_text.strip() else "",
        issue=issue,
        is_carbon=family.is_exchanged,
    )


def _form_words(visit: TankVisit, family: ResinFamily) -> str:
    """The form the volume was counted in; once filled, the form the family leaves the plant in."""
    if visit.refilled_volume_m3 is None:
        return IonicForm(visit.resin_volume_form).label
    form = REGENERATED_FORM[family]
    return form.label if form is IonicForm.AS_FILLED else f"as filled, {form.label}"


def _state_words(state: TagState, visit: TankVisit, batch: Batch | None) -> str:
    is_carbon = ResinFamily(visit.tank.resin_type.family).is_exchanged
    if state is TagState.EXCHANGED:
        return "Filled with new carbon, passed by QC and released."
    if state is TagState.CHARGED:
        return f"{treatment(batch)}, passed by QC and released."
    if state is TagState.HELD:
        return f"{visit.reason} Do not empty, move out or ship it. A supervisor or the safety lead lifts the hold."
    if state is TagState.REFUSED:
        return f"{visit.reason} It is not {'exchanged' if is_carbon else 'regenerated'} here. The safety lead decides where it goes."
    why = f": {visit.reason.rstrip('.')}" if visit.state == VisitState.WITHDRAWN else ""
    return f"The tank is {label(VisitState(visit.state))}{why}. Do not ship, do not connect."


def treatment(batch: Batch | None) -> str:
    """What was done to the resin of a charged tank."""
    if batch is None:
        return "Regenerated"
    recipe = plan_of(batch).request.recipe
    if recipe.purpose is Purpose.CONDITIONING:
        return "New resin, conditioned"
    if recipe.purpose is Purpose.CLEANING:
        is_sanitized = any(step.kind is StepKind.SANITIZE for step in recipe.steps)
        return f"{'Sanitized' if is_sanitized else 'Cleaned'} and regenerated"
    return "Regenerated"


def _tag_cautions(state: TagState, family: ResinFamily) -> tuple[Caution, ...]:
    if state.may_go_out:
        return (handling.caution_of_content(family),)
    if state is TagState.NOT_RELEASED:
        return (handling.NOT_TESTED,)
    return (handling.UNKNOWN_CONTENT,)


_Readings = tuple[tuple[int | None, TagReading], ...]


def _release_readings(batch: Batch) -> _Readings:
    """What was measured before the release: the end of the rinse at 25 °C, the sample, and each tank by its visit."""
    judged = judgement(batch)
    found: list[tuple[int | None, TagReading]] = []
    latest, limit = judged.end_point.latest_siemens_per_m, judged.end_point.limit
    if latest is not None and limit is not None:
        found.append((None, TagReading("Conductivity", latest, "conductivity", "at 25 °C, end of rinse")))
    newest = {(row.key, row.tank_id): row for row in judged.measurements if row.instrument_was_valid}
    for row in newest.values():
        visit = row.tank.visit_id if row.tank else None
        found.append((visit, TagReading(row.name, row.value, row.kind, "")))
    return tuple(found)


def _of_tank(readings: _Readings, visit: TankVisit) -> tuple[TagReading, ...]:
    """What is said on the tag of one tank: what holds for the batch, and its own results, never another's."""
    return tuple(reading for whose, reading in readings if whose in (None, visit.pk))
