"""Instruments: list with those due first in sight, page, settings, calibration."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.audit.selectors import story
from regenplant.plant import services
from regenplant.plant.models import Instrument
from regenplant.plant.selectors import is_instrument_valid, plant_day
from regenplant.web import listing
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.setup import shown
from regenplant.web.areas.setup.forms import CalibrationForm, InstrumentForm
from regenplant.web.house_form import posted
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right
from regenplant.web.tables.setup import InstrumentTable


@require_safe
def instrument_list(request: HttpRequest) -> HttpResponse:
    today = plant_day(timezone.now())
    instruments = Instrument.objects.all()
    valid = frozenset(item.pk for item in instruments if is_instrument_valid(item, today))
    due = [item.code for item in instruments if item.is_active and item.pk not in valid]
    sentence = (
        f"{shown.listed(due)}: calibration is due, so readings prove nothing."
        if due
        else "Every instrument in use is in calibration."
    )
    context = {
        "title": "Instruments",
        "sentence": sentence,
        "add_url": reverse("setup-instrument-new"),
        "add": "Add an instrument",
        "right": right(request, "plant.edit"),
    }
    return listing.answer(
        request, "setup/list.html", InstrumentTable(instruments, valid=valid), "instruments", context
    )


@require_safe
def instrument_page(request: HttpRequest, code: str) -> HttpResponse:
    instrument = get_object_or_404(Instrument, code=code.upper())
    today = plant_day(timezone.now())
    is_valid = is_instrument_valid(instrument, today)
    context = {
        "instrument": instrument,
        "heading": f"Instrument {instrument.code}",
        "is_valid": is_valid,
        "sentence": shown.instrument_sentence(instrument, is_valid, today),
        "rows": shown.instrument_rows(instrument, unit_system_of(request)),
        "edit": right(request, "plant.edit"),
        "calibrate": right(request, "instrument.calibrate"),
        "story": story([("instrument", str(instrument.pk))], newest_first=True, limit=15),
    }
    return render(request, "setup/instrument.html", context)


def _page(code: str) -> str:
    return reverse("setup-instrument", kwargs={"code": code})


@require_http_methods(["GET", "HEAD", "POST"])
def edit(request: HttpRequest, code: str = "") -> HttpResponse:
    instrument = get_object_or_404(Instrument, code=code.upper()) if code else None
    initial = InstrumentForm.initial_of(instrument) if instrument else {}
    form = InstrumentForm(posted(request), initial=initial, system=unit_system_of(request))
    if instrument:
        form.fields["code"].disabled = True
    act = Act(
        title=f"Change {instrument.code}" if instrument else "Add an instrument",
        sentence="Readings already written keep what the instrument was then."
        if instrument
        else "It proves nothing until its calibration is written.",
        permission="plant.edit",
        service=services.save_instrument,
        arguments=lambda: {"instrument": form.settings(), "version": form.shown_version},
        said=lambda outcome: f"Written: instrument {outcome.result.code}.",
        then=lambda outcome: _page(outcome.result.code),
        back_url=_page(instrument.code) if instrument else reverse("setup-instruments"),
    )
    return act_page(request, form, act)


@require_http_methods(["GET", "HEAD", "POST"])
def calibration(request: HttpRequest, code: str) -> HttpResponse:
    instrument = get_object_or_404(Instrument, code=code.upper())
    form = CalibrationForm(posted(request), initial={"version": instrument.version})
    act = Act(
        title=f"Calibration of {instrument.code}",
        sentence=f"Last calibrated on {instrument.calibrated_on or 'no day'}, due on {instrument.calibration_due_on or 'no day'}.",
        permission="instrument.calibrate",
        service=services.record_calibration,
        arguments=lambda: {
            "instrument_id": instrument.pk,
            "calibrated_on": form.cleaned_data["calibrated_on"],
            "due_on": form.cleaned_data["due_on"],
            "note": form.text("note"),
            "version": form.shown_version,
        },
        said=lambda outcome: f"Written: {instrument.code} calibrated on {outcome.result.calibrated_on}.",
        then=lambda outcome: _page(instrument.code),
        back_url=_page(instrument.code),
    )
    return act_page(request, form, act)
