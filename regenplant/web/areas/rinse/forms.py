"""What is written down during a rinse."""

from __future__ import annotations

from typing import Any

from django import forms

from regenplant.batches.models import RinseReading
from regenplant.batches.selectors import RinsePage
from regenplant.batches.services.readings import ReadingAsTyped
from regenplant.units import Understood
from regenplant.web.fields import QuantityField
from regenplant.web.moments import MomentField
from regenplant.web.presenters.rinse import is_replaced, kind_of
from regenplant.web.presenters.rinse_readings import cell_choices, last_words
from regenplant.web.twice import TwiceForm
from regenplant.web.why import LateForm, category_field, reason_field

FREEZING_KELVIN, BOILING_KELVIN = 273.15, 373.15
WATER = "Rinse water is between 0 and 100 °C (32 and 212 °F)."


class ReadingForm(TwiceForm, LateForm):
    """A reading: value and temperature with their units, the cell, and what need not be written every time. The one by which
    the end point holds is typed twice."""

    field_order = [
        "value",
        "temperature",
        "instrument",
        "rinsed",
        "occurred_at",
        "late_category",
        "late_words",
    ]
    about = "reading"

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
            label="Once more: reading of the cell" if self.is_second else "Reading of the cell",
            system="us" if system == "us" else "metric",
            last="" if self.is_second else last_words(page, system),
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

    @property
    def typed(self) -> str:
        """The value with the unit that was understood, so that its second typing is held against the same quantity."""
        first, found = self.first_typing, getattr(self, "cleaned_data", {}).get("value")
        if first is not None:
            return first.text
        return with_unit(found) if found is not None else self.field_text

    def reading(self) -> ReadingAsTyped:
        """The reading with every unit said, so that it means the same to the service as on the page."""
        data, first = self.cleaned_data, self.first_typing
        typed = with_unit(data["value"])
        return ReadingAsTyped(
            value_text=first.text if first is not None else typed,
            again_text=typed if first is not None else "",
            temperature_text=with_unit(data["temperature"]),
            instrument_id=int(data["instrument"]),
            rinsed_text=with_unit(data["rinsed"]) if data["rinsed"] is not None else "",
        )


class CorrectReadingForm(ReadingForm):
    """The right values of a reading that was written down wrongly. Its time stays."""

    field_order = ["value", "temperature", "instrument", "rinsed", "category", "reason"]

    occurred_at = None  # type: ignore[assignment]
    late_category = None  # type: ignore[assignment]
    late_words = None  # type: ignore[assignment]
    category = category_field()
    reason = reason_field()

    def __init__(self, *args: Any, row: RinseReading, **kwargs: Any):
        self.about = f"reading {row.pk}"
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
