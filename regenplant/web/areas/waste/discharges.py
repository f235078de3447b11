"""Discharges: the day's budget, one discharge from its mixing to what went, its readings and its release."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.audit.by import By
from regenplant.audit.selectors import story
from regenplant.audit.use_case import Outcome
from regenplant.core.process.discharge import why_not_in_force
from regenplant.core.process.sewer_budget import budget_lines, near_the_edge
from regenplant.plant.limits import content_in_force
from regenplant.plant.permit import permit_in_force
from regenplant.plant.selectors import plant_day
from regenplant.waste import services
from regenplant.waste.discharge_models import Discharge
from regenplant.waste.discharges import UNDER_WAY, discharge_of, discharges, gone_on, standing_at
from regenplant.waste.excursion_models import Excursion
from regenplant.waste.sewer_day import near_words
from regenplant.web.act_page import Act, act_page
from regenplant.web.acting import receipt, refused_status
from regenplant.web.areas.waste.discharge_forms import (
    CloseForm,
    GiveUpForm,
    OpenForm,
    ReadForm,
    ReleaseForm,
    ReleaseTogetherForm,
)
from regenplant.web.areas.waste.discharge_shown import (
    MARKS,
    budget_bars,
    facts_of,
    outlet_caution,
    reading_rows,
    release_rows,
)
from regenplant.web.house_form import HouseForm, posted
from regenplant.web.requests import person_of, unit_system_of
from regenplant.web.rights import right
from regenplant.web.signing import is_whole, needs_full_credentials, prove_two, sign

BOTH = require_http_methods(["GET", "HEAD", "POST"])
MOST_SHOWN = 60


def _discharge(number: str) -> Discharge:
    found = discharge_of(number) if number.isprintable() else None
    if found is None:
        raise Http404("There is no discharge with this number.")
    return found


def _page(row: Discharge) -> str:
    return reverse("waste-discharge", args=[row.number])


def _at(service: Callable[..., Outcome], moment: datetime | None) -> Callable[..., Outcome]:
    """The service as done when this happened; None: now."""
    return lambda *, by, **given: service(by=by.happening_at(moment) if moment else by, **given)


@require_safe
def list_page(request: HttpRequest, tab: str) -> HttpResponse:
    now = timezone.now()
    permit, gone = permit_in_force(now), gone_on(plant_day(now))
    rows = list(discharges()[: MOST_SHOWN + 1])
    context = {
        "permit": permit,
        "refused": why_not_in_force(permit.content, plant_day(now)),
        "bars": budget_bars(budget_lines(permit.content.budget_kg(), gone=gone.loads)),
        "near": near_words(now),
        "volume_most": permit.content.volume_m3_per_day,
        "gone": gone,
        "rows": [(row, *MARKS[row.state]) for row in rows[:MOST_SHOWN]],
        "left_off": len(rows) > MOST_SHOWN,
        "open_excursions": list(Excursion.objects.filter(closed_at__isnull=True)),
        "record": right(request, "discharge.record"),
    }
    return render(request, "waste/discharges.html", context)


@require_safe
def page(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    row, system, now = _discharge(number), unit_system_of(request), timezone.now()
    stands = standing_at(row, now)
    is_open = row.state == Discharge.State.OPEN
    context = {
        "row": row,
        "mark": MARKS[row.state],
        "facts": facts_of(row, system),
        "readings": reading_rows(stands.readings, _standing(row, stands.judged.standing)),
        "blockers": stands.blockers if is_open else (),
        "bars": budget_bars(stands.lines) if is_open else [],
        "near": near_the_edge(stands.lines, content_in_force(now).sewer.sewer_day_warn_frac)
        if is_open
        else "",
        "window": stands.permit.content,
        "excursions": list(row.excursions.all()),
        "is_under_way": row.state in UNDER_WAY,
        "cautions": [outlet_caution()] if row.state in UNDER_WAY else [],
        "record": right(request, "discharge.record"),
        "release": right(request, "discharge.release"),
        "story": story([("discharge", row.number)], newest_first=True, limit=30),
    }
    return render(request, "waste/discharge.html", context)


def _standing(row: Discharge, standing: tuple[str, ...]) -> tuple[str, ...]:
    """Of one that is over, what the readings were is told by their faults; what counts was judged at the release."""
    if row.state == Discharge.State.OPEN:
        return standing
    last = max((one.number for one in row.readings.all() if one.fault and not one.while_running), default=0)
    return tuple(
        "outside"
        if one.fault
        else "instrument"
        if not one.instrument_was_valid or one.is_late
        else "good"
        if one.number > last
        else "before"
        for one in row.readings.order_by("number")
    )


@BOTH
def new(request: HttpRequest, tab: str) -> HttpResponse:
    form = OpenForm(posted(request), system=unit_system_of(request))
    act = Act(
        title="Begin a discharge",
        sentence="Mix the tank, read it twice, let another person release it. Nothing goes before that.",
        permission="discharge.record",
        service=services.open_discharge,
        arguments=lambda: {
            "tank_id": form.cleaned_data["tank"].pk,
            "planned_volume_m3": form.needed_quantity("planned_volume_m3"),
            "is_mixing": form.cleaned_data["is_mixing"],
        },
        said=lambda outcome: (
            f"Written: discharge {outcome.result.number} of {outcome.result.tank.code} is opened."
        ),
        then=lambda outcome: _page(outcome.result),
        back_url=reverse("waste-discharges"),
        button="Begin it",
    )
    return act_page(request, form, act, cautions=[outlet_caution()])


@BOTH
def mixing(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    """Mixing began, or stopped."""
    row = _discharge(number)
    begins = row.mixing_since is None
    form = HouseForm(posted(request), initial={"version": row.version})
    act = Act(
        title="Mixing began" if begins else "Mixing stopped",
        sentence="Say it once the mixer or the recirculation runs."
        if begins
        else "What was read before counts no more; it begins anew.",
        permission="discharge.record",
        service=services.set_mixing,
        arguments=lambda: {"discharge_id": row.pk, "is_mixing": begins, "version": form.shown_version},
        said=lambda outcome: f"Written: {'mixing began' if begins else 'mixing stopped'}, {row.tank.code}.",
        then=lambda outcome: _page(row),
        back_url=_page(row),
        is_stopping=not begins,
    )
    return act_page(request, form, act)


@BOTH
def read(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    row = _discharge(number)
    form = ReadForm(posted(request), system=unit_system_of(request))
    window = permit_in_force(timezone.now()).content
    running = row.state == Discharge.State.RELEASED
    what = "what runs out" if running else "the mixed tank"
    moment = form.cleaned_data.get("occurred_at") if form.is_bound and form.is_valid() else None
    act = Act(
        title=f"Read {what}",
        sentence=f"{row.number} of {row.tank.code}. The window is pH {window.ph_low:g} to {window.ph_high:g}. A reading is never averaged with another.",
        permission="discharge.record",
        service=_at(services.record_reading, moment),
        arguments=lambda: {
            "discharge_id": row.pk,
            "reading": form.reading(),
            "instrument_id": form.cleaned_data["instrument"].pk,
        },
        said=_read_said,
        then=lambda outcome: _page(row),
        back_url=_page(row),
    )
    return act_page(request, form, act, cautions=[outlet_caution()])


def _read_said(outcome: Outcome) -> str:
    made = outcome.result
    if made.fault and made.while_running:
        return f"Outside: {made.fault}. Shut the outlet now. An excursion is written down."
    if made.fault:
        return f"Written, and outside: {made.fault}. Two good readings after it are needed."
    return f"Written: reading {made.number}, pH {made.ph_as_typed}, {made.temperature_as_typed}."


@BOTH
@never_cache
@sensitive_post_parameters("password", "second_password")
def release(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    """The signature that lets it go, of one person or of two."""
    row, system, now = _discharge(number), unit_system_of(request), timezone.now()
    stands = standing_at(row, now)
    if stands.permit.content.is_released_by_two:
        return _release_together(request, row, system)
    form = ReleaseForm(posted(request), initial={"version": row.version}, system=system)
    if request.method == "POST" and is_whole(form, request):
        outcome = sign(
            form,
            request,
            services.release_discharge,
            meaning=services.RELEASE_MEANING,
            about=("discharge", row.number, row.number),
            discharge_id=row.pk,
            measured_kg_per_m3=form.measured(),
            version=form.shown_version,
        )
        if outcome is not None:
            receipt(request, _released_said(row))
            return redirect(_page(row))
    context = {
        "row": row,
        "form": form,
        "rows": release_rows(row, stands, system),
        "blockers": stands.blockers,
        "person": person_of(request),
        "now": now,
        "meaning": services.RELEASE_MEANING,
        "right": right(request, "discharge.release"),
        "cautions": [outlet_caution()],
        "back_url": _page(row),
    }
    return render(request, "waste/release.html", context, status=refused_status(form) if form.errors else 200)


def _released_said(row: Discharge) -> str:
    return f"Signed: {row.number} is released. Open the outlet, stay with it, and write down what went."


def _release_together(request: HttpRequest, row: Discharge, system: str) -> HttpResponse:
    form = ReleaseTogetherForm(posted(request), initial={"version": row.version}, system=system)
    form.asks_name = needs_full_credentials(request)
    stands = standing_at(row, timezone.now())

    def together(*, by: By, **given: Any) -> Outcome:
        about = ("discharge", row.number, row.number)
        two = prove_two(
            form, request, by, meaning=services.RELEASE_MEANING, about=about, permission="discharge.release"
        )
        return services.release_discharge(
            by=by, permit=two.permit, second=two.second, second_permit=two.second_permit, **given
        )

    act = Act(
        title=f"Release {row.number}",
        sentence="Two people look at the readings and sign: the plant’s rule.",
        permission="discharge.release",
        service=together,
        arguments=lambda: {
            "discharge_id": row.pk,
            "measured_kg_per_m3": form.measured(),
            "version": form.shown_version,
        },
        said=lambda outcome: _released_said(row),
        then=lambda outcome: _page(row),
        back_url=_page(row),
        button="Release it, both signing",
        template="waste/release_together.html",
    )
    return act_page(
        request,
        form,
        act,
        cautions=[outlet_caution()],
        facts=release_rows(row, stands, system),
        blockers=stands.blockers,
    )


@BOTH
def close(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    row = _discharge(number)
    form = CloseForm(posted(request), initial={"version": row.version}, system=unit_system_of(request))
    moment = form.cleaned_data.get("occurred_at") if form.is_bound and form.is_valid() else None
    act = Act(
        title=f"What went with {row.number}",
        sentence="The outlet is shut. The waste tank falls by what went, and its masses count on this day.",
        permission="discharge.record",
        service=_at(services.close_discharge, moment),
        arguments=lambda: {
            "discharge_id": row.pk,
            "volume_m3": form.needed_quantity("volume_m3"),
            "version": form.shown_version,
        },
        said=lambda outcome: f"Written: {row.number} is over.",
        then=lambda outcome: _page(row),
        back_url=_page(row),
    )
    return act_page(request, form, act)


@BOTH
def give_up(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    row = _discharge(number)
    form = GiveUpForm(posted(request), initial={"version": row.version})
    act = Act(
        title=f"Give up {row.number}",
        sentence="Nothing went. The tank is treated, or another volume is to go.",
        permission="discharge.record",
        service=services.give_up_discharge,
        arguments=lambda: {
            "discharge_id": row.pk,
            "reason": form.text("reason"),
            "version": form.shown_version,
        },
        said=lambda outcome: f"Written: {row.number} is given up.",
        then=lambda outcome: _page(row),
        back_url=_page(row),
        button="Give it up",
        is_stopping=True,
    )
    return act_page(request, form, act)
