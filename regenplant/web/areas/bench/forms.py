"""The form of one quantity: a field for each input, read as the command reads it."""

from __future__ import annotations

from contextlib import suppress
from typing import Any

from django import forms
from django.core.exceptions import ValidationError
from django.http import QueryDict

from regenplant import units
from regenplant.bench.names import BenchRefused, choice_meant, input_meant
from regenplant.bench.reading import Read, bare_unit, read_one
from regenplant.core.bench.quantity import InputSpec, Quantity

LONGEST_TEXT = 2000


def is_idle(spec: InputSpec, text: str) -> bool:
    """Whether this is only the zero that stands in the field from the start: an ion that is not there."""
    return spec.default is not None and text.strip() == spec.default and spec.default.startswith("0 ")


class InputField(forms.CharField):
    """One number of the bench as a person types it. It says itself what it understood."""

    def __init__(self, spec: InputSpec, *, system: units.UnitSystem, understand_url: str):
        super().__init__(
            label=_label(spec), help_text=spec.help, required=False, max_length=LONGEST_TEXT, strip=True,
            initial=spec.default, error_messages={"max_length": f"More than {LONGEST_TEXT} characters are written. Shorten it."},
        )  # fmt: skip
        self.spec, self.system, self.understand_url = spec, system, understand_url
        kind = spec.kind if spec.kind in units.KINDS else ""
        self.kind, self.low, self.high = kind, spec.low, spec.high
        self.basis = _basis(spec, system) if kind else ""
        self.is_optional = spec.is_optional

    def clean(self, value: Any) -> Read:
        text = super().clean(value)
        if "\x00" in text:
            raise ValidationError("A sign that cannot be written is in it. Type it anew.", code="no_text")
        try:
            return read_one(self.spec, text or None, system=self.system)
        except BenchRefused as refusal:
            raise ValidationError(refusal.context.get("why", refusal.message), code=refusal.code) from refusal

    def understood_as(self, text: str) -> str:
        """The value in both unit systems; "" while nothing, or the nothing it began with, is written. Raises BenchRefused."""
        if not text.strip() or is_idle(self.spec, text):
            return ""
        value = read_one(self.spec, text, system=self.system).value
        return units.twin(value, self.kind, self.system) if isinstance(value, float) else ""


class WordField(forms.ChoiceField):
    """One of several words."""

    def __init__(self, spec: InputSpec):
        rows = [(choice.value, choice.label) for choice in spec.choices]
        if spec.default is None:
            rows.insert(0, ("", "not said" if spec.is_optional else "choose one"))
        super().__init__(
            label=_label(spec),
            help_text=spec.help,
            choices=rows,
            required=spec.is_needed,
            initial=spec.default,
        )
        self.spec, self.basis, self.is_optional = spec, "", spec.is_optional

    def clean(self, value: Any) -> Read:
        text = super().clean(value) or None
        return read_one(self.spec, text)


def typed(quantity: Quantity, given: QueryDict) -> QueryDict:
    """What was asked under the names and words of the form; other usual names and spellings are taken as well."""
    data = QueryDict(mutable=True)
    for name, raw in given.items():
        value = str(raw)
        try:
            spec, unit = input_meant(quantity, name)
        except BenchRefused:
            continue
        if spec.choices and value.strip():
            with suppress(BenchRefused):  # the field says what is wrong with it
                value = choice_meant(spec, value)
        data[spec.name] = f"{value} {unit}" if unit else value
    for spec in quantity.inputs:
        if spec.name not in data and spec.default is not None:
            data[spec.name] = spec.default
    return data


class BenchForm(forms.Form):
    """All inputs of a quantity; what is typed stays, also where it cannot be taken."""

    def __init__(self, *args: Any, quantity: Quantity, system: units.UnitSystem = "metric", understand_url: str = "", **kwargs: Any):  # fmt: skip
        super().__init__(*args, **kwargs)
        for spec in quantity.inputs:
            is_word = bool(spec.choices)
            self.fields[spec.name] = (
                WordField(spec) if is_word else InputField(spec, system=system, understand_url=understand_url)
            )

    def values(self) -> dict[str, Any]:
        """The inputs by name as they were read. Only after ``is_valid``."""
        return {name: read.value for name, read in self.cleaned_data.items()}

    def refuse(self, message: str, field: str | None) -> None:
        """Put a refusal of the calculation beside its field, or above the form."""
        self.add_error(field if field in self.fields else None, ValidationError(message, code="refused"))


def _label(spec: InputSpec) -> str:
    return spec.label[:1].upper() + spec.label[1:] if not spec.label.startswith("pH") else spec.label


def _basis(spec: InputSpec, system: units.UnitSystem) -> str:
    """The unit of a bare number, beside the label."""
    unit = bare_unit(spec, system)
    if spec.kind in ("fraction", "strength") and unit == "-":
        return "as a fraction"
    text = units.unit_text(spec.kind)
    unit = text if units.plain_unit(text) == unit else unit
    return f"in {unit}" if unit not in ("", "-") else ""
