"""Views of the rinse-down."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.batches import services
from regenplant.batches.models import Batch, RinseReading
from regenplant.batches.reopened import is_reopened
from regenplant.batches.selectors import RinsePage, batch_numbered, rinse_page
from regenplant.batches.selectors.reading import meaning_of, meaning_of_row
from regenplant.batches.selectors.rinse import basis_of_rinse, newest_forecasts
from regenplant.batches.services.readings import READINGS_OPEN
from regenplant.core.errors import DomainError, RecordRefused
from regenplant.core.process.lifecycle import ACTIVE_STATES, BatchState
from regenplant.drawing.rinse import Across
from regenplant.plant.models import Instrument
from regenplant.quality.independence import who_may_judge, who_may_release
from regenplant.web.acting import attach, receipt, refused_status
from regenplant.web.areas.batches.entries import note_difference
from regenplant.web.areas.rinse.forms import CorrectReadingForm, ReadingForm
from regenplant.web.presenters import rinse as words
from regenplant.web.presenters import rinse_logs as logs
from regenplant.web.presenters import rinse_readings as readings
from regenplant.web.presenters.instruments import due_notes
from regenplant.web.presenters.rinse_forecast import forecast_panel, made_rows, seen_in, seen_of
from regenplant.web.presenters.rinse_pad import pad_stops
from regenplant.web.requests import by_of, unit_system_of
from regenplant.web.rights import right
from regenplant.web.twice import asked_again


def batch_or_404(number: str) -> Batch:
    """The batch of this address; a number that nobody gave is no page."""
    if "\x00" in number:
        raise Http404("No number holds such a character.")
    try:
        return batch_numbered(number)
    except RecordRefused as refusal:
        raise Http404(refusal.message) from refusal


@require_http_methods(["GET", "HEAD", "POST"])
def rinse(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    """The page; a POST writes one reading down."""
    batch = batch_or_404(number)
    page, system = rinse_page(batch, timezone.now()), unit_system_of(request)
    form = ReadingForm(request.POST or None, page=page, system=system)
    if request.method == "POST" and form.is_valid():
        row = _written(form, request, batch)
        if row is not None:
            receipt(request, readings.receipt_sentence(page, row, system))
            return redirect(f"{reverse('rinse', args=[batch.number])}#main")
        asked_again(form, "reading of the cell")
    context = {
        **_context(request, page, system),
        "form": form,
        "pad_stops": pad_stops(page, form),
    }
    return render(request, "rinse/rinse.html", context, status=refused_status(form) if form.errors else 200)


def _written(form: ReadingForm, request: HttpRequest, batch: Batch) -> RinseReading | None:
    by = by_of(request, occurred_at=form.cleaned_data["occurred_at"])
    try:
        outcome = services.record_reading(
            by=by,
            batch_id=batch.pk,
            reading=form.reading(),
            system=unit_system_of(request),
            late=form.late,
        )
    except DomainError as refusal:
        attach(form, refusal)
        note_difference(request, batch, refusal)
        return None
    row: RinseReading = outcome.result
    return row


@require_safe
def rinse_now(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    """What changes while the page stands open; 204 while nothing is new since ``seen``, which costs two queries."""
    batch, now = batch_or_404(number), timezone.now()
    seen = request.GET.get("seen", "")
    if seen == seen_mark(batch, now):
        return HttpResponse(status=204)
    page = rinse_page(batch, now)
    context = _context(request, page, unit_system_of(request))
    context["is_fragment"] = True
    context["is_changed"] = not seen.startswith(f"{readings_mark(batch)}.")
    return render(request, "rinse/_now.html", context)


def readings_mark(batch: Batch) -> str:
    """What the readings of a batch stand at: it changes with every act on the batch and every packet of a meter. One query."""
    return f"{batch.version}-{basis_of_rinse(batch)[:12]}"


def seen_mark(batch: Batch, now: datetime) -> str:
    """What a page that stands open has seen: the readings, and the minute, since the line of now goes on."""
    return f"{readings_mark(batch)}.{now:%H%M}"


def across_of(request: HttpRequest) -> Across:
    """What the axis along the bottom counts, from the address."""
    return Across.BED_VOLUMES if request.GET.get("x") == Across.BED_VOLUMES else Across.TIME


def _context(request: HttpRequest, page: RinsePage, system: str) -> dict[str, Any]:
    newest = next(iter(words.believable(page)), None)
    may_judge = [person.full_name for person in who_may_judge(page.batch)]
    may_release = [person.full_name for person in who_may_release(page.batch)]
    rows = readings.reading_rows(page, system)
    now, across = timezone.now(), across_of(request)
    record = right(request, "reading.record", page.batch.segregation_class)
    is_open = page.is_rinsing and page.limit is not None and not page.end_point.is_met
    forecast = seen_in(page.standing.forecast) if is_open and page.standing is not None else None
    return {
        "page": page,
        "batch": page.batch,
        "kind": words.kind_of(page),
        "is_read": words.is_read(page),
        "rinses": words.rinse_words(page),
        "sentence": words.title_sentence(page, system),
        "newest": newest,
        "head": words.head_of(page),
        "rinse": words.rinse_down(page, now, across, forecast),
        "across": across.value,
        "seen": seen_mark(page.batch, now),
        "forecast": forecast_panel(page.batch, forecast, page.flow_m3_per_s, system) if is_open else None,
        "made": made_rows([seen_of(made) for made in newest_forecasts(page.batch)], system)
        if is_open
        else (),
        "ghosts": words.ghost_sentence(page),
        "bars": words.end_point_bars(page, system),
        "meaning": meaning_of_row(page.batch, newest) if newest else None,
        "rows": rows,
        "logs": logs.log_rows(page),
        "takes_logs": page.batch.state in READINGS_OPEN or is_reopened(page.batch.pk),
        "cells": readings.cells_sentence(rows),
        "heads": readings.heads(page, system),
        "verdict": words.verdict_word(page),
        "who": words.who_sentence(page, may_judge, may_release),
        "is_judgeable": page.batch.state == BatchState.AWAITING_QC,
        "instrument_notes": due_notes(_cells(page), timezone.now()),
        "may_hold": page.batch.state in ACTIVE_STATES
        and right(request, "batch.hold", page.batch.segregation_class).is_held,
        "right": record,
        "may_correct": (page.batch.state in READINGS_OPEN or is_reopened(page.batch.pk)) and record.is_held,
    }


def _cells(page: RinsePage) -> list[Instrument]:
    """The cells this rinse is read with; before the first reading, every one that could be."""
    used = {row.instrument_id: row.instrument for row in page.readings}
    return list(used.values()) or [cell.instrument for cell in page.cells]


@require_safe
def understood(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    """Fragment under the entry: what the reading means at 25 °C, and whether the cell proves anything."""
    batch, system = batch_or_404(number), unit_system_of(request)
    page = rinse_page(batch, timezone.now())
    form = ReadingForm(request.GET, page=page, system=system)
    form.is_valid()
    data = form.cleaned_data
    context: dict[str, Any] = {"rows": [], "doubt": ""}
    if data.get("value") and data.get("temperature") and data.get("instrument"):
        meaning = meaning_of(
            batch,
            conductivity_siemens_per_m=words.in_kind(data["value"].value, words.kind_of(page)),
            temperature_kelvin=data["temperature"].value,
            instrument=Instrument.objects.get(pk=data["instrument"]),
            at=timezone.now(),
        )
        context = {
            "rows": readings.meaning_rows(meaning, system, words.kind_of(page)),
            "doubt": meaning.doubt,
        }
    return render(request, "rinse/_meaning.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def correct(request: HttpRequest, number: str, reading_id: int, tab: str) -> HttpResponse:
    """The page on which one reading is corrected, with a reason."""
    batch, system = batch_or_404(number), unit_system_of(request)
    row = get_object_or_404(
        RinseReading.objects.select_related("instrument", "entered_by"), pk=reading_id, batch=batch
    )
    page = rinse_page(batch, timezone.now())
    form = CorrectReadingForm(request.POST or None, page=page, system=system, row=row)
    if request.method == "POST" and form.is_valid():
        try:
            outcome = services.correct_reading(
                by=by_of(request),
                reading_id=row.pk,
                reading=form.reading(),
                category=form.cleaned_data["category"],
                reason=form.text("reason"),
                system=system,
            )
        except DomainError as refusal:
            attach(form, refusal)
        else:
            receipt(request, readings.receipt_sentence(page, outcome.result, system))
            return redirect("rinse", batch.number)
        asked_again(form, "reading of the cell")
    context = {
        "batch": batch,
        "row": row,
        "form": form,
        "right": right(request, "reading.record", batch.segregation_class),
        "facts": readings.correction_facts(row, system),
        "is_corrected": words.is_replaced(row),
    }
    return render(request, "rinse/correct.html", context, status=refused_status(form) if form.errors else 200)
