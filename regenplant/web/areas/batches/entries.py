"""Writing down: entries of a step, ticks, and the correction of an entry."""

from __future__ import annotations

from typing import Any

from django.db import transaction
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from regenplant.batches import services
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch, StepEntry, StepRun
from regenplant.core.errors import DomainError, NotAllowed, StaleRecord
from regenplant.core.process.plan import EntrySpec
from regenplant.web.act_page import Act, act_page
from regenplant.web.acting import attach, receipt, refused_status
from regenplant.web.areas.batches.forms import CorrectEntryForm, LeaveForm
from regenplant.web.areas.batches.page import Returned, batch_or_404, form_for, is_outside, show, step_or_404
from regenplant.web.presenters import batch_entries as words
from regenplant.web.presenters.bed import lower_first
from regenplant.web.presenters.words import counted
from regenplant.web.requests import by_of, unit_system_of
from regenplant.web.rights import right
from regenplant.web.twice import asked_again

MOST_TICKS = 50


@require_POST
def write(request: HttpRequest, number: str, step: int) -> HttpResponse:
    """Write one entry down; outside its limits it comes back with a way to say that it is true."""
    batch = batch_or_404(number)
    run = step_or_404(batch, step)
    spec, system = spec_or_404(batch, run, request.POST.get("key", "")), unit_system_of(request)
    form = form_for(spec, system, timezone.now(), request.POST)
    if form.is_valid():
        by = by_of(request, occurred_at=form.cleaned_data["occurred_at"])
        try:
            outcome = services.write_entry(by=by, step_id=run.pk, system=system, **form.arguments())
        except DomainError as refusal:
            attach(form, refusal)
            note_difference(request, batch, refusal)
        else:
            receipt(request, words.written_sentence(outcome.result, system))
            return redirect("batches-detail", batch.number)
    slip = words.likely_slip(form.typed, spec, system) if is_outside(form) else ""
    asked_again(form, lower_first(spec.name))
    returned = Returned(run.number, form, slip)
    status = 200 if form.is_second_asked else refused_status(form)
    return show(request, batch_or_404(number), status=status, returned=returned)


@require_http_methods(["GET", "HEAD", "POST"])
def leave(request: HttpRequest, number: str, step: int, key: str) -> HttpResponse:
    """Say that an entry was not done or does not apply, and why."""
    batch = batch_or_404(number)
    run = step_or_404(batch, step)
    spec = spec_or_404(batch, run, key)
    form = LeaveForm(request.POST or None)
    act = Act(
        title=f"Nothing for {lower_first(spec.name)}",
        sentence=words.leave_sentence(spec, run.name),
        permission="entry.record",
        segregation_class=batch.segregation_class,
        service=services.leave_entry,
        arguments=lambda: {
            "step_id": run.pk,
            "key": spec.key,
            "standing": form.cleaned_data["standing"],
            "category": form.cleaned_data["category"],
            "reason": form.text("reason"),
        },
        said=lambda outcome: f"Written: {lower_first(spec.name)} {outcome.result.words}, by you.",
        then=lambda outcome: reverse("batches-detail", args=[batch.number]),
        back_url=reverse("batches-detail", args=[batch.number]),
        template="batches/act.html",
    )
    return act_page(request, form, act, facts=words.leave_facts(spec, run.name, unit_system_of(request)))


@require_POST
def tick(request: HttpRequest, number: str, step: int) -> HttpResponse:
    """Write the confirmations down that were ticked: all of them, or none."""
    batch = batch_or_404(number)
    run, keys = step_or_404(batch, step), request.POST.getlist("tick")[:MOST_TICKS]
    if not keys:
        return show(
            request, batch, status=422, refusals=["Nothing is ticked. Tick what is true, then write it down."]
        )
    try:
        with transaction.atomic():
            for key in dict.fromkeys(keys):
                services.write_entry(by=by_of(request), step_id=run.pk, key=key, text="yes")
    except DomainError as refusal:
        return show(request, batch_or_404(number), status=status_of(refusal), refusals=[refusal.message])
    receipt(request, f"Written: {counted(len(set(keys)), 'tick')} at {run.name}, by you.")
    return redirect("batches-detail", batch.number)


def note_difference(request: HttpRequest, batch: Batch, refusal: DomainError) -> None:
    """Write down that two typings of a critical value differed; the refused act itself left no trace."""
    if refusal.code == services.TYPED_DIFFERENTLY:
        services.note_mismatch(by=by_of(request), batch_id=batch.pk, sentence=refusal.message)


def status_of(refusal: DomainError) -> int:
    """The HTTP status of a refusal that is not shown on a form."""
    return 403 if isinstance(refusal, NotAllowed) else 409 if isinstance(refusal, StaleRecord) else 422


def spec_or_404(batch: Batch, run: StepRun, key: str) -> EntrySpec:
    """What an entry of a step is, by its key."""
    for spec in plan_of(batch).step(run.number).entries:
        if spec.key == key:
            return spec
    raise Http404(f"{run.name} has no entry of this name.")


@require_http_methods(["GET", "HEAD", "POST"])
def correct(request: HttpRequest, number: str, entry: int) -> HttpResponse:
    """The page on which one entry is corrected, with a reason."""
    batch, system = batch_or_404(number), unit_system_of(request)
    row = get_object_or_404(
        StepEntry.objects.select_related("step", "entered_by", "instrument"), pk=entry, step__batch=batch
    )
    spec = spec_or_404(batch, row.step, row.key)
    form = CorrectEntryForm(request.POST or None, spec=spec, row=row, system=system)
    if request.method == "POST" and form.is_valid():
        try:
            outcome = services.correct_entry(
                by=by_of(request),
                entry_id=row.pk,
                text=form.typed,
                again=form.again,
                standing=form.asked_standing,
                category=form.cleaned_data["category"],
                reason=form.text("reason"),
                system=system,
                outside_is_true=form.is_said_true,
            )
        except DomainError as refusal:
            attach(form, refusal)
        else:
            receipt(request, words.written_sentence(outcome.result, system))
            return redirect("batches-detail", batch.number)
    asked_again(form, "the right value")
    context: dict[str, Any] = {
        "batch": batch,
        "row": row,
        "spec": spec,
        "form": form,
        "is_outside": is_outside(form),
        "slip": words.likely_slip(form.typed, spec, system) if is_outside(form) else "",
        "facts": words.correction_facts(row, system),
        "is_corrected": hasattr(row, "replaced_by"),
        "may_apply": words.always_applies(spec),
        "right": right(request, "entry.record", batch.segregation_class),
    }
    return render(
        request, "batches/correct.html", context, status=refused_status(form) if form.errors else 200
    )
