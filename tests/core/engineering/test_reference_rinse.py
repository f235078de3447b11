"""Displacement fronts and rinse tails against values computed with another implementation."""

import pytest

from regenplant.core.engineering import rinse
from tests.core.reference_rows import Row, rows


@pytest.mark.parametrize("row", rows("rinse_model", quantity="tanks in series"))
def test_tanks_in_series(row: Row) -> None:
    stages, accessible, passed = row.numbers(
        r"N=(\d+), total accessible volume ([\d.]+) BV, displaced ([\d.]+) BV"
    )
    row.check(rinse.displaced_fraction(float(passed), int(stages), float(accessible)).value)


@pytest.mark.parametrize("row", rows("rinse_model", quantity="axial dispersion"))
def test_axial_dispersion(row: Row) -> None:
    peclet, accessible, passed = row.numbers(
        r"Pe=(\d+), accessible volume ([\d.]+) BV, displaced ([\d.]+) BV"
    )
    row.check(rinse.displaced_fraction_dispersion(float(passed), float(peclet), float(accessible)).value)


@pytest.mark.parametrize("row", rows("rinse_model", quantity="to endpoint, exponential tail"))
def test_tail_to_an_endpoint(row: Row) -> None:
    start, floor, decade, endpoint = (
        float(text)
        for text in row.numbers(
            r"kappa\(0\)=([\d.]+) uS/cm, floor ([\d.]+) uS/cm, tail ([\d.]+) BV.*?endpoint ([\d.]+) uS/cm"
        )
    )
    end = rinse.rinse_to_endpoint(start * 1e-4, floor * 1e-4, endpoint * 1e-4, decade)
    if row.text == "never":
        assert not end.is_reached
        return
    assert end.bed_volumes is not None
    ours = end.bed_volumes.value
    row.check(ours / 15.0 * 60.0 if row.unit == "min" else ours)
