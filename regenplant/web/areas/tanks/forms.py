"""What is written about tanks and customers."""

from __future__ import annotations

from typing import Any

from django import forms

from regenplant.core.process.vocabulary import ResinFamily
from regenplant.resins.models import CLASSES, ResinType
from regenplant.tanks.models import Customer, Tank, TankSize
from regenplant.web.areas.intake.forms import ResinTypeField
from regenplant.web.areas.resin_lots.forms import StoredLotField, offer_stored
from regenplant.web.fields import QuantityField
from regenplant.web.house_form import HouseForm, words_field
from regenplant.web.seen import SeenVersionField

FAMILIES = [(item.value, item.label) for item in ResinFamily]


class FilterForm(HouseForm):
    """What narrows the listing; all of it may stay empty."""

    find = forms.CharField(label="Find", max_length=80, required=False)
    segregation_class = forms.ChoiceField(label="Class", required=False, choices=[("", "all"), *CLASSES])
    family = forms.ChoiceField(label="Family", required=False, choices=[("", "all"), *FAMILIES])
    customer = forms.ModelChoiceField(
        Customer.objects.all(), label="Customer", required=False, empty_label="all"
    )
    state = forms.CharField(widget=forms.HiddenInput, required=False, max_length=10)

    def wanted(self) -> dict[str, Any]:
        """What the selector takes; a field that was not understood narrows nothing and says so."""
        self.full_clean()
        data = self.cleaned_data
        customer = data.get("customer")
        return {
            "text": data.get("find", ""),
            "segregation_class": data.get("segregation_class", ""),
            "family": data.get("family", ""),
            "state": data.get("state", ""),
            "customer_id": customer.pk if customer else None,
        }


class TankForm(HouseForm):
    """Register a tank."""

    serial = words_field(24, label="Serial", help_text="What its tag says, or the next of the plant’s own.")
    size = forms.ModelChoiceField(TankSize.objects.all(), label="Size, in", empty_label="Choose a size")
    resin_type = ResinTypeField(
        ResinType.objects.filter(is_active=True), label="Resin", empty_label="Choose a resin type"
    )
    segregation_class = forms.ChoiceField(label="Class", choices=[("", "Choose a class"), *CLASSES])
    dedicated_to = forms.ModelChoiceField(
        Customer.objects.filter(is_active=True), label="Dedicated to", required=False, empty_label="nobody"
    )
    resin_volume = QuantityField(
        "resin_volume",
        label="Resin inside",
        required=False,
        help_text="Settled, in the exhausted form. Empty: the size’s usual volume.",
    )
    resin_lot = StoredLotField(
        label="Filled from the store with",
        required=False,
        empty_label="resin of no recorded lot",
        help_text="Its volume leaves the store.",
    )
    neck_band = words_field(
        40, label="Neck band", required=False, help_text="The plant’s own mark, if it uses one."
    )

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        offer_stored(self.fields["resin_lot"])

    def arguments(self) -> dict[str, Any]:
        """What the service takes."""
        data = self.cleaned_data
        return {
            "resin_lot_id": data["resin_lot"].pk if data["resin_lot"] else None,
            "serial": self.text("serial"),
            "size_id": data["size"].pk,
            "resin_type_id": data["resin_type"].pk,
            "segregation_class": data["segregation_class"],
            "dedicated_to_id": data["dedicated_to"].pk if data["dedicated_to"] else None,
            "resin_volume_m3": self.quantity("resin_volume"),
            "neck_band": self.text("neck_band"),
        }


class ChangeForm(HouseForm):
    """Correct what a tank holds, or retire it."""

    version = SeenVersionField()
    resin_type = ResinTypeField(ResinType.objects.filter(is_active=True), label="Resin")
    resin_volume = QuantityField(
        "resin_volume", label="Resin inside", help_text="Settled, in the exhausted form."
    )
    neck_band = words_field(40, label="Neck band", required=False)
    is_retired = forms.BooleanField(label="Retired: it is not taken in again", required=False)
    reason = words_field(300, rows=2, label="Why it is changed")

    def __init__(self, *args: Any, tank: Tank, **kwargs: Any):
        kwargs["initial"] = {
            "version": tank.version,
            "resin_type": tank.resin_type_id,
            "resin_volume": tank.resin_volume_m3,
            "neck_band": tank.neck_band,
            "is_retired": tank.is_retired,
        }
        super().__init__(*args, **kwargs)

    def arguments(self) -> dict[str, Any]:
        """What the service takes."""
        return {
            "version": self.cleaned_data["version"],
            "reason": self.text("reason"),
            "resin_type_id": self.cleaned_data["resin_type"].pk,
            "resin_volume_m3": self.needed_quantity("resin_volume"),
            "neck_band": self.text("neck_band"),
            "is_retired": self.cleaned_data["is_retired"],
        }


class ShipForm(HouseForm):
    """Ship a released tank."""

    version = SeenVersionField()

    def arguments(self) -> dict[str, Any]:
        return {"version": self.cleaned_data["version"]}


class WhyForm(HouseForm):
    """Why a filled tank is withdrawn, put back or emptied; why tanks of a customer are rushed."""

    reason = words_field(300, rows=2, label="Why")


class RushEndForm(WhyForm):
    """Why tanks of a customer are rushed no more; which mark was shown goes with it."""

    rush_id = forms.IntegerField(widget=forms.HiddenInput, min_value=1, max_value=2**31 - 1)


class WithdrawForm(WhyForm):
    """Withdraw a filled tank."""

    version = SeenVersionField()


class ShellForm(HouseForm):
    """How the empty shell looks."""

    version = SeenVersionField()
    is_sound = forms.ChoiceField(
        label="Empty shell",
        choices=[("yes", "sound"), ("no", "not sound: it is not filled again")],
        widget=forms.RadioSelect,
    )
    note = words_field(200, label="What is wrong", required=False)

    def arguments(self) -> dict[str, Any]:
        """What the service takes."""
        return {
            "version": self.cleaned_data["version"],
            "is_sound": self.cleaned_data["is_sound"] == "yes",
            "note": self.text("note"),
        }


class CustomerForm(HouseForm):
    """Add a customer."""

    code = words_field(16, label="Code", help_text="Short, such as C-014.")
    name = words_field(120, label="Name")
    contact = words_field(160, label="Contact", required=False)
    declared_service = words_field(
        200,
        rows=2,
        label="Declared service",
        required=False,
        help_text="What the tanks do there, in the customer’s words. Oxidizers, metals, cyanide and the like stop a tank at intake.",
    )

    def arguments(self) -> dict[str, Any]:
        return {name: self.text(name) for name in ("code", "name", "contact", "declared_service")}


class SiteForm(HouseForm):
    """Add a site of a customer."""

    name = words_field(120, label="Site")
    address = words_field(200, label="Address", required=False)

    def arguments(self) -> dict[str, Any]:
        return {"name": self.text("name"), "address": self.text("address")}
