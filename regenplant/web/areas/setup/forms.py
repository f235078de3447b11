"""Forms of the equipment. Fields are named as the settings they become, so that a refusal finds its field."""

from __future__ import annotations

from typing import Any

from django import forms

from regenplant.core.process.vocabulary import Chemical, ResinFamily, SegregationClass, WaterKind
from regenplant.plant.models import (
    PlantProfile,
    Skid,
    Vessel,
    WasteTank,
    WaterSupply,
)
from regenplant.plant.services import (
    ProfileSettings,
    SkidSettings,
    VesselSettings,
    WasteTankSettings,
    WaterSettings,
)
from regenplant.web.fields import QuantityField
from regenplant.web.house_form import HouseForm, words_field

FAMILY_CHOICES = [(family.value, family.label) for family in ResinFamily]
CLASS_CHOICES = [(c.value, f"{c.value} · {c.label}") for c in SegregationClass if c.may_be_regenerated]
CHEMICAL_CHOICES = [(chemical.value, chemical.label) for chemical in Chemical]


def initial_of(record: Any, *names: str) -> dict[str, Any]:
    """What stands in the record, by field; with its version."""
    return {name: getattr(record, name) for name in (*names, "version")}


# --- plant ----------------------------------------------------------------------------------------------------------
class ProfileForm(HouseForm):
    name = words_field(80, label="Name of the plant")
    hall_name = words_field(80, label="Name of the hall", required=False)
    unit_system = forms.ChoiceField(
        label="Units shown by default", choices=[("metric", "metric"), ("us", "US customary")]
    )
    time_zone = words_field(40, label="Time zone", help_text="Area and city, for example America/Chicago.")
    strength_check_max_age_days = forms.IntegerField(
        label="Days a strength check holds", min_value=1, max_value=31, help_text="1 to 31 days."
    )
    eyewash_test_interval_days = forms.IntegerField(
        label="Days between eyewash tests",
        min_value=1,
        max_value=31,
        help_text="1 to 31 days; weekly is usual.",
    )
    shower_places = words_field(2000, rows=4, label="Showers and eyewashes: where", required=False)
    spill_text = words_field(2000, rows=4, label="Spill: what to do", required=False)
    call_text = words_field(2000, rows=4, label="Whom to call", required=False)

    @classmethod
    def initial_of(cls, profile: PlantProfile) -> dict[str, Any]:
        return initial_of(profile, *(name for name in cls.base_fields if name != "version"))

    def settings(self, stored: PlantProfile) -> ProfileSettings:
        """The profile as typed. What an older profile said of the permit stays; the permit has versions of its own."""
        data = self.cleaned_data
        return ProfileSettings(
            name=self.text("name"),
            hall_name=self.text("hall_name"),
            unit_system=data["unit_system"],
            time_zone=self.text("time_zone"),
            permit_number=stored.permit_number,
            permit_expires_on=stored.permit_expires_on,
            permit_ph_low=stored.permit_ph_low,
            permit_ph_high=stored.permit_ph_high,
            strength_check_max_age_days=data["strength_check_max_age_days"],
            eyewash_test_interval_days=data["eyewash_test_interval_days"],
            shower_places=self.text("shower_places"),
            spill_text=self.text("spill_text"),
            call_text=self.text("call_text"),
        )


# --- vessels --------------------------------------------------------------------------------------------------------
class VesselForm(HouseForm):
    code = words_field(
        12, label="Code", help_text="As painted on the vessel, for example C1. It never changes."
    )
    name = words_field(80, label="Name")
    internal_diameter_m = QuantityField("length", label="Inside diameter")
    straight_height_m = QuantityField(
        "length", label="Straight height", help_text="Cylinder above the bed support: bed plus freeboard."
    )
    bed_volume_min_m3 = QuantityField("resin_volume", label="Smallest bed")
    bed_volume_max_m3 = QuantityField("resin_volume", label="Largest bed")
    max_flow_m3_per_s = QuantityField("flow", label="Largest flow", required=False)
    side_outlet_height_m = QuantityField(
        "length",
        label="Side outlet, height",
        required=False,
        help_text="Interface collector of a mixed bed, above the bed support. Empty: there is none.",
    )
    air_max_m3_per_s = QuantityField(
        "air_flow",
        label="Air for mixing, at most",
        required=False,
        help_text="Clean and oil-free, at the pressure in the vessel. Empty: there is none.",
    )
    lining = words_field(80, label="Lining", required=False)
    families = forms.MultipleChoiceField(
        label="Made for", choices=FAMILY_CHOICES, widget=forms.CheckboxSelectMultiple
    )
    segregation_classes = forms.MultipleChoiceField(
        label="Classes", choices=CLASS_CHOICES, widget=forms.CheckboxSelectMultiple
    )
    chemicals = forms.MultipleChoiceField(
        label="Chemicals piped to it",
        choices=CHEMICAL_CHOICES,
        widget=forms.CheckboxSelectMultiple,
        required=False,
        help_text="A recipe that brings another chemical cannot run in it. None chosen: not written down, nothing is ruled out.",
    )
    takes_anion_leg_only = forms.BooleanField(
        label="Of a mixed bed it takes the anion leg only",
        required=False,
        help_text="It is offered for the anion resin after the interface cut, never for the whole bed.",
    )
    is_active = forms.BooleanField(label="In use", required=False, initial=True)

    @classmethod
    def initial_of(cls, vessel: Vessel) -> dict[str, Any]:
        return initial_of(vessel, *(name for name in cls.base_fields if name != "version"))

    def settings(self) -> VesselSettings:
        data = self.cleaned_data
        return VesselSettings(
            code=self.text("code"),
            name=self.text("name"),
            internal_diameter_m=self.needed_quantity("internal_diameter_m"),
            straight_height_m=self.needed_quantity("straight_height_m"),
            bed_volume_min_m3=self.needed_quantity("bed_volume_min_m3"),
            bed_volume_max_m3=self.needed_quantity("bed_volume_max_m3"),
            families=tuple(data["families"]),
            segregation_classes=tuple(data["segregation_classes"]),
            chemicals=tuple(data["chemicals"]),
            takes_anion_leg_only=data["takes_anion_leg_only"],
            lining=self.text("lining"),
            max_flow_m3_per_s=self.quantity("max_flow_m3_per_s"),
            is_active=data["is_active"],
            side_outlet_height_m=self.quantity("side_outlet_height_m"),
            air_max_m3_per_s=self.quantity("air_max_m3_per_s"),
        )


class LockOutForm(HouseForm):
    number = words_field(
        20, label="Number of the lock", help_text="The lock that hangs on the isolation now."
    )
    reason = words_field(200, rows=2, label="Reason", help_text="What is done, and what is isolated.")


class SkidLockOutForm(HouseForm):
    reason = words_field(200, rows=2, label="Reason", help_text="What is done, and what is isolated.")


class LiftForm(HouseForm):
    checked = words_field(
        300,
        rows=2,
        label="What was checked",
        help_text="Nobody inside or on it, tools out, guards on, isolation opened by the plant’s procedure.",
    )


class CleanDownForm(HouseForm):
    note = words_field(
        300,
        rows=2,
        label="What was done",
        help_text="Emptied, flushed with what, and what was read at its end.",
    )


# --- skids, waters, waste ---------------------------------------------------------------------------------------------
class SkidForm(HouseForm):
    code = words_field(12, label="Code", help_text="As painted on the skid. It never changes.")
    name = words_field(80, label="Name")
    chemical = forms.ChoiceField(label="For", choices=[("", "Choose a chemical"), *CHEMICAL_CHOICES])
    flow_min_m3_per_s = QuantityField("flow", label="Smallest flow", help_text="Of diluted chemical.")
    flow_max_m3_per_s = QuantityField("flow", label="Largest flow", help_text="Of diluted chemical.")
    heater_max_temperature_kelvin = QuantityField(
        "temperature",
        label="Heater, highest temperature",
        required=False,
        help_text="Empty: it has no heater.",
    )
    is_active = forms.BooleanField(label="In use", required=False, initial=True)

    @classmethod
    def initial_of(cls, skid: Skid) -> dict[str, Any]:
        return initial_of(skid, *(name for name in cls.base_fields if name != "version"))

    def settings(self) -> SkidSettings:
        return SkidSettings(
            code=self.text("code"),
            name=self.text("name"),
            chemical=self.cleaned_data["chemical"],
            flow_min_m3_per_s=self.needed_quantity("flow_min_m3_per_s"),
            flow_max_m3_per_s=self.needed_quantity("flow_max_m3_per_s"),
            heater_max_temperature_kelvin=self.quantity("heater_max_temperature_kelvin"),
            is_active=self.cleaned_data["is_active"],
        )


class WaterForm(HouseForm):
    temperature_kelvin = QuantityField("temperature", label="Temperature")
    hardness_kg_per_m3 = QuantityField("hardness", label="Hardness", help_text="As CaCO₃.")
    max_flow_m3_per_s = QuantityField("flow", label="Largest flow")
    available_m3 = QuantityField(
        "liquid_volume", label="Stored", required=False, help_text="Empty: it runs without a store."
    )

    @classmethod
    def initial_of(cls, supply: WaterSupply) -> dict[str, Any]:
        return initial_of(supply, *(name for name in cls.base_fields if name != "version"))

    def settings(self, kind: WaterKind) -> WaterSettings:
        return WaterSettings(
            kind=kind.value,
            temperature_kelvin=self.needed_quantity("temperature_kelvin"),
            max_flow_m3_per_s=self.needed_quantity("max_flow_m3_per_s"),
            hardness_kg_per_m3=self.needed_quantity("hardness_kg_per_m3"),
            available_m3=self.quantity("available_m3"),
        )


class WasteTankForm(HouseForm):
    code = words_field(12, label="Code", help_text="As painted on the tank. It never changes.")
    name = words_field(80, label="Name")
    capacity_m3 = QuantityField("liquid_volume", label="Capacity")
    reserve_m3 = QuantityField(
        "liquid_volume", label="Reserve", help_text="Kept for one emergency dump; never planned away."
    )

    @classmethod
    def initial_of(cls, tank: WasteTank) -> dict[str, Any]:
        return initial_of(tank, *(name for name in cls.base_fields if name != "version"))

    def settings(self) -> WasteTankSettings:
        return WasteTankSettings(
            code=self.text("code"),
            name=self.text("name"),
            capacity_m3=self.needed_quantity("capacity_m3"),
            reserve_m3=self.needed_quantity("reserve_m3"),
        )


class WasteLevelForm(HouseForm):
    level_m3 = QuantityField("liquid_volume", label="Level", help_text="As read at the tank.")
    note = words_field(200, label="Note", required=False)
