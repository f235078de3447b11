"""Logs of meters: handed in as a file or pasted, looked at first, then taken in; and set aside with a reason."""

from __future__ import annotations

from typing import Any
from zoneinfo import ZoneInfo

from django.core import signing
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.batches import services
from regenplant.batches.log_files import LogRead, Start, read_log
from regenplant.batches.log_preview import LogPreview, preview_of
from regenplant.batches.models import Batch, MeterLog
from regenplant.batches.reopened import is_reopened
from regenplant.batches.selectors import RinsePage, rinse_page
from regenplant.batches.selectors.rinse import logs_of
from regenplant.batches.services import Packet
from regenplant.batches.services.logs import OPEN
from regenplant.core.errors import DomainError
from regenplant.plant.selectors import profile
from regenplant.web.act_page import Act, act_page
from regenplant.web.acting import attach, receipt, refused_status
from regenplant.web.areas.rinse.forms import LogForm, SetAsideForm
from regenplant.web.areas.rinse.views import batch_or_404
from regenplant.web.house_form import posted
from regenplant.web.presenters import rinse_logs as words
from regenplant.web.requests import by_of, unit_system_of
from regenplant.web.rights import right

SALT = "log of a meter"
LIFE_S = 3600
"""How long a log that was looked at may wait to be taken in [s]."""


@require_http_methods(["GET", "HEAD", "POST"])
def take_in(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    """Hand a log in; it is shown first, and the second press takes in exactly what was shown."""
    batch, system = batch_or_404(number), unit_system_of(request)
    page = rinse_page(batch, timezone.now())
    context: dict[str, Any] = {
        "batch": batch,
        "page": page,
        "right": right(request, "reading.record", batch.segregation_class),
        "is_open": batch.state in OPEN or is_reopened(batch.pk),
    }
    looked_at = _looked_at(request, batch)
    if looked_at is not None:
        return _take(request, page, looked_at, context)
    form = LogForm(posted(request), request.FILES or None, page=page, system=system)
    if request.method == "POST" and form.is_valid():
        packet, read = _packet(form)
        if read.refused:
            context |= {"refused": read.refused, "more_refused": read.more_refused}
            form.add_error(None, words.nothing_taken(read))
        else:
            try:
                preview = preview_of(batch, packet, by_of(request))
            except DomainError as refusal:
                attach(form, refusal)
            else:
                return render(
                    request, "rinse/log.html", {**context, **_shown(page, packet, read, preview, system)}
                )
    status = refused_status(form) if form.errors else 200
    return render(request, "rinse/log.html", {**context, "form": form}, status=status)


def _packet(form: LogForm) -> tuple[Packet, LogRead]:
    data, zone = form.cleaned_data, profile().time_zone
    start = Start(data["started"], form.counter_m3)
    read = read_log(form.log_text, ZoneInfo(zone), start)
    packet = Packet(
        int(data["instrument"]), form.source, form.name, form.log_text, read.readings, zone,
        data["started"] if read.is_counted_from_start else None, form.counter_m3,
    )  # fmt: skip
    return packet, read


def _shown(
    page: RinsePage, packet: Packet, read: LogRead, preview: LogPreview, system: str
) -> dict[str, Any]:
    return {
        "preview": preview,
        "facts": words.preview_facts(page, preview, read, system),
        "curve": words.preview_curve(page, preview),
        "kept": _carried(page.batch, packet),
    }


# --- the second press ---------------------------------------------------------------------------------------------------
def _carried(batch: Batch, packet: Packet) -> str:
    """What was looked at, as the page carries it: signed, so that nothing else is taken in than what was shown."""
    started = packet.counted_from_at.isoformat() if packet.counted_from_at else ""
    return signing.dumps(
        [batch.pk, packet.instrument_id, packet.source, packet.name, packet.received_text, packet.time_zone, started, packet.counter_at_start_m3],
        salt=SALT,
        compress=True,
    )  # fmt: skip


def _looked_at(request: HttpRequest, batch: Batch) -> Packet | None:
    """The log that this very page showed; None when there is none, it was altered, is another batch's, or is too old."""
    if request.method != "POST" or request.POST.get("act") != "take":
        return None
    try:
        pk, instrument, source, name, text, zone, started, counter = signing.loads(
            request.POST.get("kept", ""), salt=SALT, max_age=LIFE_S
        )
    except (signing.BadSignature, ValueError):
        return None
    if pk != batch.pk:
        return None
    moment = timezone.datetime.fromisoformat(started) if started else None  # type: ignore[attr-defined]
    readings = read_log(text, ZoneInfo(zone), Start(moment, counter)).readings
    return Packet(instrument, source, name, text, readings, zone, moment, counter)


def _take(request: HttpRequest, page: RinsePage, packet: Packet, context: dict[str, Any]) -> HttpResponse:
    form = LogForm(None, page=page, system=unit_system_of(request))
    try:
        outcome = services.take_in(by=by_of(request), batch_id=page.batch.pk, packet=packet)
    except DomainError as refusal:
        form = LogForm({"instrument": str(packet.instrument_id)}, page=page, system=unit_system_of(request))
        form.is_valid()
        form.errors.clear()
        attach(form, refusal)
        return render(request, "rinse/log.html", {**context, "form": form}, status=refused_status(form))
    receipt(request, words.taken_in(outcome.result))
    return redirect(f"{reverse('rinse', args=[page.batch.number])}#main")


# --- one log ------------------------------------------------------------------------------------------------------------
def _log(batch: Batch, log_id: int) -> MeterLog:
    return get_object_or_404(logs_of(batch), pk=log_id)


@require_safe
def log(request: HttpRequest, number: str, log_id: int, tab: str) -> HttpResponse:
    """One log: what it is, what was set aside of it, and the text as received."""
    batch = batch_or_404(number)
    row = _log(batch, log_id)
    context = {
        "batch": batch,
        "log": row,
        "facts": words.log_facts(row),
        "asides": words.aside_rows(row),
        "is_whole_aside": any(one.from_at is None for one in row.set_asides.all()),
        "head": words.head_of(row.received_text),
        "is_open": batch.state in OPEN or is_reopened(batch.pk),
        "right": right(request, "reading.record", batch.segregation_class),
    }
    return render(request, "rinse/log_page.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def set_aside(request: HttpRequest, number: str, log_id: int, tab: str) -> HttpResponse:
    """Say that a log, or a stretch of it, counts no more, and why."""
    batch = batch_or_404(number)
    row = _log(batch, log_id)
    form = SetAsideForm(posted(request))
    back = reverse("rinse-log-page", args=[batch.number, row.pk])
    act = Act(
        title="Set a log aside",
        sentence=f"{words.named(row)}. It stays readable and counts no more: all of it, or the stretch you name.",
        permission="reading.record",
        service=services.set_aside,
        arguments=lambda: {
            "log_id": row.pk,
            "category": form.cleaned_data["category"],
            "reason": form.text("reason"),
            "from_at": form.cleaned_data["from_at"],
            "until_at": form.cleaned_data["until_at"],
        },
        said=lambda outcome: f"Written: {words.aside_words(row, outcome.result)}",
        then=lambda outcome: back,
        back_url=back,
        button="Set it aside",
        is_stopping=True,
        segregation_class=batch.segregation_class,
    )
    return act_page(request, form, act)
