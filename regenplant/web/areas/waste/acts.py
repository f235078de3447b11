"""Acts on the waste, each a page with one form."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods

from regenplant.batches import services as batches
from regenplant.batches.models import StepRun
from regenplant.batches.routes import choices_for, destination_of, metal_flag_of
from regenplant.core.process.vocabulary import Chemical
from regenplant.plant import services as plant
from regenplant.plant.models import WasteTank
from regenplant.plant.selectors import waste_tank
from regenplant.plant.site import determination, determination_stop
from regenplant.waste import services
from regenplant.waste.discharges import draining_now
from regenplant.waste.selectors import last_movement
from regenplant.waste.treatment import neutralizers, treatment_of
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.waste import shown
from regenplant.web.areas.waste.forms import (
    ReadForm,
    RouteForm,
    SiteForm,
    SwitchForm,
    TakeAwayForm,
    TreatForm,
)
from regenplant.web.house_form import posted
from regenplant.web.requests import unit_system_of

POSTS = ["GET", "HEAD", "POST"]


def _tank(code: str) -> WasteTank:
    return get_object_or_404(WasteTank, code=code.upper())


def _number(tank: WasteTank) -> int:
    last = last_movement(tank)
    return last.number if last is not None else 0


@require_http_methods(POSTS)
def read(request: HttpRequest, code: str) -> HttpResponse:
    """Level, temperature and pH as read at the tank."""
    tank, system = _tank(code), unit_system_of(request)
    form = ReadForm(posted(request), initial={"version": tank.version}, system=system)
    home = reverse("waste-tank", args=[tank.code])
    act = Act(
        title=f"Read {tank.code}",
        sentence=f"By the books {shown.volume(tank.level_m3, system)}; the tank takes {shown.volume(tank.capacity_m3, system)}. "
        "Less than the books took its ions along; more counts as of unknown composition.",
        permission="plant.daily",
        service=services.set_waste_level,
        arguments=lambda: {
            "waste_tank_id": tank.pk,
            "level_m3": form.needed_quantity("level_m3"),
            "reading": form.reading(),
            "note": form.text("note"),
            "version": form.shown_version,
        },
        said=lambda outcome: f"Written: {tank.code} {shown.volume(outcome.result.level_m3, system)}.",
        then=lambda outcome: home,
        back_url=home,
    )
    return act_page(request, form, act)


@require_http_methods(POSTS)
def treat(request: HttpRequest, code: str) -> HttpResponse:
    """A neutralizer that was given, its volume typed twice."""
    tank, system, now = _tank(code), unit_system_of(request), timezone.now()
    stocks = [
        (chemical, f"{Chemical(chemical).label}, lot {stock.lot_code}")
        for chemical, stock in neutralizers(now).items()
    ]
    needs = treatment_of(tank, now)
    start = {"shown_number": _number(tank), "chemical": needs.plan.chemical if needs.plan else ""}
    form = TreatForm(posted(request), initial=start, chemicals=stocks, system=system)
    home = reverse("waste-tank", args=[tank.code])
    act = Act(
        title=f"Treat {tank.code}",
        sentence="First stage, mix, measure the pH, then at most the second. The measured pH decides.",
        permission="waste.treat",
        service=services.treat_waste,
        arguments=lambda: {
            "waste_tank_id": tank.pk,
            "chemical": form.cleaned_data["chemical"],
            "volume_m3": form.needed_quantity("volume_m3"),
            "volume_again_m3": form.needed_quantity("volume_again_m3"),
            "note": form.text("note"),
            "shown_number": form.cleaned_data.get("shown_number"),
        },
        said=lambda outcome: (
            f"Written: {shown.volume(outcome.result.volume_m3, system)} into {tank.code}. Mix 15 to 30 min, then measure the pH."
        ),
        then=lambda outcome: home,
        back_url=home,
    )
    facts = shown.plan_rows(needs, system) or [("Needs", needs.words or "nothing, by the books")]
    return act_page(request, form, act, cautions=[shown.TREAT_CAUTION], facts=facts)


@require_http_methods(POSTS)
def take_away(request: HttpRequest, code: str) -> HttpResponse:
    """Waste that somebody licensed collected."""
    tank, system = _tank(code), unit_system_of(request)
    form = TakeAwayForm(posted(request), initial={"shown_number": _number(tank)}, system=system)
    home = reverse("waste-tank", args=[tank.code])
    act = Act(
        title=f"Waste taken away from {tank.code}",
        sentence=f"By the books {shown.volume(tank.level_m3, system)}. Only somebody licensed for this waste collects it; the papers "
        "and the authority decide what it is.",
        permission="waste.take_away",
        service=services.take_waste_away,
        arguments=lambda: {
            "waste_tank_id": tank.pk,
            "volume_m3": form.needed_quantity("volume_m3"),
            "collector": form.text("collector"),
            "document": form.text("document"),
            "shown_number": form.cleaned_data.get("shown_number"),
        },
        said=lambda outcome: f"Written: {shown.volume(-outcome.result.volume_m3, system)} left {tank.code}.",
        then=lambda outcome: home,
        back_url=home,
    )
    return act_page(request, form, act)


@require_http_methods(POSTS)
def switch(request: HttpRequest, code: str) -> HttpResponse:
    """The drains run to this tank from now on."""
    tank, system, now = _tank(code), unit_system_of(request), timezone.now()
    present, draining = waste_tank(), draining_now(now)
    receiving = present.code if present is not None else ""
    start = {"version": tank.version, "shown_receiving": receiving}
    form = SwitchForm(posted(request), initial=start, is_draining=bool(draining), system=system)
    home = reverse("waste-tank", args=[tank.code])
    act = Act(
        title=f"Let the drains run to {tank.code}",
        sentence=f"They run to {receiving} now. Change the valves over first, then say it here: the books of both tanks, the room of plans "
        "and the day’s budget follow.",
        permission="waste.switch",
        service=services.run_drains_to,
        arguments=lambda: {
            "waste_tank_id": tank.pk,
            "reason": form.text("reason"),
            "while_draining": bool(form.cleaned_data.get("while_draining")),
            "shown_receiving": form.text("shown_receiving"),
            "version": form.shown_version,
        },
        said=lambda outcome: f"Written: the drains run to {outcome.result.code}.",
        then=lambda outcome: home,
        back_url=home,
        button="They run there now",
    )
    return act_page(
        request,
        form,
        act,
        cautions=[shown.SWITCH_CAUTION],
        facts=shown.switch_rows(tank, present, draining, now, system),
    )


@require_http_methods(POSTS)
def route(request: HttpRequest, number: str, step: int) -> HttpResponse:
    """Where a waiting step drains."""
    row = StepRun.objects.select_related("batch").filter(batch__number=number.upper(), number=step).first()
    if row is None:
        raise Http404("There is no such step.")
    batch = row.batch
    choices = choices_for(row, batch, metal=metal_flag_of(batch), now=timezone.now())
    if not choices:
        raise Http404("This step drains nothing.")
    now_to = destination_of(row, batch)
    start = {"destination": now_to.value if now_to else "", "version": batch.version}
    form = RouteForm(
        posted(request),
        initial=start,
        destinations=[(item.value, item.label) for item in choices],
        system=unit_system_of(request),
    )
    act = Act(
        title=f"Where step {row.number} of {batch.number} drains",
        sentence=f"{row.name}, class {batch.segregation_class}: {now_to.label if now_to else 'nowhere'} now. Offered is what the class "
        "table allows; see that the line to it is open before the step starts.",
        permission="step.route",
        service=batches.route_step,
        arguments=lambda: {
            "step_id": row.pk,
            "destination": form.cleaned_data["destination"],
            "reason": form.text("reason"),
            "version": form.shown_version,
        },
        said=lambda outcome: f"Written: step {row.number} of {batch.number} drains elsewhere.",
        then=lambda outcome: reverse("waste"),
        back_url=reverse("waste"),
        segregation_class=batch.segregation_class,
    )
    return act_page(request, form, act)


@require_http_methods(POSTS)
def site(request: HttpRequest) -> HttpResponse:
    """What was determined about metal-bearing resin."""
    form = SiteForm(posted(request), system=unit_system_of(request))
    found, stop = determination(), determination_stop(timezone.now())
    facts = [("Metal-bearing resin", f"Not taken in: {stop}" if stop else "Taken in by written disposition")]
    if found is not None:
        facts += [
            ("Document", f"{found.document}, of {found.decided_on}"),
            ("Read by", found.reviewer),
            ("Holds until", str(found.valid_until or "no end named")),
            ("Covers", found.scope or "not written"),
        ]
    act = Act(
        title="Determination of the site",
        sentence="Whether a plant may treat metal-bearing resin of others is decided by its authority, in writing (40 CFR 437 and the "
        "permit are where it is asked). Written down is what the document says and who read it; the newest holds.",
        permission="site.determine",
        service=plant.record_determination,
        arguments=lambda: {
            "decided_on": form.cleaned_data["decided_on"],
            "document": form.text("document"),
            "reviewer": form.text("reviewer"),
            "accepts_metal": form.cleaned_data["accepts_metal"] == "yes",
            "valid_until": form.cleaned_data["valid_until"],
            "scope": form.text("scope"),
        },
        said=lambda outcome: f"Written: determination {outcome.result.number}.",
        then=lambda outcome: reverse("waste"),
        back_url=reverse("waste"),
    )
    return act_page(request, form, act, facts=facts)
