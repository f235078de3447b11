"""From a batch's own readings to the forecast: the right kind of water, in order, without what cannot be."""

from __future__ import annotations

import pytest

from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.process.forecasting.of_batch import bed_of, readings_of
from regenplant.core.process.forecasting.rinse_so_far import RinsedBed
from regenplant.core.process.specification import RinseReading
from regenplant.core.process.vocabulary import ResinFamily


def reading(
    at_s: float, volume_bv: float, siemens_per_m: float, compensation: Compensation = Compensation.NEUTRAL
) -> RinseReading:
    return RinseReading(at_s, volume_bv, siemens_per_m, 288.15, compensation, "C-1", True)


def test_every_family_but_carbon_has_a_rinse() -> None:
    assert [family for family in ResinFamily if bed_of(family) is None] == [
        family for family in ResinFamily if family is ResinFamily.CARBON or family.value in ("sel",)
    ]


def test_readings_come_in_order_from_the_first_one() -> None:
    found = readings_of([reading(1000.0, 2.0, 1e-3), reading(700.0, 1.0, 5e-3)], RinsedBed.MIXED_BED)
    assert [(each.at_s, each.bed_volumes_bv) for each in found] == [(0.0, 1.0), (300.0, 2.0)]


def test_a_raw_reading_is_brought_to_25_celsius_by_the_kind_of_water() -> None:
    """At 15 °C acid water rises by about 16 % to 25 °C, caustic and salt water by more (limiting conductances)."""
    raw = [reading(0.0, 1.0, 1e-2, Compensation.NONE)]
    acid = readings_of(raw, RinsedBed.CATION_AFTER_ACID)[0].conductivity_siemens_per_m
    salt = readings_of(raw, RinsedBed.SOFTENER_AFTER_BRINE)[0].conductivity_siemens_per_m
    assert 1.10 < acid / 1e-2 < 1.20 < salt / 1e-2 < 1.30
    assert readings_of([reading(0.0, 1.0, 1e-2)], RinsedBed.MIXED_BED)[
        0
    ].conductivity_siemens_per_m == pytest.approx(1e-2)


def test_better_than_water_is_left_out() -> None:
    raw = [reading(0.0, 1.0, 2e-6, Compensation.NONE), reading(60.0, 1.5, 1e-3, Compensation.NONE)]
    assert len(readings_of(raw, RinsedBed.MIXED_BED)) == 1
