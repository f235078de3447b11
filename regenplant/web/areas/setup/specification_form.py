"""The form of a specification version: the rinse, and a least and most for each measurement."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from django import forms

from regenplant import units
from regenplant.core.engineering.conductivity import STREAM_KINDS, Compensation
from regenplant.core.errors import DomainError
from regenplant.core.process.specification import Limit, Specification
from regenplant.web.fields import QuantityField
from regenplant.web.house_form import HouseForm, words_field

MEASUREMENTS: dict[str, tuple[str, str]] = {
    "conductivity": ("Conductivity at 25 °C", "conductivity"),
    "hardness": ("Hardness", "hardness"),
    "silica": ("Silica", "concentration"),
    "sodium": ("Sodium", "concentration"),
    "ph": ("pH", "ph"),
    "alkalinity": ("Alkalinity", "hardness"),
    "toc": ("Total organic carbon", "concentration"),
    "residual_sanitizer": ("Sanitizer left, as free chlorine", "concentration"),
    "turbidity": ("Turbidity, NTU", "ratio"),
}
"""What may be limited, with its name and quantity kind; a version may hold others, which are kept."""


@dataclass(frozen=True, slots=True)
class LimitView:
    """One measurement as the template shows it."""

    name: str
    fields: tuple[Any, ...]


class SpecificationForm(HouseForm):
    """A specification's next version, begun with ``base``."""

    name = words_field(120, label="Name of the specification")
    notes = words_field(1000, rows=3, label="Notes", required=False, help_text="Where the figures come from.")
    reason = words_field(300, rows=2, label="Why this version", help_text="What is different, and why.")
    minimum_rinse_bv = QuantityField("bed_volumes", label="Least rinse")
    maximum_rinse_bv = QuantityField(
        "bed_volumes",
        label="Most rinse",
        required=False,
        help_text="Past it the batch has failed. Empty: a person decides.",
    )
    hold_time_s = QuantityField(
        "duration", label="Hold time", help_text="How long the limit is held before it counts."
    )
    longest_gap_s = QuantityField(
        "duration", label="Longest gap between readings", help_text="A longer one proves nothing between."
    )
    consecutive_readings = forms.IntegerField(
        label="Consecutive readings",
        min_value=2,
        max_value=100,
        help_text="At least 2: one reading is never an end point.",
    )
    compensation = forms.ChoiceField(
        label="Trace in the water",
        choices=[(kind.value, kind.value) for kind in Compensation if kind in STREAM_KINDS],
        help_text="How a reading is brought to 25 °C: acid behind a cation bed, base behind a strong-base bed, else neutral.",
    )
    meter_uncertainty_frac = QuantityField("fraction", label="Stated uncertainty of the meter")
    jump_factor = forms.FloatField(
        label="Jump that no water makes",
        required=False,
        min_value=1.5,
        max_value=1000.0,
        help_text="So many times up or down within a minute, besides what the water between explains, asks for the cell. Usual is 10.",
    )

    def __init__(self, *args: Any, base: Specification, **kwargs: Any):
        self.base = base
        self.limited = {limit.measurement: limit for limit in base.limits}
        known = {key: (limit.name, limit.kind) for key, limit in self.limited.items()}
        self.measurements = {
            **known,
            **{key: value for key, value in MEASUREMENTS.items() if key not in known},
        }
        kwargs["initial"] = {**self._initial(), **(kwargs.get("initial") or {})}
        super().__init__(*args, **kwargs)

    def extra_fields(self) -> dict[str, forms.Field]:
        """Least and most of each measurement; a table for uncompensated readings is kept or left out as a whole."""
        made: dict[str, forms.Field] = {}
        for key, (name, kind) in self.measurements.items():
            limit = self.limited.get(key)
            if limit is not None and limit.table:
                made[f"{key}_keep"] = forms.BooleanField(
                    label=f"{name}: keep the table", required=False, initial=True
                )
                continue
            made[f"{key}_low"] = QuantityField(kind, label=f"{name}, at least", required=False)
            made[f"{key}_high"] = QuantityField(kind, label=f"{name}, at most", required=False)
        return made

    def _initial(self) -> dict[str, Any]:
        base = self.base
        found: dict[str, Any] = {
            name: getattr(base, name)
            for name in (
                "name", "notes", "minimum_rinse_bv", "maximum_rinse_bv", "hold_time_s", "longest_gap_s",
                "consecutive_readings", "meter_uncertainty_frac", "jump_factor",
            )
        }  # fmt: skip
        found["compensation"] = base.compensation.value
        for key, limit in self.limited.items():
            found[f"{key}_low"], found[f"{key}_high"] = limit.low, limit.high
        return found

    def limits_shown(self) -> Iterator[LimitView]:
        for key, (name, _) in self.measurements.items():
            names = [f"{key}_{end}" for end in ("low", "high", "keep") if f"{key}_{end}" in self.fields]
            yield LimitView(name, tuple(self[field] for field in names))

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        for key, (_, kind) in self.measurements.items():
            low_name, high_name = f"{key}_low", f"{key}_high"
            if low_name not in self.fields or low_name in self.errors or high_name in self.errors:
                continue
            low, high = self.quantity(low_name), self.quantity(high_name)
            if low is not None and high is not None and low > high:
                system = self.fields[low_name].system  # type: ignore[attr-defined]
                self.add_error(
                    low_name,
                    f"At least {units.twin(low, kind, system)} lies above at most {units.twin(high, kind, system)}.",
                )
        return cleaned

    def definition(self, code: str) -> Specification | None:
        """The specification as frozen data; a refusal of the core is put on the form and gives None."""
        data = self.cleaned_data
        try:
            return Specification(
                code=code,
                name=self.text("name"),
                family=self.base.family,
                limits=tuple(self._limits()),
                minimum_rinse_bv=self.needed_quantity("minimum_rinse_bv"),
                hold_time_s=self.needed_quantity("hold_time_s"),
                consecutive_readings=data["consecutive_readings"],
                longest_gap_s=self.needed_quantity("longest_gap_s"),
                maximum_rinse_bv=self.quantity("maximum_rinse_bv"),
                compensation=Compensation(data["compensation"]),
                meter_uncertainty_frac=self.needed_quantity("meter_uncertainty_frac"),
                jump_factor=data["jump_factor"] or self.base.jump_factor,
                notes=self.text("notes"),
            )
        except DomainError as refusal:
            self.add_error(None, forms.ValidationError(refusal.message, code=refusal.code))
            return None

    def _limits(self) -> Iterator[Limit]:
        for key, (name, kind) in self.measurements.items():
            stood = self.limited.get(key)
            if stood is not None and stood.table:
                if self.cleaned_data.get(f"{key}_keep"):
                    yield stood
                continue
            low, high = self.quantity(f"{key}_low"), self.quantity(f"{key}_high")
            if low is None and high is None:
                continue
            yield (
                replace(stood, low=low, high=high)
                if stood
                else Limit(key, name, kind, low, high, source="plant_record")
            )
