"""A weigh ticket against volume times density and against the papers: by hand."""

from __future__ import annotations

import math

import pytest

from regenplant.core.errors import OutOfRange
from regenplant.core.process.weighing import weighed

ACID = {"volume_m3": 1.078, "density_kg_per_m3": 1159.0, "grams_100": 400_000, "strength_frac": 0.32}
"""1.078 m³ · 1159 kg/m³ = 1249.402 kg; 400 / 0.32 = 1250 kg: hand calculation; density of 32 % acid at 20 °C from the property table."""


def test_volume_and_papers_by_hand() -> None:
    found = weighed(net_kg=1249.0, tolerance_frac=0.02, **ACID)
    assert found.by_volume_kg == pytest.approx(1249.402, abs=1e-9) and found.papers_kg == 1250.0
    assert found.volume_gap_frac == pytest.approx(-0.402 / 1249.402, rel=1e-9)
    assert found.papers_gap_frac == pytest.approx(-1.0 / 1250.0, rel=1e-9)
    assert not found.is_beyond


@pytest.mark.parametrize(
    ("net_kg", "is_beyond"), [(1225.5, False), (1224.0, True), (1274.0, False), (1275.5, True)]
)
def test_two_per_cent_each_way_of_either(net_kg: float, is_beyond: bool) -> None:
    """1250 · 0.98 = 1225.0 and 1249.402 · 1.02 = 1274.39."""
    assert weighed(net_kg=net_kg, tolerance_frac=0.02, **ACID).is_beyond is is_beyond


def test_caustic_in_place_of_acid_is_found() -> None:
    """The same volume of 50 % caustic (1 525 kg/m³ at 20 °C, handbook) weighs a third more."""
    found = weighed(net_kg=1.078 * 1525.0, tolerance_frac=0.05, **ACID)
    assert found.volume_gap_frac == pytest.approx(0.316, abs=0.001) and found.is_beyond


@pytest.mark.parametrize(
    "change", [{"net_kg": 0.0}, {"volume_m3": -1.0}, {"density_kg_per_m3": 0.0}, {"grams_100": 0}, {"strength_frac": 0.0}, {"net_kg": math.nan}]
)  # fmt: skip
def test_nothing_below_nothing(change: dict[str, float]) -> None:
    with pytest.raises(OutOfRange):
        weighed(**{"net_kg": 1249.0, "tolerance_frac": 0.02, **ACID, **change})
