"""Expected deliveries: entered, changed, called off, and what came of them."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from regenplant import units
from regenplant.chemicals import selectors, services
from regenplant.chemicals.models import ChemicalLot, ExpectedDelivery, Place
from regenplant.chemicals.quantities import whole_grams
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.vocabulary import Chemical
from regenplant.units import UnitSystem
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.chemicals.forms import AmountForm, TankChoice
from regenplant.web.fields import QuantityField
from regenplant.web.house_form import HouseForm, day_field, posted, words_field
from regenplant.web.requests import unit_system_of

BOTH = require_http_methods(["GET", "HEAD", "POST"])


class ExpectedForm(AmountForm):
    """What was ordered, for which tank and day."""

    place = TankChoice(
        Place.objects.filter(kind=Place.Kind.BULK_TANK), label="Tank it goes into", empty_label="Choose a tank"
    )  # fmt: skip
    order_number = words_field(
        60, label="Order and line", help_text="As it will stand on the papers; by it the delivery is known again."
    )  # fmt: skip
    supplier = words_field(80, label="Supplier", required=False)
    strength_frac = QuantityField("strength", label="Strength ordered", help_text="By weight.")
    due_on = day_field(label="Expected on")
    field_order = (
        "place", "order_number", "supplier", "due_on", "strength_frac", "quantity_volume", "quantity_product", "quantity_pure",
    )  # fmt: skip

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.mass: Estimate | None = None

    def clean(self) -> dict[str, Any]:
        """The quantity as 100 %, at the strength ordered."""
        cleaned = super().clean() or {}
        if not self.errors:
            self.mass = self.amount(cleaned["place"].chemical, self.needed_quantity("strength_frac"))
        return cleaned

    def arguments(self) -> dict[str, Any]:
        if self.mass is None:
            raise KeyError("the form holds no mass; ask only after is_valid")
        return {
            "place_id": self.cleaned_data["place"].pk,
            "order_number": self.text("order_number"),
            "supplier": self.text("supplier"),
            "grams_100": whole_grams(self.mass),
            "due_on": self.cleaned_data["due_on"],
        }


class ExpectedChangeForm(HouseForm):
    mass = QuantityField("mass", label="Mass as 100 %", help_text="Of pure substance.")
    due_on = day_field(label="Expected on")
    reason = words_field(200, rows=2, label="Why it changes")


class CallOffForm(HouseForm):
    reason = words_field(200, rows=2, label="Why it does not come")


class CameForm(HouseForm):
    lot = forms.ModelChoiceField(
        ChemicalLot.objects.none(), label="Lot that came of it", empty_label="Choose a lot"
    )

    def __init__(self, *args: Any, row: ExpectedDelivery | None = None, **kwargs: Any):
        super().__init__(*args, **kwargs)
        if row is not None:
            field = self.fields["lot"]
            assert isinstance(field, forms.ModelChoiceField)
            field.queryset = selectors.lots_received_into(row.place).filter(expected__isnull=True)


def expected_facts(row: ExpectedDelivery, system: UnitSystem) -> list[tuple[str, str]]:
    """An expected delivery in pairs."""
    return [
        ("Tank", f"{row.place.code}, {Chemical(row.place.chemical).label.lower()}"),
        ("Order", ", ".join(filter(None, (row.order_number, row.supplier)))),
        ("Amount, as 100 %", units.twin(row.grams_100 / 1000.0, "mass", system)),
        ("Expected on", str(row.due_on)),
    ]


def _row(number: str) -> ExpectedDelivery:
    return get_object_or_404(
        ExpectedDelivery.objects.select_related("place"), number=number.upper(), state="expected"
    )


def _ahead() -> str:
    return f"{reverse('chemicals-ahead')}#expected"


def _act(title: str, sentence: str, service: Any, arguments: Any, said: Any, button: str) -> Act:
    return Act(
        title=title,
        sentence=sentence,
        permission="chemical.receive",
        service=service,
        arguments=arguments,
        said=said,
        then=lambda outcome: _ahead(),
        back_url=_ahead(),
        button=button,
    )


@BOTH
def new(request: HttpRequest) -> HttpResponse:
    form = ExpectedForm(posted(request), system=unit_system_of(request))
    return act_page(
        request,
        form,
        _act(
            "A delivery is expected",
            "The forecast counts with it from the day after. It is no stock before it is unloaded.",
            services.expect_delivery,
            form.arguments,
            lambda outcome: f"Written: {outcome.result.number}, expected on {outcome.result.due_on}.",
            "Write it down",
        ),
    )


@BOTH
def change(request: HttpRequest, number: str) -> HttpResponse:
    row, system = _row(number), unit_system_of(request)
    initial = {"mass": row.grams_100 / 1000.0, "due_on": row.due_on, "version": row.version}
    form = ExpectedChangeForm(posted(request), initial=initial, system=system)
    act = _act(
        f"Change {row.number}",
        "Another day or another amount, with its reason.",
        services.change_expected,
        lambda: {
            "number": row.number,
            "grams_100": round(form.needed_quantity("mass") * 1000.0),
            "due_on": form.cleaned_data["due_on"],
            "reason": form.text("reason"),
            "version": form.shown_version,
        },
        lambda outcome: f"Written: {row.number} is expected on {outcome.result.due_on}.",
        "Change it",
    )
    return act_page(request, form, act, facts=expected_facts(row, system))


@BOTH
def call_off(request: HttpRequest, number: str) -> HttpResponse:
    row, system = _row(number), unit_system_of(request)
    form = CallOffForm(posted(request), initial={"version": row.version})
    act = _act(
        f"{row.number} does not come",
        "The forecast no longer counts with it.",
        services.call_off_expected,
        lambda: {"number": row.number, "reason": form.text("reason"), "version": form.shown_version},
        lambda outcome: f"Written: {row.number} is called off.",
        "Call it off",
    )
    return act_page(request, form, act, facts=expected_facts(row, system))


@BOTH
def came(request: HttpRequest, number: str) -> HttpResponse:
    """Where the papers named another order number, or it came in closed packages, a person says which lot it became."""
    row, system = _row(number), unit_system_of(request)
    form = CameForm(posted(request), initial={"version": row.version}, row=row)
    act = _act(
        f"{row.number} came",
        "A delivery that is unlocked under the same order and tank is found by itself; this is for all others.",
        services.settle_expected,
        lambda: {
            "number": row.number,
            "lot_id": form.cleaned_data["lot"].pk,
            "version": form.shown_version,
        },
        lambda outcome: f"Written: {row.number} came as lot {outcome.result.lot.code}.",
        "It came",
    )
    return act_page(request, form, act, facts=expected_facts(row, system))
