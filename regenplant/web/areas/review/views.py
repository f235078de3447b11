"""Views of the review."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.audit import chain
from regenplant.batches.services import close_deviation
from regenplant.quality import verification
from regenplant.quality.selectors import deviation_numbered, review_board
from regenplant.web.acting import receipt, refused_status, try_act
from regenplant.web.areas.review.forms import DecisionForm, HeadForm
from regenplant.web.presenters import review as words
from regenplant.web.requests import person_of, unit_system_of
from regenplant.web.rights import Right, right


@require_safe
def review(request: HttpRequest) -> HttpResponse:
    board, system = review_board(timezone.now()), unit_system_of(request)
    context = {
        "board": board,
        "sentence": words.board_sentence(board),
        "failed": [words.failed_row(batch, system) for batch in board.failed],
        "held": [words.held_row(batch, system) for batch in board.held],
        "to_release": [words.release_row(batch, system) for batch in board.to_release],
        "may_rework": right(request, "batch.rework"),
        "may_scrap": right(request, "batch.scrap"),
    }
    return render(request, "review/review.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def deviation(request: HttpRequest, number: str) -> HttpResponse:
    """One deviation; a POST decides it."""
    found = deviation_numbered(number)
    if found is None:
        raise Http404(f"There is no deviation {number}.")
    form = DecisionForm(request.POST or None)
    if request.method == "POST" and form.is_valid():
        outcome = try_act(
            form, close_deviation, request, deviation_id=found.pk, decision=form.text("decision")
        )
        if outcome is not None:
            receipt(request, f"Written: {found.number} of {found.batch.number} is decided.")
            return redirect("review")
        found = deviation_numbered(number) or found
    context = {
        "deviation": found,
        "sentence": words.deviation_sentence(found),
        "facts": words.deviation_facts(found, unit_system_of(request)),
        "form": form,
        "right": _right_to_decide(request, found),
    }
    return render(
        request, "review/deviation.html", context, status=refused_status(form) if form.errors else 200
    )


def _right_to_decide(request: HttpRequest, found: Any) -> Right:
    if found.opened_by_id == person_of(request).pk:
        return Right(False, f"You opened {found.number}, so another person decides it.")
    return right(request, "deviation.close")


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def record(request: HttpRequest) -> HttpResponse:
    """The state of the record; a POST looks at every record now. Nothing is changed by it."""
    extent = verification.extent()
    form = HeadForm(request.POST or None)
    context: dict[str, Any] = {
        "form": form,
        "sentence": words.record_sentence(extent),
        "facts": words.extent_facts(extent),
        "head": extent.head,
    }
    if request.method == "POST" and form.is_valid():
        findings = list(verification.findings())
        context |= {
            "is_verified": True,
            "findings": words.finding_sentences(findings),
            "result": words.verified_sentence(findings, extent),
            "verified_at": timezone.now(),
        }
        if head := form.cleaned_data["head"]:
            number = chain.stands(head)
            context |= {"head_result": words.head_sentence(head, number), "head_stands": number is not None}
    return render(request, "review/record.html", context, status=422 if form.errors else 200)
