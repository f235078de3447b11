"""The day's mass budget of the sewer (EV-06), worked by hand."""

from __future__ import annotations

import pytest

from regenplant.core.process.sewer_budget import (
    Loads,
    budget_lines,
    loads_of_plan,
    near_the_edge,
    over,
    share_that_fits,
    too_much,
    total,
)

BATCH = Loads(chloride_kg=72.0, sodium_kg=31.0, tds_kg=118.0)
BUDGET = {"chloride": 250.0, "tds": 500.0}


@pytest.mark.requirement("EV-06")
def test_the_fourth_of_four_softener_batches_is_over_with_its_figures() -> None:
    """72 kg each: 216 kg are coming from three, 250 kg is the day, so 34 kg are left of the 72 wanted, a share of 0.472."""
    coming = total([BATCH] * 3)
    lines = budget_lines(BUDGET, gone=Loads(), coming=coming, wanted=BATCH)
    assert [line.ion for line in over(lines)] == ["chloride"]
    assert share_that_fits(lines) == pytest.approx(34.0 / 72.0)
    assert too_much(lines).replace("\u00a0", " ") == (
        "chloride 72 kg: the day takes 250 kg, 0 kg went, 216 kg are coming, so 34 kg are left"
    )
    assert not over(budget_lines(BUDGET, gone=Loads(), coming=total([BATCH] * 2), wanted=BATCH))


def test_what_is_exactly_the_rest_of_the_day_fits() -> None:
    lines = budget_lines({"chloride": 0.3}, gone=Loads(0.1), wanted=Loads(0.2))
    assert not over(lines) and share_that_fits(lines) == pytest.approx(1.0)


def test_nothing_wanted_is_never_over_whatever_went() -> None:
    assert not over(budget_lines(BUDGET, gone=Loads(300.0)))
    assert share_that_fits(budget_lines(BUDGET, gone=Loads(300.0), wanted=BATCH)) == 0.0


def test_dissolved_solids_of_a_plan_are_the_sum_of_its_ions() -> None:
    totals = {"chloride_kg": 10.0, "sodium_kg": 4.0, "calcium_kg": 2.0, "sulfate_kg": 1.0, "waste_m3": 3.0}
    assert loads_of_plan(totals) == Loads(10.0, 4.0, 1.0, 17.0)


def test_loads_add_up_and_share_out() -> None:
    parts = [BATCH.times(0.25), BATCH.times(0.75)]
    assert total(parts).chloride_kg == pytest.approx(BATCH.chloride_kg)
    assert total([]) == Loads()


@pytest.mark.requirement("EV-06")
def test_the_edge_is_near_from_its_share_on() -> None:
    """250 kg a day and 0.8: 200 kg is near, 199 kg is not; what went, comes and is wanted count alike."""

    def said(*kg: float) -> str:
        gone, coming, wanted = (Loads(chloride_kg=one) for one in kg)
        return near_the_edge(budget_lines(BUDGET, gone=gone, coming=coming, wanted=wanted), 0.8).replace(
            "\u00a0", " "
        )

    assert said(100.0, 60.0, 40.0) == "chloride 200 kg of 250 kg"
    assert said(100.0, 60.0, 39.0) == "" == said(0.0, 0.0, 0.0)
    assert said(300.0, 0.0, 0.0) == "chloride 300 kg of 250 kg", "over the edge is near it too"
