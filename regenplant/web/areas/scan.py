"""The scan box of every page: a code leads to its page, and does nothing else."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.views.decorators.http import require_safe

from regenplant.web import codes


@require_safe
def scan(request: HttpRequest) -> HttpResponse:
    """To the page of what carries the code; without one a page that says what was found, or what looks like it."""
    text = request.GET.get("code", "").strip()[: codes.LONGEST]
    found = codes.find(text)
    if found is not None and found.url:
        return redirect(found.url)
    context = {"code": text, "found": found, "near": [] if found else codes.near(text)}
    return render(request, "scan/answer.html", context, status=200 if found or not text else 404)


urlpatterns = [path("scan/", scan, name="scan")]
