"""The stock page and the receiving of deliveries."""

from __future__ import annotations

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import NoReverseMatch, reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.chemicals.counts import open_differences
from regenplant.chemicals.expected import overdue
from regenplant.chemicals.quantities import whole_grams
from regenplant.chemicals.selectors import StockLine, deliveries_to_see_to, stock_board
from regenplant.chemicals.weighing import open_weighings
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.hazards import stock_cautions
from regenplant.core.process.vocabulary import Chemical
from regenplant.safety.packages import receive_packages
from regenplant.web.acting import receipt, refused_status, try_act
from regenplant.web.areas.chemicals import shown
from regenplant.web.areas.chemicals.forms import ReceiveForm
from regenplant.web.house_form import posted
from regenplant.web.requests import person_of, unit_system_of
from regenplant.web.rights import right
from regenplant.web.two_steps import is_another, is_written, mark_of


@require_safe
def stock_page(request: HttpRequest) -> HttpResponse:
    lines = stock_board(timezone.now())
    context = {
        "lines": [(line, shown.check_age(line)) for line in lines],
        "problems": [(line, _problem_url(line)) for line in lines if line.problem],
        "deliveries": deliveries_to_see_to(),
        "overdue": overdue(timezone.localdate()),
        "weighings": open_weighings(),
        "open": open_differences(),
        "sentence": shown.stock_sentence(lines),
        "use_url": _use_url(),
        "receive": right(request, "chemical.receive"),
        "check": right(request, "chemical.check"),
        "count": right(request, "chemical.count"),
    }
    return render(request, "chemicals/stock.html", context)


def _problem_url(line: StockLine) -> str:
    if line.lot is not None and line.is_check_overdue:
        return reverse("chemicals-lot-check", kwargs={"code": line.lot.code})
    return reverse("chemicals-lots") + f"?chemical={line.chemical.value}"


def _use_url() -> str:
    """The page of chemical use; "" as long as it is not part of this house."""
    try:
        return reverse("chemical-use")
    except NoReverseMatch:
        return ""


@require_http_methods(["GET", "HEAD", "POST"])
def receive(request: HttpRequest) -> HttpResponse:
    """A delivery, in two steps: what it means as 100 % is shown first, then written."""
    form = ReceiveForm(posted(request), person=person_of(request), system=unit_system_of(request))
    amount: Estimate | None = None
    if request.method == "POST" and form.is_valid():
        amount = form.amount(form.cleaned_data["chemical"], form.needed_quantity("certificate_strength_frac"))
        if amount is not None and is_written(request, amount.value):
            outcome = try_act(form, receive_packages, request, **form.arguments(whole_grams(amount)))
            if outcome is not None:
                receipt(
                    request,
                    f"Written: lot {outcome.result.code}, {shown.result_sentence(amount, unit_system_of(request))} as 100 %. Check its strength next.",
                )
                return redirect("chemicals-lot", code=outcome.result.code)
    context = {
        "form": form,
        "amount": None if form.errors else amount,
        "shown_mark": mark_of(amount.value) if amount else "",
        "is_another": amount is not None and is_another(request, amount.value),
        "cautions": _cautions(form),
        "right": right(request, "chemical.receive"),
    }
    return render(
        request, "chemicals/receive.html", context, status=refused_status(form) if form.errors else 200
    )


def _cautions(form: ReceiveForm) -> list[object]:
    """What a concentrate does to a person, once chemical and strength are known."""
    if (
        not form.is_bound
        or not form.cleaned_data.get("chemical")
        or not form.cleaned_data.get("certificate_strength_frac")
    ):
        return []
    return list(
        stock_cautions(
            Chemical(form.cleaned_data["chemical"]), form.needed_quantity("certificate_strength_frac")
        )
    )
