"""The tools behind the forecast's proof: made-up columns keep their salt, end points are found, the score is the one described."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.rinse import columns
from tests.rinse.columns import GRID, Beds
from tests.rinse.scoring import judged, summary
from tests.rinse.settling import Said, best


def beds(amplitude: float, scale: float) -> Beds:
    return Beds(
        start=np.array([1000.0]), accessible=np.array([0.7]), cells=10,
        amplitudes=np.array([[1.0, amplitude, 0.0, 0.0]]), scales=np.array([[0.2, scale, 5.0, 9.0]]),
        time_control=np.array([0.0]), exponent=np.array([1.0]),
    )  # fmt: skip


def outlet(form: str, made: Beds) -> np.ndarray:
    flat = np.ones((1, len(GRID)))
    return columns.outlet(form, made, flat, flat * 0.0)[0]


def test_what_leaves_a_column_is_what_it_held() -> None:
    """Conservation: the area under the outlet is the start's strength times all volumes, stagnant ones included."""
    amplitude, scale = 40.0, 1.5
    left = float(np.trapezoid(outlet("column", beds(amplitude, scale)), GRID))
    held = 1000.0 * (0.7 + amplitude / 1000.0 * scale)
    assert left == pytest.approx(held, rel=0.03)


def test_the_tail_of_a_column_falls_with_the_scale_of_its_region() -> None:
    curve = outlet("column", beds(40.0, 1.5))
    falls = math.log(np.interp(4.0, GRID, curve) / np.interp(7.0, GRID, curve)) / 3.0
    assert falls == pytest.approx(1.0 / 1.5, rel=0.1)


@pytest.mark.parametrize("form", columns.FORMS)
def test_every_form_begins_at_the_start_and_falls(form: str) -> None:
    curve = outlet(form, beds(40.0, 1.5))
    assert curve[1] == pytest.approx(1000.0, rel=0.05)
    assert np.all(np.diff(curve[GRID > 1.5]) <= 1e-9)


def test_the_end_point_begins_the_first_stretch_that_holds() -> None:
    curve = np.where((GRID > 3.0) & (GRID < 3.3), 5.0, 50.0)
    curve = np.where(GRID >= 6.0, 5.0, curve)
    found = columns.endpoints(np.array([curve, np.full(len(GRID), 50.0)]), np.array([10.0, 10.0]))
    assert found[0] == pytest.approx(6.0, abs=0.03) and math.isnan(found[1])


def test_the_score_of_a_reached_rinse_by_hand() -> None:
    """ln 10 − ln 8 = 0.2231, ln 10 − ln 9 = 0.1054, ln 10 − ln 12 = −0.1823."""
    row = judged(10.0, {"p05_bv": 8.0, "p50_bv": 9.0, "p95_bv": 12.0, "p_never": 0.1, "enough_data": True})
    pinball = (0.05 * 0.22314 + 0.5 * 0.10536 + 0.05 * 0.18232) / 3.0
    assert row.loss == pytest.approx(4.0 * pinball + 0.01, abs=1e-5)
    assert row.is_covered == 1.0 and row.error == pytest.approx(0.1)


@pytest.mark.parametrize(
    ("end", "entry", "loss"),
    [
        (None, {"p_never": 0.9, "enough_data": False}, 0.01),
        (10.0, {"p_never": 0.2, "enough_data": False}, 0.84),
        (10.0, {"p_never": None, "enough_data": True, "p05_bv": None, "p50_bv": None, "p95_bv": None}, 1.05),
        (10.0, {"p_never": 0.0, "enough_data": True, "p05_bv": 10.0, "p50_bv": 10.0, "p95_bv": 10.0}, 0.0),
    ],
)
def test_the_score_of_never_and_of_silence(end: float | None, entry: dict[str, object], loss: float) -> None:
    assert judged(end, entry).loss == pytest.approx(loss)


def test_a_summary_holds_the_base_rate_beside_the_brier_score() -> None:
    rows = [
        judged(None, {"p_never": 0.5}),
        judged(4.0, {"p05_bv": 3.0, "p50_bv": 4.0, "p95_bv": 5.0, "p_never": 0.5}),
    ]
    found = summary(rows)
    assert found.base_brier == 0.25 and found.brier == 0.25 and found.coverage == 1.0


def test_bands_two_thirds_as_wide_as_they_should_be_are_told_to_widen_by_half() -> None:
    """The 5 and 95 % points of a normal spread stand 1.645 from its middle; here at two thirds of that."""
    random = np.random.default_rng(4)
    count = 6_000
    anchors = random.uniform(0.0, 2.0, count)
    middle = anchors + 3.0
    quantiles = np.stack([middle - 1.645 / 1.5, middle, middle + 1.645 / 1.5], axis=1)
    said = Said(quantiles, np.full(count, 0.01), middle + random.normal(0.0, 1.0, count), anchors)
    early, late, _ = best(said).split("; ")
    for side in (early, late):
        near, far = (float(part.split()[-1]) for part in side.split(", ")[:2])
        assert near == pytest.approx(1.5, abs=0.25) and far == pytest.approx(1.5, abs=0.25)
