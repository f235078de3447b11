"""Papers to print: each request is one issue, counted and hashed. A paper is opened in the browser and printed from there."""

from __future__ import annotations

from datetime import date

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import path
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET

from regenplant.batches.models import Batch
from regenplant.chemicals.models import ChemicalLot, Place
from regenplant.core.errors import OutOfRange
from regenplant.core.process.drains import Destination
from regenplant.documents.drum_label import MOST_DRUMS
from regenplant.documents.models import Certificate
from regenplant.documents.services import (
    IssuedDocument,
    issue_paper,
    print_chemical_label,
    print_connection_label,
)
from regenplant.planning.models import DayPlan
from regenplant.quality.models import RetainedSample
from regenplant.tanks.models import Tank
from regenplant.use.models import UseReport
from regenplant.waste.models import StepDrain
from regenplant.waste.report_models import DischargeReport
from regenplant.web.requests import by_of, unit_system_of


@never_cache
@require_GET
def batch_sheet(request: HttpRequest, number: str) -> HttpResponse:
    return _sheet(request, number, "batch_sheet")


@never_cache
@require_GET
def work_order(request: HttpRequest, number: str) -> HttpResponse:
    """The batch sheet without its calculation appendix: what is carried to the vessel."""
    return _sheet(request, number, "work_order")


@never_cache
@require_GET
def calculation(request: HttpRequest, number: str) -> HttpResponse:
    """The calculation appendix alone."""
    return _sheet(request, number, "calculation")


def _sheet(request: HttpRequest, number: str, kind: str) -> HttpResponse:
    batch = get_object_or_404(Batch, number__iexact=_key(number))
    return _issued(request, kind, batch.number, request.GET.get("size", "") or _sheet_size(request))


@never_cache
@require_GET
def batch_record(request: HttpRequest, number: str) -> HttpResponse:
    batch = get_object_or_404(Batch, number__iexact=_key(number))
    size = request.GET.get("size", "") or _sheet_size(request)
    return _issued(request, "batch_record", batch.number, size)


@never_cache
@require_GET
def batch_tags(request: HttpRequest, number: str) -> HttpResponse:
    batch = get_object_or_404(Batch, number__iexact=_key(number))
    return _issued(request, "batch_tags", batch.number, request.GET.get("size", "label"))


@never_cache
@require_GET
def tank_tag(request: HttpRequest, serial: str) -> HttpResponse:
    tank = get_object_or_404(Tank, serial__iexact=_key(serial))
    return _issued(request, "tank_tag", tank.serial, request.GET.get("size", "label"))


@never_cache
@require_GET
def certificate(request: HttpRequest, number: str) -> HttpResponse:
    """One print of a certificate of quality; refused once it holds no more."""
    row = get_object_or_404(Certificate, number__iexact=_key(number))
    return _issued(request, "certificate", row.number, request.GET.get("size", "") or _sheet_size(request))


@never_cache
@require_GET
def day_plan(request: HttpRequest, number: str) -> HttpResponse:
    """One print of a day plan for the wall; ``?size=a3`` is the same, enlarged, ``?day=2026-12-01`` that day alone."""
    row = get_object_or_404(DayPlan, number__iexact=_key(number))
    size = request.GET.get("size", "") or _sheet_size(request)
    outcome = issue_paper(
        by=by_of(request), kind="day_plan", key=row.number, size=size, system=unit_system_of(request), day=_day(request)
    )  # fmt: skip
    return _handed_out(outcome.result)


def _day(request: HttpRequest) -> date | None:
    """The one day that is asked for; None where nobody says. Raises: OutOfRange for what is no day."""
    asked = request.GET.get("day", "").strip()
    try:
        return date.fromisoformat(asked) if asked else None
    except ValueError:
        raise OutOfRange(
            f"“{asked[:20]}” is no day; a day is written as {date(2026, 12, 1).isoformat()}. Nothing was printed.",
            code="day",
            field="day",
        ) from None


@never_cache
@require_GET
def use_report(request: HttpRequest, number: str) -> HttpResponse:
    """One print of a signed report of use."""
    row = get_object_or_404(UseReport, number__iexact=_key(number))
    return _issued(request, "use_report", row.number, request.GET.get("size", "") or _sheet_size(request))


@never_cache
@require_GET
def chemical_label(request: HttpRequest, code: str) -> HttpResponse:
    """The label of a lot; ``?like=2`` prints issue 2 once more, as it was."""
    lot = get_object_or_404(ChemicalLot, code__iexact=_key(code))
    outcome = print_chemical_label(
        by=by_of(request), lot_code=lot.code, like_issue=_like(request), size=request.GET.get("size", "label"),
        system=unit_system_of(request),
    )  # fmt: skip
    return _handed_out(outcome.result)


@never_cache
@require_GET
def connection_label(request: HttpRequest, code: str) -> HttpResponse:
    """The label of a tank's fill connection; ``?like=2`` prints issue 2 once more, as it was."""
    place = get_object_or_404(Place, code__iexact=_key(code), kind=Place.Kind.BULK_TANK)
    outcome = print_connection_label(
        by=by_of(request), tank_code=place.code, like_issue=_like(request), size=request.GET.get("size", "label")
    )  # fmt: skip
    return _handed_out(outcome.result)


@never_cache
@require_GET
def sample_label(request: HttpRequest, number: str) -> HttpResponse:
    sample = get_object_or_404(RetainedSample, number__iexact=_key(number))
    return _issued(request, "sample_label", sample.number, "label")


@never_cache
@require_GET
def discharge_report(request: HttpRequest, month: str, revision: int) -> HttpResponse:
    """One print of a signed discharge report, as it was signed."""
    row = get_object_or_404(DischargeReport, month=_key(month), revision=revision)
    return _issued(request, "discharge_report", row.key, request.GET.get("size", "") or _sheet_size(request))


@never_cache
@require_GET
def drum_label(request: HttpRequest, number: str) -> HttpResponse:
    """A label for each drum with metal-bearing waste of this batch; ``?drums=3`` says how many there are."""
    batch = get_object_or_404(Batch, number__iexact=_key(number))
    if not StepDrain.objects.filter(batch=batch, destination=Destination.METAL_DRUM.value).exists():
        raise Http404("Nothing of this batch drained into a metal drum.")
    outcome = issue_paper(
        by=by_of(request), kind="drum_label", key=batch.number, size=request.GET.get("size", "label"),
        system=unit_system_of(request), drums=_drums(request),
    )  # fmt: skip
    return _handed_out(outcome.result)


def _drums(request: HttpRequest) -> int:
    """How many drums; 1 where nobody says. Raises: OutOfRange for what is no whole number from 1 to ``MOST_DRUMS``."""
    asked = request.GET.get("drums", "1").strip()
    if not (asked.isascii() and asked.isdigit() and 1 <= int(asked[:9]) <= MOST_DRUMS):
        raise OutOfRange(
            f"The number of drums is a whole number from 1 to {MOST_DRUMS}; seen “{asked[:20]}”. Nothing was printed.",
            code="drums",
            field="drums",
        )
    return int(asked)


def _like(request: HttpRequest) -> int | None:
    """The issue to print again; what is no number names none, and never prints a new label in its place."""
    asked = request.GET.get("like")
    if asked is None:
        return None
    if not (asked.isascii() and asked.isdigit() and len(asked) < 9):
        raise Http404
    return int(asked)


def _key(text: str) -> str:
    """A number from the address; a control character fits none, and a database may refuse to look for it."""
    if not text.isprintable():
        raise Http404
    return text


def _sheet_size(request: HttpRequest) -> str:
    """Letter where people read US units, else A4."""
    return "letter" if unit_system_of(request) == "us" else "a4"


def _issued(request: HttpRequest, kind: str, key: str, size: str) -> HttpResponse:
    outcome = issue_paper(by=by_of(request), kind=kind, key=key, size=size, system=unit_system_of(request))
    return _handed_out(outcome.result)


def _handed_out(document: IssuedDocument) -> HttpResponse:
    response = HttpResponse(document.content, content_type="application/pdf")
    response["Content-Disposition"] = f'inline; filename="{document.file_name}"'
    return response


urlpatterns = [
    path("papers/batches/<str:number>/sheet.pdf", batch_sheet, name="paper-batch-sheet"),
    path("papers/batches/<str:number>/record.pdf", batch_record, name="paper-batch-record"),
    path("papers/batches/<str:number>/work-order.pdf", work_order, name="paper-work-order"),
    path("papers/batches/<str:number>/calculation.pdf", calculation, name="paper-calculation"),
    path("papers/batches/<str:number>/drum.pdf", drum_label, name="paper-drum-label"),
    path("papers/batches/<str:number>/tags.pdf", batch_tags, name="paper-batch-tags"),
    path("papers/certificates/<str:number>/certificate.pdf", certificate, name="paper-certificate"),
    path("papers/chemicals/<str:code>/label.pdf", chemical_label, name="paper-chemical-label"),
    path(
        "papers/discharges/<str:month>/<int:revision>/report.pdf",
        discharge_report,
        name="paper-discharge-report",
    ),
    path("papers/connections/<str:code>/label.pdf", connection_label, name="paper-connection-label"),
    path("papers/day-plans/<str:number>/wall.pdf", day_plan, name="paper-day-plan"),
    path("papers/use-reports/<str:number>/report.pdf", use_report, name="paper-use-report"),
    path("papers/samples/<str:number>/label.pdf", sample_label, name="paper-sample-label"),
    path("papers/tanks/<str:serial>/tag.pdf", tank_tag, name="paper-tank-tag"),
]
