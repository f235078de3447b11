"""Forms of resin types and lots."""

from __future__ import annotations

from typing import Any

from django import forms

from regenplant.core.process.vocabulary import IonicForm, ResinFamily
from regenplant.resins.models import CLASSES, ResinType
from regenplant.resins.services import ResinTypeSettings
from regenplant.web.areas.setup.forms import FAMILY_CHOICES, initial_of
from regenplant.web.fields import QuantityField
from regenplant.web.house_form import HouseForm, day_field, words_field

CATIONS = [family.value for family in ResinFamily if family.is_cation]
ANIONS = [family.value for family in ResinFamily if family.is_anion]


class ResinTypeChoice(forms.ModelChoiceField):
    def label_from_instance(self, resin_type: Any) -> str:
        return f"{resin_type.code} · {resin_type.description}"


class ResinTypeForm(HouseForm):
    code = words_field(24, label="Code", help_text="The plant’s own, for example SAC-8. It never changes.")
    description = words_field(160, label="Description", help_text="By class and properties.")
    family = forms.ChoiceField(label="Family", choices=[("", "Choose a family"), *FAMILY_CHOICES])
    grade = words_field(
        20,
        label="Grade",
        initial="working",
        help_text="Part of the pooling key: working, polishing and so on.",
    )
    cation_type_id = ResinTypeChoice(
        ResinType.objects.filter(family__in=CATIONS),
        label="Cation resin in it",
        required=False,
        empty_label="no mixed bed",
        help_text="Only of a mixed bed.",
    )
    anion_type_id = ResinTypeChoice(
        ResinType.objects.filter(family__in=ANIONS),
        label="Anion resin in it",
        required=False,
        empty_label="no mixed bed",
        help_text="Only of a mixed bed.",
    )
    cation_share_frac = QuantityField(
        "fraction",
        label="Share of the cation resin",
        required=False,
        help_text="Only of a mixed bed: of its volume, both resins in their exhausted forms.",
    )
    total_capacity_eq_per_m3 = QuantityField(
        "capacity", label="Total capacity", required=False, help_text="Empty only for carbon, which has none."
    )
    operating_capacity_eq_per_m3 = QuantityField(
        "capacity", label="Operating capacity", required=False, help_text="Empty only for carbon."
    )
    bead_diameter_m = QuantityField(
        "bead_diameter", label="Bead diameter", help_text="Mean of the wet bead, for example 0.7 mm."
    )
    bead_diameter_spread_frac = QuantityField(
        "fraction",
        label="Spread of the bead diameter",
        initial=0.15,
        help_text="Standard deviation over the mean; about 5 % for beads of one size. It decides how a mixed bed parts.",
    )
    bead_density_kg_per_m3 = QuantityField("density", label="Density of the wet bead")
    bead_density_spread_kg_per_m3 = QuantityField(
        "density_difference", label="Spread of the bead density", initial=5.0, help_text="Standard deviation."
    )
    settled_void_frac = QuantityField("fraction", label="Void share of the settled bed", initial=0.38)
    swelling_frac = QuantityField(
        "fraction", label="Swelling", initial=0.0, help_text="From the exhausted to the regenerated form."
    )
    max_temperature_kelvin = QuantityField(
        "temperature", label="Highest temperature", help_text="In the regenerated form."
    )
    data_source = words_field(
        200, label="Source of the data", required=False, help_text="Data sheet and its date."
    )
    is_active = forms.BooleanField(label="In use", required=False, initial=True)

    @classmethod
    def initial_of(cls, resin_type: ResinType) -> dict[str, Any]:
        return initial_of(resin_type, *(name for name in cls.base_fields if name != "version"))

    def settings(self) -> ResinTypeSettings:
        data = self.cleaned_data
        return ResinTypeSettings(
            code=self.text("code"),
            description=self.text("description"),
            family=data["family"],
            grade=self.text("grade"),
            total_capacity_eq_per_m3=self.quantity("total_capacity_eq_per_m3") or 0.0,
            operating_capacity_eq_per_m3=self.quantity("operating_capacity_eq_per_m3") or 0.0,
            bead_diameter_m=self.needed_quantity("bead_diameter_m"),
            bead_density_kg_per_m3=self.needed_quantity("bead_density_kg_per_m3"),
            settled_void_frac=self.needed_quantity("settled_void_frac"),
            swelling_frac=self.needed_quantity("swelling_frac"),
            max_temperature_kelvin=self.needed_quantity("max_temperature_kelvin"),
            data_source=self.text("data_source"),
            is_active=data["is_active"],
            bead_diameter_spread_frac=self.needed_quantity("bead_diameter_spread_frac"),
            bead_density_spread_kg_per_m3=self.needed_quantity("bead_density_spread_kg_per_m3"),
            cation_type_id=data["cation_type_id"].pk if data["cation_type_id"] else None,
            anion_type_id=data["anion_type_id"].pk if data["anion_type_id"] else None,
            cation_share_frac=self.quantity("cation_share_frac"),
        )


class NewLotForm(HouseForm):
    code = words_field(24, label="Lot", help_text="As on the drum or bag, or the plant’s own number.")
    resin_type = ResinTypeChoice(
        ResinType.objects.filter(is_active=True), label="Resin type", empty_label="Choose a resin type"
    )
    segregation_class = forms.ChoiceField(label="Class", choices=[("", "Choose a class"), *CLASSES])
    volume_m3 = QuantityField("resin_volume", label="Volume", help_text="Settled, in the form chosen below.")
    volume_form = forms.ChoiceField(
        label="Counted in", choices=[("", "Choose a form"), *((form.value, form.label) for form in IonicForm)]
    )
    origin = words_field(200, label="Origin", help_text="Delivered new by whom, or found where.")
    cycles = forms.IntegerField(label="Regenerations so far", min_value=0, max_value=5000, initial=0)
    delivered_on = day_field(
        label="Delivered new on", required=False, help_text="As far as known; its age is counted from it."
    )
    dedicated_to = words_field(
        16, label="Dedicated to", required=False, help_text="Only of class A: the customer’s code."
    )
    into_store = forms.BooleanField(
        label="It stands in the store", required=False, initial=True, help_text="Else it is in tanks already."
    )
    is_new = forms.BooleanField(
        label="New resin, not conditioned yet",
        required=False,
        help_text="Nothing is topped up with it until somebody writes down that it was conditioned.",
    )

    def arguments(self) -> dict[str, Any]:
        data = self.cleaned_data
        return {
            "code": self.text("code"),
            "resin_type_id": data["resin_type"].pk,
            "segregation_class": data["segregation_class"],
            "volume_m3": self.needed_quantity("volume_m3"),
            "volume_form": data["volume_form"],
            "origin": self.text("origin"),
            "cycles": data["cycles"],
            "delivered_on": data["delivered_on"],
            "dedicated_to": self.text("dedicated_to"),
            "into_store": data["into_store"],
            "is_new": data["is_new"],
        }


class ScrapForm(HouseForm):
    reason = words_field(
        300, rows=2, label="Reason", help_text="At least 10 characters. Scrapped resin never comes back."
    )
