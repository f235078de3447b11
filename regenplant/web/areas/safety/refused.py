"""Refused tanks: the list, the letter to the customer, and where each went."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_safe

from regenplant.audit.selectors import story
from regenplant.documents.refusal_letter import letter_of
from regenplant.documents.services import IssuedDocument, issue_paper
from regenplant.plant.selectors import plant_day
from regenplant.safety import services
from regenplant.safety.selectors import refused_visits
from regenplant.tanks.models import TankVisit
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.safety.forms import LeftForm
from regenplant.web.house_form import posted
from regenplant.web.presenters import safety as words
from regenplant.web.requests import by_of, unit_system_of
from regenplant.web.rights import right

SHOWN = 200


def _visit(number: str) -> TankVisit:
    found = refused_visits().filter(number__iexact=number.strip()).first() if number.isprintable() else None
    if found is None:
        raise Http404(f"There is no refused tank under {number[:24]}.")
    return found


@require_safe
def listing(request: HttpRequest, tab: str) -> HttpResponse:
    rows = list(refused_visits()[:SHOWN])
    here = [row for row in rows if not hasattr(row, "refused_away")]
    context = {"here": here, "away": [row for row in rows if hasattr(row, "refused_away")], "shown": SHOWN}
    return render(request, "safety/refused.html", context)


@require_safe
def one(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    visit = _visit(number)
    context = {
        "visit": visit,
        "away": getattr(visit, "refused_away", None),
        "facts": words.refused_facts(visit),
        "letter": letter_of(visit),
        "may_go": right(request, "tank.let_go", visit.segregation_class or visit.tank.segregation_class),
        "may_print": right(request, "paper.issue"),
        "story": story([("tank_visit", visit.number)], newest_first=True, limit=20),
    }
    return render(request, "safety/refused_one.html", context)


@never_cache
@require_GET
def letter(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    """One print of the letter: an issue, counted and hashed."""
    visit = _visit(number)
    system = unit_system_of(request)
    size = request.GET.get("size", "") or ("letter" if system == "us" else "a4")
    outcome = issue_paper(
        by=by_of(request), kind="refusal_letter", key=visit.number, size=size, system=system
    )
    document: IssuedDocument = outcome.result
    response = HttpResponse(document.content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{document.file_name}"'
    return response


@require_http_methods(["GET", "HEAD", "POST"])
def left(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    visit = _visit(number)
    form = LeftForm(posted(request), initial={"left_on": plant_day(timezone.now())})
    page = reverse("safety-refused-one", args=[visit.number])
    act = Act(
        title=f"{visit.tank.serial} left the plant",
        sentence="Until this is written, the tank stands in quarantine. Who takes it is told what is known of it, before it is loaded.",
        permission="tank.let_go",
        segregation_class=visit.segregation_class or visit.tank.segregation_class,
        service=services.let_refused_tank_go,
        arguments=lambda: {
            "visit_id": visit.pk,
            "went_to": form.text("went_to"),
            "left_on": form.cleaned_data["left_on"],
            "paper_number": form.text("paper_number"),
        },
        said=lambda outcome: f"Written: {visit.tank.serial} left on {outcome.result.left_on}.",
        then=lambda outcome: page,
        back_url=page,
    )
    return act_page(request, form, act, facts=words.refused_facts(visit))
