"""The safety desk: what waits for the safety lead, in one page."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe

from regenplant.core.process.thresholds import CONFIRM
from regenplant.plant.selectors import plant_day, profile
from regenplant.safety import selectors as read
from regenplant.web.areas.setup.shown import eyewash_sentence
from regenplant.web.presenters import safety as words
from regenplant.web.presenters.safety_calls import board_of, elsewhere_calls, reached
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right


@require_safe
def desk(request: HttpRequest, tab: str) -> HttpResponse:
    plant, now = profile(), timezone.now()
    today = plant_day(now)
    near = list(read.open_near_misses())
    standings = read.station_standings(plant, today)
    tanks = words.quarantine_rows(read.quarantine())
    board, system = board_of(now), unit_system_of(request)
    calls = [
        *words.wash_calls(standings, eyewash_sentence(plant, today)),
        *words.near_miss_calls(near, today),
        *elsewhere_calls(board, now, system),
    ]
    calls.sort(key=lambda call: call.tone != "red")
    context = {
        "sentence": words.desk_sentence(calls, tanks),
        "calls": calls,
        "follow_ups": words.follow_ups(near, today),
        "reached": reached(board, system),
        "confirm": CONFIRM,
        "tanks": tanks,
        "stations": words.station_rows(standings),
        "plant": plant,
        "daily": right(request, "plant.daily"),
        "may_go": right(request, "tank.let_go"),
    }
    return render(request, "safety/desk.html", context)
