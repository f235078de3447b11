"""Forms of discharges and excursions."""

from __future__ import annotations

from typing import Any

from django import forms

from regenplant.core.process.sewer_budget import IONS, WORDS
from regenplant.plant.models import Instrument, WasteTank
from regenplant.plant.selectors import waste_tank
from regenplant.waste.services import RELEASE_MEANING, ReadingAsRead
from regenplant.web.fields import QuantityField
from regenplant.web.house_form import HouseForm, words_field
from regenplant.web.moments import MomentField
from regenplant.web.presenters.words import sentence_case
from regenplant.web.signing import SigningForm, TwoPeopleForm
from regenplant.web.why import told


class TankChoice(forms.ModelChoiceField):
    def label_from_instance(self, obj: Any) -> str:
        return f"{obj.code}, {obj.name}"


class MeterChoice(forms.ModelChoiceField):
    def label_from_instance(self, obj: Any) -> str:
        due = f"due {obj.calibration_due_on}" if obj.calibration_due_on else "never calibrated"
        return f"{obj.code}, {obj.name}, {due}"


class OpenForm(HouseForm):
    """Which tank, how much of it is to go, and whether it is mixed."""

    tank = TankChoice(WasteTank.objects.order_by("code"), label="Waste tank", empty_label=None)
    planned_volume_m3 = QuantityField(
        "liquid_volume", label="Volume to discharge", help_text="At most what the tank holds."
    )
    is_mixing = forms.BooleanField(
        label="Mixing runs",
        required=False,
        initial=True,
        help_text="Tick it once the mixer or the recirculation runs.",
    )

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["tank"].initial = waste_tank()


class ReadForm(HouseForm):
    """One reading of the mixed tank, or of what runs out."""

    ph = QuantityField("ph", label="pH")
    temperature = QuantityField(
        "temperature", label="Temperature", help_text="With its unit, such as 24 °C or 75 °F."
    )
    instrument = MeterChoice(Instrument.objects.none(), label="pH meter", empty_label="Choose the meter")
    occurred_at = MomentField(
        label="Happened at", help_text="Empty: now. Such as 14:02. Written long after, it proves nothing."
    )

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        meters = Instrument.objects.filter(kind=Instrument.Kind.PH, is_active=True)
        self.fields["instrument"].queryset = meters  # type: ignore[attr-defined]

    def reading(self) -> ReadingAsRead:
        ph, warm = self.cleaned_data["ph"], self.cleaned_data["temperature"]
        return ReadingAsRead(
            ph.value, warm.value, ph.value_as_typed, f"{warm.value_as_typed} {warm.unit_as_typed}".strip()
        )


class AnalysisForm(HouseForm):
    """What a laboratory found in the tank, where somebody measured it."""

    def extra_fields(self) -> dict[str, forms.Field]:
        return {
            ion: QuantityField(
                "concentration",
                label=f"{sentence_case(WORDS[ion])} by analysis",
                required=False,
                help_text="Empty: as worked out.",
            )
            for ion in IONS
        }

    def measured(self) -> dict[str, float]:
        """By ion [kg/m^3]; only what was written."""
        found = {ion: self.quantity(ion) for ion in IONS}
        return {ion: value for ion, value in found.items() if value is not None}


class ReleaseForm(AnalysisForm, SigningForm):
    """One person lets it go."""


class ReleaseTogetherForm(AnalysisForm, TwoPeopleForm):
    """Two people let it go."""

    meaning = RELEASE_MEANING
    second_person = "Another person who may release a discharge."


class CloseForm(HouseForm):
    volume_m3 = QuantityField(
        "liquid_volume", label="What went", help_text="Level before less level after, or the totalizer."
    )
    occurred_at = MomentField(label="Outlet shut at", help_text="Empty: now. Such as 14:02.")


class GiveUpForm(HouseForm):
    reason = words_field(300, rows=2, label="Why nothing goes", help_text="At least 10 characters.")


class ExcursionForm(HouseForm):
    words = words_field(
        400,
        rows=3,
        label="What happened",
        help_text="What went, how long, what was seen. At least 10 characters.",
    )
    occurred_at = MomentField(label="Happened at", help_text="Empty: now. Such as 14:02.")


class FollowUpForm(HouseForm):
    words = words_field(400, rows=2, label="What was done")


class CloseExcursionForm(SigningForm):
    cause = words_field(400, rows=2, label="What it came from", validators=[told("what it came from")])
    told = words_field(
        400,
        rows=2,
        label="Who was told",
        help_text="Which authority, by whom, when; or why none had to be.",
        validators=[told("who was told")],
    )


class SignReportForm(SigningForm):
    """The signature under a month; ``shown`` is what was read."""

    shown = forms.CharField(widget=forms.HiddenInput, max_length=64, required=False)
