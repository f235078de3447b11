"""What is written where QC rinses on, goes down to a lower product, or keeps and discards a sample."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, cast

from django import forms

from regenplant.quality.models import SampleDiscard
from regenplant.quality.services import CustomerOrder
from regenplant.quality.signed_content import DOWNGRADE_MEANING
from regenplant.quality.ways import LowerProduct
from regenplant.tanks.models import Customer
from regenplant.web.areas.rinse.forms import with_unit
from regenplant.web.fields import QuantityField
from regenplant.web.house_form import NEEDED, HouseForm, day_field, words_field
from regenplant.web.moments import MomentField
from regenplant.web.signing import TwoPeopleForm
from regenplant.web.why import TEN, told


class ContinueForm(HouseForm):
    """Why the rinse goes on, and how much water it may take; empty takes all that the specification still allows."""

    field_order = ["reason", "allowance"]

    reason = words_field(
        300, rows=3, label="Why it rinses on", help_text=TEN, validators=[told("why it rinses on")]
    )
    allowance = QuantityField(
        "liquid_volume",
        label="Water it may take at most",
        required=False,
        help_text="Empty: all that its specification still allows.",
    )

    def __init__(self, *args: Any, system: str, resin_volume_m3: float, **kwargs: Any):
        super().__init__(*args, system=system, **kwargs)
        self.resin_volume_m3 = resin_volume_m3

    @property
    def allowance_bv(self) -> float | None:
        """The same in bed volumes; None where nothing is written."""
        found = self.cleaned_data["allowance"]
        return None if found is None else found.value / self.resin_volume_m3


class SampleForm(HouseForm):
    """How much is kept, where it stands, and when it was taken."""

    field_order = ["volume", "place", "occurred_at"]

    volume = QuantityField("liquid_volume", label="How much is kept", error_messages={"required": NEEDED})
    place = words_field(80, label="Where it stands", help_text="Such as: shelf 3, left.")
    occurred_at = MomentField(label="Taken at", help_text="Empty: now. Such as 14:02.")

    @property
    def volume_text(self) -> str:
        return with_unit(self.cleaned_data["volume"])


class DiscardForm(HouseForm):
    """What became of a sample, and why."""

    why = forms.ChoiceField(
        label="What became of it", choices=[("", "Choose what"), *SampleDiscard.Why.choices]
    )
    reason = words_field(300, rows=2, label="Reason", help_text=TEN, validators=[told("why it goes")])


class DowngradeForm(TwoPeopleForm):
    """The lower product, why, the order of each customer that accepts it, and both people."""

    meaning = DOWNGRADE_MEANING
    second_person = "A supervisor who did not work on this bed."

    target_version = forms.ChoiceField(label="Lower product")
    reason = words_field(
        300, rows=2, label="Why it goes down", help_text=TEN, validators=[told("why it goes down")]
    )

    def __init__(
        self, *args: Any, lower: Sequence[LowerProduct], customers: Sequence[Customer], **kwargs: Any
    ):
        self.customers = customers
        super().__init__(*args, **kwargs)
        cast(forms.ChoiceField, self.fields["target_version"]).choices = [
            ("", "Choose a lower product"),
            *((f"{one.version.pk}:{one.to_class}", _named(one)) for one in lower),
        ]
        self.order_fields(["target_version", "reason", *self.extra_fields(), *self.OWN, *self.SECOND])

    def extra_fields(self) -> dict[str, forms.Field]:
        """Three fields for each customer whose tanks are in the batch."""
        return {name: field for one in self.customers for name, field in self._fields_of(one).items()}

    def _fields_of(self, customer: Customer) -> dict[str, forms.Field]:
        key = customer.pk
        return {
            f"order_{key}": words_field(40, label="Order number", required=False),
            f"accepted_by_{key}": words_field(120, label="Who accepted it there", required=False),
            f"accepted_on_{key}": day_field(label="Accepted on", required=False),
        }

    def clean(self) -> dict[str, Any]:
        """An order is whole or not there at all; at least one is there."""
        cleaned = super().clean() or {}
        whole = 0
        for customer in self.customers:
            names = [f"{name}_{customer.pk}" for name in ("order", "accepted_by", "accepted_on")]
            given = [name for name in names if cleaned.get(name)]
            whole += len(given) == len(names)
            if given and len(given) < len(names):
                for name in (name for name in names if name not in given and name not in self.errors):
                    self.add_error(
                        name, "An order is written whole: its number, who accepted it, and the day."
                    )
        if not whole and not self.errors:
            self.add_error(
                None,
                "No customer's order accepts the lower product. Write its number, who accepted it and when.",
            )
        return cleaned

    @property
    def work_fields(self) -> list[forms.BoundField]:
        """None: product and orders are shown in places of their own."""
        return []

    @property
    def order_groups(self) -> list[tuple[str, list[forms.BoundField]]]:
        """By customer: the three fields of its order."""
        return [(one.name, [self[name] for name in self._fields_of(one)]) for one in self.customers]

    def target(self) -> dict[str, Any]:
        """The chosen version and class."""
        version, _, letter = str(self.cleaned_data["target_version"]).partition(":")
        return {"to_version_id": int(version), "to_class": letter}

    def orders(self) -> list[CustomerOrder]:
        """Every order that is written."""
        data = self.cleaned_data
        return [
            CustomerOrder(
                customer.pk,
                data[f"order_{customer.pk}"],
                data[f"accepted_by_{customer.pk}"],
                data[f"accepted_on_{customer.pk}"],
            )
            for customer in self.customers
            if data.get(f"order_{customer.pk}")
        ]


def _named(one: LowerProduct) -> str:
    state = "" if one.is_met else ", not met"
    return f"{one.version.specification.code}, class {one.to_class}{state}"
