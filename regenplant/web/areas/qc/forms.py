"""What is written and signed in quality control."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, cast

from django import forms

from regenplant.batches.models import BatchTank
from regenplant.core.process.rework_options import ReworkOption
from regenplant.core.process.specification import Limit
from regenplant.quality.bench import BenchInstrument
from regenplant.quality.models import QcMeasurement
from regenplant.quality.services import MeasurementAsTyped
from regenplant.web.areas.rinse.forms import with_unit
from regenplant.web.fields import QuantityField
from regenplant.web.house_form import NEEDED, words_field
from regenplant.web.moments import MomentField
from regenplant.web.presenters.qc_limits import bench_choices
from regenplant.web.signing import SigningForm
from regenplant.web.why import TEN, LateForm, category_field, reason_field, told


class MeasurementForm(LateForm):
    """One result of the sample: value, instrument or test kit, and what may stay empty."""

    field_order = [
        "value",
        "instrument",
        "temperature",
        "method",
        "occurred_at",
        "late_category",
        "late_words",
    ]

    instrument = forms.ChoiceField(label="Instrument or test kit")
    temperature = QuantityField("temperature", label="Temperature of the sample", required=False)
    method = words_field(120, label="Method", required=False)
    occurred_at = MomentField(label="Happened at", help_text="Empty: now. Such as 14:02.")

    def __init__(
        self,
        *args: Any,
        limit: Limit,
        bench: Sequence[BenchInstrument],
        system: str,
        tank: BatchTank | None = None,
        **kwargs: Any,
    ):
        super().__init__(*args, system=system, **kwargs)
        self.limit, self.tank = limit, tank
        self.fields["value"] = QuantityField(
            limit.kind,
            label=self.name,
            system="us" if system == "us" else "metric",
            error_messages={"required": NEEDED},
        )
        self.order_fields(self.field_order)
        choice = self.fields["instrument"]
        assert isinstance(choice, forms.ChoiceField)
        choice.choices = [("", "Choose what it was measured with"), *bench_choices(bench)]
        if not bench:
            choice.help_text = "No instrument for this test is in use. Add it under Set-up."

    @property
    def name(self) -> str:
        """What is measured, and on which tank."""
        return f"{self.limit.name}, {self.tank.visit.tank.serial}" if self.tank else self.limit.name

    def measurement(self) -> MeasurementAsTyped:
        """The result with every unit said."""
        data = self.cleaned_data
        return MeasurementAsTyped(
            key=self.limit.measurement,
            value_text=with_unit(data["value"]),
            instrument_id=int(data["instrument"]),
            temperature_text=with_unit(data["temperature"]) if data["temperature"] is not None else "",
            method=self.text("method"),
            tank_id=self.tank.pk if self.tank else None,
        )


class CorrectMeasurementForm(MeasurementForm):
    """The right result of a measurement that was written down wrongly. Its time stays."""

    field_order = ["value", "instrument", "temperature", "method", "category", "reason"]

    occurred_at = None  # type: ignore[assignment]
    late_category = None  # type: ignore[assignment]
    late_words = None  # type: ignore[assignment]
    category = category_field()
    reason = reason_field()

    def __init__(self, *args: Any, row: QcMeasurement, **kwargs: Any):
        kwargs["initial"] = {
            "value": f"{row.value_as_typed} {row.unit_as_typed}".strip(),
            "temperature": row.temperature_kelvin,
            "method": row.method,
            **kwargs.get("initial", {}),
        }
        super().__init__(*args, tank=row.tank, **kwargs)
        self.fields["instrument"].initial = str(row.instrument_id or "")


class PassForm(SigningForm):
    """A pass: nothing to add to what is shown."""

    verdict = forms.CharField(widget=forms.HiddenInput, initial="pass")


class FailForm(SigningForm):
    """A fail, with its reason."""

    verdict = forms.CharField(widget=forms.HiddenInput, initial="fail")
    proposal = forms.ChoiceField(label="Rework you propose", required=False)
    reason = words_field(
        400,
        rows=3,
        label="Why it fails",
        validators=[told("why it failed")],
        help_text=f"{TEN} The supervisor decides on rework or scrap by it.",
    )
    field_order = ["reason", "proposal"]

    def __init__(self, *args: Any, ways: Sequence[ReworkOption] = (), **kwargs: Any):
        super().__init__(*args, **kwargs)
        if ways:
            choices = [
                ("", "None: the supervisor decides"),
                *((way.kind.value, way.kind.label) for way in ways),
            ]
            cast(forms.ChoiceField, self.fields["proposal"]).choices = choices
        else:
            del self.fields["proposal"]


class ReleaseForm(SigningForm):
    """A release: nothing to add to what is shown."""


VERDICT_FORMS: dict[str, type[SigningForm]] = {"pass": PassForm, "fail": FailForm}
