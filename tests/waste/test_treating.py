"""Treating the waste tank: first stage, a measured pH, then at most the second; masses leave the ledger of chemicals."""

from __future__ import annotations

import pytest

from regenplant.batches.models import Batch
from regenplant.chemicals.models import Movement
from regenplant.core.engineering import equilibria
from regenplant.core.errors import NotAllowed, OutOfRange, RecordRefused, StaleRecord
from regenplant.core.process.vocabulary import StepKind
from regenplant.plant.models import WasteTank
from regenplant.waste import selectors, services
from regenplant.waste.services import WasteReading
from regenplant.waste.treatment import treatment_of
from tests import factories
from tests.factories import SmallPlant
from tests.waste.sewer import permitted, proven, release

pytestmark = pytest.mark.django_db


def tank() -> WasteTank:
    return WasteTank.objects.get(code="N1")


@pytest.fixture
def plant(db: None) -> SmallPlant:
    """Spent acid of one cation batch stands in the tank, and nothing else."""
    plant = factories.small_plant()
    services.set_waste_level(by=plant.by(), waste_tank_id=tank().pk, level_m3=0.0)
    batch: Batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.DISPLACE, finish=True)
    return plant


def give(plant: SmallPlant, volume_m3: float, chemical: str = "naoh", *, who: str = "operator", **more):
    arguments = {"volume_again_m3": volume_m3, **more}
    return services.treat_waste(
        by=plant.by(who), waste_tank_id=tank().pk, chemical=chemical, volume_m3=volume_m3, **arguments
    ).result


def read_ph(plant: SmallPlant, ph: float) -> None:
    services.set_waste_level(
        by=plant.by(), waste_tank_id=tank().pk, level_m3=tank().level_m3,
        reading=WasteReading(ph=ph, instrument_id=plant.instruments["PH"].pk),
    )  # fmt: skip


def first_m3(plant: SmallPlant) -> float:
    plan = treatment_of(tank(), plant.now).plan
    assert plan is not None and plan.first_stock_m3 is not None
    return plan.first_stock_m3.value


@pytest.mark.requirement("EV-04")
def test_two_stages_with_a_measured_ph_between_bring_it_to_its_target(plant: SmallPlant) -> None:
    start = selectors.standing(tank()).held
    stock_before = {m.pk for m in Movement.objects.all()}
    row = give(plant, first_m3(plant))
    assert row.kind == "treatment" and row.movement is not None
    # by hand: caustic of 1524 kg/m³ at the strength the plant found, 39.997 g/mol (IUPAC standard atomic weights)
    strength = plant.lots["naoh"].checks.get().strength_frac
    assert strength == pytest.approx(0.50, abs=0.005)
    mol = row.volume_m3 * 1524.0 * strength / 0.039997
    assert row.amounts_mol["sodium"] == pytest.approx(mol, rel=1e-3)
    assert row.movement.grams_100 == pytest.approx(row.volume_m3 * 1524.0 * strength * 1000, rel=1e-3)
    assert row.movement.to_place.kind == "treatment" and row.movement.pk not in stock_before
    held = selectors.standing(tank()).held
    assert held.excess_eq == pytest.approx(start.excess_eq - mol, rel=1e-3)
    assert 0.0 < held.excess_eq < start.excess_eq, "the first stage never overshoots"
    assert held.temperature_kelvin is not None and start.temperature_kelvin is not None
    assert held.temperature_kelvin > start.temperature_kelvin, "acid and caustic warm each other"

    with pytest.raises(RecordRefused, match="Mix and recirculate 15 to 30 min, measure the pH"):
        give(plant, 0.001)
    read_ph(plant, 1.9)
    needs = treatment_of(tank(), plant.now)
    assert needs.is_second and needs.measured is not None
    assert needs.plan is not None and needs.plan.first_stock_m3 is not None
    assert needs.plan.second_stock_m3 is not None
    give(plant, needs.plan.first_stock_m3.value + needs.plan.second_stock_m3.value)
    held = selectors.standing(tank()).held
    assert abs(held.excess_eq) < 0.01 * start.excess_eq
    kelvin = held.temperature_kelvin or 293.15
    assert 5.0 < equilibria.mixture_ph(held.composition, kelvin) < 9.5


def test_more_than_the_first_stage_is_refused_before_a_ph_is_known(plant: SmallPlant) -> None:
    with pytest.raises(RecordRefused, match="the first stage is at most"):
        give(plant, 1.3 * first_m3(plant))
    assert Movement.objects.filter(to_place__kind="treatment").count() == 0


def test_the_wrong_neutralizer_is_refused(plant: SmallPlant) -> None:
    with pytest.raises(RecordRefused, match="By the books the tank needs sodium hydroxide"):
        give(plant, 0.001, "hcl")
    read_ph(plant, 1.5)
    with pytest.raises(RecordRefused, match="further out of the permit"):
        give(plant, 0.001, "hcl")


def test_a_measured_ph_beats_the_books(plant: SmallPlant) -> None:
    """The books say acid; the meter says alkaline, so acid may be given."""
    read_ph(plant, 11.0)
    with pytest.raises(RecordRefused, match="further out of the permit"):
        give(plant, 0.001, "naoh")
    assert give(plant, 0.001, "hcl").amounts_mol["chloride"] > 0.0


def test_typed_twice_and_no_more_than_fits(plant: SmallPlant) -> None:
    with pytest.raises(RecordRefused, match="was typed as"):
        give(plant, 0.010, volume_again_m3=0.011)
    for volume in (0.0, -1.0, 500.0):
        with pytest.raises(OutOfRange, match="cannot be given"):
            give(plant, volume)
    assert selectors.last_movement(tank()).kind == "drain"


def test_rights_stale_page_and_unknown_things(plant: SmallPlant) -> None:
    with pytest.raises(NotAllowed):
        give(plant, 0.001, who="planner")
    with pytest.raises(StaleRecord, match="since this page was shown"):
        give(plant, 0.001, shown_number=1)
    with pytest.raises(RecordRefused, match="neutralizer"):
        give(plant, 0.001, "naocl")
    with pytest.raises(RecordRefused, match="No lot of sulfuric acid"):
        give(plant, 0.001, "h2so4")


def test_an_old_strength_check_gives_no_amount(plant: SmallPlant) -> None:
    plant.forward(days=30)
    with pytest.raises(RecordRefused, match="was not checked in the last"):
        give(plant, 0.001)


def test_of_unknown_waste_nothing_is_predicted(plant: SmallPlant) -> None:
    held = selectors.standing(tank()).volume_m3
    services.set_waste_level(by=plant.by(), waste_tank_id=tank().pk, level_m3=3 * held)
    needs = treatment_of(tank(), plant.now)
    assert needs.plan is None and "unknown composition" in needs.words
    with pytest.raises(RecordRefused, match="Measure the pH first"):
        give(plant, 0.001)
    read_ph(plant, 2.0)
    assert give(plant, 0.001).volume_m3 == pytest.approx(0.001)


def test_an_empty_tank_needs_nothing(plant: SmallPlant) -> None:
    services.set_waste_level(by=plant.by(), waste_tank_id=tank().pk, level_m3=0.0)
    assert treatment_of(tank(), plant.now).words == "The tank is empty by the books."


@pytest.mark.requirement("EV-04")
def test_nothing_is_given_while_the_outlet_may_be_open(plant: SmallPlant) -> None:
    permitted(plant)
    stock = first_m3(plant)
    row = release(plant, proven(plant, volume_m3=0.2))
    with pytest.raises(RecordRefused, match=f"{row.number} is released: the outlet of N1 may be open"):
        give(plant, stock)
    plant.forward(minutes=20)
    services.close_discharge(by=plant.by(), discharge_id=row.pk, volume_m3=0.2)
    assert give(plant, first_m3(plant)).kind == "treatment"
