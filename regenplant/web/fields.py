"""Form fields that take quantities as people write them.

``QuantityField`` cleans to ``units.Understood`` (SI value, and the words as typed, which are the record). Limits given to
the field are in SI and refused with the number seen and the number allowed.
"""

from __future__ import annotations

from typing import Any

from django import forms
from django.core.exceptions import ValidationError

from regenplant import units
from regenplant.core.errors import DomainError
from regenplant.units import Understood


class QuantityField(forms.Field):
    """A number with a unit. ``kind`` is a key of ``units.KINDS``; ``system`` is the person's unit system."""

    widget = forms.TextInput

    def __init__(
        self,
        kind: str,
        *,
        system: units.UnitSystem = "metric",
        low: float | None = None,
        high: float | None = None,
        last: str = "",
        **kwargs: Any,
    ):
        super().__init__(**kwargs)
        self.kind, self.system, self.low, self.high, self.last = kind, system, low, high, last
        self.widget.attrs.update(
            {"inputmode": "text", "autocomplete": "off", "spellcheck": "false", "data-kind": kind}
        )

    @property
    def allowed(self) -> str:
        """The allowed range in words, in the person's units; "" if there is none."""
        low = units.format_quantity(self.low, self.kind, self.system) if self.low is not None else ""
        high = units.format_quantity(self.high, self.kind, self.system) if self.high is not None else ""
        if low and high:
            return f"{low} to {high}"
        return f"at least {low}" if low else f"at most {high}" if high else ""

    @property
    def example(self) -> str:
        return units.KINDS[self.kind].example

    def to_python(self, value: Any) -> Understood | None:
        if value in self.empty_values:
            return None
        if isinstance(value, Understood):
            return value
        try:
            return units.understand(str(value), self.kind, system=self.system)
        except DomainError as error:
            raise ValidationError(error.message, code=error.code) from error

    def validate(self, value: Any) -> None:
        super().validate(value)
        if value is None:
            return
        slack = 1e-9 * max(abs(value.value), 1e-12)
        too_low = self.low is not None and value.value < self.low - slack
        too_high = self.high is not None and value.value > self.high + slack
        if too_low or too_high:
            raise ValidationError(
                f"{units.twin(value.value, self.kind, self.system)} is outside what is allowed: {self.allowed}.",
                code="outside",
            )

    def prepare_value(self, value: Any) -> Any:
        if isinstance(value, Understood):
            return value.text
        if isinstance(value, float):
            return (
                units.format_quantity(value, self.kind, self.system)
                .replace(units.THIN_SPACE, " ")
                .replace(units.NO_BREAK_SPACE, " ")
            )
        return value
