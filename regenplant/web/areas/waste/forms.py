"""Forms of the waste: a reading, a treatment, a collection, a destination, a determination."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms

from regenplant.plant.models import Instrument
from regenplant.waste.services import WasteReading
from regenplant.web.fields import QuantityField
from regenplant.web.house_form import HouseForm, words_field


class ReadForm(HouseForm):
    level_m3 = QuantityField("liquid_volume", label="Volume in the tank", help_text="As read at the tank.")
    temperature_kelvin = QuantityField("temperature", label="Temperature", required=False)
    ph = QuantityField(
        "ph", label="pH", required=False, help_text="Of the mixed tank, by a meter in calibration."
    )
    instrument = forms.ModelChoiceField(
        Instrument.objects.filter(kind=Instrument.Kind.PH, is_active=True),
        label="pH meter",
        required=False,
        empty_label="none",
    )
    note = words_field(200, label="Note", required=False)

    def reading(self) -> WasteReading:
        meter = self.cleaned_data.get("instrument")
        return WasteReading(
            self.quantity("temperature_kelvin"), self.quantity("ph"), meter.pk if meter is not None else None
        )


class TreatForm(HouseForm):
    chemical = forms.ChoiceField(label="Neutralizer")
    volume_m3 = QuantityField("liquid_volume", label="Volume given, from stock")
    volume_again_m3 = QuantityField(
        "liquid_volume", label="The volume once more", help_text="Read it again; do not copy."
    )
    note = words_field(200, label="Note", required=False)
    shown_number = forms.IntegerField(widget=forms.HiddenInput, required=False)

    def __init__(self, *args: Any, chemicals: Sequence[tuple[str, str]] = (), **kwargs: Any):
        super().__init__(*args, **kwargs)
        field = self.fields["chemical"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = list(chemicals)


class TakeAwayForm(HouseForm):
    volume_m3 = QuantityField("liquid_volume", label="Volume collected")
    collector = words_field(100, label="Who collected it", help_text="Somebody licensed for this waste.")
    document = words_field(60, label="Paper", help_text="Number of the shipping paper.")
    shown_number = forms.IntegerField(widget=forms.HiddenInput, required=False)


class SwitchForm(HouseForm):
    """That the valves were changed over, and why."""

    reason = words_field(300, label="Reason", rows=2, help_text="Such as: the other one is full.")
    while_draining = forms.BooleanField(
        label="The valves were changed over while a step drains",
        required=False,
        help_text="When it ends it is booked into both tanks, by the time it worked before and after. Read both levels after it.",
    )
    shown_receiving = forms.CharField(widget=forms.HiddenInput, required=False, max_length=12)

    def __init__(self, *args: Any, is_draining: bool = True, **kwargs: Any):
        super().__init__(*args, **kwargs)
        if not is_draining and not self.is_bound:
            del self.fields["while_draining"]


class RouteForm(HouseForm):
    destination = forms.ChoiceField(label="Drains to", widget=forms.RadioSelect)
    reason = words_field(300, label="Reason", rows=2, help_text="At least 10 characters.")

    def __init__(self, *args: Any, destinations: Sequence[tuple[str, str]] = (), **kwargs: Any):
        super().__init__(*args, **kwargs)
        field = self.fields["destination"]
        assert isinstance(field, forms.ChoiceField)
        field.choices = list(destinations)


class SiteForm(HouseForm):
    decided_on = forms.DateField(
        label="Day of the document", widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )
    document = words_field(160, label="Document", help_text="Who wrote it, its number, where it is kept.")
    reviewer = words_field(120, label="Read by", help_text="Name and office of who read it for the plant.")
    accepts_metal = forms.ChoiceField(
        label="Metal-bearing resin",
        choices=[("no", "is not taken in"), ("yes", "is taken in, by written disposition")],
        widget=forms.RadioSelect,
    )
    valid_until = forms.DateField(
        label="Holds until",
        required=False,
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        help_text="Empty where the document names no end.",
    )
    scope = words_field(400, label="What it covers", rows=2, required=False)
