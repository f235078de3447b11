"""Views of customers and their sites."""

from __future__ import annotations

from typing import Any

from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_POST, require_safe
from django_tables2 import RequestConfig

from regenplant.audit.selectors import story
from regenplant.core.process.intake import service_findings
from regenplant.tanks import selectors, services
from regenplant.tanks.models import Customer, CustomerRush
from regenplant.web import listing as listings
from regenplant.web.act_page import Act, act_page
from regenplant.web.acting import receipt, refused_status, try_act
from regenplant.web.areas.tanks import shown
from regenplant.web.areas.tanks.forms import CustomerForm, RushEndForm, SiteForm, WhyForm
from regenplant.web.house_form import posted
from regenplant.web.rights import right
from regenplant.web.tables import export
from regenplant.web.tables.tanks import CustomerTable, CustomerVisitTable


@require_safe
def listing(request: HttpRequest, tab: str) -> HttpResponse:
    text = request.GET.get("text", "")[:80].replace("\x00", "").strip()
    context = {"text": text, "right": right(request, "customer.edit")}
    table = CustomerTable(selectors.customer_rows(text))
    return listings.answer(request, "tanks/customers.html", table, "customers", context)


@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest, tab: str) -> HttpResponse:
    form = CustomerForm(posted(request))
    act = Act(
        title="Add a customer",
        sentence="The declared service decides what intake lets in.",
        permission="customer.edit",
        service=services.add_customer,
        arguments=form.arguments,
        said=lambda outcome: f"Written: {outcome.result.name} is added as {outcome.result.code}.",
        then=lambda outcome: reverse("customers-detail", args=[outcome.result.code]),
        back_url=reverse("customers"),
        button="Add the customer",
    )
    return act_page(request, form, act)


@require_safe
def detail(request: HttpRequest, code: str, tab: str) -> HttpResponse:
    customer = _customer(code)
    table = _visits_of(request, customer)
    return export.answer(request, table, f"visits-{customer.code}") or _page(request, customer, table=table)


@require_POST
def site(request: HttpRequest, code: str, tab: str) -> HttpResponse:
    customer = _customer(code)
    form = SiteForm(request.POST)
    if form.is_valid():
        outcome = try_act(form, services.add_site, request, customer_id=customer.pk, **form.arguments())
        if outcome is not None:
            receipt(request, f"Written: site {outcome.result.name} of {customer.name}.")
            return redirect("customers-detail", customer.code)
    return _page(request, customer, site_form=form, status=refused_status(form))


@require_http_methods(["GET", "HEAD", "POST"])
def rush(request: HttpRequest, code: str, tab: str) -> HttpResponse:
    customer = _customer(code)
    form, here = WhyForm(posted(request)), reverse("customers-detail", args=[customer.code])
    act = Act(
        title=f"Always rush tanks of {customer.name}",
        sentence="Every plan made from now on weighs its tanks as rush, those on their way too. No limit is loosened by it.",
        permission="customer.edit",
        service=services.rush_customer,
        arguments=lambda: {"customer_id": customer.pk, "reason": form.text("reason")},
        said=lambda outcome: f"Written: tanks of {customer.name} count as rush.",
        then=lambda outcome: here,
        back_url=here,
    )
    return act_page(request, form, act)


@require_http_methods(["GET", "HEAD", "POST"])
def rush_end(request: HttpRequest, code: str, tab: str) -> HttpResponse:
    customer = _customer(code)
    row = CustomerRush.objects.select_related("made_by").filter(customer=customer).order_by("-id").first()
    if row is None:
        raise Http404(f"Tanks of {customer.name} were never rushed.")
    form = RushEndForm(posted(request), initial={"rush_id": row.pk})
    here = reverse("customers-detail", args=[customer.code])
    act = Act(
        title=f"Rush tanks of {customer.name} no more",
        sentence="Every plan made from now on weighs its tanks as all others. A tank that was rushed by hand stays so.",
        permission="customer.edit",
        service=services.end_customer_rush,
        arguments=lambda: {"rush_id": form.cleaned_data["rush_id"], "reason": form.text("reason")},
        said=lambda outcome: f"Written: tanks of {customer.name} count as all others.",
        then=lambda outcome: here,
        back_url=here,
        is_stopping=True,
    )
    return act_page(request, form, act, facts=[("Rushed since", shown.rush_since(row)), ("Why", row.reason)])


def _customer(code: str) -> Customer:
    customer = selectors.customer_page(code)
    if customer is None:
        raise Http404(f"No customer has the code {code}.")
    return customer


def _visits_of(request: HttpRequest, customer: Customer) -> CustomerVisitTable:
    table = CustomerVisitTable(selectors.visit_rows().filter(customer=customer))
    RequestConfig(request, paginate={"per_page": listings.PER_PAGE}).configure(table)
    return table


def _page(request: HttpRequest, customer: Customer, *, status: int = 200, **context: Any) -> HttpResponse:
    page = {
        "customer": customer,
        "sentence": shown.customer_sentence(customer),
        "table": context.get("table") or _visits_of(request, customer),
        "site_form": SiteForm(),
        "rush": selectors.rush_of(customer.pk),
        "stops": service_findings(customer.declared_service),
        "story": story([("customer", customer.code)], newest_first=True, limit=20),
        "right": right(request, "customer.edit"),
    }
    return render(request, "tanks/customer.html", page | context, status=status)
