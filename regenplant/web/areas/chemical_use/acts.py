"""What is written in the audit of use: prices, watch levels, and the signed report of a period."""

from __future__ import annotations

from typing import Any

from django.core.paginator import Paginator
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.core.errors import RecordRefused
from regenplant.core.process.vocabulary import Chemical
from regenplant.use import services
from regenplant.use.models import UseReport, WatchLevels
from regenplant.use.naming import narrowed_words
from regenplant.use.report_content import ReportContent, group_names, mark_of, report_content
from regenplant.use.selectors import By, Group, Question
from regenplant.use.selectors.reports import content_of_report, prices, report_numbered, reports
from regenplant.use.watching import Watch, watch_now
from regenplant.web.act_page import Act, act_page
from regenplant.web.acting import receipt, refused_status
from regenplant.web.areas.chemical_use.forms import PriceForm, ReportForm, UseForm, WatchForm
from regenplant.web.house_form import posted
from regenplant.web.presenters import chemical_use as words
from regenplant.web.presenters.words import short_digest
from regenplant.web.requests import person_of
from regenplant.web.rights import right
from regenplant.web.signing import is_whole, sign
from regenplant.web.tables.chemical_use import SignedGroupsTable, SumsTable

PER_PAGE = 30


# --- prices -----------------------------------------------------------------------------------------------------------
@require_safe
def price_list(request: HttpRequest, tab: str) -> HttpResponse:
    """Every price that was entered, newest first."""
    page = Paginator(prices(), PER_PAGE).get_page(request.GET.get("page"))
    rows = [(row, Chemical(row.chemical), f"{row.milli_per_kg / 1000:.3f}") for row in page]
    return render(
        request,
        "chemicals_use/prices.html",
        {"page": page, "rows": rows, "may": right(request, "chemical.price")},
    )


@require_http_methods(["GET", "HEAD", "POST"])
def new_price(request: HttpRequest, tab: str) -> HttpResponse:
    newest = prices().first()
    form = PriceForm(
        posted(request),
        initial={
            "currency": newest.currency if newest else "",
            "from_day": timezone.localdate(),
            "basis": "product",
        },
    )
    act = Act(
        title="Enter a price",
        sentence="What a chemical costs. Every batch that drew from a lot it holds for is counted anew.",
        permission="chemical.price",
        service=services.enter_price,
        arguments=lambda: {
            "chemical": form.cleaned_data["chemical"],
            "price": form.text("price"),
            "currency": form.text("currency"),
            "basis": form.cleaned_data["basis"],
            "from_day": form.cleaned_data["from_day"],
            "supplier": form.text("supplier"),
            "lot_code": form.text("lot"),
            "reason": form.text("reason"),
        },
        said=lambda outcome: (
            f"Written: {outcome.facts['shown']}; {outcome.facts['counted']} batches were counted anew."
        ),
        then=lambda outcome: reverse("use-prices"),
        back_url=reverse("use-prices"),
    )
    return act_page(request, form, act)


# --- watch levels -----------------------------------------------------------------------------------------------------
@require_http_methods(["GET", "HEAD", "POST"])
def watch_levels(request: HttpRequest, tab: str) -> HttpResponse:
    now, row = watch_now(), WatchLevels.objects.select_related("recorded_by").first()
    form = WatchForm(
        posted(request),
        initial={
            "batch_percent": round(100 * now.batch_frac, 3),
            "period_percent": round(100 * now.period_frac, 3),
            "shifts": ", ".join(now.shifts),
            "seen": row.pk if row else 0,
        },
    )
    act = Act(
        title="Watch levels of use",
        sentence="From which difference on a batch and a group are marked, and when shifts begin. No process limit: nothing is stopped by it.",
        permission="chemical.watch",
        service=services.record_watch_levels,
        arguments=lambda: {
            "batch_frac": form.cleaned_data["batch_percent"] / 100,
            "period_frac": form.cleaned_data["period_percent"] / 100,
            "shifts": form.beginnings(),
            "reason": form.text("reason"),
            "seen_id": form.cleaned_data.get("seen"),
        },
        said=lambda outcome: "Written: the watch levels hold from now on.",
        then=lambda outcome: reverse("chemical-use"),
        back_url=reverse("chemical-use"),
    )
    facts = [("In force", words.watch_sentence(now))]
    if row is not None:
        facts.append(
            ("Recorded", f"{timezone.localtime(row.recorded_at):%Y-%m-%d %H:%M}, {row.recorded_by.full_name}: {row.reason}")
        )  # fmt: skip
    return act_page(request, form, act, facts=facts)


# --- reports ----------------------------------------------------------------------------------------------------------
@require_safe
def report_list(request: HttpRequest, tab: str) -> HttpResponse:
    """Every signed report, newest first."""
    page = Paginator(reports(), PER_PAGE).get_page(request.GET.get("page"))
    return render(request, "chemicals_use/reports.html", {"page": page})


@never_cache
@sensitive_post_parameters("password")
@require_http_methods(["GET", "HEAD", "POST"])
def new_report(request: HttpRequest, tab: str) -> HttpResponse:
    """The figures of a period as they stand; a POST signs them. The question stands in the address, as on the page of the audit."""
    asked = UseForm(request.GET, today=timezone.localdate())
    asked.is_valid()
    question = asked.question()
    if asked.errors:
        return redirect(f"{reverse('chemical-use')}?{request.GET.urlencode()}")
    try:
        content = report_content(question)
    except RecordRefused:
        return redirect(f"{reverse('chemical-use')}?{request.GET.urlencode()}")
    form = ReportForm(posted(request), initial={"version": 1, "shown": mark_of(content)})
    if request.method == "POST" and is_whole(form, request):
        outcome = sign(
            form,
            request,
            services.sign_report,
            meaning=services.REPORT_MEANING,
            about=("use_report", "next", "Report of use"),
            question=question,
            shown=form.text("shown"),
            remarks=form.text("remarks"),
        )
        if outcome is not None:
            made: UseReport = outcome.result
            receipt(request, f"Signed: report {made.number}. Digest {short_digest(made.signature.digest)}.")
            return redirect("use-report", made.number)
    form.show_again(mark_of(content))
    may, person = right(request, "chemical.report"), person_of(request)
    context = {
        **_figures(content, question),
        "form": form,
        "refused": may.reason if content.totals else "No batch took a chemical in this period.",
        "meaning": services.REPORT_MEANING,
        "person": person,
        "now": timezone.now(),
        "url": f"{request.path}?{request.GET.urlencode()}",
        "back_url": f"{reverse('chemical-use')}?{request.GET.urlencode()}",
    }
    return render(
        request, "chemicals_use/new_report.html", context, status=refused_status(form) if form.errors else 200
    )


@require_safe
def report(request: HttpRequest, tab: str, number: str) -> HttpResponse:
    """One report as it was signed, with its paper."""
    row = report_numbered(number) if number.isprintable() else None
    if row is None:
        raise Http404(f"There is no report {number[:24]}.")
    content = content_of_report(row)
    by = By(content.by)
    query = {"first": content.first, "last": content.last, "by": by.value, **dict(content.narrowed)}
    context = {
        "report": row,
        **_figures(content, Question(row.first_day, row.last_day, by)),
        "today_url": f"{reverse('chemical-use')}?{_encoded(query)}",
    }
    return render(request, "chemicals_use/report.html", context)


def _encoded(query: dict[str, str]) -> str:
    from urllib.parse import urlencode

    return urlencode(query)


def _figures(content: ReportContent, question: Question) -> dict[str, Any]:
    """Totals, groups and batches beyond the level, as frozen content has them."""
    watch = Watch(content.batch_frac, content.period_frac, watch_now().shifts, content.is_own_watch)
    look: dict[str, Any] = {"watch": watch, "currency": content.currency}
    totals = [Group(one.key, Chemical(one.chemical), one.sums) for one in content.totals]
    groups = [Group(one.key, Chemical(one.chemical), one.sums) for one in content.groups]
    return {
        "content": content,
        "by": question.by,
        "narrowed": narrowed_words(content.narrowed),
        "totals": SumsTable(totals, **look, caption="Masses as 100 %, by chemical."),
        "groups": SignedGroupsTable(
            groups,
            names=group_names(content),
            links={},
            head=question.by.label.capitalize(),
            caption=f"Masses as 100 %, by {question.by.label}.",
            **look,
        ),
        "outside": [
            (one, Chemical(one.chemical).formula, one.sums.mean_variance_frac) for one in content.outside
        ],
        "band": f"±{100 * content.batch_frac:g} %",
    }
