"""Where tanks stand: storage areas by room, what must not meet there, and saying where a tank stands."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from regenplant import units
from regenplant.chemicals import locations, services
from regenplant.chemicals.models import Place, StorageArea
from regenplant.core.engineering.sources import source
from regenplant.core.process.storing import RULES, never_beside
from regenplant.core.process.vocabulary import Chemical
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.chemicals.safety_forms import AreaForm, StandsForm
from regenplant.web.house_form import posted
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right

PERMISSION = "chemical.store"


@require_safe
def storage_page(request: HttpRequest) -> HttpResponse:
    lines = locations.chemicals_by_location()
    by_area: dict[int | None, list[locations.Standing]] = {}
    for line in lines:
        by_area.setdefault(line.area.pk if line.area else None, []).append(line)
    areas = [
        (area, by_area.get(area.pk, []), locations.bund_shortage_m3(area))
        for area in locations.storage_areas()
    ]
    met = locations.all_meetings()
    context = {
        "sentence": _sentence(met, by_area.get(None, [])),
        "areas": areas,
        "nowhere": by_area.get(None, []),
        "meetings": met,
        "rules": [
            (
                ", ".join(sorted(item.formula for item in rule.first)),
                ", ".join(sorted(item.formula for item in rule.second)),
                rule,
                source(rule.source).citation(),
            )
            for rule in RULES
        ],
        "right": right(request, PERMISSION),
    }
    return render(request, "chemicals/storage.html", context)


def _sentence(met: list[locations.Meeting], nowhere: list[locations.Standing]) -> str:
    if met:
        count = "One pair" if len(met) == 1 else f"{len(met)} pairs"
        return f"{count} of tanks stands nearer than it should."
    if nowhere:
        return f"Of {len(nowhere)} tank{'' if len(nowhere) == 1 else 's'} nobody has said where it stands."
    return "No two tanks stand nearer than the table allows. The data sheets and the fire code decide."


@require_http_methods(["GET", "HEAD", "POST"])
def new_area(request: HttpRequest) -> HttpResponse:
    form = AreaForm(posted(request), system=unit_system_of(request))
    del form.fields["reason"]
    act = Act(
        title="Add a storage area",
        sentence="One bund, or one floor without a bund. What leaks there runs together.",
        permission=PERMISSION,
        service=services.add_storage_area,
        arguments=lambda: {"code": form.text("code"), **form.arguments()},
        said=lambda outcome: (
            f"Written: storage area {outcome.result.code}. Say next which tanks stand in it."
        ),
        then=lambda outcome: reverse("chemicals-storage"),
        back_url=reverse("chemicals-storage"),
    )
    return act_page(request, form, act)


@require_http_methods(["GET", "HEAD", "POST"])
def change_area(request: HttpRequest, code: str) -> HttpResponse:
    area = get_object_or_404(StorageArea, code=code.upper())
    names = ("code", "name", "room", "location", "bund_m3", "version")
    initial = {name: getattr(area, name) for name in names}
    form = AreaForm(posted(request), initial=initial, system=unit_system_of(request))
    form.fields["code"].disabled = True
    act = Act(
        title=f"Storage area {area.code}",
        sentence="Tanks stay in it. In another room they may meet what they must not.",
        permission=PERMISSION,
        service=services.change_storage_area,
        arguments=lambda: {
            "area_id": area.pk,
            **form.arguments(),
            "reason": form.text("reason"),
            "version": form.shown_version,
        },
        said=lambda outcome: f"Written: storage area {area.code}.",
        then=lambda outcome: reverse("chemicals-storage"),
        back_url=reverse("chemicals-storage"),
    )
    return act_page(request, form, act)


@require_http_methods(["GET", "HEAD", "POST"])
def place(request: HttpRequest, code: str) -> HttpResponse:
    """The page on which somebody says in which area a tank stands."""
    tank = get_object_or_404(
        Place.objects.select_related("storage_area"), code=code.upper(), kind=Place.Kind.BULK_TANK
    )
    initial = {"area": tank.storage_area, "version": tank.version}
    form = StandsForm(posted(request), initial=initial)
    act = Act(
        title=f"Where {tank.code} stands",
        sentence="What must not meet is refused, or takes a reason.",
        permission=PERMISSION,
        service=services.place_tank,
        arguments=lambda: {"place_id": tank.pk, **form.arguments(), "version": form.shown_version},
        said=lambda outcome: f"Written: {tank.code} stands in {outcome.facts['area']}.",
        then=lambda outcome: reverse("chemicals-storage"),
        back_url=reverse("chemicals-storage"),
    )
    chemical = Chemical(tank.chemical)
    facts = [
        ("Chemical", chemical.label),
        ("Now", str(tank.storage_area) if tank.storage_area else "nobody has said where it stands"),
        ("Capacity", units.twin(tank.capacity_m3, "liquid_volume", unit_system_of(request)) if tank.capacity_m3 else "not known"),
        ("Never beside", "; ".join(apart_words(chemical)) or "nothing in the table"),
    ]  # fmt: skip
    return act_page(request, form, act, facts=facts)


def apart_words(chemical: Chemical) -> list[str]:
    """What must not meet a chemical, in words: "sodium hypochlorite, never in one room: chlorine gas"."""
    return [
        f"{other.label.lower()}, {rule.reach.label}: {rule.gives}" for other, rule in never_beside(chemical)
    ]
