"""The page that says how meters and other programs talk to this one; made from the same description they read."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path, reverse
from django.views.decorators.http import require_safe

from regenplant.web.api.endpoints import api
from regenplant.web.api.reading import LARGEST_BYTES
from regenplant.web.api.schemas import MOST_READINGS
from regenplant.web.api.taking import CLOCK_AHEAD
from regenplant.web.presenters.interface import fields_of, operations_of, sentence_of

DESCRIPTION = f"{api.urls_namespace}:openapi-json"


@require_safe
def page(request: HttpRequest) -> HttpResponse:
    schema = api.get_openapi_schema(path_prefix="/api/")
    context = {
        "sentence": sentence_of(schema),
        "operations": operations_of(schema),
        "reading_fields": fields_of(schema, "ReadingIn"),
        "answer_fields": fields_of(schema, "TakenOut"),
        "description_url": reverse(DESCRIPTION),
        "address": request.build_absolute_uri("/api/readings/"),
        "most_readings": MOST_READINGS,
        "most_mib": LARGEST_BYTES // (1024 * 1024),
        "ahead_minutes": int(CLOCK_AHEAD.total_seconds() // 60),
    }
    return render(request, "programs/interface.html", context)


urlpatterns = [path("api/", page, name="api-page")]
