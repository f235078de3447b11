"""The floor: what is wrong, what is going on, what is next. Refreshed each minute; whole without a script."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_safe

from regenplant.batches.selectors import floor_board
from regenplant.web.context import plant_of
from regenplant.web.presenters.floor import floor_view
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right

TAB = {"tab": "floor"}


@require_safe
def floor(request: HttpRequest, tab: str) -> HttpResponse:
    """The page."""
    return render(request, "floor/floor.html", _context(request))


@require_safe
def board(request: HttpRequest, tab: str) -> HttpResponse:
    """The part that is refreshed, at an address of its own so that going back never shows it alone."""
    return render(request, "floor/_board.html", {**_context(request), "is_fragment": True})


def _context(request: HttpRequest) -> dict[str, Any]:
    return {
        "view": floor_view(floor_board(timezone.now(), plant_of(request)), unit_system_of(request)),
        "starting": right(request, "batch.plan"),
        "releasing": right(request, "batch.release"),
    }


urlpatterns = [
    path("floor/", floor, TAB, name="floor"),
    path("floor/board/", board, TAB, name="floor-board"),
]
