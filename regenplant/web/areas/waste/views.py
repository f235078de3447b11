"""Views of the waste tanks."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_safe

from regenplant.waste.selectors import waste_tanks


@require_safe
def tanks(request: HttpRequest, tab: str) -> HttpResponse:
    """The waste tanks with their level."""
    return render(request, "waste/tanks.html", {"tanks": list(waste_tanks())})
