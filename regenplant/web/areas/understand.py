"""What the system makes of a number while it is typed: both unit systems, before anything is saved."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_GET

from regenplant import units
from regenplant.core.errors import DomainError
from regenplant.web.requests import unit_system_of


@require_GET
def understand(request: HttpRequest) -> HttpResponse:
    """Fragment for the line under a number field. Reads ``kind`` and the field's own value (``value`` or by ``name``)."""
    kind = request.GET.get("kind", "")
    text = request.GET.get("value") or request.GET.get(request.GET.get("name", ""), "")
    context: dict[str, object] = {"text": text}
    if kind not in units.KINDS:
        return HttpResponse("This kind of quantity is not known here.", status=400, content_type="text/plain")
    if text.strip():
        try:
            found = units.understand(text, kind, system=unit_system_of(request))
            context["sentence"] = units.twin(found.value, kind, unit_system_of(request))
        except DomainError as refusal:
            context["refusal"] = refusal.message
    return render(request, "components/_understood.html", context)
