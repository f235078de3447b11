"""Views that only show: the list of batches, one batch, its frozen plan, its story."""

from __future__ import annotations

from dataclasses import replace

from django.http import Http404, HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_safe

from regenplant.audit.stories import story_page
from regenplant.batches.frozen import plan_of
from regenplant.batches.selectors import count_by_state, filtered_batches, story_subjects
from regenplant.core.process.lifecycle import BatchState, label
from regenplant.keeping.retention import purge_that_took
from regenplant.web import listing as listings
from regenplant.web.areas.batches.forms import FilterForm
from regenplant.web.areas.batches.page import batch_or_404, show
from regenplant.web.areas.batches.story import StoryForm
from regenplant.web.listing import Chip, chips
from regenplant.web.presenters.history import (
    act_rows,
    batches_sentence,
    chosen_words,
    kinds_of,
    only_choices,
    page_links,
    shown_words,
    story_sentence,
)
from regenplant.web.presenters.plan import plan_json, plan_view
from regenplant.web.presenters.words import sentence_case
from regenplant.web.requests import unit_system_of
from regenplant.web.tables.batches import BatchTable

ACTS_ON_A_PAGE = 40
STATES = tuple(state for state in BatchState if state is not BatchState.PLANNED)


@require_safe
def listing(request: HttpRequest) -> HttpResponse:
    form, counts = FilterForm(request.GET), count_by_state()
    table = BatchTable(filtered_batches(**form.wanted()))
    context = {"form": form, "chips": _state_chips(request, counts), "sentence": batches_sentence(counts)}
    return listings.answer(request, "batches/list.html", table, "batches", context)


def _state_chips(request: HttpRequest, counts: dict[str, int]) -> list[Chip]:
    """A chip per state that some batch has, with its shape and number, keeping every other filter."""
    here = request.GET.get("state", "")
    shown = [state for state in STATES if counts.get(state.value) or state.value == here]
    made = chips(request, "state", [(state.value, sentence_case(label(state))) for state in shown])
    numbers = [sum(counts.values()), *(counts.get(state.value, 0) for state in shown)]
    marks = ["", *(state.value for state in shown)]
    return [
        replace(chip, count=count, mark=mark) for chip, count, mark in zip(made, numbers, marks, strict=True)
    ]


@require_safe
def detail(request: HttpRequest, number: str) -> HttpResponse:
    """The batch; what stays of it when it was purged, for the addresses and codes on its papers lead here."""
    try:
        batch = batch_or_404(number)
    except Http404:
        if purge_that_took(number.upper()) is None:
            raise
        return redirect("retention-purged", number.upper())
    return show(request, batch)


@require_safe
def plan(request: HttpRequest, number: str) -> HttpResponse:
    """The plan as it was frozen, with the working of every figure."""
    batch = batch_or_404(number)
    view = plan_view(plan_of(batch), timezone.now(), unit_system_of(request))
    return render(request, "batches/plan.html", {"batch": batch, "plan": view})


@require_safe
def plan_figures(request: HttpRequest, number: str) -> HttpResponse:
    """The same plan for a program: every figure and total with formula, numbers put in, and source."""
    batch = batch_or_404(number)
    system = unit_system_of(request)
    found = {"batch": batch.number, "plan_digest": batch.plan_digest, **plan_json(plan_of(batch), system)}
    return JsonResponse(found, json_dumps_params={"ensure_ascii": False, "indent": 1})


@require_safe
def history(request: HttpRequest, number: str) -> HttpResponse:
    """Everything that was done, as a story: narrowed by person, kind of act, step, corrections, late acts, or words."""
    batch = batch_or_404(number)
    form = StoryForm(request.GET)
    wanted = form.wanted()
    page = story_page(story_subjects(batch), wanted, page=form.page(), per_page=ACTS_ON_A_PAGE)
    context = {
        "batch": batch,
        "page": page,
        "rows": act_rows(page.lines, f"Batch {batch.number}", timezone.now()),
        "sentence": story_sentence(page),
        "shown": shown_words(page, wanted),
        "form": form,
        "wanted": wanted,
        "chosen": chosen_words(wanted, page),
        "people": chips(request, "who", [(name, name) for name in page.people], every="Everybody"),
        "kinds": chips(request, "kind", kinds_of(page), every="Every act"),
        "steps": chips(request, "step", [(name, name) for name in page.steps], every="Every step"),
        "only": chips(request, "only", only_choices(page), every="All of them"),
        "pages": page_links(request, page),
    }
    return render(request, "batches/history.html", context)
