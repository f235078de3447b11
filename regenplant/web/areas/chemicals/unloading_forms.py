"""Forms of the lock on a delivery: papers, sample, scan, stop, answer, and the connection of a tank."""

from __future__ import annotations

from typing import Any

from django import forms

from regenplant.chemicals.models import DataSheet, Place
from regenplant.chemicals.quantities import whole_grams
from regenplant.chemicals.services import Papers
from regenplant.core.engineering.estimate import Estimate
from regenplant.web.areas.chemicals.forms import CHEMICAL_CHOICES, AmountForm, SheetChoice, TankChoice
from regenplant.web.fields import QuantityField
from regenplant.web.house_form import HouseForm, day_field, words_field
from regenplant.web.signing import SecondPersonForm, SigningForm


class PapersForm(AmountForm):
    """What stands on the papers of a delivery, and the tank it is meant for."""

    order_line = words_field(60, label="Order and line", help_text="As on the order, for example 4711 / 2.")
    chemical = forms.ChoiceField(
        label="Chemical on the papers", choices=[("", "Choose a chemical"), *CHEMICAL_CHOICES]
    )
    un_number = words_field(
        10,
        label="UN number on the papers",
        help_text="For example UN1789; none where goods have no number, as brine.",
    )
    place = TankChoice(
        Place.objects.filter(kind=Place.Kind.BULK_TANK),
        label="Tank it goes into",
        empty_label="Choose a tank",
        help_text="Its fill connection needs a code; a supervisor sets it under Chemicals, Tanks.",
    )
    code = words_field(24, label="Lot", help_text="The plant’s own number for it, for example A-118.")
    supplier_lot = words_field(60, label="Supplier’s lot")
    certificate_strength_frac = QuantityField(
        "strength", label="Strength on the certificate", help_text="By weight."
    )
    data_sheet = SheetChoice(
        DataSheet.objects.filter(is_in_force=True),
        label="Data sheet that came with it",
        required=False,
        empty_label="none chosen",
    )
    expires_on = day_field(
        label="Supplier’s expiry date", required=False, help_text="As on the papers; empty if they give none."
    )
    field_order = (
        "order_line", "chemical", "un_number", "place", "code", "supplier_lot", "certificate_strength_frac", "quantity_volume",
        "quantity_product", "quantity_pure", "expires_on", "data_sheet",
    )  # fmt: skip

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.mass: Estimate | None = None

    def clean(self) -> dict[str, Any]:
        """The quantity as 100 %, at the strength of the certificate."""
        cleaned = super().clean() or {}
        if not self.errors:
            self.mass = self.amount(cleaned["chemical"], self.needed_quantity("certificate_strength_frac"))
        return cleaned

    def papers(self) -> Papers:
        """What the service takes; ask only after ``is_valid``."""
        if self.mass is None:
            raise KeyError("the form holds no mass; ask only after is_valid")
        data = self.cleaned_data
        return Papers(
            order_line=self.text("order_line"),
            chemical=data["chemical"],
            un_number=self.text("un_number"),
            lot_code=self.text("code"),
            supplier_lot=self.text("supplier_lot"),
            certificate_strength_frac=self.needed_quantity("certificate_strength_frac"),
            grams_100=whole_grams(self.mass),
            place_id=data["place"].pk,
            data_sheet_id=data["data_sheet"].pk if data["data_sheet"] else None,
            expires_on=data["expires_on"],
        )


class SampleForm(HouseForm):
    """Density and temperature of a sample of the delivery."""

    density = QuantityField("density", label="Density", help_text="Hydrometer in the sample.")
    temperature_kelvin = QuantityField(
        "temperature", label="Temperature of the sample", help_text="When it was read."
    )
    strength_frac = QuantityField(
        "strength",
        label="Strength by titration",
        required=False,
        help_text="Only for a chemical whose density no table knows.",
    )

    def arguments(self) -> dict[str, Any]:
        typed = self.cleaned_data["density"]
        return {
            "density_kg_per_m3": self.needed_quantity("density"),
            "temperature_kelvin": self.needed_quantity("temperature_kelvin"),
            "strength_frac": self.quantity("strength_frac"),
            "value_as_typed": typed.value_as_typed,
            "unit_as_typed": typed.unit_as_typed,
        }


def _scanned() -> forms.CharField:
    return words_field(
        24, label="Code on the fill connection", help_text="Go there and scan it, or read it off."
    )


class ScanForm(HouseForm):
    """The scan of a second person who is signed in."""

    scanned = _scanned()


class ScanHereForm(SecondPersonForm):
    """The scan of a second person at the terminal of the first, with a password of their own."""

    scanned = _scanned()
    field_order = ("scanned", "second_username", "second_password")


class UnlockForm(SigningForm):
    """The signature that unlocks."""


class StopForm(HouseForm):
    alarm = words_field(300, rows=2, label="What does not agree", help_text="What you see, in a few words.")


class StopAnswerForm(HouseForm):
    answer = words_field(300, rows=2, label="What was found and done")


class ConnectionForm(HouseForm):
    """The coded fill connection of a tank."""

    connection_code = words_field(
        24,
        label="Code on the connection",
        help_text="Fixed to it so that it can be scanned. No other bears it.",
    )
    un_number = words_field(
        10,
        label="UN number at the connection",
        help_text="For example UN1789; none where goods have no number, as brine.",
    )
    ullage_margin_m3 = QuantityField(
        "liquid_volume",
        label="Room that stays free",
        help_text="After every delivery. The plant decides how much.",
    )
    receipt_tolerance_frac = QuantityField(
        "strength",
        label="Sample against certificate",
        help_text="Largest difference, in per cent by weight. The plant decides.",
    )
    weigh_tolerance_frac = QuantityField(
        "fraction",
        label="Weigh ticket against volume",
        help_text="Largest difference of the net mass that calls for nobody; 1 to 2 % is usual.",
    )
