"""The list of deviations, and the page of one with its decision."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.audit.selectors import story
from regenplant.batches import services
from regenplant.batches.models import Deviation
from regenplant.batches.selectors import deviations as read
from regenplant.web import listing as listings
from regenplant.web.acting import receipt, refused_status
from regenplant.web.areas.deviations.forms import DecisionForm, FilterForm
from regenplant.web.house_form import posted
from regenplant.web.listing import chips
from regenplant.web.presenters import deviations as words
from regenplant.web.requests import person_of, unit_system_of
from regenplant.web.rights import Right, right
from regenplant.web.signing import is_whole, sign
from regenplant.web.tables.deviations import DeviationTable


@require_safe
def listing(request: HttpRequest, tab: str) -> HttpResponse:
    """Open ones first; narrowed by state, severity, who looks into it, and age."""
    now, person = timezone.now(), person_of(request)
    data = request.GET if "state" in request.GET or request.GET else {"state": "open"}
    form = FilterForm(data, owners=read.owners())
    form.full_clean()
    given = form.cleaned_data
    wanted = read.Wanted(
        given.get("state", ""), given.get("severity", ""), given.get("owner", ""), given.get("find", "")
    )
    counts = read.counts(now)
    context = {
        "form": form,
        "sentence": words.list_sentence(counts),
        "states": words.state_chips(request, counts, wanted.state),
        "severities": chips(request, "severity", words.SEVERITIES, every="Any severity"),
    }
    table = DeviationTable(read.deviation_list(wanted, person, now))
    return listings.answer(request, "deviations/list.html", table, "deviations", context)


@require_safe
def old_address(request: HttpRequest, number: str) -> HttpResponse:
    """Where a deviation stood before it had an area of its own; printed codes and notes still lead there."""
    return redirect("deviations-detail", number)


def deviation_or_404(number: str) -> Deviation:
    found = read.deviation_page(number)
    if found is None:
        raise Http404(f"There is no deviation {number}.")
    return found


@require_http_methods(["GET", "HEAD", "POST"])
def detail(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    """One deviation; a POST decides it."""
    found = deviation_or_404(number)
    form = DecisionForm(posted(request), found=found, initial=_initial(found))
    if request.method == "POST" and is_whole(form, request) and _decided(form, request, found):
        receipt(request, f"Written: {found.number} of {found.batch.number} is decided.")
        return redirect("deviations-detail", found.number)
    if request.method == "POST":
        found = deviation_or_404(number)
        if form.stale is None and found.is_open:
            form.take_state(found.version)
    return render(
        request,
        "deviations/detail.html",
        _context(request, found, form),
        status=refused_status(form) if form.errors else 200,
    )


def _initial(found: Deviation) -> dict[str, Any]:
    return {"version": found.version, "cause_category": found.cause_category, "cause": found.cause}


def _decided(form: DecisionForm, request: HttpRequest, found: Deviation) -> bool:
    decision = services.Decision(
        form.cleaned_data["kind"],
        form.text("decision"),
        form.cleaned_data["cause_category"],
        form.text("cause"),
    )
    outcome = sign(
        form,
        request,
        services.close_deviation,
        meaning=services.DECIDED_MEANING,
        about=("deviation", found.number, f"Deviation {found.number}"),
        deviation_id=found.pk,
        decision=decision,
        version=form.shown_version,
    )
    return outcome is not None


def _context(request: HttpRequest, found: Deviation, form: DecisionForm) -> dict[str, Any]:
    system, cls, person = unit_system_of(request), found.batch.segregation_class, person_of(request)
    deciding = _right_to_decide(request, found)
    return {
        "deviation": found,
        "sentence": words.sentence_of(found),
        "facts": words.facts(found, system),
        "looked_into": words.looked_into(found),
        "decided": words.decided_facts(found),
        "form": form,
        "right": deciding,
        "may_decide": words.who_may(read.who_may_decide(found))
        if found.is_open and not deciding.is_held
        else "",
        "assigning": right(request, "deviation.assign", cls),
        "describing": right(request, "deviation.describe", cls),
        "opening": right(request, "deviation.open", cls),
        "meaning": services.DECIDED_MEANING,
        "person": person,
        "now": timezone.now(),
        "story": story([("deviation", found.number)], newest_first=True),
    }


def _right_to_decide(request: HttpRequest, found: Deviation) -> Right:
    did = read.own_work(found, person_of(request))
    if did:
        return Right(False, f"{did}, so another person decides it.")
    return right(request, "deviation.close", found.batch.segregation_class)
