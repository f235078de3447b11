"""Safety data sheets: list by chemical, adding a revision, withdrawing."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.chemicals import selectors, services
from regenplant.chemicals.models import DataSheet
from regenplant.chemicals.sheet_history import lots_labelled_from, lots_that_came_with, revisions_of
from regenplant.chemicals.statements import statements_of
from regenplant.core.process.vocabulary import Chemical
from regenplant.web import listing
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.chemicals import shown
from regenplant.web.areas.chemicals.forms import ReasonForm, SheetForm
from regenplant.web.areas.chemicals.storage import apart_words
from regenplant.web.house_form import posted
from regenplant.web.rights import right
from regenplant.web.tables.chemicals import SheetTable


@require_safe
def sheet_list(request: HttpRequest) -> HttpResponse:
    may = right(request, "chemical.data_sheet")
    in_force = list(selectors.data_sheets(only_in_force=True))
    context = {
        "title": "Data sheets",
        "sentence": "Signal words, hazard codes and pictograms come from the supplier’s sheet in force, never from this program.",
        "add_url": reverse("chemicals-sheet-new"),
        "add": "Add a revision",
        "right": may,
        "panels": [(shown.sheet_caution(sheet), shown.sheet_source(sheet)) for sheet in in_force],
    }
    table = SheetTable(selectors.data_sheets(), may_withdraw=may.is_held)
    return listing.answer(request, "chemicals/sheets.html", table, "data-sheets", context)


@require_safe
def sheet_page(request: HttpRequest, pk: int) -> HttpResponse:
    """One revision: as the supplier prints it, what changed, which lots came with it and which are labelled from it."""
    sheet = get_object_or_404(DataSheet, pk=pk)
    chemical = Chemical(sheet.chemical)
    context = {
        "sheet": sheet,
        "chemical": chemical,
        "sentence": f"{sheet.supplier}, {sheet.strength_text}, revision {sheet.revised_on}.",
        "panel": shown.sheet_caution(sheet),
        "source": shown.sheet_source(sheet),
        "rows": [
            ("Supplier", sheet.supplier),
            ("UN number", sheet.un_number or "none on the sheet"),
            ("Packing group", sheet.packing_group or "none on the sheet"),
            ("What to wear", sheet.protective_equipment or "read section 8"),
            ("Notes on hazards", sheet.hazard_notes or "none copied; read sections 4, 6, 7 and 10"),
            ("Never beside", "; ".join(apart_words(chemical)) or "nothing in the table of storage"),
        ],
        "precautions": statements_of(sheet.precaution_codes),
        "revisions": revisions_of(sheet),
        "came_with": lots_that_came_with(sheet),
        "labelled": lots_labelled_from(sheet),
        "right": right(request, "chemical.data_sheet"),
    }
    return render(request, "chemicals/sheet.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    form = SheetForm(posted(request))
    act = Act(
        title="Add a data sheet",
        sentence="Copy it from the supplier’s safety data sheet, sections 2, 8 and 14. A newer revision takes the place of the older.",
        permission="chemical.data_sheet",
        service=services.add_data_sheet,
        arguments=lambda: {"sheet": form.content()},
        said=lambda outcome: f"Written: data sheet {outcome.subject[2]}.",
        then=lambda outcome: reverse("chemicals-sheets"),
        back_url=reverse("chemicals-sheets"),
    )
    return act_page(request, form, act)


@require_http_methods(["GET", "HEAD", "POST"])
def withdraw(request: HttpRequest, pk: int) -> HttpResponse:
    sheet = get_object_or_404(DataSheet, pk=pk)
    form = ReasonForm(posted(request))
    act = Act(
        title="Withdraw a data sheet",
        sentence=f"{Chemical(sheet.chemical).label}, {sheet.supplier}, {sheet.revised_on}. Lots that name it keep it.",
        permission="chemical.data_sheet",
        service=services.withdraw_data_sheet,
        arguments=lambda: {"data_sheet_id": sheet.pk, "reason": form.text("reason")},
        said=lambda outcome: "Written: the data sheet is withdrawn.",
        then=lambda outcome: reverse("chemicals-sheets"),
        back_url=reverse("chemicals-sheets"),
        button="Withdraw it",
        is_stopping=True,
    )
    return act_page(request, form, act)
