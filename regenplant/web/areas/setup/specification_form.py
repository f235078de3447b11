"""The form of a specification version: the rinse, and a least and most for each measurement."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Any

from django import forms

from regenplant import units
from regenplant.core.engineering.conductivity import STREAM_KINDS, Compensation
from regenplant.core.errors import DomainError
from regenplant.core.process.measurements import MEASUREMENTS, Group
from regenplant.core.process.specification import CONDUCTIVITY, Limit, Specification
from regenplant.web.fields import QuantityField
from regenplant.web.house_form import HouseForm, words_field

CONDITIONS = ("method", "each_tank", "readings_in_row", "hold_time_s", "minimum_rinse_bv")
"""What may stand beside the bounds of one limit."""


@dataclass(frozen=True, slots=True)
class LimitView:
    """One measurement as the template shows it."""

    name: str
    note: str
    fields: tuple[Any, ...]
    conditions: tuple[Any, ...]
    has_conditions: bool
    """Whether one of them beside the method says something, or is refused, so that they stand open."""
    method: str


@dataclass(frozen=True, slots=True)
class GroupView:
    """Measurements that are not limited, to be added."""

    title: str
    limits: tuple[LimitView, ...]
    is_open: bool
    """Something is typed or refused in it."""


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
            **{key: (one.name, one.kind) for key, one in MEASUREMENTS.items() if key not in known},
        }
        kwargs["initial"] = {**self._initial(), **(kwargs.get("initial") or {})}
        super().__init__(*args, **kwargs)

    def extra_fields(self) -> dict[str, forms.Field]:
        """Least and most of each measurement, and its conditions; a table for uncompensated readings is kept or left out as a whole."""
        made: dict[str, forms.Field] = {}
        for key, (name, kind) in self.measurements.items():
            limit = self.limited.get(key)
            if limit is not None and limit.table:
                made[f"{key}_keep"] = forms.BooleanField(
                    label=f"{name}: keep the table", required=False, initial=True
                )
            else:
                made[f"{key}_low"] = QuantityField(kind, label=f"{name}, at least", required=False)
                made[f"{key}_high"] = QuantityField(kind, label=f"{name}, at most", required=False)
            made.update(self._conditions(key, name))
        return made

    def _conditions(self, key: str, name: str) -> Iterator[tuple[str, forms.Field]]:
        """Method and rinse of every limit; the rest belongs to the laboratory, since the rinse has its own."""
        entry = MEASUREMENTS.get(key)
        usual = ", ".join(method.name for method in entry.methods) if entry else ""
        yield (
            f"{key}_method",
            words_field(
                120, label=f"{name}, method", required=False, help_text=f"Usual: {usual}." if usual else ""
            ),
        )
        yield (
            f"{key}_minimum_rinse_bv",
            QuantityField("bed_volumes", label=f"{name}, least rinse", required=False),
        )
        if key == CONDUCTIVITY:
            return
        yield (
            f"{key}_each_tank",
            forms.BooleanField(
                label=f"{name}: on each filled tank",
                required=False,
                help_text="Each tank then needs a result of its own before the release.",
            ),
        )
        yield (
            f"{key}_readings_in_row",
            forms.IntegerField(
                label=f"{name}, results in a row",
                required=False,
                min_value=1,
                max_value=20,
                help_text="Empty: one.",
            ),
        )
        yield f"{key}_hold_time_s", QuantityField("duration", label=f"{name}, hold time", required=False)

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
            found[f"{key}_method"], found[f"{key}_each_tank"] = limit.method, limit.each_tank
            found[f"{key}_readings_in_row"] = limit.readings_in_row if limit.readings_in_row > 1 else None
            found[f"{key}_hold_time_s"] = limit.hold_time_s or None
            found[f"{key}_minimum_rinse_bv"] = limit.minimum_rinse_bv or None
        return found

    def limits_shown(self) -> list[LimitView]:
        """The limits it begins with."""
        return [self._view(key) for key in self.limited]

    def groups_shown(self) -> list[GroupView]:
        """What may be added, by group."""
        found = []
        for group in Group:
            keys = [
                key for key, one in MEASUREMENTS.items() if one.group is group and key not in self.limited
            ]
            if keys:
                is_open = any(self._is_touched(key) for key in keys)
                found.append(GroupView(group.value, tuple(self._view(key) for key in keys), is_open))
        return found

    def _view(self, key: str) -> LimitView:
        bounds = [f"{key}_{end}" for end in ("low", "high", "keep") if f"{key}_{end}" in self.fields]
        conditions = [f"{key}_{one}" for one in CONDITIONS if f"{key}_{one}" in self.fields]
        entry, limit = MEASUREMENTS.get(key), self.limited.get(key)
        notes = [entry.note if entry else "", f"Copied from {limit.grade}." if limit and limit.grade else ""]
        return LimitView(
            self.measurements[key][0],
            " ".join(note for note in notes if note),
            tuple(self[field] for field in bounds),
            tuple(self[field] for field in conditions),
            any(
                self[field].errors or (self[field].value() and not field.endswith("_method"))
                for field in conditions
            ),
            str(self[f"{key}_method"].value() or ""),
        )

    def _is_touched(self, key: str) -> bool:
        return any(
            self[name].errors or (self.is_bound and self[name].value())
            for name in self.fields
            if name.startswith(f"{key}_") and name.removeprefix(f"{key}_") in ("low", "high", *CONDITIONS)
        )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        for key, (name, kind) in self.measurements.items():
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
            if low is None and high is None:
                self._refuse_conditions_alone(key, name)
        return cleaned

    def _refuse_conditions_alone(self, key: str, name: str) -> None:
        """A new measurement with conditions and no bound would be left out without a word."""
        if key in self.limited:
            return  # emptied on purpose: that is how a limit is taken out
        said = [one for one in CONDITIONS if one != "method" and self.cleaned_data.get(f"{key}_{one}")]
        if said:
            self.add_error(
                f"{key}_high",
                f"{name} has no bound. Write at least or at most, or leave its other fields empty.",
            )

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
            stood, conditions = self.limited.get(key), self._said(key)
            if stood is not None and stood.table:
                if self.cleaned_data.get(f"{key}_keep"):
                    yield replace(stood, **conditions)
                continue
            low, high = self.quantity(f"{key}_low"), self.quantity(f"{key}_high")
            if low is None and high is None:
                continue
            if stood is None:
                yield Limit(key, name, kind, low, high, source="plant_record", **conditions)
            elif (low, high) == (stood.low, stood.high):
                yield replace(stood, **conditions)
            else:
                # a figure that was changed is the plant's own, whatever it was copied from
                yield replace(stood, low=low, high=high, grade="", **conditions)

    def _said(self, key: str) -> dict[str, Any]:
        found: dict[str, Any] = {
            "method": self.text(f"{key}_method"),
            "minimum_rinse_bv": self.quantity(f"{key}_minimum_rinse_bv") or 0.0,
        }
        if key != CONDUCTIVITY:
            found["each_tank"] = bool(self.cleaned_data.get(f"{key}_each_tank"))
            found["readings_in_row"] = self.cleaned_data.get(f"{key}_readings_in_row") or 1
            found["hold_time_s"] = self.quantity(f"{key}_hold_time_s") or 0.0
        return found
