"""Points of a calibration, from what was typed to what the core judges and the rows keep."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from regenplant import units
from regenplant.core.errors import DomainError, RecordRefused
from regenplant.core.process.calibration import Point
from regenplant.plant.calibrations import CALIBRATED_AS
from regenplant.plant.models import Instrument

MOST_POINTS = 8


@dataclass(frozen=True, slots=True)
class PointAsTyped:
    """One point as typed. ``left_text`` is empty where nothing was set; ``found_text`` where none was read before setting."""

    reference_text: str
    found_text: str
    left_text: str = ""
    tolerance_text: str = ""


def understood_points(
    record: Instrument, points: Sequence[PointAsTyped], system: units.UnitSystem
) -> list[tuple[Point, dict[str, Any]]]:
    """The points for the core, each with its columns. A refusal names the field by the number of its point.

    Raises: RecordRefused for more than eight points, or one without a reference; OutOfRange or UnitNotUnderstood for a figure.
    """
    if len(points) > MOST_POINTS:
        raise RecordRefused(f"{len(points)} points are written, at most {MOST_POINTS}.", field="reference_1")
    found = []
    for number, typed in enumerate(points, start=1):
        try:
            found.append(_point(record, typed, system, number))
        except DomainError as error:
            if error.field and not error.field.endswith(f"_{number}"):
                error.field = f"{_FIELDS.get(error.field, error.field)}_{number}"
            raise
    return found


_FIELDS = {"as_found": "found"}


def _point(
    record: Instrument, typed: PointAsTyped, system: units.UnitSystem, number: int
) -> tuple[Point, dict[str, Any]]:
    kind, tolerance_kind, proposal = CALIBRATED_AS[record.kind]
    reference = _understood(typed.reference_text, kind, system, f"reference_{number}")
    as_found = _understood(typed.found_text, kind, system, f"found_{number}")
    as_left = _understood(typed.left_text, kind, system, f"left_{number}")
    tolerance = _understood(
        typed.tolerance_text.strip() or proposal, tolerance_kind or kind, system, f"tolerance_{number}"
    )
    if reference is None or tolerance is None:
        raise RecordRefused(
            f"Point {number} has no reference value. Write it as its certificate gives it.",
            field=f"reference_{number}",
        )
    is_relative = tolerance_kind == "fraction"
    point = Point(
        reference.value,
        as_found.value if as_found else None,
        as_left.value if as_left else None,
        tolerance.value,
        is_relative,
    )
    return point, {
        "kind": kind,
        "reference_as_typed": _typed(reference),
        "reference_value": point.reference,
        "found_as_typed": _typed(as_found),
        "found_value": point.as_found,
        "left_as_typed": _typed(as_left),
        "left_value": point.as_left,
        "tolerance_as_typed": _typed(tolerance),
        "tolerance": point.tolerance,
        "is_relative": is_relative,
    }


def _understood(text: str, kind: str, system: units.UnitSystem, field: str) -> units.Understood | None:
    if not text.strip():
        return None
    try:
        return units.understand(text, kind, system=system)
    except DomainError as error:
        error.field = field
        raise


def _typed(value: units.Understood | None) -> str:
    return f"{value.value_as_typed} {value.unit_as_typed}".strip()[:40] if value else ""
