"""Second persons: the check of a critical entry or reading, and what two people tick together."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome
from regenplant.batches import services
from regenplant.batches.models import Batch, RinseReading, StepEntry
from regenplant.core.errors import DomainError
from regenplant.people.signing import needs_full_credentials
from regenplant.web.acting import attach, receipt, refused_status
from regenplant.web.areas.batches.entries import spec_or_404
from regenplant.web.areas.batches.page import batch_or_404, step_or_404
from regenplant.web.presenters import batch_entries as words
from regenplant.web.presenters.bed import lower_first
from regenplant.web.requests import by_of, person_of, unit_system_of
from regenplant.web.rights import right
from regenplant.web.signing import SecondPersonForm, SigningForm, is_whole, second_person, sign

BOTH = require_http_methods(["GET", "HEAD", "POST"])


class CheckForm(SigningForm):
    """The second person is signed in: their own password."""


@BOTH
def check(request: HttpRequest, number: str, kind: str, pk: int) -> HttpResponse:
    """The check of one critical entry or reading. Who wrote it hands the tablet over; everybody else signs as they are."""
    batch, system = batch_or_404(number), unit_system_of(request)
    row, service, argument = _thing(batch, kind, pk)
    is_own = row.entered_by_id == person_of(request).pk
    form = (
        SecondPersonForm(request.POST or None)
        if is_own
        else CheckForm(request.POST or None, initial={"version": batch.version})
    )
    about = ("batch", batch.number, f"Batch {batch.number}")
    if request.method == "POST" and is_whole(form, request):
        outcome = _checked(form, request, batch, service, {argument: row.pk}, about)
        if outcome is not None:
            receipt(request, f"Written: checked by {outcome.result.checked_by.full_name}.")
            return redirect("batches-detail", batch.number)
    context = {
        "batch": batch,
        "form": form,
        "is_own": is_own,
        "title": f"Check {lower_first(words.thing_name(row))}",
        "sentence": "Look for yourself: at the level, the meter, the cell. Sign only what you saw.",
        "facts": words.check_facts(row, system),
        "meaning": services.CHECK_MEANING,
        "button": "Seen, and signed",
        **_signing(request, batch),
    }
    return render(request, "batches/check.html", context, status=refused_status(form) if form.errors else 200)


@BOTH
def together(request: HttpRequest, number: str, step: int, key: str) -> HttpResponse:
    """What two people tick together: who is signed in ticks, the second gives a password of their own."""
    batch = batch_or_404(number)
    run = step_or_404(batch, step)
    spec = spec_or_404(batch, run, key)
    if spec.kind != "second_person":
        raise Http404(f"{spec.name} is written by one person.")
    form = SecondPersonForm(request.POST or None)
    about = ("batch", batch.number, f"Batch {batch.number}")
    if request.method == "POST" and form.is_valid():
        outcome = _together(form, request, batch, {"step_id": run.pk, "key": spec.key}, about)
        if outcome is not None:
            receipt(
                request,
                f"Written: {lower_first(spec.name)}, by you and {outcome.result.checked_by.full_name}.",
            )
            return redirect("batches-detail", batch.number)
    context = {
        "batch": batch,
        "form": form,
        "is_own": True,
        "title": spec.name,
        "is_tick": True,
        "sentence": "Each of you looks at it and reads the code on it. You tick it; the second person signs for it here.",
        "facts": words.together_facts(run, person_of(request)),
        "meaning": services.TOGETHER_MEANING,
        "button": "Checked by both",
        **_signing(request, batch),
    }
    return render(request, "batches/check.html", context, status=refused_status(form) if form.errors else 200)


def _thing(batch: Batch, kind: str, pk: int) -> tuple[StepEntry | RinseReading, Any, str]:
    if kind == "entry":
        rows = StepEntry.objects.select_related("step", "entered_by", "instrument")
        return get_object_or_404(rows, pk=pk, step__batch=batch), services.check_entry, "entry_id"
    if kind == "reading":
        readings = RinseReading.objects.select_related("step", "entered_by", "instrument")
        return get_object_or_404(readings, pk=pk, batch=batch), services.check_reading, "reading_id"
    raise Http404("Entries and readings are checked, nothing else.")


def _signing(request: HttpRequest, batch: Batch) -> dict[str, Any]:
    return {
        "person": person_of(request),
        "now": timezone.now(),
        "right": right(request, "entry.check", batch.segregation_class),
        "asks_name": needs_full_credentials(request),
        "back_url": reverse("batches-detail", args=[batch.number]),
    }


def _checked(
    form: Any,
    request: HttpRequest,
    batch: Batch,
    service: Any,
    what: dict[str, Any],
    about: tuple[str, str, str],
) -> Outcome | None:
    if isinstance(form, SigningForm):
        return sign(form, request, service, meaning=services.CHECK_MEANING, about=about, **what)
    found = second_person(
        form,
        request,
        meaning=services.CHECK_MEANING,
        about=about,
        permission="entry.check",
        segregation_class=batch.segregation_class,
    )
    if found is None:
        return None
    person, permit = found
    try:
        return service(by=_as(request, person), permit=permit, **what)
    except DomainError as refusal:
        attach(form, refusal)
        return None


def _together(
    form: SecondPersonForm,
    request: HttpRequest,
    batch: Batch,
    what: dict[str, Any],
    about: tuple[str, str, str],
) -> Outcome | None:
    found = second_person(
        form,
        request,
        meaning=services.TOGETHER_MEANING,
        about=about,
        permission="entry.check",
        segregation_class=batch.segregation_class,
    )
    if found is None:
        return None
    person, permit = found
    try:
        return services.confirm_together(
            by=by_of(request), second=_as(request, person), permit=permit, **what
        )
    except DomainError as refusal:
        attach(form, refusal)
        return None


def _as(request: HttpRequest, person: Any) -> By:
    """The second person, at this terminal and now."""
    by = by_of(request)
    return By(person, by.at, by.terminal)
