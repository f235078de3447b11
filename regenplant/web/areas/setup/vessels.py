"""Vessels: list, page, settings, lock-out and lift, clean-down."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.audit.selectors import story
from regenplant.core.process.plan import Caution, SignalWord
from regenplant.plant import services
from regenplant.plant.models import Vessel
from regenplant.web import listing
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.setup import shown
from regenplant.web.areas.setup.forms import CleanDownForm, LiftForm, LockOutForm, VesselForm
from regenplant.web.house_form import posted
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right
from regenplant.web.tables.setup import VesselTable

LOCK_OUT_CAUTION = Caution(
    code="lock_out",
    signal=SignalWord.DANGER,
    headline="This page writes a lock-out down. It locks nothing.",
    measures=(
        "Isolate every valve, pump and heater, hang your own lock, and try to start it before you begin.",
        "Each person at work hangs an own lock; each person takes off only the own one.",
        "The plant’s own lock-out procedure and local codes decide.",
    ),
    protective_equipment=(),
    source="handbook_memory",
)
"""Common practice of energy isolation; the plant's own procedure is the authority."""


@require_safe
def vessel_list(request: HttpRequest) -> HttpResponse:
    vessels = Vessel.objects.all()
    locked = [vessel.code for vessel in vessels if vessel.is_locked_out]
    sentence = f"{shown.count(len(vessels), 'vessel')}. {'Locked out: ' + shown.listed(locked) if locked else 'None is locked out'}."
    context = {
        "title": "Vessels",
        "sentence": sentence,
        "add_url": reverse("setup-vessel-new"),
        "add": "Add a vessel",
        "right": right(request, "plant.edit"),
    }
    return listing.answer(request, "setup/list.html", VesselTable(vessels), "vessels", context)


@require_safe
def vessel_page(request: HttpRequest, code: str) -> HttpResponse:
    vessel = get_object_or_404(Vessel, code=code.upper())
    context = {
        "vessel": vessel,
        "heading": f"Vessel {vessel.code}",
        "sentence": shown.vessel_sentence(vessel),
        "rows": shown.vessel_rows(vessel, unit_system_of(request)),
        "edit": right(request, "plant.edit"),
        "lock": right(request, "plant.lock_out"),
        "clean": right(request, "batch.run"),
        "story": story([("vessel", str(vessel.pk))], newest_first=True, limit=15),
    }
    return render(request, "setup/vessel.html", context)


def _page(code: str) -> str:
    return reverse("setup-vessel", kwargs={"code": code})


@require_http_methods(["GET", "HEAD", "POST"])
def edit(request: HttpRequest, code: str = "") -> HttpResponse:
    vessel = get_object_or_404(Vessel, code=code.upper()) if code else None
    initial = VesselForm.initial_of(vessel) if vessel else {}
    form = VesselForm(posted(request), initial=initial, system=unit_system_of(request))
    if vessel:
        form.fields["code"].disabled = True
    act = Act(
        title=f"Change {vessel.code}" if vessel else "Add a vessel",
        sentence="Batches that are planned or running keep the vessel as it was."
        if vessel
        else "As its drawing and the plant’s rules say.",
        permission="plant.edit",
        service=services.save_vessel,
        arguments=lambda: {"vessel": form.settings(), "version": form.shown_version},
        said=lambda outcome: f"Written: vessel {outcome.result.code}.",
        then=lambda outcome: _page(outcome.result.code),
        back_url=_page(vessel.code) if vessel else reverse("setup-vessels"),
    )
    return act_page(request, form, act)


@require_http_methods(["GET", "HEAD", "POST"])
def lock_out(request: HttpRequest, code: str) -> HttpResponse:
    vessel = get_object_or_404(Vessel, code=code.upper())
    form = LockOutForm(posted(request), initial={"version": vessel.version})
    act = Act(
        title=f"Lock out {vessel.code}",
        sentence="No batch is planned for a vessel that is locked out, and no step starts in it.",
        permission="plant.lock_out",
        service=services.lock_out_vessel,
        arguments=lambda: {
            "vessel_id": vessel.pk,
            "number": form.text("number"),
            "reason": form.text("reason"),
            "version": form.shown_version,
        },
        said=lambda outcome: f"Written: {vessel.code} is locked out.",
        then=lambda outcome: _page(vessel.code),
        back_url=_page(vessel.code),
        button="Lock it out",
        is_stopping=True,
    )
    return act_page(request, form, act, cautions=[LOCK_OUT_CAUTION])


@require_http_methods(["GET", "HEAD", "POST"])
def lift(request: HttpRequest, code: str) -> HttpResponse:
    vessel = get_object_or_404(Vessel, code=code.upper())
    form = LiftForm(posted(request), initial={"version": vessel.version})
    act = Act(
        title=f"Put {vessel.code} back to work",
        sentence="Look first. The lock of another person is lifted only by a supervisor or the safety lead.",
        permission="plant.lock_out",
        service=services.lift_lock_out,
        arguments=lambda: {
            "vessel_id": vessel.pk,
            "checked": form.text("checked"),
            "version": form.shown_version,
        },
        said=lambda outcome: f"Written: {vessel.code} is back at work.",
        then=lambda outcome: _page(vessel.code),
        back_url=_page(vessel.code),
        button="Lift the lock-out",
    )
    facts = [
        ("Lock", vessel.lock_out_number or shown.NONE),
        ("Of", vessel.lock_out_by or shown.NONE),
        ("Reason", vessel.lock_out_reason or shown.NONE),
    ]
    return act_page(request, form, act, facts=facts)


@require_http_methods(["GET", "HEAD", "POST"])
def clean_down(request: HttpRequest, code: str) -> HttpResponse:
    vessel = get_object_or_404(Vessel, code=code.upper())
    form = CleanDownForm(posted(request))
    act = Act(
        title=f"Clean-down of {vessel.code}",
        sentence="After it the vessel counts as flushed, and as having held no class.",
        permission="batch.run",
        service=services.record_clean_down,
        arguments=lambda: {"vessel_id": vessel.pk, "note": form.text("note")},
        said=lambda outcome: f"Written: {vessel.code} was cleaned down.",
        then=lambda outcome: _page(vessel.code),
        back_url=_page(vessel.code),
    )
    return act_page(request, form, act)
