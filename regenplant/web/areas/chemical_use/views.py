"""The pages of the audit of use: a period by any group, and one batch down to its readings."""

from __future__ import annotations

from typing import Any

from django.core.paginator import Paginator
from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import urlencode
from django.views.decorators.http import require_safe

from regenplant.batches.models import Batch
from regenplant.core.errors import RecordRefused
from regenplant.use.naming import names_of, narrowed_words
from regenplant.use.pricing import PriceList
from regenplant.use.selectors import (
    Audit,
    By,
    Group,
    Question,
    UseLine,
    as_line,
    audit,
    batch_use,
    lines,
    outside_count,
)
from regenplant.use.selectors.reports import not_read
from regenplant.web.areas.chemical_use.files import line_file, workbook
from regenplant.web.areas.chemical_use.forms import UseForm
from regenplant.web.listing import PER_PAGE, Chip, chips
from regenplant.web.presenters import chemical_use as words
from regenplant.web.presenters.chemical_use import PeriodName
from regenplant.web.presenters.use_batch import step_rows
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right
from regenplant.web.tables import export
from regenplant.web.tables.chemical_use import GroupsTable, LinesTable, SumsTable

MOST_GROUPS = 12
"""Groups of each chemical on one page, in its chart and in its table alike: the largest, of time the newest. A file holds them all."""


class Counted(Paginator):
    """Pages of lines whose number is known from the sums, so that nothing is counted anew."""

    def __init__(self, listed: QuerySet[Any] | list[UseLine], count: int):
        super().__init__(listed, PER_PAGE)
        self.count = count


@require_safe
def use(request: HttpRequest, tab: str) -> HttpResponse:
    form = UseForm(request.GET, today=timezone.localdate())
    form.is_valid()
    question = form.question()
    wanted = request.GET.get(export.PARAMETER, "")
    is_file = wanted in export.FORMATS
    try:
        found = audit(question, most=None if is_file else MOST_GROUPS)
    except RecordRefused as refusal:
        form.add_error("by", refusal.message)
        question = Question(question.first, question.last)
        found = audit(question, most=MOST_GROUPS)
    currency = PriceList().currency
    if is_file and not form.errors:
        return _file(request, wanted, found, currency, form)
    outside = outside_count(question, found.watch)
    listed = lines(question, only_outside=form.is_only_outside, watch=found.watch)
    page = Counted(listed, outside if form.is_only_outside else found.lines).get_page(request.GET.get("page"))
    shown = [as_line(row) for row in page.object_list]
    period, system = form.chosen(), unit_system_of(request)
    names = names_of(question.by, (group.key for group in found.groups))
    look: dict[str, Any] = {"watch": found.watch, "currency": currency}
    context = {
        "form": form,
        "chips": period_chips(request, period.name),
        "outside_chips": chips(request, "only", [("outside", f"Outside ({outside})")]),
        "sentence": words.opening_sentence(found, outside, period),
        "narrowed": narrowed_words(_narrowed(question)),
        "plain_url": f"?{_without_narrowing(request)}",
        "group_charts": words.group_charts(found, names),
        "dose_charts": words.dose_charts(shown, found.watch, system),
        "totals": SumsTable(found.totals, **look, caption="Masses as 100 %, by chemical."),
        "groups": GroupsTable(
            found.groups,
            names=names,
            links={id(group): _link(request, question.by, group) for group in found.groups},
            head=question.by.label.capitalize(),
            caption=f"Masses as 100 %, by {question.by.label}.",
            **look,
        ),
        "groups_left_out": found.left_out,
        "by": question.by,
        "crossed": question.is_crossed,
        "page": page,
        "lines": LinesTable(shown, **look, caption=words.table_caption(period, shown)),
        "watch": words.watch_sentence(found.watch),
        "currency": currency,
        "not_read": not_read(),
        "query": _query(request),
        "days": urlencode({"first": question.first.isoformat(), "last": question.last.isoformat()}),
        "may_sign": right(request, "chemical.report"),
    }
    return render(request, "chemicals_use/use.html", context, status=422 if form.errors else 200)


def _file(request: HttpRequest, wanted: str, found: Audit, currency: str, form: UseForm) -> HttpResponse:
    question = found.question
    name = f"chemical-use-{question.first}-to-{question.last}"
    rows = lines(question, only_outside=form.is_only_outside, watch=found.watch)
    content = line_file(rows, found.watch, currency) if wanted == "csv" else workbook(found, rows, currency)
    return export.handed_out(content, name, wanted)


def _query(request: HttpRequest) -> str:
    wanted = request.GET.copy()
    for gone in ("page", "only", export.PARAMETER):
        wanted.pop(gone, None)
    return wanted.urlencode()


def _without_narrowing(request: HttpRequest) -> str:
    wanted = request.GET.copy()
    for gone in ("page", "only", *UseForm.NARROWING):
        wanted.pop(gone, None)
    return wanted.urlencode()


def _narrowed(question: Question) -> list[tuple[str, str]]:
    return [(name, getattr(question, name)) for name in UseForm.NARROWING if getattr(question, name)]


def _link(request: HttpRequest, by: By, group: Group) -> str:
    """The page of this group alone: its batches stand at the end of it."""
    wanted = request.GET.copy()
    narrow = words.group_query(by, group)
    gone = ["page", "only", "by"]
    if "first" in narrow:
        gone += ["period"]
    for name in gone:
        wanted.pop(name, None)
    for name, value in narrow.items():
        wanted[name] = value
    if by.is_shared or by is By.TIME:
        wanted["by"] = By.TIME.value if by.is_shared else By.FAMILY.value
    return f"?{wanted.urlencode()}#s-batches"


def period_chips(request: HttpRequest, here: PeriodName) -> list[Chip]:
    """The ready periods; choosing one keeps what narrows and drops the days."""
    made = []
    for name in PeriodName:
        if name is not PeriodName.DATES:
            wanted = request.GET.copy()
            for gone in ("first", "last", "page", "period"):
                wanted.pop(gone, None)
            wanted["period"] = name.value
            made.append(Chip(name.label, f"?{wanted.urlencode()}", name is here))
    return made


# --- one batch --------------------------------------------------------------------------------------------------------
@require_safe
def one_batch(request: HttpRequest, tab: str, number: str) -> HttpResponse:
    """Each step with its theory, plan and use, what was written down in it, the check of the strength, and the movements."""
    batch = get_object_or_404(
        Batch.objects.select_related("resin_type", "vessel", "lot", "recipe_version__recipe"),
        number__iexact=number if number.isprintable() else "",
    )
    found = batch_use(batch)
    context = {
        "batch": batch,
        "found": found,
        "steps": step_rows(found, unit_system_of(request)),
        "customers": _share_rows(By.CUSTOMER, found.customers),
        "resin_lots": _share_rows(By.RESIN_LOT, found.resin_lots),
        "chemical_lots": _share_rows(By.CHEMICAL_LOT, found.chemical_lots),
        "currency": PriceList().currency,
        "back_url": reverse("chemical-use"),
    }
    return render(request, "chemicals_use/batch.html", context)


def _share_rows(by: By, shares: Any) -> list[dict[str, Any]]:
    names = names_of(by, (share.key for share in shares))
    return [
        {
            "name": names[share.key],
            "formula": words.Chemical(share.row.chemical).formula,
            "kg": share.used_grams / 1000.0,
            "frac": share.used_grams / share.row.used_grams
            if share.row.used_grams
            else share.volume_ml / share.row.volume_ml,
        }
        for share in shares
    ]
