"""Chemicals as a plan reckons with them: what comes counts from the day after, what is late or has no room does not, what must stay stays."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from regenplant.batches.selectors.chemical_needs import needs
from regenplant.chemicals import services as chemicals
from regenplant.chemicals.models import ExpectedDelivery, Place
from regenplant.core.errors import OutOfRange
from regenplant.core.process.vocabulary import StepKind
from regenplant.core.scheduling.problem import ChemicalSupply, Delivery
from regenplant.core.scheduling.solve import Budget, solve
from regenplant.planning import services
from regenplant.planning.deviations import deviations
from regenplant.planning.figures import DEFAULTS, PlanningFigures
from regenplant.planning.figures_kept import figures_from, figures_in_force, figures_to
from regenplant.planning.live import LivePlant, live_plant
from regenplant.planning.models import PlannedBatch
from regenplant.plant.days import plant_day, start_of_day
from tests import factories
from tests.planning.test_accepting import accepted, made
from tests.planning.test_live import ROUND_THE_CLOCK

STOCK_KG = 3_000.0
"""What the small plant holds of each chemical (factories.stocked)."""


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant()


def awaited(plant: factories.SmallPlant, days: int, **change: Any) -> ExpectedDelivery:
    arguments: dict[str, Any] = {
        "place_id": Place.objects.get(kind="bulk_tank", chemical="hcl").pk,
        "order_number": f"4711 / {days}",
        "grams_100": 400_000,
        "due_on": day(plant, days),
        **change,
    }
    row: ExpectedDelivery = chemicals.expect_delivery(by=plant.by(), **arguments).result
    return row


def day(plant: factories.SmallPlant, days: int) -> date:
    return plant_day(plant.now) + timedelta(days=days)


def read(
    plant: factories.SmallPlant, figures: PlanningFigures = ROUND_THE_CLOCK
) -> tuple[LivePlant, ChemicalSupply]:
    live = live_plant(plant.now, figures)
    return live, live.problem.chemicals["hcl"]


def test_a_delivery_counts_from_the_day_after_the_one_it_is_expected_for(plant: factories.SmallPlant) -> None:
    row = awaited(plant, 2)
    live, supply = read(plant)
    begins = live.clock.minute(start_of_day(day(plant, 3)))
    assert supply.deliveries == (Delivery(begins, 400.0),)
    assert supply.initial_kg == pytest.approx(STOCK_KG)
    assert any(row.number in said and "counts from the day after." in said for said in live.assumed)


def test_what_is_overdue_counts_from_nowhere_until_it_is_received(plant: factories.SmallPlant) -> None:
    row = awaited(plant, 1)
    plant.now += timedelta(days=2)
    live, supply = read(plant)
    assert supply.deliveries == ()
    assert any(
        row.number in said and "it counts when it is received, not before" in said for said in live.assumed
    )


def test_what_was_called_off_counts_for_nothing(plant: factories.SmallPlant) -> None:
    row = awaited(plant, 2)
    chemicals.call_off_expected(by=plant.by(), number=row.number, reason="Ordered twice by mistake")
    assert read(plant)[1].deliveries == ()


def test_what_comes_after_the_days_that_are_planned_is_no_part_of_the_plan(
    plant: factories.SmallPlant,
) -> None:
    awaited(plant, 30)
    assert read(plant)[1].deliveries == ()


def test_only_as_much_counts_as_has_room_beside_what_stands_in_the_tank_now(
    plant: factories.SmallPlant,
) -> None:
    """A tank of 40 m³ holds 3,000 kg as 100 %. By hand: what it takes of this acid is its volume times substance per volume."""
    place = Place.objects.get(kind="bulk_tank", chemical="hcl")
    lot = plant.lots["hcl"]
    check = lot.checks.get()
    by_volume = 40.0 * check.strength_frac * check.density_kg_per_m3
    awaited(plant, 2, grams_100=20_000_000)
    live, supply = read(plant)
    (delivery,) = supply.deliveries
    assert delivery.kg == pytest.approx(by_volume - STOCK_KG, rel=0.01)
    assert any("more has no room beside what stands there now" in said for said in live.assumed)
    later = awaited(plant, 3, grams_100=5_000_000)
    live, supply = read(plant)
    assert supply.deliveries == (delivery,)
    assert any(later.number in said and "it does not count" in said for said in live.assumed)
    Place.objects.filter(pk=place.pk).update(capacity_m3=None)
    live, supply = read(plant)
    assert [one.kg for one in supply.deliveries] == [20_000.0, 5_000.0]
    assert any("whether it has room is not known" in said for said in live.assumed)


def test_what_runs_through_a_skid_now_is_no_stock_any_more(plant: factories.SmallPlant) -> None:
    """The ledger books a draw when its step ends; until then the books hold more than the tank."""
    batch = factories.frozen_batch(plant, "sac_h")
    before = read(plant)[1]
    assert before.initial_kg == pytest.approx(STOCK_KG)
    factories.run_to(plant, batch, StepKind.INJECT)
    (drawing,) = [need for need in needs() if need.chemical == "hcl" and need.is_drawing]
    live, during = read(plant)
    assert during.initial_kg == pytest.approx(STOCK_KG - drawing.kg_100)
    assert any("are kept for what" in said and batch.number in said for said in live.assumed)


def test_what_must_stay_is_recorded_with_a_reason_and_no_plan_draws_it(plant: factories.SmallPlant) -> None:
    factories.accepted_tanks(plant, "sac_h", count=3)
    live, supply = read(plant)
    assert supply.min_kg == 0.0
    assert any("Nobody recorded what must stay" in said for said in live.assumed)
    services.record_figures(
        by=plant.by("planner"),
        figures=replace(ROUND_THE_CLOCK, stays_kg={"hcl": 2_999.0}),
        reason="Below the suction of the pump.",
    )
    live, supply = read(plant, figures_in_force())
    assert supply.min_kg == 2_999.0
    answer = solve(live.problem, 1, Budget(steps=5))
    assert answer.plan.batches == ()
    assert len(answer.unplaced) == 3


@pytest.mark.parametrize("stays", [{"hcl": -1.0}, {"hcl": float("nan")}, {"hcl": 60_001.0}, {"water": 1.0}])
def test_what_cannot_stay_is_refused(plant: factories.SmallPlant, stays: dict[str, float]) -> None:
    with pytest.raises(OutOfRange):
        services.record_figures(
            by=plant.by("planner"),
            figures=replace(DEFAULTS, stays_kg=stays),
            reason="Below the suction of the pump.",
        )


def test_a_recording_of_an_older_program_keeps_nothing_back() -> None:
    kept = figures_to(replace(DEFAULTS, stays_kg={"hcl": 5.0}))
    assert figures_from(kept).stays_kg == {"hcl": 5.0}
    del kept["stays_kg"]
    assert figures_from(kept).stays_kg == {}


def test_a_plan_that_waits_for_a_delivery_is_told_when_it_does_not_come(plant: factories.SmallPlant) -> None:
    """Planned on a delivery of tomorrow: nothing is short while it is expected, and everything is once it is late or called off."""
    rows, expected_row = planned_on_a_delivery(plant)
    assert [one for one in deviations(plant.now) if "can be used by then" in one.sentence] == []
    assert rows[0].starts_at < start_of_day(day(plant, 2)) < rows[0].ready_at  # loaded before, fed after
    chemicals.call_off_expected(by=plant.by(), number=expected_row.number, reason="The supplier has none")
    (told,) = [one for one in deviations(plant.now) if "can be used by then" in one.sentence]
    assert told.sentence.startswith("Hydrochloric acid: the planned batches need ")


def planned_on_a_delivery(plant: factories.SmallPlant) -> tuple[list[PlannedBatch], ExpectedDelivery]:
    """All that stands there must stay, so that the plan draws from what comes tomorrow."""
    factories.accepted_tanks(plant, "sac_h", count=3)
    services.record_figures(
        by=plant.by("planner"),
        figures=replace(ROUND_THE_CLOCK, stays_kg={"hcl": STOCK_KG}),
        reason="Below the suction of the pump.",
    )
    row = awaited(plant, 1)
    return accepted(plant, made(plant)), row
