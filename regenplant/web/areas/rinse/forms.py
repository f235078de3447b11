"""What is written down during a rinse."""

from __future__ import annotations

from typing import Any

from django import forms

from regenplant.batches.models import RinseReading
from regenplant.batches.selectors import RinsePage
from regenplant.batches.services.readings import ReadingAsTyped
from regenplant.units import Understood
from regenplant.web.fields import QuantityField
from regenplant.web.house_form import HouseForm, words_field
from regenplant.web.moments import MomentField
from regenplant.web.presenters.rinse import is_replaced, kind_of
from regenplant.web.presenters.rinse_readings import cell_choices, last_words

FREEZING_KELVIN, BOILING_KELVIN = 273.15, 373.15
WATER = "Rinse water is between 0 and 100 °C (32 and 212 °F)."


class ReadingForm(HouseForm):
    """A reading: value and temperature with their units, the cell, and what need not be written every time."""

    field_order = ["value", "temperature", "instrument", "rinsed", "occurred_at"]

    value = QuantityField("conductivity", label="Reading of the cell")
    temperature = QuantityField("temperature", label="Water temperature")
    instrument = forms.ChoiceField(label="Cell")
    rinsed = QuantityField(
        "liquid_volume",
        label="Rinse water passed, by the totalizer",
        required=False,
        help_text="Empty: by time and flow.",
    )
    occurred_at = MomentField(label="Happened at", help_text="Empty: now. Such as 14:02.")

    def __init__(self, *args: Any, page: RinsePage, system: str, **kwargs: Any):
        super().__init__(*args, system=system, **kwargs)
        self.fields["value"] = QuantityField(
            kind_of(page),
            label="Reading of the cell",
            system="us" if system == "us" else "metric",
            last=last_words(page, system),
            error_messages=dict(self.fields["value"].error_messages),
        )
        self.order_fields(self.field_order)
        choice = self.fields["instrument"]
        assert isinstance(choice, forms.ChoiceField)
        choice.choices = [("", "Choose the cell"), *cell_choices(page)]
        newest = next((row for row in page.readings if not is_replaced(row)), None)
        if newest is not None:
            self.fields["instrument"].initial = str(newest.instrument_id)

    def clean_temperature(self) -> Understood:
        found: Understood = self.cleaned_data["temperature"]
        if not FREEZING_KELVIN <= found.value <= BOILING_KELVIN:
            raise forms.ValidationError(f"“{found.text}” cannot be. {WATER}", code="out_of_range")
        return found

    def reading(self) -> ReadingAsTyped:
        """The reading with every unit said, so that it means the same to the service as on the page."""
        data = self.cleaned_data
        return ReadingAsTyped(
            value_text=with_unit(data["value"]),
            temperature_text=with_unit(data["temperature"]),
            instrument_id=int(data["instrument"]),
            rinsed_text=with_unit(data["rinsed"]) if data["rinsed"] is not None else "",
        )


class CorrectReadingForm(ReadingForm):
    """The right values of a reading that was written down wrongly. Its time stays."""

    field_order = ["value", "temperature", "instrument", "rinsed", "reason"]

    occurred_at = None  # type: ignore[assignment]
    reason = words_field(
        300, rows=3, label="What was wrong", help_text="At least 10 characters. The old value stays readable."
    )

    def __init__(self, *args: Any, row: RinseReading, **kwargs: Any):
        kwargs["initial"] = {
            "value": f"{row.value_as_typed} {row.unit_as_typed}".strip(),
            "temperature": row.temperature_as_typed,
            **kwargs.get("initial", {}),
        }
        super().__init__(*args, **kwargs)
        self.fields["instrument"].initial = str(row.instrument_id)
        self.fields["rinsed"].help_text = "Empty: the volume of the old reading stays."


def with_unit(found: Understood) -> str:
    """What was typed, with the unit that was understood where none was typed."""
    return f"{found.value_as_typed} {found.unit_as_typed}".strip()
