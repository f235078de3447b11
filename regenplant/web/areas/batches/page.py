"""The page of one batch, as first shown and as it comes back when something was refused."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from django.core.exceptions import ObjectDoesNotExist
from django.forms import Form
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from regenplant.audit.selectors import story
from regenplant.batches.models import Batch, StepRun
from regenplant.batches.selectors import BatchPage, batch_numbered, batch_page
from regenplant.batches.selectors.page import EntryLine
from regenplant.core.errors import RecordRefused
from regenplant.core.process.lifecycle import ACTIVE_STATES, BatchState, StepState
from regenplant.core.process.plan import EntrySpec
from regenplant.plant.models import Instrument
from regenplant.plant.selectors import is_instrument_valid, plant_day
from regenplant.web.areas.batches.forms import ActForm, EntryForm, StepForm
from regenplant.web.presenters import batch as words
from regenplant.web.presenters import batch_acts as acts
from regenplant.web.presenters import batch_entries as entries
from regenplant.web.presenters.bed import ruler_of
from regenplant.web.presenters.history import story_rows
from regenplant.web.presenters.plan import by_gravity, main_figure
from regenplant.web.requests import by_of, unit_system_of
from regenplant.web.rights import right

STORY_LENGTH = 6
CORRECTABLE = (BatchState.READY, *ACTIVE_STATES, BatchState.HELD)
"""States in which an entry may still be corrected."""
INSTRUMENT_KINDS = {
    "flow": Instrument.Kind.FLOW,
    "strength": Instrument.Kind.HYDROMETER,
    "density": Instrument.Kind.HYDROMETER,
    "temperature": Instrument.Kind.THERMOMETER,
    "ph": Instrument.Kind.PH,
    "mass": Instrument.Kind.BALANCE,
}
"""What an entry of a kind is read with."""


def batch_or_404(number: str) -> Batch:
    """The batch of this address; a number that nobody gave is no page."""
    try:
        return batch_numbered(number)
    except RecordRefused as refusal:
        raise Http404(refusal.message) from refusal


def step_or_404(batch: Batch, number: int) -> StepRun:
    """A step of a batch by its number."""
    step = batch.steps.filter(number=number).first() if number < 1000 else None
    if step is None:
        raise Http404(f"Batch {batch.number} has no step {number}.")
    return step


def show(
    request: HttpRequest,
    batch: Batch,
    *,
    status: int = 200,
    entry_form: EntryForm | None = None,
    slip: str = "",
    refusals: Sequence[str] = (),
) -> HttpResponse:
    """The page. ``entry_form`` and ``refusals`` are what came back from an act that was refused."""
    page, now = batch_page(batch, by=by_of(request)), timezone.now()
    system = unit_system_of(request)
    asked = entry_form.data.get("key", "") if entry_form is not None else request.GET.get("entry", "")
    chosen, recording = entries.chosen_field(page, str(asked)), right(request, "entry.record")
    if entry_form is not None and (chosen is None or chosen.spec.key != asked):
        refusals = [
            *refusals,
            *_said(entry_form),
        ]  # the step moved on: nothing typed is lost, it stands in the note
        entry_form = None
    if entry_form is not None:
        entry_form.fields["value"].widget.attrs["autofocus"] = (
            True  # the refusal is looked at, not searched for
        )
    elif chosen is not None:
        entry_form = form_for(chosen.spec, system, now)
    context = {
        **_head(page, now, system),
        **_work(page, now, chosen, system),
        "entry_form": entry_form,
        "is_outside": entry_form is not None and is_outside(entry_form),
        "slip": slip,
        "refusals": refusals,
        "act_form": ActForm(initial={"version": batch.version}),
        "step_form": StepForm(initial={"version": batch.version}),
        "recording": recording,
        "may_correct": recording.is_held and batch.state in CORRECTABLE,
        "paper": right(request, "paper.issue"),
        "opening": right(request, "deviation.open"),
        "deciding": right(request, "deviation.close"),
        "ending": right(request, "step.skip"),
        "story": story_rows(
            story([("batch", batch.number)], newest_first=True, limit=STORY_LENGTH),
            f"Batch {batch.number}",
            now,
        ),
    }
    return render(request, "batches/detail.html", context, status=status)


def _said(form: EntryForm) -> list[str]:
    """Refusals of a form whose field is no longer on the page, with what was typed."""
    sentences = [str(sentence) for errors in form.errors.values() for sentence in errors]
    return [*sentences, f"You typed “{form.typed}”; nothing was written."]


def is_outside(form: Form) -> bool:
    """Whether the service said that the value lies outside its limits."""
    return any(error.code == "outside_limits" for error in form.errors.as_data().get("value", []))


def form_for(spec: EntrySpec, system: str, now: datetime, data: Any = None) -> EntryForm:
    """The form of one entry with the instruments that may prove something today."""
    return EntryForm(data, spec=spec, system=system, instruments=instrument_choices(spec.kind, now))


def instrument_choices(kind: str, now: datetime) -> list[tuple[str, str]]:
    """Instruments of the fitting kind whose calibration holds today."""
    wanted = INSTRUMENT_KINDS.get(kind)
    if wanted is None:
        return []
    today = plant_day(now)
    found = Instrument.objects.filter(kind=wanted, is_active=True)
    return [(str(one.pk), f"{one.code}, {one.name}") for one in found if is_instrument_valid(one, today)]


def _head(page: BatchPage, now: datetime, system: str) -> dict[str, Any]:
    left, middle, right_words = words.ruler_words(page, now)
    return {
        "page": page,
        "batch": page.batch,
        "sentence": words.head_sentence(page, now, system),
        "ruler": ruler_of(page.batch, page.progress),
        "ruler_left": left,
        "ruler_middle": middle,
        "ruler_right": right_words,
        "wrongs": words.wrongs(page, now, verdict_reason(page.batch)),
        "steps": words.step_rows(page),
        "rows": entries.entry_rows(page, system),
        "tanks": words.tank_rows(page),
        "decided": words.decided_rows(page.decided_deviations),
    }


def _work(page: BatchPage, now: datetime, chosen: EntryLine | None, system: str) -> dict[str, Any]:
    state, finish = BatchState(page.batch.state), page.step_offer("finish")
    return {
        "card": words.card_of(page, now),
        "cautions": by_gravity(page.current_planned.cautions) if page.current_planned else (),
        "is_running": page.current is not None and page.current.state == StepState.RUNNING,
        "is_rinse": page.current is not None and page.current.kind == "fast_rinse",
        "ticks": entries.missing_ticks(page),
        "numbers": entries.numbers(page, chosen, system),
        "chosen": chosen,
        "last": entries.last_words(chosen, system) if chosen else "",
        "pad_units": entries.pad_units(chosen.spec.kind)
        if chosen and chosen.spec.kind not in entries.NOT_NUMBERS
        else "",
        "start": page.offer("start"),
        "step_start": page.step_offer("start"),
        "finish": finish,
        "finish_why": acts.why_not(finish),
        "may_end_early": acts.only_end_open(finish),
        "start_why": acts.start_why(page),
        "others": acts.other_acts(page),
        "endings": acts.ending_acts(page),
        "hold": page.offer("hold"),
        "hold_why": acts.why_not(page.offer("hold")),
        "resume": page.offer("resume"),
        "resume_why": acts.why_not(page.offer("resume")),
        "fill": page.offer("fill"),
        "is_with_qc": state is BatchState.AWAITING_QC,
        "is_to_release": state is BatchState.FILLED,
        "then": acts.then_words(page, now),
        "working": main_figure(page.current_planned) if page.current_planned else None,
    }


def verdict_reason(batch: Batch) -> str:
    """Why QC failed it, or why it was aborted, in the person's own words; "" where nothing is written."""
    if batch.state != BatchState.FAILED:
        return ""
    try:
        reason: str = batch.qc_decision.reason
    except ObjectDoesNotExist:
        return ""
    return reason
