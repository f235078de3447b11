"""Instruments: list with those due first in sight, page, settings, calibrations, out of service, and what rests on one."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.audit.selectors import story
from regenplant.plant import services
from regenplant.plant.calibrations import due_of, failures_to_look_at
from regenplant.plant.models import Calibration, Instrument
from regenplant.plant.selectors import plant_day
from regenplant.quality.instrument_impact import impact_of
from regenplant.quality.services import look_at_impact
from regenplant.web import listing
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.setup import shown
from regenplant.web.areas.setup.instrument_forms import CalibrationForm, InstrumentForm, LookForm, TakeOutForm
from regenplant.web.house_form import posted
from regenplant.web.presenters import instruments as said
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right
from regenplant.web.tables.instruments import ImpactTable, InstrumentTable

BOTH = require_http_methods(["GET", "HEAD", "POST"])


@require_safe
def instrument_list(request: HttpRequest) -> HttpResponse:
    now = timezone.now()
    today, soon = plant_day(now), said.soon_days_at(now)
    instruments = list(Instrument.objects.all())
    due = {item.pk: due_of(item, today, soon) for item in instruments}
    context = {
        "title": "Instruments",
        "sentence": shown.instruments_sentence(
            {item.code: due[item.pk] for item in instruments},
            [row.instrument.code for row in failures_to_look_at()],
        ),
        "add_url": reverse("setup-instrument-new"),
        "add": "Add an instrument",
        "right": right(request, "plant.edit"),
    }
    table = InstrumentTable(Instrument.objects.all(), due=due)
    return listing.answer(request, "setup/list.html", table, "instruments", context)


@require_safe
def instrument_page(request: HttpRequest, code: str) -> HttpResponse:
    instrument, now = _instrument(code), timezone.now()
    today = plant_day(now)
    due = due_of(instrument, today, said.soon_days_at(now))
    rows = (
        instrument.calibrations.select_related(
            "done_by", "entered_by", "replaced_by", "impact_look__looked_by"
        )
        .prefetch_related("points")
        .order_by("-done_at", "-id")
    )
    calibrations = [said.calibration_view(row) for row in rows]
    context = {
        "instrument": instrument,
        "heading": f"Instrument {instrument.code}",
        "due": due,
        "sentence": said.standing_words(instrument, due, today),
        "rows": shown.instrument_rows(instrument, unit_system_of(request)),
        "edit": right(request, "plant.edit"),
        "calibrate": right(request, "instrument.calibrate"),
        "take_out": right(request, "instrument.take_out"),
        "calibrations": calibrations,
        "waiting": [one for one in calibrations if one.waits_for_look],
        "before_rows": instrument.calibrated_on is not None and not calibrations,
        "times_out": instrument.times_out.select_related("entered_by"),
        "story": story([("instrument", str(instrument.pk))], newest_first=True, limit=15),
    }
    return render(request, "setup/instrument.html", context)


def _instrument(code: str) -> Instrument:
    return get_object_or_404(Instrument, code=code.upper())


def _calibration(instrument: Instrument, calibration_id: int) -> Calibration:
    return get_object_or_404(Calibration, pk=min(calibration_id, 2**62), instrument=instrument)


def _page(code: str) -> str:
    return reverse("setup-instrument", kwargs={"code": code})


@BOTH
def edit(request: HttpRequest, code: str = "") -> HttpResponse:
    instrument = _instrument(code) if code else None
    initial = InstrumentForm.initial_of(instrument) if instrument else {}
    form = InstrumentForm(posted(request), initial=initial, system=unit_system_of(request))
    if instrument:
        form.fields["code"].disabled = True
    act = Act(
        title=f"Change {instrument.code}" if instrument else "Add an instrument",
        sentence="Readings already written keep what the instrument was then. Another cell constant or compensation asks for a new calibration."
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


@BOTH
def calibration(request: HttpRequest, code: str) -> HttpResponse:
    instrument = _instrument(code)
    form = CalibrationForm(
        posted(request),
        initial={"version": instrument.version},
        kind=instrument.kind,
        system=unit_system_of(request),
    )
    act = Act(
        title=f"Calibration of {instrument.code}",
        sentence=f"Last calibrated on {instrument.calibrated_on or 'no day'}, due on {instrument.calibration_due_on or 'no day'}. "
        "Without points it stays without an as-found on record.",
        permission="instrument.calibrate",
        service=services.record_calibration,
        arguments=lambda: {"instrument_id": instrument.pk, **form.arguments()},
        said=lambda outcome: shown.calibrated_sentence(outcome.result),
        then=lambda outcome: _page(instrument.code),
        back_url=_page(instrument.code),
        template="setup/calibration.html",
    )
    return act_page(request, form, act)


@BOTH
def correct(request: HttpRequest, code: str, calibration_id: int) -> HttpResponse:
    """Replace a calibration that was written wrongly; it begins with what stands there."""
    instrument = _instrument(code)
    row = _calibration(instrument, calibration_id)
    form = CalibrationForm(
        posted(request),
        initial={**shown.calibration_initial(row), "version": instrument.version},
        kind=instrument.kind,
        asks_why=True,
        system=unit_system_of(request),
    )
    act = Act(
        title=f"Correct the calibration of {row.done_on}",
        sentence=f"{instrument.code}. The old one stays readable; readings that are written keep what was known then.",
        permission="instrument.calibrate",
        service=services.correct_calibration,
        arguments=lambda: {"calibration_id": row.pk, **form.arguments()},
        said=lambda outcome: shown.calibrated_sentence(outcome.result),
        then=lambda outcome: _page(instrument.code),
        back_url=_page(instrument.code),
        template="setup/calibration.html",
    )
    return act_page(request, form, act)


@BOTH
def take_out(request: HttpRequest, code: str) -> HttpResponse:
    instrument = _instrument(code)
    form = TakeOutForm(posted(request), initial={"version": instrument.version})
    act = Act(
        title=f"Take {instrument.code} out of service",
        sentence="Readings from then on do not count. A calibration made after it puts it back.",
        permission="instrument.take_out",
        service=services.take_out_of_service,
        arguments=lambda: {
            "instrument_id": instrument.pk,
            "cause": form.cleaned_data["cause"],
            "reason": form.text("reason"),
            "from_at": form.cleaned_data["from_at"],
            "version": form.shown_version,
        },
        said=lambda outcome: f"Written: {instrument.code} is out of service.",
        then=lambda outcome: _page(instrument.code),
        back_url=_page(instrument.code),
        button="Take it out of service",
        is_stopping=True,
    )
    return act_page(request, form, act)


# --- what rests on it ---------------------------------------------------------------------------------------------------
@require_safe
def impact(request: HttpRequest, code: str, calibration_id: int = 0) -> HttpResponse:
    """Every result since the last good calibration; for a calibration that found it outside, with the error found."""
    instrument = _instrument(code)
    failure = _failure(instrument, calibration_id) if calibration_id else None
    found = impact_of(instrument, failure)
    look = getattr(failure, "impact_look", None)
    context = {
        "instrument": instrument,
        "heading": f"What rests on {instrument.code}",
        "impact": found,
        "sentence": said.impact_sentence(found),
        "failure": said.calibration_view(failure) if failure else None,
        "look": look,
        "may_look": right(request, "instrument.look_at_impact"),
        "waiting": failures_to_look_at().filter(instrument=instrument),
    }
    table = ImpactTable(list(found.results), fails=failure is not None)
    return listing.answer(request, "setup/impact.html", table, f"impact-{instrument.code.lower()}", context)


def _failure(instrument: Instrument, calibration_id: int) -> Calibration:
    row = _calibration(instrument, calibration_id)
    if row.found_within is not False:
        raise Http404
    return row


@BOTH
def look(request: HttpRequest, code: str, calibration_id: int) -> HttpResponse:
    """A supervisor says what the impact of a failed calibration is."""
    instrument = _instrument(code)
    row = _failure(instrument, calibration_id)
    found = impact_of(instrument, row)
    form = LookForm(posted(request), initial={"seen_digest": found.digest})
    back = reverse("setup-instrument-calibration-impact", args=[instrument.code, row.pk])
    act = Act(
        title=f"The impact of {instrument.code}, {row.done_on}",
        sentence=said.impact_sentence(found),
        permission="instrument.look_at_impact",
        service=look_at_impact,
        arguments=lambda: {
            "calibration_id": row.pk,
            "words": form.text("words"),
            "seen_digest": form.text("seen_digest"),
        },
        said=lambda outcome: "Written: the impact is looked at.",
        then=lambda outcome: back,
        back_url=back,
        button="Looked at",
    )
    facts: list[tuple[str, Any]] = [
        (
            f"{one.batch.number}, {one.what}",
            f"{said.error_words(one, unit_system_of(request))}: {said.holds_words(one)}; {said.decided_words(one)}",
        )
        for one in found.results
        if one.holds_no_longer
    ]
    return act_page(request, form, act, facts=facts)
