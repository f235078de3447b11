"""Acts on paper forms, each on a page of its own."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST

from regenplant.batches.models import Batch
from regenplant.batches.selectors import batch_numbered
from regenplant.core.errors import RecordRefused
from regenplant.keeping import services
from regenplant.keeping.models import PaperForm
from regenplant.web.act_page import Act, act_page
from regenplant.web.acting import attach, receipt, refused_status, try_act
from regenplant.web.areas.paper_forms.forms import BackForm, CloseForm, IssueForm, ScanForm, TakeUpForm
from regenplant.web.areas.paper_forms.views import address_of, form_context, form_or_404
from regenplant.web.house_form import HouseForm, posted
from regenplant.web.presenters import paper_forms as words
from regenplant.web.requests import person_of, transcribe_from
from regenplant.web.rights import right

State = PaperForm.State


def _batch_of(form: HouseForm) -> Batch | None:
    """The batch that a form names. Raises: RecordRefused beside the field."""
    number = form.text("batch")
    if not number:
        return None
    try:
        return batch_numbered(number)
    except RecordRefused as refusal:
        raise RecordRefused(refusal.message, field="batch", code=refusal.code) from refusal


@require_http_methods(["GET", "HEAD", "POST"])
def issue(request: HttpRequest) -> HttpResponse:
    """Issue a pad."""
    asked = {"batch": request.GET.get("batch", "")[:16], "kind": request.GET.get("kind", "")}
    form = IssueForm(posted(request), initial={name: value for name, value in asked.items() if value})
    if request.method == "POST" and form.is_valid():
        try:
            batch = _batch_of(form)
        except RecordRefused as refusal:
            attach(form, refusal)
        else:
            outcome = try_act(
                form,
                services.issue_form,
                request,
                kind=form.text("kind"),
                count=form.cleaned_data["count"],
                batch_id=batch.pk if batch else None,
            )
            if outcome is not None:
                receipt(
                    request,
                    f"Written: {words.span(outcome.result)} issued. Print now; a number that is used is not printed again.",
                )
                return redirect("paper-forms-form", outcome.result[0].number)
    context = {"form": form, "right": right(request, "form.issue"), "act": _ISSUE}
    return render(
        request, "paper_forms/issue.html", context, status=refused_status(form) if form.errors else 200
    )


_ISSUE = {
    "title": "Issue paper forms",
    "sentence": "Numbered, for hours without the system. Each number is used once and stays accounted for.",
}


@require_http_methods(["GET", "HEAD", "POST"])
def take(request: HttpRequest, number: str) -> HttpResponse:
    """Take up a filled form: its number is used from here on."""
    found = form_or_404(number)
    form = TakeUpForm(posted(request), initial={"version": found.version})
    if found.batch is not None:
        form.fields["batch"].disabled = True
        form.initial["batch"] = found.batch.number

    def arguments() -> dict[str, Any]:
        return {"form_id": found.pk, "batch_id": _batch_key(form), "version": form.shown_version}

    if request.method == "POST" and form.is_valid():
        try:
            given = arguments()
        except RecordRefused as refusal:
            attach(form, refusal)
        else:
            outcome = try_act(form, services.transcribe, request, **given)
            if outcome is not None:
                transcribe_from(request, found.number)
                receipt(
                    request,
                    f"Written: you transcribe {found.number}. What you write down from now on carries its number.",
                )
                return redirect("paper-forms-form", found.number)
    context = {
        "act": {
            "title": f"Take up {found.number}",
            "sentence": "You enter it alone, line by line, with the times that stand on the paper. The number is then used.",
            "button": "Take it up",
            "back_url": address_of(found),
            "is_stopping": False,
        },
        "form": form,
        "right": right(request, "form.transcribe"),
        "is_stale": bool(form.errors) and refused_status(form) == 409,
    }
    return render(request, "act.html", context, status=refused_status(form) if form.errors else 200)


def _batch_key(form: TakeUpForm) -> int | None:
    batch = _batch_of(form)
    return batch.pk if batch is not None else None


@require_POST
def go_on(request: HttpRequest, number: str) -> HttpResponse:
    """Go on transcribing a form that this person took up."""
    found = form_or_404(number)
    if found.state == State.ENTERING and found.transcriber_id == person_of(request).pk:
        transcribe_from(request, found.number)
        receipt(request, f"You transcribe {found.number} again.")
    return redirect(address_of(found))


@require_POST
def leave(request: HttpRequest) -> HttpResponse:
    """Stop for now; the form stays taken up."""
    transcribe_from(request, "")
    receipt(request, "You transcribe no form now. What you write down carries no form number.")
    return redirect("paper-forms")


@require_POST
def scan(request: HttpRequest, number: str) -> HttpResponse:
    """Keep a scan; refused, the page of the form says why."""
    found = form_or_404(number)
    form = ScanForm(request.POST, request.FILES)
    if form.is_valid():
        outcome = try_act(form, services.add_scan, request, form_id=found.pk, scan=form.cleaned_data["scan"])
        if outcome is not None:
            receipt(request, f"Written: the scan is kept, digest {outcome.result.sha256[:8]}.")
            return redirect(address_of(found))
    return render(
        request,
        "paper_forms/form.html",
        form_context(request, found, scanning=form),
        status=refused_status(form),
    )


@require_http_methods(["GET", "HEAD", "POST"])
def back(request: HttpRequest, number: str) -> HttpResponse:
    """Send a transcription back."""
    found = form_or_404(number)
    form = BackForm(posted(request), initial={"version": found.version})
    act = Act(
        title=f"Send {found.number} back",
        sentence="The transcriber corrects the record, with reasons, and signs anew. Then you compare it again.",
        permission="form.confirm",
        service=services.send_back,
        arguments=lambda: {"form_id": found.pk, "reason": form.text("reason"), "version": form.shown_version},
        said=lambda outcome: f"Written: {found.number} goes back to its transcriber.",
        then=lambda outcome: address_of(found),
        back_url=address_of(found),
        button="Send it back",
        is_stopping=True,
    )
    return act_page(request, form, act)


@require_http_methods(["GET", "HEAD", "POST"])
def close(request: HttpRequest, number: str) -> HttpResponse:
    """Say that a form is spoiled or missing."""
    found = form_or_404(number)
    form = CloseForm(posted(request), initial={"version": found.version})
    act = Act(
        title=f"{found.number} is not entered",
        sentence="Its number is then never used. What was done by hand on it must stand in the record some other way.",
        permission="form.close",
        service=services.close_form,
        arguments=lambda: {
            "form_id": found.pk,
            "state": form.text("state"),
            "reason": form.text("reason"),
            "version": form.shown_version,
        },
        said=lambda outcome: f"Written: {found.number} is {outcome.result.get_state_display()}.",
        then=lambda outcome: reverse("paper-forms"),
        back_url=address_of(found),
        is_stopping=True,
    )
    return act_page(request, form, act)
