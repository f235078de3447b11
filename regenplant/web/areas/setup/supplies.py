"""Skids, waters and the waste tank."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe
from django_tables2 import RequestConfig

from regenplant.core.process.vocabulary import WaterKind
from regenplant.plant import services
from regenplant.plant.models import Skid, WasteTank, WaterSupply
from regenplant.plant.selectors import waste_tank
from regenplant.waste import services as waste
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.setup import shown
from regenplant.web.areas.setup.forms import (
    LiftForm,
    SkidForm,
    SkidLockOutForm,
    WasteLevelForm,
    WasteTankForm,
    WaterForm,
)
from regenplant.web.areas.setup.vessels import LOCK_OUT_CAUTION
from regenplant.web.house_form import posted
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right
from regenplant.web.tables.setup import SkidTable, WaterTable

HOME = "setup-supplies"


@require_safe
def supplies(request: HttpRequest) -> HttpResponse:
    skids, waters = SkidTable(Skid.objects.all()), WaterTable(WaterSupply.objects.all())
    for table in (skids, waters):
        RequestConfig(request, paginate=False).configure(table)
    tank, tanks = waste_tank(), list(WasteTank.objects.order_by("code"))
    room = max(tank.capacity_m3 - tank.reserve_m3 - tank.level_m3, 0.0) if tank else None
    system = unit_system_of(request)
    context = {
        "skids": skids,
        "waters": waters,
        "kinds": [(kind.value, kind.label.capitalize()) for kind in WaterKind],
        "tanks": tanks,
        "receiving": tank,
        "sentence": f"Room in the waste tank {tank.code}: {shown.both(room, 'liquid_volume', system)}, with the reserve kept."
        if tank
        else "No waste tank is set up, so nothing can be planned.",
        "edit": right(request, "plant.edit"),
        "daily": right(request, "plant.daily"),
    }
    return render(request, "setup/supplies.html", context)


# --- skids ----------------------------------------------------------------------------------------------------------
@require_http_methods(["GET", "HEAD", "POST"])
def skid_edit(request: HttpRequest, code: str = "") -> HttpResponse:
    skid = get_object_or_404(Skid, code=code.upper()) if code else None
    form = SkidForm(
        posted(request),
        initial=SkidForm.initial_of(skid) if skid else {},
        system=unit_system_of(request),
    )
    if skid:
        form.fields["code"].disabled = True
    act = Act(
        title=f"Skid {skid.code}" if skid else "Add a skid",
        sentence=_skid_sentence(skid) if skid else "A skid dilutes one chemical, for good.",
        permission="plant.edit",
        service=services.save_skid,
        arguments=lambda: {"skid": form.settings(), "version": form.shown_version},
        said=lambda outcome: f"Written: skid {outcome.result.code}.",
        then=lambda outcome: reverse(HOME),
        back_url=reverse(HOME),
        template="setup/skid.html",
    )
    return act_page(request, form, act, skid=skid, lock=right(request, "plant.lock_out"))


def _skid_sentence(skid: Skid) -> str:
    return f"Locked out: {skid.lock_out_reason}" if skid.lock_out_reason else skid.name


@require_http_methods(["GET", "HEAD", "POST"])
def skid_lock_out(request: HttpRequest, code: str) -> HttpResponse:
    skid = get_object_or_404(Skid, code=code.upper())
    form = SkidLockOutForm(posted(request), initial={"version": skid.version})
    act = Act(
        title=f"Lock out {skid.code}",
        sentence="No injection that needs this skid starts while it is locked out.",
        permission="plant.lock_out",
        service=services.lock_out_skid,
        arguments=lambda: {"skid_id": skid.pk, "reason": form.text("reason"), "version": form.shown_version},
        said=lambda outcome: f"Written: {skid.code} is locked out.",
        then=lambda outcome: reverse(HOME),
        back_url=reverse("setup-skid", kwargs={"code": skid.code}),
        button="Lock it out",
        is_stopping=True,
    )
    return act_page(request, form, act, cautions=[LOCK_OUT_CAUTION])


@require_http_methods(["GET", "HEAD", "POST"])
def skid_lift(request: HttpRequest, code: str) -> HttpResponse:
    skid = get_object_or_404(Skid, code=code.upper())
    form = LiftForm(posted(request), initial={"version": skid.version})
    act = Act(
        title=f"Put {skid.code} back to work",
        sentence=_skid_sentence(skid),
        permission="plant.lock_out",
        service=services.lift_skid_lock_out,
        arguments=lambda: {
            "skid_id": skid.pk,
            "checked": form.text("checked"),
            "version": form.shown_version,
        },
        said=lambda outcome: f"Written: {skid.code} is back at work.",
        then=lambda outcome: reverse(HOME),
        back_url=reverse("setup-skid", kwargs={"code": skid.code}),
        button="Lift the lock-out",
    )
    return act_page(request, form, act)


# --- waters ---------------------------------------------------------------------------------------------------------
@require_http_methods(["GET", "HEAD", "POST"])
def water_edit(request: HttpRequest, kind: str) -> HttpResponse:
    if kind not in [item.value for item in WaterKind]:
        raise Http404(f"No water of the plant is called {kind}.")
    water, supply = WaterKind(kind), WaterSupply.objects.filter(kind=kind).first()
    initial = WaterForm.initial_of(supply) if supply else {}
    form = WaterForm(posted(request), initial=initial, system=unit_system_of(request))
    act = Act(
        title=water.label.capitalize(),
        sentence="What is measured now. New plans use it; frozen plans keep what they had.",
        permission="plant.daily",
        service=services.save_water_supply,
        arguments=lambda: {"water": form.settings(water), "version": form.shown_version},
        said=lambda outcome: (
            f"Written: {water.label}, {shown.both(outcome.result.temperature_kelvin, 'temperature', unit_system_of(request))}."
        ),
        then=lambda outcome: reverse(HOME),
        back_url=reverse(HOME),
    )
    return act_page(request, form, act)


# --- waste ----------------------------------------------------------------------------------------------------------
@require_http_methods(["GET", "HEAD", "POST"])
def waste_edit(request: HttpRequest, code: str = "") -> HttpResponse:
    tank = get_object_or_404(WasteTank, code=code.upper()) if code else None
    initial = WasteTankForm.initial_of(tank) if tank else {}
    form = WasteTankForm(posted(request), initial=initial, system=unit_system_of(request))
    if tank:
        form.fields["code"].disabled = True
    act = Act(
        title=f"Waste tank {tank.code}" if tank else "Add a waste tank",
        sentence="The reserve is kept for one emergency dump and never planned away.",
        permission="plant.edit",
        service=services.save_waste_tank,
        arguments=lambda: {"tank": form.settings(), "version": form.shown_version},
        said=lambda outcome: f"Written: waste tank {outcome.result.code}.",
        then=lambda outcome: reverse(HOME),
        back_url=reverse(HOME),
    )
    return act_page(request, form, act)


@require_http_methods(["GET", "HEAD", "POST"])
def waste_level(request: HttpRequest, code: str) -> HttpResponse:
    tank = get_object_or_404(WasteTank, code=code.upper())
    system = unit_system_of(request)
    form = WasteLevelForm(posted(request), initial={"version": tank.version}, system=system)
    act = Act(
        title=f"Level of {tank.code}",
        sentence=f"Last {shown.both(tank.level_m3, 'liquid_volume', system)}. The tank takes {shown.both(tank.capacity_m3, 'liquid_volume', system)}.",
        permission="plant.daily",
        service=waste.set_waste_level,
        arguments=lambda: {
            "waste_tank_id": tank.pk,
            "level_m3": form.needed_quantity("level_m3"),
            "note": form.text("note"),
            "version": form.shown_version,
        },
        said=lambda outcome: (
            f"Written: level of {tank.code} {shown.both(outcome.result.level_m3, 'liquid_volume', system)}."
        ),
        then=lambda outcome: reverse(HOME),
        back_url=reverse(HOME),
    )
    return act_page(request, form, act)
