"""Monthly discharge reports: the month as it stands, its signature, and what was signed."""

from __future__ import annotations

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.core.errors import RecordRefused
from regenplant.waste import services
from regenplant.waste.month import MonthContent, content_at, months_with_discharges, reports_of, shown_mark
from regenplant.waste.report_models import DischargeReport
from regenplant.web.acting import receipt, refused_status
from regenplant.web.areas.waste.discharge_forms import SignReportForm
from regenplant.web.house_form import posted
from regenplant.web.presenters.words import counted
from regenplant.web.requests import person_of
from regenplant.web.rights import right
from regenplant.web.signing import is_whole, sign


def _content(month: str) -> MonthContent:
    try:
        return content_at(month, timezone.now())
    except RecordRefused as refusal:
        raise Http404(refusal.message) from refusal


def sentence_of(content: MonthContent) -> str:
    went = counted(len(content.discharges), "discharge")
    open_ones = sum(not one.closed for one in content.excursions)
    more = f", {counted(open_ones, 'excursion')} still open" if open_ones else ""
    over = "" if content.is_over else " The month is not over."
    return f"{went[:1].upper()}{went[1:]}, {counted(len(content.excursions), 'excursion')}{more}.{over}"


@require_safe
def list_page(request: HttpRequest, tab: str) -> HttpResponse:
    signed: dict[str, DischargeReport] = {}
    for report in DischargeReport.objects.select_related("made_by"):
        signed.setdefault(report.month, report)
    months = [(month, signed.get(month)) for month in months_with_discharges(timezone.now())]
    return render(request, "waste/reports.html", {"months": months})


@require_safe
def page(request: HttpRequest, month: str, tab: str) -> HttpResponse:
    content = _content(month)
    context = {
        "content": content,
        "sentence": sentence_of(content),
        "reports": reports_of(month),
        "sign": right(request, "discharge.report"),
        "paper": right(request, "paper.issue"),
    }
    return render(request, "waste/report.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
@sensitive_post_parameters("password")
def sign_page(request: HttpRequest, month: str, tab: str) -> HttpResponse:
    content = _content(month)
    form = SignReportForm(posted(request), initial={"version": 0, "shown": shown_mark(content)})
    if request.method == "POST" and is_whole(form, request):
        outcome = sign(
            form,
            request,
            services.sign_month,
            meaning=services.REPORT_MEANING,
            about=("discharge_report", month, f"Discharge report {month}"),
            month=month,
            shown=form.text("shown"),
        )
        if outcome is not None:
            receipt(request, f"Signed: the discharge report of {month}, revision {outcome.result.revision}.")
            return redirect(reverse("waste-report", args=[month]))
    context = {
        "content": content,
        "form": form,
        "person": person_of(request),
        "now": timezone.now(),
        "meaning": services.REPORT_MEANING,
        "refused": right(request, "discharge.report").reason,
        "back_url": reverse("waste-report", args=[month]),
        "sentence": sentence_of(content),
    }
    return render(
        request, "waste/sign_report.html", context, status=refused_status(form) if form.errors else 200
    )
