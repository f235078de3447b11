"""Showers and eyewashes: which there are, the round over all of them, the yearly inspection of each."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.audit.use_case import Outcome
from regenplant.plant.selectors import plant_day, profile
from regenplant.safety import selectors as read
from regenplant.safety import services
from regenplant.safety.models import WashStation, WashTest
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.safety.forms import InspectForm, RoundForm, StationChangeForm, StationForm
from regenplant.web.areas.setup.shown import eyewash_sentence
from regenplant.web.house_form import posted
from regenplant.web.presenters import safety as words
from regenplant.web.rights import right

BOTH = require_http_methods(["GET", "HEAD", "POST"])
SHOWN = 40


@require_safe
def stations(request: HttpRequest, tab: str) -> HttpResponse:
    plant, today = profile(), plant_day(timezone.now())
    context = {
        "plant": plant,
        "rows": words.station_rows(read.station_standings(plant, today)),
        "out": [row for row in read.stations() if not row.is_in_use],
        "overdue": eyewash_sentence(plant, today),
        "daily": right(request, "plant.daily"),
        "edit": right(request, "plant.edit"),
        "tests": WashTest.objects.select_related("station", "tested_by")[:SHOWN],
    }
    return render(request, "safety/washing.html", context)


@BOTH
def write_round(request: HttpRequest, tab: str) -> HttpResponse:
    """A round over every station; where none is listed, the plain test of the emergency page."""
    in_use = [row for row in read.stations() if row.is_in_use]
    if not in_use:
        return redirect("emergency-eyewash")
    form = RoundForm(posted(request), stations=in_use, initial={"tested_on": plant_day(timezone.now())})

    def said(outcome: Outcome) -> str:
        bad = outcome.result
        if not bad:
            return f"Written: all {len(in_use)} showers and eyewashes work."
        names = ", ".join(row.code for row in bad)
        return f"Written: {names} not working. No chemical starts until a round finds all of them working. Tell the safety lead."

    act = Act(
        title="Round of showers and eyewashes",
        sentence="Pull each handle: it runs clear, at once, by itself, and long enough to be sure. One that does not stops all work with chemicals.",
        permission="plant.daily",
        service=services.write_wash_round,
        arguments=lambda: {"tested_on": form.day, "found": form.found()},
        said=said,
        then=lambda outcome: reverse("safety-washing"),
        back_url=reverse("safety-washing"),
    )
    return act_page(request, form, act)


@BOTH
def new(request: HttpRequest, tab: str) -> HttpResponse:
    form = StationForm(posted(request))
    act = Act(
        title="A shower or eyewash",
        sentence="It is in every round from now on, and counts as not tested until the first.",
        permission="plant.edit",
        service=services.save_wash_station,
        arguments=lambda: {name: form.text(name) for name in ("code", "spot", "kind")},
        said=lambda outcome: f"Written: station {outcome.result.code} is in every round.",
        then=lambda outcome: reverse("safety-washing"),
        back_url=reverse("safety-washing"),
        button="Add it",
    )
    return act_page(request, form, act)


def _station(code: str) -> WashStation:
    found: WashStation = get_object_or_404(WashStation, code__iexact=code if code.isprintable() else "")
    return found


@BOTH
def change(request: HttpRequest, code: str, tab: str) -> HttpResponse:
    row = _station(code)
    initial = {"spot": row.spot, "kind": row.kind, "is_in_use": row.is_in_use, "version": row.version}
    form = StationChangeForm(posted(request), initial=initial)
    act = Act(
        title=f"Station {row.code}",
        sentence="A station that is not in use is in no round; a sign on it says so.",
        permission="plant.edit",
        service=services.save_wash_station,
        arguments=lambda: {
            "code": row.code,
            "spot": form.text("spot"),
            "kind": form.text("kind"),
            "is_in_use": bool(form.cleaned_data.get("is_in_use")),
            "station_id": row.pk,
            "version": form.shown_version,
        },
        said=lambda outcome: f"Written: station {row.code} was changed.",
        then=lambda outcome: reverse("safety-washing"),
        back_url=reverse("safety-washing"),
        button="Save it",
    )
    return act_page(request, form, act)


@BOTH
def inspect(request: HttpRequest, code: str, tab: str) -> HttpResponse:
    row = _station(code)
    form = InspectForm(posted(request), initial={"tested_on": plant_day(timezone.now())})
    act = Act(
        title=f"Yearly inspection of {row.code}",
        sentence=f"{row.get_kind_display()}, {row.spot}. Measured against the standard the plant works by; the maker’s papers say how.",
        permission="plant.daily",
        service=services.inspect_wash_station,
        arguments=lambda: {
            "station_id": row.pk,
            "tested_on": form.cleaned_data["tested_on"],
            "is_working": form.cleaned_data["answer"] == "works",
            "note": form.text("note"),
        },
        said=lambda outcome: f"Written: {row.code} was inspected.",
        then=lambda outcome: reverse("safety-washing"),
        back_url=reverse("safety-washing"),
    )
    return act_page(request, form, act)
