"""Views of the trends."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe
from django_tables2 import RequestConfig

from regenplant.quality import services
from regenplant.quality.gathered_failures import failures as failures_of
from regenplant.quality.models import TrendAlert
from regenplant.quality.rinse_series import Measure
from regenplant.quality.trends import lot_trend, trends
from regenplant.quality.yields import Yields
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.trends.forms import FailuresForm, LookForm, WindowForm
from regenplant.web.house_form import posted
from regenplant.web.listing import PER_PAGE, Chip, chips
from regenplant.web.presenters import trends as words
from regenplant.web.presenters.trend_charts import month_scene, series_blocks
from regenplant.web.presenters.trend_rows import yield_rows
from regenplant.web.presenters.trend_windows import WindowName
from regenplant.web.rights import Right, right
from regenplant.web.tables import export
from regenplant.web.tables import trends as tables

LINES = 40
"""Lines of lots on one page."""


@require_safe
def overview(request: HttpRequest, tab: str) -> HttpResponse:
    """What drifts, worst first; every line of lots; first-pass yields."""
    form = WindowForm(request.GET, today=timezone.localdate())
    form.is_valid()
    window, zone = form.chosen(), timezone.get_current_timezone()
    found = trends(*window.bounds(zone), zone)
    lines = tables.LineTable(found.series)
    RequestConfig(request, paginate={"per_page": LINES}).configure(lines)
    context = {
        "form": form,
        "chips": _window_chips(request, window.name),
        "sentence": words.overview_sentence(found, window),
        "drifting": [(one, words.drift_sentence(one)) for one in found.drifting],
        "alerts": _alert_rows(found.alerts),
        "may": right(request, "trend.look"),
        "lines": lines,
        "yields": found.yields,
        "months": month_scene(found.yields),
        "groups": _yield_tables(found.yields),
        "yield_note": words.yield_note(),
        "failed": found.failed,
        "not_read": found.not_read,
        "methods": words.method_rows(),
        "query": request.GET.urlencode(),
    }
    return render(request, "trends/overview.html", context, status=422 if form.errors else 200)


def _yield_tables(found: Yields) -> list[tables.YieldTable]:
    return [
        tables.YieldTable(
            yield_rows(found.by_month, newest_first=True), heading="Month", nouns=("month", "months")
        ),
        tables.YieldTable(
            yield_rows(found.by_family, are_families=True),
            heading="Family",
            nouns=("family", "families"),
        ),
        tables.YieldTable(yield_rows(found.by_vessel), heading="Vessel", nouns=("vessel", "vessels")),
        tables.YieldTable(yield_rows(found.by_recipe), heading="Recipe", nouns=("recipe", "recipes")),
    ]


def _alert_rows(alerts: tuple[TrendAlert, ...]) -> list[tuple[TrendAlert, str, str]]:
    return [(alert, words.alert_sentence(alert), words.looked_words(alert)) for alert in alerts]


def _window_chips(request: HttpRequest, here: WindowName) -> list[Chip]:
    """The ready windows; choosing one drops the days and keeps what else is chosen."""
    made = []
    for name in WindowName:
        if name is not WindowName.DATES:
            wanted = request.GET.copy()
            for gone in ("first", "last", "page", "window"):
                wanted.pop(gone, None)
            wanted["window"] = name.value
            made.append(Chip(name.label, f"?{wanted.urlencode()}", name is here))
    return made


MEASURES = [(Measure.TIME.value, "Time")]


@require_safe
def lot(request: HttpRequest, tab: str, code: str) -> HttpResponse:
    """One line of lots: a chart for each recipe and limit, its table, and what was said about it."""
    measure = Measure.TIME if request.GET.get("of") == Measure.TIME else Measure.VOLUME
    found = lot_trend(code.upper(), measure) if "\x00" not in code else None
    if found is None:
        raise Http404(f"No judged batch held resin of lot {code}.")
    blocks: list[dict[str, Any]] = []
    for number, block in enumerate(series_blocks(found)):
        table = tables.RinseTable(tables.rinse_rows(block.series), prefix=f"s{number}-")
        file = (
            export.answer(request, table, f"rinses-{found.line}") if _is_asked_for(request, number) else None
        )
        if file is not None:
            return file
        RequestConfig(request, paginate={"per_page": PER_PAGE}).configure(table)
        blocks.append({"block": block, "table": table})
    context = {
        "found": found,
        "sentence": words.lot_sentence(found),
        "chips": chips(request, "of", MEASURES, every="Volume"),
        "blocks": blocks,
        "alerts": _alert_rows(found.alerts),
        "may": right(request, "trend.look"),
        "methods": words.method_rows(),
        "asked": code.upper(),
    }
    return render(request, "trends/lot.html", context)


def _is_asked_for(request: HttpRequest, number: int) -> bool:
    return request.GET.get("series", "0") == str(number)


@require_safe
def failures(request: HttpRequest, tab: str) -> HttpResponse:
    """Failed and given-up batches, and where they gather."""
    form = FailuresForm(request.GET, today=timezone.localdate())
    form.is_valid()
    window = form.chosen()
    found = failures_of(*window.bounds(timezone.get_current_timezone()), form.wanted())
    table = tables.FailureTable(found.lines)
    RequestConfig(request, paginate={"per_page": PER_PAGE}).configure(table)
    file = None if form.errors else export.answer(request, table, "failures")
    if file is not None:
        return file
    context = {
        "form": form,
        "chips": _window_chips(request, window.name),
        "sentence": words.failures_sentence(found, window),
        "table": table,
        "groups": [
            tables.CauseTable(found.by_cause, heading="Cause", nouns=("cause", "causes")),
            tables.CountTable(found.by_vessel, heading="Vessel", nouns=("vessel", "vessels")),
            tables.CountTable(found.by_lot, heading="Line of lots", nouns=("line of lots", "lines of lots")),
            tables.CountTable(
                found.by_chemical_lot, heading="Chemical lot", nouns=("chemical lot", "chemical lots")
            ),
        ],
        "has_lines": bool(found.lines),
    }
    return render(request, "trends/failures.html", context, status=422 if form.errors else 200)


@require_http_methods(["GET", "HEAD", "POST"])
def look(request: HttpRequest, tab: str, alert_id: int) -> HttpResponse:
    """Say what was found about a drift."""
    alert = get_object_or_404(TrendAlert.objects.select_related("looked_by"), pk=min(alert_id, 2**62))
    form = LookForm(posted(request))
    page = reverse("trends-lot", args=[alert.line])
    act = Act(
        title=f"Drift of lot {alert.line}",
        sentence=f"{words.alert_sentence(alert)} {words.LOOK_SENTENCE}",
        permission="trend.look",
        service=services.look_at_trend,
        arguments=lambda: {"alert_id": alert.pk, "words": form.text("words")},
        said=lambda outcome: f"Written: the drift of lot {alert.line} was looked at.",
        then=lambda outcome: page,
        back_url=page,
        button="Looked at it",
    )
    context = {}
    if alert.looked_by is not None:
        context["right"] = Right(False, f"{alert.looked_by.full_name} looked at it already.")
    return act_page(request, form, act, **context)
