"""The lock on a delivery (CS-01): papers, sample, scan by a second person, signature; and what stops it."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.selectors import story
from regenplant.audit.use_case import Outcome
from regenplant.chemicals import selectors, services
from regenplant.chemicals.locations import never_words
from regenplant.chemicals.models import Place, Unloading
from regenplant.chemicals.room import no_room_now
from regenplant.chemicals.un_numbers import un_words
from regenplant.core.errors import DomainError
from regenplant.core.process.hazards import stock_cautions
from regenplant.core.process.vocabulary import Chemical
from regenplant.documents.selectors import connection_labels_of
from regenplant.web.act_page import Act, act_page
from regenplant.web.acting import attach, receipt, refused_status, try_act
from regenplant.web.areas.chemicals.unloading_forms import (
    ConnectionForm,
    PapersForm,
    SampleForm,
    ScanForm,
    ScanHereForm,
    StopAnswerForm,
    StopForm,
    UnlockForm,
)
from regenplant.web.areas.chemicals.weighing import weighed_context
from regenplant.web.house_form import posted
from regenplant.web.requests import by_of, person_of, unit_system_of
from regenplant.web.rights import right
from regenplant.web.signing import is_whole, second_person, sign

BOTH = require_http_methods(["GET", "HEAD", "POST"])
SCAN_MEANING = "code of the fill connection scanned"


def _delivery(number: str) -> Unloading:
    return get_object_or_404(selectors.deliveries(), number=number.upper())


def _page(row: Unloading) -> str:
    return reverse("chemicals-unloading", args=[row.number])


def _said(outcome: Outcome) -> str:
    row = outcome.result
    if row.state == Unloading.State.STOPPED:
        return f"Stopped: {row.number}. {row.alarm} {services.ALARM}"
    return f"Written: delivery {row.number}."


@BOTH
def new(request: HttpRequest) -> HttpResponse:
    form = PapersForm(posted(request), system=unit_system_of(request))
    act = Act(
        title="Unload a delivery",
        sentence="The tank stays locked until papers, sample and scanned connection agree. What does not agree stops it for good.",
        permission="chemical.receive",
        service=services.open_unloading,
        arguments=lambda: {"papers": form.papers()},
        said=_said,
        then=lambda outcome: _page(outcome.result),
        back_url=reverse("chemicals"),
        button="Hold the papers against the tank",
    )
    return act_page(request, form, act)


@require_safe
def page(request: HttpRequest, number: str) -> HttpResponse:
    row, system = _delivery(number), unit_system_of(request)
    context = {
        "row": row,
        "tank": row.place,
        "alarm": services.ALARM,
        "rows": _facts(row, system),
        "checks": _checks(row, system),
        "is_ready": row.sampled_by_id is not None and row.confirmed_by_id is not None,
        "is_opener": row.opened_by_id == person_of(request).pk,
        "receive": right(request, "chemical.receive"),
        "check": right(request, "chemical.check"),
        "correct": right(request, "chemical.correct"),
        "cautions": stock_cautions(Chemical(row.chemical), row.certificate_strength_frac),
        "apart": never_words(Chemical(row.chemical)) if row.state == Unloading.State.OPEN else (),
        **weighed_context(row, system),
        "story": story([("unloading", row.number)], newest_first=True, limit=20),
    }
    return render(request, "chemicals/unloading.html", context)


def _facts(row: Unloading, system: str) -> list[tuple[str, str]]:
    return [
        ("Order and line", row.order_line),
        ("On the papers", f"{Chemical(row.chemical).label}, {un_words(row.un_number)}"),
        ("Tank", f"{row.place.code}, {un_words(row.place.un_number)} at its connection"),
        ("Lot", f"{row.lot_code}, supplier’s {row.supplier_lot}"),
        *([("Expires, by supplier", f"{row.expires_on}")] if row.expires_on else []),
        ("Certificate", units.format_quantity(row.certificate_strength_frac, "strength")),
        ("Quantity, as 100 %", units.twin(row.grams_100 / 1000.0, "mass", system)),
        ("Opened by", row.opened_by.full_name),
    ]


def _checks(row: Unloading, system: str) -> list[tuple[str, bool, str]]:
    """(what, whether it is done, in words)."""
    sample = "density and temperature, against the certificate"
    if row.sample_strength_frac is not None and row.sampled_by is not None:
        sample = (
            f"{units.format_quantity(row.sample_strength_frac, 'strength')} by {row.sampled_by.full_name}"
        )
    scan = "a second person goes there and scans its code"
    if row.confirmed_by is not None:
        scan = f"scanned by {row.confirmed_by.full_name}"
    unlocked = "signed by who opened it"
    if row.signature is not None:
        unlocked = f"signed by {row.signature.printed_name}"
    found = row.sample_strength_frac
    sample_agrees = (
        found is not None and abs(found - row.certificate_strength_frac) <= row.place.receipt_tolerance_frac
    )
    papers_agree = row.state != Unloading.State.STOPPED or row.sampled_by_id is not None
    return [
        ("Papers and room", papers_agree, "chemical, UN number, lot, certificate, room in the tank"),
        ("Sample", sample_agrees, sample),
        ("Fill connection", row.confirmed_by_id is not None, scan),
        ("Unlocked", row.signature_id is not None, unlocked),
    ]


@BOTH
def sample(request: HttpRequest, number: str) -> HttpResponse:
    row = _delivery(number)
    form = SampleForm(posted(request), system=unit_system_of(request))
    act = Act(
        title=f"Sample of {row.number}",
        sentence="Drawn from the delivery, not from the tank. Outside the tolerance nothing is unloaded.",
        permission="chemical.check",
        service=services.check_sample,
        arguments=lambda: {"unloading_id": row.pk, **form.arguments()},
        said=_said,
        then=lambda outcome: _page(row),
        back_url=_page(row),
    )
    cautions = stock_cautions(Chemical(row.chemical), row.certificate_strength_frac)
    return act_page(request, form, act, cautions=cautions)


@BOTH
def scan(request: HttpRequest, number: str) -> HttpResponse:
    """A second person who is signed in scans; at the terminal of the first, they give a password of their own."""
    row = _delivery(number)
    is_own = row.opened_by_id == person_of(request).pk
    form = ScanHereForm(posted(request)) if is_own else ScanForm(posted(request))
    if request.method == "POST" and form.is_valid():
        outcome = _scanned(request, form, row)
        if outcome is not None:
            receipt(request, _said(outcome))
            return redirect(_page(row))
    context = {
        "row": row,
        "form": form,
        "is_own": is_own,
        "meaning": SCAN_MEANING,
        "right": right(request, "chemical.receive"),
        "back_url": _page(row),
    }
    return render(
        request, "chemicals/scan.html", context, status=refused_status(form) if form.errors else 200
    )


def _scanned(request: HttpRequest, form: ScanForm | ScanHereForm, row: Unloading) -> Outcome | None:
    what: dict[str, Any] = {"unloading_id": row.pk, "scanned": form.text("scanned")}
    if isinstance(form, ScanForm):
        return try_act(form, services.confirm_connection, request, **what)
    about = ("unloading", row.number, row.number)
    found = second_person(form, request, meaning=SCAN_MEANING, about=about, permission="chemical.receive")
    if found is None:
        return None
    by = by_of(request)
    try:
        return services.confirm_connection(by=By(found[0], by.at, by.terminal), **what)
    except DomainError as refusal:
        attach(form, refusal)
        return None


@BOTH
def unlock(request: HttpRequest, number: str) -> HttpResponse:
    row, system = _delivery(number), unit_system_of(request)
    form = UnlockForm(posted(request), initial={"version": row.version})
    full = no_room_now(row) if row.state == Unloading.State.OPEN else ""
    if request.method == "POST" and full:
        stopped = try_act(form, services.stop_unloading, request, unloading_id=row.pk, alarm=full)
        if stopped is not None:
            receipt(request, _said(stopped))
            return redirect(_page(row))
    if request.method == "POST" and is_whole(form, request):
        about = ("unloading", row.number, row.number)
        outcome = sign(
            form, request, services.unlock, meaning=services.UNLOCK_MEANING, about=about, unloading_id=row.pk
        )
        if outcome is not None:
            lot = outcome.result.lot
            receipt(
                request,
                f"Unlocked: lot {lot.code} may be unloaded into {row.place.code}. Check its strength in the tank next.",
            )
            return redirect(_page(row))
    context = {
        "row": row,
        "form": form,
        "person": person_of(request),
        "now": timezone.now(),
        "meaning": services.UNLOCK_MEANING,
        "rows": [*_facts(row, system), *((name, words) for name, _, words in _checks(row, system)[1:3])],
        "right": right(request, "chemical.receive"),
        "cautions": stock_cautions(Chemical(row.chemical), row.certificate_strength_frac),
        "back_url": _page(row),
    }
    return render(
        request, "chemicals/unlock.html", context, status=refused_status(form) if form.errors else 200
    )


@BOTH
def stop(request: HttpRequest, number: str) -> HttpResponse:
    row = _delivery(number)
    form = StopForm(posted(request))
    act = Act(
        title=f"Stop {row.number}",
        sentence="It is never unlocked then, and is kept as a near miss. Anybody may stop a delivery.",
        permission="",
        service=services.stop_unloading,
        arguments=lambda: {"unloading_id": row.pk, "alarm": form.text("alarm")},
        said=_said,
        then=lambda outcome: _page(row),
        back_url=_page(row),
        button="Stop it",
        is_stopping=True,
    )
    return act_page(request, form, act)


@BOTH
def answer(request: HttpRequest, number: str) -> HttpResponse:
    row = _delivery(number)
    form = StopAnswerForm(posted(request))
    act = Act(
        title=f"Answer the stop of {row.number}",
        sentence=row.alarm,
        permission="chemical.correct",
        service=services.answer_stop,
        arguments=lambda: {"unloading_id": row.pk, "answer": form.text("answer")},
        said=lambda outcome: f"Written: the stop of {row.number} is answered.",
        then=lambda outcome: _page(row),
        back_url=_page(row),
    )
    return act_page(request, form, act)


@BOTH
def connection(request: HttpRequest, code: str) -> HttpResponse:
    """The coded fill connection of a tank."""
    place = get_object_or_404(Place, code=code.upper(), kind=Place.Kind.BULK_TANK)
    initial = {
        "connection_code": place.connection_code,
        "un_number": place.un_number,
        "ullage_margin_m3": place.ullage_margin_m3,
        "receipt_tolerance_frac": place.receipt_tolerance_frac,
        "weigh_tolerance_frac": place.weigh_tolerance_frac,
        "version": place.version,
    }
    form = ConnectionForm(posted(request), initial=initial, system=unit_system_of(request))
    act = Act(
        title=f"Fill connection of {place.code}",
        sentence=f"For {Chemical(place.chemical).label.lower()}. With a code, the tank takes deliveries through the lock only.",
        permission="plant.edit",
        service=services.set_fill_connection,
        arguments=lambda: {
            "place_id": place.pk,
            "connection_code": form.text("connection_code"),
            "un_number": form.text("un_number"),
            "ullage_margin_m3": form.needed_quantity("ullage_margin_m3"),
            "receipt_tolerance_frac": form.needed_quantity("receipt_tolerance_frac"),
            "weigh_tolerance_frac": form.needed_quantity("weigh_tolerance_frac"),
            "version": form.shown_version,
        },
        said=lambda outcome: (
            f"Written: the fill connection of {place.code} is {outcome.result.connection_code}."
        ),
        then=lambda outcome: reverse("chemicals-place", args=[place.code]),
        back_url=reverse("chemicals-place", args=[place.code]),
        template="chemicals/connection.html",
    )
    return act_page(
        request,
        form,
        act,
        place=place,
        apart=never_words(Chemical(place.chemical)),
        labels=connection_labels_of(place.code),
    )
