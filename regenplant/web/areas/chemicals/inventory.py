"""The most that stood at the plant in a year, beside what is reported; and the thresholds, which the plant may set."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.chemicals import services
from regenplant.chemicals.reporting import inventory_of_year, inventory_years, thresholds
from regenplant.core.process.thresholds import CONFIRM, ThresholdKind
from regenplant.core.process.vocabulary import Chemical
from regenplant.web import listing
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.chemicals.safety_forms import ThresholdForm
from regenplant.web.house_form import posted
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right
from regenplant.web.tables.chemical_safety import InventoryTable, ThresholdTable

PERMISSION = "chemical.threshold"


@require_safe
def inventory_page(request: HttpRequest) -> HttpResponse:
    now = timezone.now()
    years = inventory_years(now)
    asked = request.GET.get("year", "")
    year = int(asked) if asked in {str(number) for number in years} else years[0]
    lines = inventory_of_year(year, now)
    reached = sum(bool(line.is_reached) for line in lines)
    until = "" if year != years[0] else " until now"
    context = {
        "title": f"Most on site in {year}",
        "sentence": f"{reached or 'No'} chemical{'s' if reached > 1 else ''} came up to what is reported{until}. {CONFIRM}",
        "chips": [
            (
                "Year",
                [listing.Chip(str(number), f"?year={number}", number == year) for number in years],
            )
        ],
    }
    return listing.answer(
        request, "chemicals/inventory.html", InventoryTable(lines), f"inventory-{year}", context
    )


@require_safe
def threshold_list(request: HttpRequest) -> HttpResponse:
    may = right(request, PERMISSION)
    rows = list(thresholds().values())
    context = {
        "title": "Reporting thresholds",
        "sentence": f"From what on a release or a stock is reported. {CONFIRM}",
        "add_url": reverse("chemicals-threshold"),
        "add": "Write the plant’s own figure",
        "right": may,
    }
    table = ThresholdTable(rows, may_write=may.is_held)
    return listing.answer(request, "chemicals/list.html", table, "thresholds", context)


@require_http_methods(["GET", "HEAD", "POST"])
def write_threshold(request: HttpRequest) -> HttpResponse:
    initial = {
        "chemical": _one_of(request.GET.get("chemical", ""), [item.value for item in Chemical]),
        "kind": _one_of(request.GET.get("kind", ""), [item.value for item in ThresholdKind]),
    }
    found = (
        thresholds().get((Chemical(initial["chemical"]), ThresholdKind(initial["kind"])))
        if all(initial.values())
        else None
    )
    if found is not None:
        initial |= {"counted": found.counted.value}
    form = ThresholdForm(posted(request), initial=initial, system=unit_system_of(request))
    act = Act(
        title="The plant’s own threshold",
        sentence="It holds in place of the reference figure. Spills that are written down keep what they were held against.",
        permission=PERMISSION,
        service=services.write_threshold,
        arguments=form.arguments,
        said=lambda outcome: "Written: the plant’s own figure.",
        then=lambda outcome: reverse("chemicals-thresholds"),
        back_url=reverse("chemicals-thresholds"),
    )
    facts = (
        [("Holds now", f"{found.stated}, {found.counted.label}"), ("Source", found.citation)] if found else []
    )
    return act_page(request, form, act, facts=facts)


def _one_of(text: str, allowed: list[str]) -> str:
    return text if text in allowed else ""
