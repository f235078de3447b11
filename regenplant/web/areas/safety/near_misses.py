"""Near misses: the list, telling one, answering it, closing what follows."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.audit.by import By
from regenplant.audit.selectors import story
from regenplant.audit.use_case import Outcome
from regenplant.safety import services
from regenplant.safety.models import NearMiss
from regenplant.safety.selectors import near_miss_numbered, near_misses
from regenplant.web import codes
from regenplant.web import listing as listings
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.safety.forms import NearMissAnswerForm, NearMissCloseForm, NearMissForm
from regenplant.web.house_form import posted
from regenplant.web.presenters import safety as words
from regenplant.web.requests import person_of
from regenplant.web.rights import Right, right
from regenplant.web.tables.safety import NearMissTable

BOTH = require_http_methods(["GET", "HEAD", "POST"])
ANSWER = "near_miss.answer"


@require_safe
def listing(request: HttpRequest, tab: str) -> HttpResponse:
    """Every near miss, newest first; the stopped deliveries under them."""
    table = NearMissTable(near_misses())
    context = {
        "sentence": words.near_miss_sentence(),
        "stops": words.stopped_deliveries(),
    }
    return listings.answer(request, "safety/near_misses.html", table, "near-misses", context)


@BOTH
def new(request: HttpRequest, tab: str) -> HttpResponse:
    """Tell one. Open to everybody signed in by name."""
    form = NearMissForm(posted(request), initial={"about": request.GET.get("about", "")[:40]})

    def told(*, by: By, **arguments: Any) -> Outcome:
        moment = form.cleaned_data.get("occurred_at")
        return services.report_near_miss(by=by.happening_at(moment) if moment else by, **arguments)

    act = Act(
        title="Report a near miss",
        sentence="Something went wrong, or nearly, and nobody was hurt. If somebody was, call first: the numbers stand on the emergency page.",
        permission="",
        service=told,
        arguments=lambda: {
            name: form.text(name) for name in ("kind", "what", "spot", "about", "done_at_once", "told_by")
        },
        said=lambda outcome: (
            f"Written: near miss {outcome.result.number}. The safety lead sees it now, and answers."
        ),
        then=lambda outcome: reverse("safety-near-miss", args=[outcome.result.number]),
        back_url=reverse("safety"),
        button="Report it",
    )
    return act_page(request, form, act)


def _row(number: str) -> NearMiss:
    found = near_miss_numbered(number)
    if found is None:
        raise Http404(f"There is no near miss {number[:24]}.")
    return found


@require_safe
def one(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    row, today = _row(number), timezone.localdate()
    thing = codes.find(row.about) if row.about else None
    may = right(request, ANSWER)
    if may.is_held and row.answered_at is None and row.reported_by_id == person_of(request).pk:
        may = Right(False, "You reported it. Another person answers.")
    context = {
        "row": row,
        "sentence": words.standing_words(row, today),
        "mark": words.near_miss_mark(row),
        "told": words.told_rows(row, thing.url if thing else ""),
        "answer": words.answer_rows(row),
        "may": may,
        "about_url": thing.url if thing else "",
        "story": story([("near_miss", row.number)], newest_first=True, limit=20),
    }
    return render(request, "safety/near_miss.html", context)


@BOTH
def answer(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    row = _row(number)
    form = NearMissAnswerForm(posted(request), initial={"version": row.version})
    act = Act(
        title=f"Answer {row.number}",
        sentence=row.what,
        permission=ANSWER,
        service=services.answer_near_miss,
        arguments=lambda: {
            "near_miss_id": row.pk,
            "cause": form.text("cause"),
            "follow_up": form.text("follow_up"),
            "due_on": form.cleaned_data.get("due_on"),
            "version": form.shown_version,
        },
        said=lambda outcome: f"Written: {row.number} is answered.",
        then=lambda outcome: reverse("safety-near-miss", args=[row.number]),
        back_url=reverse("safety-near-miss", args=[row.number]),
        button="Answer it",
    )
    return act_page(request, form, act, facts=words.told_rows(row))


@BOTH
def close(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    row = _row(number)
    form = NearMissCloseForm(posted(request), initial={"version": row.version})
    act = Act(
        title=f"Close {row.number}",
        sentence=row.follow_up or "Nothing is left to do.",
        permission=ANSWER,
        service=services.close_near_miss,
        arguments=lambda: {
            "near_miss_id": row.pk,
            "words": form.text("words"),
            "version": form.shown_version,
        },
        said=lambda outcome: f"Written: the follow-up of {row.number} is done.",
        then=lambda outcome: reverse("safety-near-miss", args=[row.number]),
        back_url=reverse("safety-near-miss", args=[row.number]),
        button="Close it",
    )
    return act_page(request, form, act)
