"""How we know: what stands behind each kind of number, and how far off it was seen.

The figures are those of the test run that wrote ``outside_values.json``; nothing on the page is typed.
"""

from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path
from typing import Any

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.shortcuts import render
from django.urls import path
from django.views.decorators.http import require_safe

from regenplant.web.presenters import how_we_know as words

STORED = Path(__file__).resolve().parents[1] / "outside_values.json"


@lru_cache(maxsize=1)
def summary() -> dict[str, Any]:
    """What the tests of this release saw."""
    found: dict[str, Any] = json.loads(STORED.read_text(encoding="utf-8"))
    return found


@require_safe
def how_we_know(request: HttpRequest) -> HttpResponse:
    found = summary()
    context = {"sentence": words.opening(found), "rows": words.rows(found), "memory": found["memory"]}
    return render(request, "how_we_know/how_we_know.html", context)


@require_safe
def as_json(request: HttpRequest) -> JsonResponse:
    """The same figures for a script, with every source and the row that was furthest off."""
    return JsonResponse(summary(), json_dumps_params={"ensure_ascii": False, "indent": 1})


urlpatterns = [
    path("how-we-know/", how_we_know, name="how-we-know"),
    path("how-we-know.json", as_json, name="how-we-know-json"),
]
