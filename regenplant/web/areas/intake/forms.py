"""What is written at the dock."""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from django import forms

from regenplant.core.process import intake
from regenplant.core.process.intake import InspectionData
from regenplant.core.process.vocabulary import SegregationClass
from regenplant.resins.models import ResinType
from regenplant.tanks.models import Customer, Site, Tank, TankSize
from regenplant.web.fields import QuantityField
from regenplant.web.house_form import HouseForm, words_field
from regenplant.web.seen import SeenVersionField

_TIMES = ["%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M"]


def choices_of(kind: type[StrEnum]) -> list[tuple[str, str]]:
    """The choices in words; what stops a tank by itself says so."""
    return [
        (item.value, f"{item.value}: stop" if intake.stops_by_itself(item) else item.value) for item in kind
    ]


class WideChoice(forms.ChoiceField):
    """One choice of a few, each a whole row to press; none is chosen before the person does."""

    def __init__(self, kind: type[StrEnum], **kwargs: Any):
        self.meaning = kind
        super().__init__(choices=choices_of(kind), widget=forms.RadioSelect, **kwargs)

    def clean(self, value: Any) -> StrEnum | None:
        cleaned = super().clean(value)
        return self.meaning(cleaned) if cleaned else None


class SiteField(forms.ModelChoiceField):
    def label_from_instance(self, site: Any) -> str:
        return f"{site.customer.name} · {site.name}"


class ResinTypeField(forms.ModelChoiceField):
    def label_from_instance(self, resin_type: Any) -> str:
        return f"{resin_type.code} · {resin_type.description}"


def moment_field(**kwargs: Any) -> forms.DateTimeField:
    """A day and time in the plant's zone, written the same on every machine."""
    widget = forms.DateTimeInput(
        attrs={"autocomplete": "off", "placeholder": "2026-03-12 07:00"}, format=_TIMES[0]
    )
    messages = {"invalid": "This is no day and time. Write it as 2026-03-12 07:00."}
    return forms.DateTimeField(input_formats=_TIMES, widget=widget, error_messages=messages, **kwargs)


class ReceiveForm(HouseForm):
    """A known tank comes back."""

    customer = forms.ModelChoiceField(
        Customer.objects.filter(is_active=True), label="From", empty_label="Choose a customer"
    )
    site = SiteField(
        Site.objects.select_related("customer"), label="Site", required=False, empty_label="not said"
    )
    return_reason = WideChoice(intake.ReturnReason, label="Why it came back")
    customer_words = words_field(200, label="Customer’s words", required=False)
    resin_volume = QuantityField(
        "resin_volume", label="Resin inside", help_text="Settled, in the exhausted form."
    )
    bay = words_field(20, label="Bay", required=False)
    due_at = moment_field(label="Promised for", required=False, help_text="Day and time.")

    def __init__(self, *args: Any, tank: Tank, customer_id: int | None = None, **kwargs: Any):
        initial = {"customer": customer_id, "resin_volume": tank.resin_volume_m3}
        super().__init__(*args, initial=initial, **kwargs)

    def arguments(self) -> dict[str, Any]:
        """What the service takes."""
        data = self.cleaned_data
        return {
            "customer_id": data["customer"].pk,
            "site_id": data["site"].pk if data["site"] else None,
            "return_reason": data["return_reason"].value,
            "customer_words": data["customer_words"],
            "bay": data["bay"],
            "due_at": data["due_at"],
            "resin_volume_m3": self.quantity("resin_volume"),
        }


class UnknownForm(HouseForm):
    """A tank that no record knows."""

    serial = forms.CharField(widget=forms.HiddenInput, max_length=24)
    size = forms.ModelChoiceField(TankSize.objects.all(), label="Size", empty_label="Choose a size")
    resin_type = ResinTypeField(
        ResinType.objects.filter(is_active=True),
        label="Resin, as the shell or the driver says",
        empty_label="Choose a resin type",
        help_text="Nothing relies on it until the safety lead has written a disposition.",
    )
    customer = forms.ModelChoiceField(
        Customer.objects.filter(is_active=True),
        label="Came with the return of",
        empty_label="Choose a customer",
    )
    what_is_seen = words_field(
        200,
        rows=3,
        label="What is seen on it",
        help_text="Marks, colour of the shell, what the driver says.",
    )
    bay = words_field(20, label="Bay", required=False)

    def arguments(self) -> dict[str, Any]:
        data = self.cleaned_data
        return {
            "serial": data["serial"],
            "size_id": data["size"].pk,
            "resin_type_id": data["resin_type"].pk,
            "customer_id": data["customer"].pk,
            "what_is_seen": data["what_is_seen"],
            "bay": data["bay"],
        }


class LookForm(HouseForm):
    """The look-over at the door."""

    version = SeenVersionField()
    shell = WideChoice(intake.ShellCondition, label="Shell")
    head_and_fittings = WideChoice(intake.FittingCondition, label="Head, riser, threads, seals")
    odour = WideChoice(intake.Odour, label="Smell")
    water_colour = WideChoice(intake.WaterColour, label="Colour of the first water")
    first_drain_ph = QuantityField(
        "ph", label="First drain pH", required=False, help_text="Without it the tank stays held."
    )
    oxidizer_strip = WideChoice(intake.OxidizerStrip, label="Oxidizer strip")
    weight = QuantityField("mass", label="Weight as it came", required=False)
    foreign_material = words_field(160, label="Foreign material", required=False)
    note = words_field(300, rows=2, label="Note", required=False)

    def inspection(self) -> InspectionData:
        data = self.cleaned_data
        ph, weight = data["first_drain_ph"], data["weight"]
        return InspectionData(
            shell=data["shell"],
            head_and_fittings=data["head_and_fittings"],
            odour=data["odour"],
            water_colour=data["water_colour"],
            oxidizer_strip=data["oxidizer_strip"],
            first_drain_ph=ph.value if ph else None,
            first_drain_ph_as_typed=ph.value_as_typed if ph else "",
            weight_kg=weight.value if weight else None,
            weight_as_typed=f"{weight.value_as_typed} {weight.unit_as_typed}" if weight else "",
            foreign_material=data["foreign_material"],
            note=data["note"],
        )


class VerdictForm(HouseForm):
    """Accept to a class, hold, or refuse: one button each, so the class is always said and never guessed."""

    HOLD, REFUSE = "hold", "refuse"

    version = SeenVersionField()
    verdict = forms.ChoiceField(
        choices=[
            (HOLD, "hold"),
            (REFUSE, "refuse"),
            *((f"accept {item.value}", "accept") for item in SegregationClass),
        ]
    )
    reason = words_field(300, rows=2, label="Reason", required=False)

    @property
    def accepted_class(self) -> str:
        """The class of the button pressed; "" for hold and refuse."""
        word, _, letter = str(self.cleaned_data["verdict"]).partition(" ")
        return letter if word == "accept" else ""
