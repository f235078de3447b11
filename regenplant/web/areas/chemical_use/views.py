"""The view of chemical use."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.http import require_safe
from django_tables2 import RequestConfig

from regenplant.batches.selectors import chemical_use
from regenplant.web.areas.chemical_use.forms import UseForm
from regenplant.web.listing import PER_PAGE, Chip
from regenplant.web.presenters import chemical_use as words
from regenplant.web.presenters.chemical_use import PeriodName
from regenplant.web.requests import unit_system_of
from regenplant.web.tables import export
from regenplant.web.tables.chemical_use import TotalsTable, UseFile, UseTable


@require_safe
def use(request: HttpRequest, tab: str) -> HttpResponse:
    form = UseForm(request.GET, today=timezone.localdate())
    form.is_valid()
    period = form.chosen()
    start, end = period.bounds(timezone.get_current_timezone())
    found = chemical_use(start, end, family=form.chosen_family, chemical=form.chosen_chemical)
    name = f"chemical-use-{period.first}-to-{period.last}"
    file = None if form.errors else export.answer(request, UseFile(found.lines), name)
    if file is not None:
        return file
    table = UseTable(found.lines, caption=words.table_caption(period, found.lines))
    RequestConfig(request, paginate={"per_page": PER_PAGE}).configure(table)
    context = {
        "form": form,
        "period": period,
        "chips": _period_chips(request, period.name),
        "sentence": words.opening_sentence(found, period),
        "charts": words.dose_charts(found, unit_system_of(request)),
        "totals": TotalsTable(found.totals),
        "table": table,
        "watch": words.watch_sentence(),
    }
    return render(request, "chemicals_use/use.html", context, status=422 if form.errors else 200)


def _period_chips(request: HttpRequest, here: PeriodName) -> list[Chip]:
    """The ready periods; choosing one keeps family and chemical and drops the days."""
    chips = []
    for name in PeriodName:
        if name is not PeriodName.DATES:
            wanted = request.GET.copy()
            for gone in ("first", "last", "page", "period"):
                wanted.pop(gone, None)
            wanted["period"] = name.value
            chips.append(Chip(name.label, f"?{wanted.urlencode()}", name is here))
    return chips
