"""One record: reviewed by exception, opened for correction, its signed versions side by side."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.batches.models import Batch
from regenplant.quality import services
from regenplant.quality.record import record_of
from regenplant.quality.selectors import review_page
from regenplant.quality.signed_content import REOPEN_MEANING, REVIEW_MEANING
from regenplant.quality.standing import standing_of
from regenplant.web.acting import receipt, refused_status
from regenplant.web.areas.batches.page import batch_or_404
from regenplant.web.areas.review.forms import ReopenForm, ReviewForm
from regenplant.web.house_form import posted
from regenplant.web.presenters import review_record as words
from regenplant.web.presenters import versions as signed
from regenplant.web.presenters.words import short_digest
from regenplant.web.requests import by_of, person_of
from regenplant.web.rights import right
from regenplant.web.signing import is_whole, sign


def _about(batch: Batch) -> tuple[str, str, str]:
    return ("batch", batch.number, f"Batch {batch.number}")


@never_cache
@sensitive_post_parameters("password")
@require_http_methods(["GET", "HEAD", "POST"])
def review(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    """What was unusual, then the whole record; a POST signs the review."""
    batch = batch_or_404(number)
    form = ReviewForm(posted(request), initial={"version": batch.version})
    if request.method == "POST" and is_whole(form, request):
        outcome = sign(
            form,
            request,
            services.review_record,
            meaning=REVIEW_MEANING,
            about=_about(batch),
            batch_id=batch.pk,
            remarks=form.text("remarks"),
            version=form.shown_version,
        )
        if outcome is not None:
            digest = short_digest(outcome.result.signature.digest)
            receipt(request, f"Signed: the record of {batch.number} was reviewed. Digest {digest}.")
            return redirect("review-batch", batch.number)
    return _review_page(request, batch_or_404(number), form)


def _review_page(request: HttpRequest, batch: Batch, form: ReviewForm) -> HttpResponse:
    page = review_page(batch, by=by_of(request))
    held = right(request, "batch.review", batch.segregation_class)
    context = {
        "page": page,
        "batch": batch,
        "sentence": words.review_sentence(page),
        "found": words.found_view(page.exceptions, batch.number),
        "whole": words.whole_record(page.record),
        "is_open": request.GET.get("open") == "all",
        "reviews": words.review_rows(page.reviews),
        "is_reviewed": page.standing.is_reviewed,
        "refused": words.refusal(page, "" if held.is_held else held.reason),
        "facts": words.review_facts(page),
        "form": with_version(form, batch),
        "meaning": REVIEW_MEANING,
        "may_reopen": right(request, "batch.reopen", batch.segregation_class),
        "is_signed": page.standing.decision is not None,
        "is_reopened": page.standing.reopening is not None,
        "person": person_of(request),
        "now": timezone.now(),
    }
    return render(request, "review/batch.html", context, status=refused_status(form) if form.errors else 200)


def with_version(form: Any, batch: Batch) -> Any:
    """A refused form carries the version that its page now shows; the person looks again before signing again."""
    if form.is_bound:
        data = form.data.copy()
        data[form.add_prefix("version")] = str(batch.version)
        form.data = data
    return form


@never_cache
@sensitive_post_parameters("password")
@require_http_methods(["GET", "HEAD", "POST"])
def reopen(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    """Opening a signed record for correction, with a reason and a signature."""
    batch = batch_or_404(number)
    form = ReopenForm(posted(request), initial={"version": batch.version})
    if request.method == "POST" and is_whole(form, request):
        outcome = sign(
            form,
            request,
            services.reopen_record,
            meaning=REOPEN_MEANING,
            about=_about(batch),
            batch_id=batch.pk,
            category=form.text("category"),
            reason=form.text("reason"),
            version=form.shown_version,
        )
        if outcome is not None:
            receipt(
                request,
                f"Signed: the record of {batch.number} is open for correction. Correct it, then its decision is signed anew.",
            )
            return redirect("review-versions", batch.number)
    batch = batch_or_404(number)
    standing = standing_of(batch, record_of(batch))
    held = right(request, "batch.reopen", batch.segregation_class)
    refused = "" if held.is_held else held.reason
    if standing.decision is None:
        refused = "Nobody signed for this batch yet. A wrong value is corrected where it stands."
    elif standing.reopening is not None:
        refused = "The record is open for correction already."
    context = {
        "batch": batch,
        "standing": standing,
        "form": with_version(form, batch),
        "refused": refused,
        "meaning": REOPEN_MEANING,
        "person": person_of(request),
        "now": timezone.now(),
    }
    return render(request, "review/reopen.html", context, status=refused_status(form) if form.errors else 200)


@require_safe
def versions(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    """Every signed version of decision, review and release, each beside what it changed."""
    batch = batch_or_404(number)
    record = record_of(batch)
    standing = standing_of(batch, record)
    context = {
        "batch": batch,
        "standing": standing,
        "decisions": signed.decision_versions(record),
        "releases": signed.release_versions(record.releases),
        "reviews": words.review_rows(batch.reviews.select_related("signature").order_by("version")),
        "may_reopen": right(request, "batch.reopen", batch.segregation_class),
    }
    return render(request, "review/versions.html", context)
