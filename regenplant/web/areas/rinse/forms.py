"""What is written down during a rinse."""

from __future__ import annotations

from typing import Any

from django import forms

from regenplant.batches.log_files import text_of
from regenplant.batches.models import RinseReading
from regenplant.batches.selectors import RinsePage
from regenplant.batches.services.readings import ReadingAsTyped
from regenplant.core.errors import RecordRefused
from regenplant.units import Understood
from regenplant.web.fields import QuantityField
from regenplant.web.house_form import HouseForm, words_field
from regenplant.web.moments import MomentField
from regenplant.web.presenters.rinse import is_replaced, kind_of
from regenplant.web.presenters.rinse_readings import cell_choices, last_temperature, last_words
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
    tells_last = True
    """Above the entry; a correction is held against its own old values instead."""

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
            last=last_words(page, system) if self.tells_last and not self.is_second else "",
            error_messages=dict(self.fields["value"].error_messages),
        )
        self.fields["temperature"] = QuantityField(
            "temperature",
            label="Water temperature",
            system="us" if system == "us" else "metric",
            last=last_temperature(page) if self.tells_last else "",
            help_text="" if page.readings else "With its unit, such as 18 °C or 64 °F.",
            error_messages=dict(self.fields["temperature"].error_messages),
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

    tells_last = False

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


MOST_BYTES = 20_000_000
"""Of a log's file."""


class LogForm(HouseForm):
    """A log of a meter: its file or its text, the cell, and what its figures count from where they do."""

    file = forms.FileField(
        label="Log of the meter, as CSV",
        required=False,
        help_text="A heading names each column with its unit: time; conductivity (µS/cm); temperature (°C). At most 20 MB.",
        allow_empty_file=True,
        widget=forms.ClearableFileInput(attrs={"accept": ".csv,.txt,.tsv,.log,text/csv,text/plain"}),
    )
    pasted = words_field(
        9_000_000,
        rows=6,
        label="Or paste it here",
        required=False,
        help_text="Copied from the logger’s program or a sheet, with its heading.",
        strip=False,
    )
    instrument = forms.ChoiceField(label="Cell")
    started = MomentField(
        label="The log began at", help_text="Only where its times count from there, in seconds or minutes."
    )
    counter = QuantityField(
        "liquid_volume",
        label="Counter of water when this rinse began",
        required=False,
        help_text="Only where the log holds a counter that was not set to zero.",
    )

    def __init__(self, *args: Any, page: RinsePage, **kwargs: Any):
        super().__init__(*args, **kwargs)
        choice = self.fields["instrument"]
        assert isinstance(choice, forms.ChoiceField)
        choice.choices = [("", "Choose the cell"), *cell_choices(page)]
        if page.logs:
            choice.initial = str(page.logs[0].instrument_id)
        self.log_text, self.source, self.name = "", "", ""

    def clean(self) -> dict[str, Any]:
        data = super().clean() or self.cleaned_data
        file, pasted = data.get("file"), str(data.get("pasted") or "")
        if file is not None and pasted.strip():
            self.add_error("pasted", "A file was chosen, and a log is pasted as well. Hand in one of them.")
        elif file is not None:
            self._take_file(file)
        elif pasted.strip():
            self.log_text, self.source = pasted, "paste"
        else:
            self.add_error("file", "Choose the logger’s file, or paste what it wrote.")
        return data

    def _take_file(self, file: Any) -> None:
        if file.size > MOST_BYTES:
            self.add_error(
                "file",
                f"The file has {file.size / 1e6:.1f} MB; at most {MOST_BYTES / 1e6:.0f} MB are read. Split the log.",
            )
            return
        try:
            self.log_text, self.source = text_of(file.read()), "file"
        except RecordRefused as refusal:
            self.add_error("file", refusal.message)
        self.name = str(file.name or "")[-120:]

    @property
    def counter_m3(self) -> float:
        """What the counter showed when the rinse began [m^3]."""
        found = self.cleaned_data.get("counter")
        return float(found.value) if found is not None else 0.0


class SetAsideForm(HouseForm):
    """Which stretch of a log counts no more, and why."""

    from_at = MomentField(label="From", help_text="Empty: from its first reading. Such as 14:02.")
    until_at = MomentField(label="Until", help_text="Empty: until its last reading.")
    category = category_field()
    reason = reason_field()
