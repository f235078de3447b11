"""A figure on its limit is inside, whatever unit it was written in: the arithmetic of a unit is no water."""

from __future__ import annotations

from dataclasses import replace

import pytest

from regenplant import units
from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.engineering.libraries import array_library
from regenplant.core.process import laboratory
from regenplant.core.process.acceptance import Outcome, judge
from regenplant.core.process.downgrading import is_laxer
from regenplant.core.process.series import Series, series_of
from regenplant.core.process.specification import (
    CONDUCTIVITY,
    LabResult,
    Limit,
    LimitBasis,
    RinseReading,
    Specification,
)
from regenplant.core.process.strictest import looser
from regenplant.core.process.vocabulary import ResinFamily

SAME = [
    ("1 µS/cm", "1", "MΩ·cm"),
    ("1 µS/cm", "0.1", "mS/m"),
    ("0.1 µS/cm", "10", "MΩ·cm"),
    ("0.1 µS/cm", "0.0001", "mS/cm"),
    ("2 µS/cm", "0.2", "mS/m"),
    ("12.5 µS/cm", "1.25", "mS/m"),
    ("50 µS/cm", "20", "kΩ·cm"),
    ("18 MΩ·cm", "18000", "kΩ·cm"),
    ("0.2 µS/cm", "5", "MΩ·cm"),
]
"""Limit, and the same conductivity in another unit: reciprocals and powers of ten, by hand."""


def specification(limit: Limit) -> Specification:
    return Specification("Q", "Q", ResinFamily.SBA_TYPE_1, (limit,), 1.0, hold_time_s=600.0)


def read(value: str, unit: str, step: float = 1.0) -> Series:
    si = float(units.scale_of(unit, "conductivity").to_si(array_library().array([float(value)]))[0]) * step
    return series_of(
        [
            RinseReading(60.0 * n, 2.0, si, 298.15 + n * 1e-3, Compensation.NEUTRAL, "CELL", True)
            for n in range(11)
        ]
    )


@pytest.mark.parametrize("limit, value, unit", SAME)
def test_a_rinse_that_stands_on_its_limit_for_its_hold_time_passes(limit: str, value: str, unit: str) -> None:
    high = units.understand(limit, "conductivity").value
    asked = specification(Limit(CONDUCTIVITY, "Conductivity", "conductivity", high=high))
    verdict = judge(read(value, unit), asked)
    assert verdict.outcome is Outcome.PASS and verdict.held_s == 600.0
    assert judge(read(value, unit, step=1.0001), asked).outcome is not Outcome.PASS


@pytest.mark.parametrize("limit, value, unit", SAME)
def test_a_result_on_its_limit_is_inside_in_any_unit(limit: str, value: str, unit: str) -> None:
    asked = Limit("tank_conductivity", "Conductivity", "conductivity", high=units.understand(limit, "conductivity").value)  # fmt: skip
    seen = units.understand(f"{value} {unit}", "conductivity").value

    def standing(seen: float) -> laboratory.Standing:
        return laboratory.of_batch(
            asked, [LabResult("tank_conductivity", seen, 0.0, "C", True)], 9.0
        ).standing

    assert standing(seen) is laboratory.Standing.INSIDE
    assert standing(seen * 1.0001) is laboratory.Standing.OUTSIDE


@pytest.mark.parametrize(
    "limit, value", [("0.1 mg/L", "100 µg/L"), ("0.3 mg/L", "300 ppb"), ("20 µg/L", "0.02 ppm")]
)
def test_so_is_a_result_of_the_laboratory(limit: str, value: str) -> None:
    high = units.understand(limit, "concentration").value
    asked = Limit("silica", "Silica", "concentration", high=high)
    result = LabResult("silica", units.understand(value, "concentration").value, 0.0, "C", True)
    assert laboratory.of_batch(asked, [result], 9.0).standing is laboratory.Standing.INSIDE


def test_a_reading_on_a_row_of_a_table_is_inside_in_any_unit() -> None:
    rows = ((293.15, units.understand("1.1 µS/cm", "conductivity").value), (298.15, units.understand("1.3 µS/cm", "conductivity").value))  # fmt: skip
    limit = Limit(CONDUCTIVITY, "Conductivity", "conductivity", basis=LimitBasis.UNCOMPENSATED_TABLE, table=rows)  # fmt: skip
    one = units.understand("0.13 mS/m", "conductivity").value
    kelvin = units.understand("77 °F", "temperature").value
    seen = series_of(
        [
            RinseReading(60.0 * n, 2.0, one, kelvin + 1e-3 * n, Compensation.NONE, "CELL", True)
            for n in range(11)
        ]
    )
    assert judge(seen, specification(limit)).outcome is Outcome.PASS


@pytest.mark.parametrize("passed_m3, bed_m3, asked_bv", [(0.3, 0.1, 3.0), (1.2, 0.4, 3.0)])
def test_the_least_rinse_is_reached_with_its_last_litre(
    passed_m3: float, bed_m3: float, asked_bv: float
) -> None:
    """0.3 m³ through 0.1 m³ are 3 bed volumes; as floats they are 2.9999999999999996."""
    passed = passed_m3 / bed_m3
    asked = replace(LOW, minimum_rinse_bv=asked_bv)
    series = replace(read("1", "µS/cm"), volume_bv=array_library().zeros(11))
    assert judge(series, asked, rinsed_bv=passed).outcome is Outcome.PASS
    assert judge(series, asked, rinsed_bv=passed * 0.9999).outcome is Outcome.INCOMPLETE


LOW = specification(Limit(CONDUCTIVITY, "Conductivity", "conductivity", high=1e-3))


@pytest.mark.parametrize("limit, value, unit", SAME)
def test_two_specifications_with_one_limit_in_two_units_ask_for_the_same(
    limit: str, value: str, unit: str
) -> None:
    one, other = (
        specification(Limit(CONDUCTIVITY, "Conductivity", "conductivity", high=units.understand(text, "conductivity").value))
        for text in (limit, f"{value} {unit}")
    )  # fmt: skip
    assert looser(one, other) == looser(other, one) == ()
    assert not is_laxer(one, other) and not is_laxer(other, one)
