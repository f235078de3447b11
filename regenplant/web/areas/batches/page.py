"""The page of one batch, as first shown and as it comes back when something was refused."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from django.forms import Form
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from regenplant.audit.reasons import REASON_CATEGORIES
from regenplant.audit.selectors import story
from regenplant.batches.frozen import all_judged_rinses
from regenplant.batches.models import Batch, StepRun
from regenplant.batches.reopened import is_reopened
from regenplant.batches.selectors import BatchPage, Work, batch_numbered, batch_page
from regenplant.core.errors import RecordRefused
from regenplant.core.process.lifecycle import ACTIVE_STATES, BatchState, StepState
from regenplant.core.process.plan import EntrySpec
from regenplant.core.process.vocabulary import IonicForm
from regenplant.plant.models import Instrument
from regenplant.plant.selectors import is_instrument_valid, plant_day
from regenplant.quality.models import decision_of
from regenplant.quality.standing import flag_of
from regenplant.web.areas.batches.forms import ActForm, EntryForm, StepForm
from regenplant.web.presenters import batch as words
from regenplant.web.presenters import batch_acts as acts
from regenplant.web.presenters import batch_cards as card_words
from regenplant.web.presenters import batch_checks as checks
from regenplant.web.presenters import batch_entries as entries
from regenplant.web.presenters.bed import ruler_of
from regenplant.web.presenters.history import story_rows
from regenplant.web.presenters.plan import by_gravity, main_figure
from regenplant.web.presenters.separation import separation_view
from regenplant.web.presenters.stale import StaleView
from regenplant.web.requests import by_of, person_of, unit_system_of
from regenplant.web.rights import right

STORY_LENGTH = 6
CORRECTABLE = (BatchState.READY, *ACTIVE_STATES, BatchState.HELD)
"""States in which an entry may still be corrected."""
INSTRUMENT_KINDS = {
    "flow": Instrument.Kind.FLOW,
    "air_flow": Instrument.Kind.FLOW,
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


@dataclass(frozen=True, slots=True)
class Returned:
    """An entry that was refused: its form, the step it was written for, and what was perhaps meant."""

    step: int
    form: EntryForm
    slip: str = ""


@dataclass(frozen=True, slots=True)
class Tried:
    """A start or an end that was refused: its step (0 for the batch), and what was typed about its time."""

    step: int
    occurred_at: str
    late_category: str
    late_words: str
    codes: frozenset[str]

    @property
    def is_open(self) -> bool:
        """Whether the fields for the time are shown open: something stands in them, or is asked for."""
        return bool(self.occurred_at or self.late_words) or "late_reason_needed" in self.codes

    @property
    def is_soon(self) -> bool:
        """Whether the step would end implausibly soon; it can be said to be true."""
        return "too_soon" in self.codes


def show(
    request: HttpRequest,
    batch: Batch,
    *,
    status: int = 200,
    returned: Returned | None = None,
    refusals: Sequence[str] = (),
    stale: StaleView | None = None,
    tried: Tried | None = None,
) -> HttpResponse:
    """The page. ``returned`` and ``refusals`` are what came back from an act that was refused."""
    page, now = batch_page(batch, by=by_of(request)), timezone.now()
    system = unit_system_of(request)
    asked = _asked(request, page) if returned is None else (returned.step, returned.form.data.get("key", ""))
    cards = [_card(page, work, now, system, asked, returned) for work in page.works or (None,)]
    if returned is not None and not any(card["returned"] for card in cards):
        refusals = [*refusals, *_said(returned.form)]  # the step moved on: nothing typed is lost
    recording = right(request, "entry.record", page.batch.segregation_class)
    context = {
        **_head(page, now, system),
        **_acts(page),
        "cards": cards,
        "going_note": "each leg in its own step" if len(cards) > 1 else "one step at a time",
        "other_leg": card_words.other_leg_sentence(page),
        "separation": separation_view(page, system),
        "refusals": refusals,
        "stale": replace(stale, may_overwrite=False) if stale else None,
        "tried": tried,
        "late_kinds": REASON_CATEGORIES.items(),
        "unchecked": checks.to_check(page, person_of(request)),
        "act_form": ActForm(initial={"version": batch.version}),
        "step_form": StepForm(initial={"version": batch.version}, auto_id=False),
        "recording": recording,
        "may_correct": recording.is_held and (batch.state in CORRECTABLE or is_reopened(batch.pk)),
        "paper": right(request, "paper.issue"),
        "opening": right(request, "deviation.open", page.batch.segregation_class),
        "deciding": right(request, "deviation.close", page.batch.segregation_class),
        "ending": right(request, "step.skip", page.batch.segregation_class),
        "story": story_rows(
            story([("batch", batch.number)], newest_first=True, limit=STORY_LENGTH),
            f"Batch {batch.number}",
            now,
        ),
    }
    return render(request, "batches/detail.html", context, status=status)


def _asked(request: HttpRequest, page: BatchPage) -> tuple[int, str]:
    """Which entry of which step the address asks for; without a step it is the one in front."""
    step, front = request.GET.get("step", ""), page.current.number if page.current else 0
    return (int(step[:4]) if step.isascii() and step.isdigit() else front), request.GET.get("entry", "")


def _said(form: EntryForm) -> list[str]:
    """Refusals of a form whose field is no longer on the page, with what was typed."""
    sentences = [str(sentence) for errors in form.errors.values() for sentence in errors]
    return [*sentences, f"You typed “{form.typed}”; nothing was written."]


def is_outside(form: Form) -> bool:
    """Whether the service said that the value lies outside its limits."""
    return any(error.code == "outside_limits" for error in form.errors.as_data().get("value", []))


def form_for(spec: EntrySpec, system: str, now: datetime, data: Any = None, *, ident: str = "") -> EntryForm:
    """The form of one entry with the instruments that may prove something today. ``ident`` keeps the fields of two forms on
    one page apart."""
    return EntryForm(
        data,
        spec=spec,
        system=system,
        instruments=instrument_choices(spec.kind, now),
        auto_id=f"id_%s{ident}",
    )


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
    rows, folded = entries.written_view(page, system)
    return {
        "page": page,
        "batch": page.batch,
        "sentence": words.head_sentence(page, now, system),
        "ruler": ruler_of(page.batch, page.progress),
        "ruler_left": left,
        "ruler_middle": middle,
        "ruler_right": right_words,
        "flag": flag_of(page.batch),
        "wrongs": words.wrongs(page, now, verdict_reason(page.batch)),
        "step_groups": words.step_groups(page),
        "rows": rows,
        "folded": folded,
        "tanks": words.tank_rows(page),
        "counted_in": IonicForm(page.batch.resin_volume_form).label,
        "decided": words.decided_rows(page.decided_deviations),
    }


def _card(
    page: BatchPage,
    work: Work | None,
    now: datetime,
    system: str,
    asked: tuple[int, str],
    returned: Returned | None,
) -> dict[str, Any]:
    """One step card: the step that can be worked on, its entries, its buttons with their reasons."""
    number = work.line.number if work else 0
    ident = f"-{number}" if len(page.works) > 1 else ""
    chosen = entries.chosen_field(page, work, asked[1] if asked[0] == number else "")
    is_back = (
        returned is not None and asked[0] == number and chosen is not None and chosen.spec.key == asked[1]
    )
    form = None
    if is_back and returned is not None:
        form = returned.form
        form.auto_id = f"id_%s{ident}"
        form.fields["value"].widget.attrs["autofocus"] = True  # the refusal is looked at, not searched for
    elif chosen is not None:
        form = form_for(chosen.spec, system, now, ident=ident)
    finish = work.offer("finish") if work else None
    return {
        "work": work,
        "number": number,
        "ident": ident,
        "returned": is_back,
        "card": card_words.card_of(page, work, now),
        "jump": card_words.jump_words(work) if work else "",
        "standing": card_words.standing_sentence(page, work) if work else "",
        "cautions": by_gravity(work.planned.cautions) if work else (),
        "is_running": work is not None and work.line.state == StepState.RUNNING,
        "is_rinse": work is not None and number in all_judged_rinses(page.plan),
        "ticks": entries.missing_ticks(page, work),
        "together": entries.missing_together(page, work),
        "leavable": entries.may_be_left(page, work, chosen),
        "numbers": entries.numbers(page, work, chosen, system),
        "chosen": chosen,
        "entry_form": form,
        "is_outside": is_back and form is not None and is_outside(form),
        "slip": returned.slip if is_back and returned is not None else "",
        "last": entries.last_words(chosen, system) if chosen else "",
        "pad_units": entries.pad_units(chosen.spec.kind)
        if chosen and chosen.spec.kind not in entries.NOT_NUMBERS
        else "",
        "step_start": work.offer("start") if work else None,
        "start_why": acts.start_why(page, work),
        "finish": finish,
        "finish_why": acts.why_not(finish),
        "may_end_early": acts.only_end_open(finish),
        "then": acts.then_words(page, work, now) if work else "",
        "following": work.following_planned if work else None,
        "working": main_figure(work.planned) if work else None,
    }


def _acts(page: BatchPage) -> dict[str, Any]:
    """What can be done with the batch as a whole."""
    state = BatchState(page.batch.state)
    return {
        "start": page.offer("start"),
        "others": acts.other_acts(page),
        "endings": acts.ending_acts(page),
        "hold": page.offer("hold"),
        "hold_why": acts.why_not(page.offer("hold")),
        "resume": page.offer("resume"),
        "resume_why": acts.why_not(page.offer("resume")),
        "fill": page.offer("fill"),
        "is_with_qc": state is BatchState.AWAITING_QC,
        "is_to_release": state is BatchState.FILLED,
    }


def verdict_reason(batch: Batch) -> str:
    """Why QC failed it, or why it was aborted, in the person's own words; "" where nothing is written."""
    if batch.state != BatchState.FAILED:
        return ""
    decision = decision_of(batch)
    return decision.reason if decision is not None else ""
