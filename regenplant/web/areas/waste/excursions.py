"""Excursions: written down, followed up, closed with a signature by another person."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.audit.selectors import story
from regenplant.waste import services
from regenplant.waste.excursion_models import Excursion
from regenplant.web.act_page import Act, act_page
from regenplant.web.acting import receipt, refused_status
from regenplant.web.areas.waste.discharge_forms import CloseExcursionForm, ExcursionForm, FollowUpForm
from regenplant.web.areas.waste.discharges import _at
from regenplant.web.house_form import posted
from regenplant.web.presenters.words import day_and_clock, sentence_case
from regenplant.web.requests import person_of
from regenplant.web.rights import right
from regenplant.web.signing import is_whole, sign

BOTH = require_http_methods(["GET", "HEAD", "POST"])
MOST_SHOWN = 60


def _excursion(number: str) -> Excursion:
    found = (
        Excursion.objects.select_related("discharge__tank", "reported_by", "closed_by", "signature")
        .filter(number=number.upper())
        .first()
        if number.isprintable()
        else None
    )
    if found is None:
        raise Http404("There is no excursion with this number.")
    return found


def _page(row: Excursion) -> str:
    return reverse("waste-excursion", args=[row.number])


def facts_of(row: Excursion) -> list[tuple[str, str]]:
    facts = [
        ("What", row.words),
        ("Kind", sentence_case(row.get_kind_display())),
        ("Happened", day_and_clock(row.happened_at)),
        ("Written by", f"{row.reported_by.full_name}, {day_and_clock(row.reported_at)}"),
    ]
    if row.closed_by and row.closed_at and row.signature:
        facts += [
            ("It came from", row.cause),
            ("Told", row.told),
            ("Closed", f"{row.signature.printed_name}, {day_and_clock(row.closed_at)}"),
            ("Meaning", row.signature.meaning),
        ]
    return facts


@require_safe
def list_page(request: HttpRequest, tab: str) -> HttpResponse:
    rows = list(Excursion.objects.select_related("discharge", "closed_by")[: MOST_SHOWN + 1])
    context = {
        "open": list(Excursion.objects.filter(closed_at__isnull=True).select_related("discharge")),
        "rows": rows[:MOST_SHOWN],
        "left_off": len(rows) > MOST_SHOWN,
        "report": right(request, "excursion.report"),
    }
    return render(request, "waste/excursions.html", context)


@require_safe
def page(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    row = _excursion(number)
    context = {
        "row": row,
        "facts": facts_of(row),
        "follow_ups": list(row.follow_ups.select_related("written_by")),
        "report": right(request, "excursion.report"),
        "close": right(request, "excursion.close"),
        "is_own": row.reported_by_id == person_of(request).pk,
        "story": story([("excursion", row.number)], newest_first=True, limit=20),
    }
    return render(request, "waste/excursion.html", context)


@BOTH
def new(request: HttpRequest, tab: str) -> HttpResponse:
    form = ExcursionForm(posted(request))
    moment = form.cleaned_data.get("occurred_at") if form.is_bound and form.is_valid() else None
    act = Act(
        title="Write down an excursion",
        sentence="Something went to the sewer outside the permit, or may have. Shut it off first, then write. Whom to call stands on the emergency page.",
        permission="excursion.report",
        service=_at(services.report_excursion, moment),
        arguments=lambda: {"words": form.text("words")},
        said=lambda outcome: f"Written: {outcome.result.number}. The permit says who is told, and by when.",
        then=lambda outcome: _page(outcome.result),
        back_url=reverse("waste-excursions"),
    )
    return act_page(request, form, act)


@BOTH
def follow(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    row = _excursion(number)
    form = FollowUpForm(posted(request))
    act = Act(
        title=f"What was done about {row.number}",
        sentence=row.words,
        permission="excursion.report",
        service=services.follow_up,
        arguments=lambda: {"excursion_id": row.pk, "words": form.text("words")},
        said=lambda outcome: f"Written: {row.number} was followed up.",
        then=lambda outcome: _page(row),
        back_url=_page(row),
    )
    return act_page(request, form, act)


@BOTH
@never_cache
@sensitive_post_parameters("password")
def close(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    row = _excursion(number)
    form = CloseExcursionForm(posted(request), initial={"version": row.version})
    if request.method == "POST" and is_whole(form, request):
        outcome = sign(
            form,
            request,
            services.close_excursion,
            meaning=services.CLOSED_MEANING,
            about=("excursion", row.number, row.number),
            excursion_id=row.pk,
            cause=form.text("cause"),
            told=form.text("told"),
            version=form.shown_version,
        )
        if outcome is not None:
            receipt(request, f"Signed: {row.number} is closed.")
            return redirect(_page(row))
    is_own = row.reported_by_id == person_of(request).pk
    own = f"You wrote {row.number}, so another person closes it." if is_own else ""
    done = f"{row.number} is closed already." if row.closed_at else ""
    context = {
        "row": row,
        "form": form,
        "facts": facts_of(row),
        "person": person_of(request),
        "now": timezone.now(),
        "meaning": services.CLOSED_MEANING,
        "refused": done or own or right(request, "excursion.close").reason,
        "back_url": _page(row),
    }
    return render(
        request, "waste/close_excursion.html", context, status=refused_status(form) if form.errors else 200
    )
