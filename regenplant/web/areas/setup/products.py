"""Products: what the plant sells of a family and grade, its specification, and what holds for single customers instead."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.audit.selectors import story
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.recipes import selectors, services
from regenplant.recipes.models import CustomerSpecification, Product, Specification
from regenplant.tanks.models import Customer
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.setup.shown import count
from regenplant.web.house_form import HouseForm, posted, words_field
from regenplant.web.rights import right


def _specifications(**only: Any) -> list[tuple[int, str]]:
    found = Specification.objects.filter(is_active=True, **only)
    return [
        (one.pk, f"{one.code}, {one.name} ({ResinFamily(one.family).abbreviation}, {one.grade})")
        for one in found
    ]


def _number(value: str) -> int:
    return int(value)


class ProductForm(HouseForm):
    """A product; family and grade are those of its specification."""

    code = words_field(16, label="Code", help_text="Capitals, digits and hyphens, for example MB-15.")
    name = words_field(120, label="Name of the product")
    specification_id = forms.TypedChoiceField(
        coerce=_number, label="Specification", help_text="Every batch of it meets at least this."
    )
    is_active = forms.BooleanField(label="It is made", required=False, initial=True)

    def __init__(self, *args: Any, product: Product | None = None, **kwargs: Any):
        self.product = product
        if product is not None:
            kwargs["initial"] = {
                "code": product.code,
                "name": product.name,
                "specification_id": product.specification_id,
                "is_active": product.is_active,
                "version": product.version,
                **(kwargs.get("initial") or {}),
            }
        super().__init__(*args, **kwargs)
        only = {"family": product.family, "grade": product.grade} if product else {}
        first = [("", "Choose a specification")] if product is None else []
        self.fields["specification_id"].choices = [*first, *_specifications(**only)]  # type: ignore[attr-defined]
        if product is None:
            del self.fields["is_active"]
        else:
            self.fields["code"].disabled = True

    def arguments(self) -> dict[str, Any]:
        shared = {"name": self.text("name"), "specification_id": self.cleaned_data["specification_id"]}
        if self.product is not None:
            return {
                **shared,
                "product_id": self.product.pk,
                "is_active": bool(self.cleaned_data["is_active"]),
                "version": self.shown_version,
            }
        chosen = Specification.objects.get(pk=shared["specification_id"])
        return {**shared, "code": self.text("code"), "family": chosen.family, "grade": chosen.grade}


class CustomerSpecificationForm(HouseForm):
    """Which specification holds for one customer of a product."""

    customer_id = forms.TypedChoiceField(coerce=_number, label="Customer")
    specification_id = forms.TypedChoiceField(
        coerce=_number,
        label="Specification for this customer",
        help_text="It holds beside the product’s own: of each limit the stricter.",
    )
    reason = words_field(300, rows=2, label="Why", help_text="For example the order or the agreement.")
    looser_reason = words_field(
        300,
        rows=2,
        label="Why this customer takes less",
        required=False,
        help_text="Only where it asks for less than the product’s own, which then does not hold beside it.",
    )

    def __init__(self, *args: Any, product: Product, **kwargs: Any):
        self.product = product
        super().__init__(*args, **kwargs)
        customers = Customer.objects.filter(is_active=True)
        self.fields["customer_id"].choices = [  # type: ignore[attr-defined]
            ("", "Choose a customer"),
            *((one.pk, f"{one.name} ({one.code})") for one in customers),
        ]
        own = [
            pair
            for pair in _specifications(family=product.family, grade=product.grade)
            if pair[0] != product.specification_id
        ]
        self.fields["specification_id"].choices = [("", "Choose a specification"), *own]  # type: ignore[attr-defined]
        if not own:
            self.fields[
                "specification_id"
            ].help_text = "There is no other specification of this family and grade. Draft one first, and have it approved."

    def arguments(self) -> dict[str, Any]:
        return {
            "product_id": self.product.pk,
            "customer_id": self.cleaned_data["customer_id"],
            "specification_id": self.cleaned_data["specification_id"],
            "reason": self.text("reason"),
            "looser_reason": self.text("looser_reason"),
        }


class EndForm(HouseForm):
    """Why a customer's own specification ends."""

    reason = words_field(300, rows=2, label="Reason")


@require_safe
def product_list(request: HttpRequest) -> HttpResponse:
    products = list(selectors.products())
    own = sum(len(product.customers.all()) for product in products)
    context = {
        "products": products,
        "sentence": _sentence(len(products), own),
        "edit": right(request, "recipe.edit"),
    }
    return render(request, "setup/products.html", context)


def _sentence(products: int, own: int) -> str:
    """How many products there are, and how many customers have something of their own."""
    if not products:
        return "No product is written yet."
    if not own:
        return f"{count(products, 'product')}. Each holds for every customer."
    whose = "its" if own == 1 else "their"
    return f"{count(products, 'product')}, {count(own, 'customer')} with a specification of {whose} own."


@require_safe
def product_page(request: HttpRequest, code: str) -> HttpResponse:
    product = _product(code)
    context = {
        "product": product,
        "heading": f"Product {product.code}",
        "edit": right(request, "recipe.edit"),
        "approve": right(request, "recipe.approve"),
        "story": story([("product", str(product.pk))], newest_first=True, limit=15),
    }
    return render(request, "setup/product.html", context)


@require_http_methods(["GET", "HEAD", "POST"])
def product_edit(request: HttpRequest, code: str = "") -> HttpResponse:
    product = _product(code) if code else None
    form = ProductForm(posted(request), product=product)
    act = Act(
        title=f"Change {product.code}" if product else "Add a product",
        sentence="Batches keep what they were planned with."
        if product
        else "What is sold of one family and grade, and what every batch of it must show.",
        permission="recipe.edit",
        service=services.change_product if product else services.add_product,
        arguments=form.arguments,
        said=lambda outcome: f"Written: product {outcome.result.code}.",
        then=lambda outcome: reverse("setup-product", kwargs={"code": outcome.result.code}),
        back_url=_url(product) if product else reverse("setup-products"),
    )
    return act_page(request, form, act)


@require_http_methods(["GET", "HEAD", "POST"])
def customer_edit(request: HttpRequest, code: str) -> HttpResponse:
    product = _product(code)
    form = CustomerSpecificationForm(posted(request), product=product)
    act = Act(
        title=f"{product.code} for one customer",
        sentence=f"Beside {product.specification.code}, which holds for everybody. Batches that are planned already keep theirs.",
        permission="recipe.approve",
        service=services.set_customer_specification,
        arguments=form.arguments,
        said=lambda outcome: (
            f"Written: {outcome.result.specification.code} holds for {outcome.result.customer}."
        ),
        then=lambda outcome: _url(product),
        back_url=_url(product),
    )
    return act_page(request, form, act)


@require_http_methods(["GET", "HEAD", "POST"])
def customer_end(request: HttpRequest, code: str, row: int) -> HttpResponse:
    product = _product(code)
    own = get_object_or_404(
        CustomerSpecification.objects.select_related("customer", "specification"), pk=row, product=product
    )
    if own.ended_at is not None:
        raise Http404("This customer's specification was ended.")
    form = EndForm(posted(request))
    act = Act(
        title=f"End {own.specification.code} for {own.customer}",
        sentence=f"From then on {product.specification.code} holds for this customer as for everybody.",
        permission="recipe.approve",
        service=services.end_customer_specification,
        arguments=lambda: {"row_id": own.pk, "reason": form.text("reason")},
        said=lambda outcome: f"Written: {own.specification.code} no longer holds for {own.customer}.",
        then=lambda outcome: _url(product),
        back_url=_url(product),
        is_stopping=True,
    )
    return act_page(request, form, act)


def _product(code: str) -> Product:
    return get_object_or_404(selectors.products(), code=code.upper())


def _url(product: Product) -> str:
    return reverse("setup-product", kwargs={"code": product.code})
