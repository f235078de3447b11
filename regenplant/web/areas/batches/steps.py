"""Starting the batch, and starting, ending and skipping its steps."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from regenplant.audit.by import By
from regenplant.audit.reasons import Reason
from regenplant.audit.use_case import Outcome
from regenplant.batches import services
from regenplant.batches.models import Batch, StepRun
from regenplant.web.act_page import Act, act_page
from regenplant.web.acting import receipt, refused_status, try_act
from regenplant.web.areas.batches.forms import ReasonForm, StepForm
from regenplant.web.areas.batches.page import Tried, batch_or_404, show, step_or_404
from regenplant.web.presenters.bed import planned_time

TEMPLATE = "batches/act.html"


def happening(
    service: Callable[..., Outcome], moment: datetime | None, late: Reason | None = None
) -> Callable[..., Outcome]:
    """The same act, at the moment the person wrote, with why it is late; None is now."""

    def act(*, by: By, **arguments: Any) -> Outcome:
        if moment is None:
            return service(by=by, **arguments)
        return service(by=by.happening_at(moment), late=late, **arguments)

    return act


@require_POST
def start(request: HttpRequest, number: str) -> HttpResponse:
    """Start a ready batch: its tanks are emptied and its first step begins."""
    batch = batch_or_404(number)
    form = StepForm(request.POST)
    if form.is_valid():
        service = happening(services.start_batch, form.cleaned_data["occurred_at"], form.late)
        outcome = try_act(form, service, request, batch_id=batch.pk, version=form.shown_version)
        if outcome is not None:
            receipt(
                request,
                f"Written: {batch.number} is started in {batch.vessel.code}; its tanks are being emptied.",
            )
            return redirect("batches-detail", batch.number)
    return _refused(request, number, form, 0)


@require_POST
def start_step(request: HttpRequest, number: str, step: int) -> HttpResponse:
    """Start the next step."""
    batch = batch_or_404(number)
    run = step_or_404(batch, step)
    return _step_act(request, batch, run, services.start_step, "started")


@require_POST
def finish(request: HttpRequest, number: str, step: int) -> HttpResponse:
    """End the running step."""
    batch = batch_or_404(number)
    run = step_or_404(batch, step)
    soon = request.POST.get("soon") == "yes"
    return _step_act(
        request, batch, run, services.finish_step, "done", **({"soon_is_true": True} if soon else {})
    )


def _step_act(
    request: HttpRequest, batch: Batch, run: StepRun, service: Callable[..., Outcome], done: str, **more: Any
) -> HttpResponse:
    form = StepForm(request.POST)
    if form.is_valid():
        act = happening(service, form.cleaned_data["occurred_at"], form.late)
        outcome = try_act(form, act, request, step_id=run.pk, version=form.shown_version, **more)
        if outcome is not None:
            receipt(request, f"Written: step {run.number}, {run.name}, {done}.")
            return redirect("batches-detail", batch.number)
    return _refused(request, batch.number, form, run.number)


def _refused(request: HttpRequest, number: str, form: StepForm, step: int) -> HttpResponse:
    """The page with what was refused; what was typed about the time stands in its field again."""
    batch = batch_or_404(number)
    return show(
        request,
        batch,
        status=refused_status(form),
        refusals=form.sentences,
        stale=form.stale,
        tried=Tried(
            step,
            form.text_of("occurred_at"),
            form.text_of("late_category"),
            form.text_of("late_words"),
            form.codes,
        ),
    )


@require_http_methods(["GET", "HEAD", "POST"])
def end_early(request: HttpRequest, number: str, step: int) -> HttpResponse:
    """End a step whose end is not reached, with a reason; that opens a deviation."""
    batch = batch_or_404(number)
    run = step_or_404(batch, step)
    form = ReasonForm(request.POST or None, label="Why it ends here", initial={"version": batch.version})
    act = Act(
        title=f"End {run.name} early",
        sentence="Its end is not reached, or it took more water than it was allowed. With a reason it ends here all the same, and a "
        "major deviation is opened.",
        permission="step.skip",
        segregation_class=batch.segregation_class,
        service=services.finish_step,
        arguments=lambda: {
            "step_id": run.pk,
            "version": form.version_seen(batch.version),
            "reason": form.text("reason"),
        },
        said=lambda outcome: f"Written: step {run.number}, {run.name}, ended early. A deviation is open.",
        then=lambda outcome: reverse("batches-detail", args=[batch.number]),
        back_url=reverse("batches-detail", args=[batch.number]),
        button="End it here",
        is_stopping=True,
        template=TEMPLATE,
    )
    return act_page(request, form, act)


@require_http_methods(["GET", "HEAD", "POST"])
def skip(request: HttpRequest, number: str, step: int) -> HttpResponse:
    """Skip a waiting step formally, with a reason; that opens a deviation."""
    batch = batch_or_404(number)
    run = step_or_404(batch, step)
    form = ReasonForm(request.POST or None, label="Why it is skipped", initial={"version": batch.version})
    act = Act(
        title=f"Skip {run.name}",
        sentence=f"It is planned for {planned_time(run.planned_duration_s)}. With a reason it is skipped, and a minor deviation is opened.",
        permission="step.skip",
        segregation_class=batch.segregation_class,
        service=services.skip_step,
        arguments=lambda: {
            "step_id": run.pk,
            "version": form.version_seen(batch.version),
            "reason": form.text("reason"),
        },
        said=lambda outcome: f"Written: step {run.number}, {run.name}, skipped. A deviation is open.",
        then=lambda outcome: reverse("batches-detail", args=[batch.number]),
        back_url=reverse("batches-detail", args=[batch.number]),
        button="Skip it",
        is_stopping=True,
        template=TEMPLATE,
    )
    return act_page(request, form, act)
