"""Forms of counts: the level and temperature read, the shape of a tank, and the booking of a difference."""

from __future__ import annotations

import re
from typing import Any

from django import forms
from django.http import QueryDict

from regenplant.chemicals.services import DIFFERENCE_CATEGORIES, GeometrySettings
from regenplant.chemicals.services.counting import MOST_WORDS
from regenplant.core.engineering.tank_levels import Ends, TankForm
from regenplant.core.errors import DomainError
from regenplant.units import understand
from regenplant.web.fields import QuantityField
from regenplant.web.house_form import HouseForm, words_field
from regenplant.web.why import TEN, category_field, told

MOST_ROWS = 400


class LevelForm(HouseForm):
    """What the gauge shows, and how warm it is. ``replaces`` is the number of a count that this one takes the place of."""

    level = QuantityField("length", label="Level, as the gauge shows it")
    temperature_kelvin = QuantityField("temperature", label="Temperature in the tank")
    note = words_field(200, label="Note", required=False, help_text="What was unusual, if anything.")

    def __init__(self, *args: Any, replaces: str = "", **kwargs: Any):
        self.replaces = replaces
        super().__init__(*args, **kwargs)

    def extra_fields(self) -> dict[str, forms.Field]:
        return replacing_fields() if self.replaces else {}

    def arguments(self) -> dict[str, Any]:
        level = self.cleaned_data["level"]
        found = {
            "level_m": self.needed_quantity("level"),
            "level_as_typed": level.value_as_typed,
            "unit_as_typed": level.unit_as_typed,
            "temperature_kelvin": self.needed_quantity("temperature_kelvin"),
            "note": self.text("note"),
        }
        if self.replaces:
            found |= {
                "replaces": self.replaces,
                "reason_category": self.cleaned_data["category"],
                "reason": self.text("replace_reason"),
            }
        return found


def replacing_fields() -> dict[str, forms.Field]:
    """Why an earlier count is replaced."""
    return {
        "category": category_field(),
        "replace_reason": words_field(
            300,
            rows=2,
            label="What was wrong with the earlier count",
            help_text=TEN,
            validators=[told("what was wrong")],
        ),
    }


class BookForm(HouseForm):
    """The reason of a difference; ``gap`` is what the page showed, in whole grams."""

    gap = forms.IntegerField(widget=forms.HiddenInput)
    category = forms.ChoiceField(
        label="What it comes from", choices=[("", "Choose what fits best"), *DIFFERENCE_CATEGORIES.items()]
    )
    reason = words_field(
        MOST_WORDS,
        rows=2,
        label="What you found at the tank",
        help_text=TEN,
        validators=[told("what you found")],
    )


class ShapeForm(HouseForm):
    """The inside shape of a tank and its gauge. Only the lengths that belong to the shape are needed."""

    form = forms.ChoiceField(
        label="Shape",
        choices=[("", "Choose a shape"), *((form.value, form.label.capitalize()) for form in TankForm)],
    )
    ends = forms.ChoiceField(
        label="Ends of a cylinder",
        choices=[(ends.value, ends.label.capitalize()) for ends in Ends],
        required=False,
        help_text="Both ends of a lying one, the bottom of an upright one. As on its drawing; guess nothing.",
    )
    diameter_m = QuantityField("length", label="Inside diameter", required=False, help_text="Cylinders.")
    length_m = QuantityField(
        "length",
        label="Straight length",
        required=False,
        help_text="Cylinders: between the ends, with their straight flanges. A box: its inside length.",
    )
    width_m = QuantityField("length", label="Inside width", required=False, help_text="A box.")
    height_m = QuantityField("length", label="Inside height", required=False, help_text="A box.")
    table = words_field(
        20_000, rows=5, label="Table of level and volume", required=False,
        help_text="One row for each level, from the lowest point: level, then volume, each with its unit. First row 0 m. For example 0.5 m; 812 L",
    )  # fmt: skip
    gauge = words_field(60, label="What is read", help_text="For example sight glass, dip stick.")
    zero_above_bottom_m = QuantityField(
        "length", label="Height of the gauge’s zero over the lowest point inside", initial=0.0
    )
    level_tolerance_m = QuantityField(
        "length", label="A reading may be off by", help_text="Gauge and reader together, for example 5 mm."
    )
    volume_tolerance_frac = QuantityField(
        "fraction",
        label="The tank may differ from its drawing by",
        initial=0.005,
        help_text="A share of its volume.",
    )
    origin = words_field(
        160,
        label="Where these figures come from",
        help_text="Drawing with its number, nameplate, own measurement.",
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        needed = {
            "upright": ("diameter_m", "length_m"),
            "lying": ("diameter_m", "length_m"),
            "box": ("length_m", "width_m", "height_m"),
            "table": ("table",),
        }
        for name in needed.get(str(cleaned.get("form", "")), ()):
            if name not in self.errors and not cleaned.get(name):
                self.add_error(name, "This shape needs it.")
        if cleaned.get("form") == TankForm.TABLE.value and cleaned.get("table"):
            self._read_table(str(cleaned["table"]))
        return cleaned

    def _read_table(self, text: str) -> None:
        rows: list[tuple[float, float]] = []
        lines = [line.strip() for line in text.splitlines() if line.strip()]
        if len(lines) > MOST_ROWS:
            self.add_error("table", f"{len(lines)} rows are written, at most {MOST_ROWS} are taken.")
            return
        for number, line in enumerate(lines, 1):
            parts = [part.strip() for part in re.split(r"[;\t|]", line) if part.strip()]
            try:
                if len(parts) != 2:
                    self.add_error(
                        "table",
                        f"Row {number}, “{line[:40]}”: write level, semicolon, volume, for example 0.5 m; 812 L.",
                    )
                    return
                system = self.fields["diameter_m"].system  # type: ignore[attr-defined]
                level = understand(parts[0], "length", system=system)
                volume = understand(parts[1], "liquid_volume", system=system)
            except DomainError as refusal:
                self.add_error("table", f"Row {number}: {refusal.message}")
                return
            rows.append((level.value, volume.value))
        self.cleaned_data["rows"] = tuple(rows)

    def settings(self) -> GeometrySettings:
        """What the service takes: of the lengths only those of the shape."""
        form = self.cleaned_data["form"]
        is_cylinder = form in (TankForm.UPRIGHT.value, TankForm.LYING.value)
        is_box = form == TankForm.BOX.value

        def length(name: str, is_used: bool) -> float:
            return (self.quantity(name) or 0.0) if is_used else 0.0

        return GeometrySettings(
            form=form,
            ends=(self.cleaned_data["ends"] or Ends.FLAT.value) if is_cylinder else Ends.FLAT.value,
            diameter_m=length("diameter_m", is_cylinder),
            length_m=length("length_m", is_cylinder or is_box),
            width_m=length("width_m", is_box),
            height_m=length("height_m", is_box),
            table=self.cleaned_data.get("rows", ()) if form == TankForm.TABLE.value else (),
            gauge=self.text("gauge"),
            zero_above_bottom_m=self.needed_quantity("zero_above_bottom_m"),
            level_tolerance_m=self.needed_quantity("level_tolerance_m"),
            volume_tolerance_frac=self.needed_quantity("volume_tolerance_frac"),
            origin=self.text("origin"),
        )


def replaces_in(query: QueryDict) -> str:
    """The number of a count that is to be replaced, as the address names it."""
    return query.get("replaces", "")[:16].strip().upper()
