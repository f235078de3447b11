"""The number pad of the rinse-down page: reading and temperature in turn, each with the unit of the last reading."""

from __future__ import annotations

from django.forms import BaseForm

from regenplant import units
from regenplant.batches.selectors.rinse import RinsePage
from regenplant.web.presenters.rinse import newest
from regenplant.web.templatetags.parts import PadStop

READING_UNITS = ("µS/cm", "MΩ·cm", "mS/cm", "kΩ·cm")
TEMPERATURE_UNITS = ("°C", "°F")


def pad_stops(page: RinsePage, form: BaseForm) -> tuple[PadStop, PadStop]:
    """The two fields a hand with a glove fills: what the cell shows, and at which temperature."""
    row = newest(page)
    return (
        PadStop(
            form["value"].id_for_label,
            "reading",
            READING_UNITS,
            _known(row.unit_as_typed if row else "", "conductivity", READING_UNITS),
        ),
        PadStop(
            form["temperature"].id_for_label,
            "temperature",
            TEMPERATURE_UNITS,
            _known(_unit_in(row.temperature_as_typed) if row else "", "temperature", TEMPERATURE_UNITS),
        ),
    )


def _unit_in(typed: str) -> str:
    return typed.lstrip("+-−0123456789., \u00a0\u202f")


def _known(typed: str, kind: str, keys: tuple[str, ...]) -> str:
    """The key that means the same unit as the one typed last, "" if none does."""
    if not typed.strip():
        return ""
    wanted = units.understand(f"10 {typed}", kind).value
    return next(
        (key for key in keys if abs(units.understand(f"10 {key}", kind).value / wanted - 1) < 1e-9), ""
    )
