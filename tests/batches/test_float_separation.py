"""A mixed bed floated in dense brine: what stands in the bed, what may not be left out, what the records keep."""

from __future__ import annotations

import pytest

from regenplant.batches import services as batch_services
from regenplant.batches.frozen import plan_of
from regenplant.batches.legs import standing_chemicals
from regenplant.batches.models import Batch, Deviation, StepRun
from regenplant.batches.selectors import separation_record
from regenplant.chemicals.selectors import use_by_reference
from regenplant.core.errors import RecordRefused, TransitionRefused
from regenplant.core.process.vocabulary import Chemical, Leg, StepKind
from tests import factories, families
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return families.whole_plant()


@pytest.fixture
def batch(plant: SmallPlant) -> Batch:
    return families.frozen(plant, "mixed bed floated")


@pytest.fixture
def floating(plant: SmallPlant, batch: Batch) -> StepRun:
    """The float separation, running."""
    return families.start_next(plant, families.work_to(plant, batch, StepKind.FLOAT))


def _standing(batch: Batch) -> dict[Leg, Chemical]:
    return standing_chemicals(batch.steps.all(), plan_of(batch))


def test_the_brine_stands_until_it_is_displaced_and_the_batch_is_not_held_meanwhile(
    plant: SmallPlant, batch: Batch, floating: StepRun
) -> None:
    assert _standing(batch) == {Leg.WHOLE: Chemical.SODIUM_CHLORIDE}
    with pytest.raises(TransitionRefused, match=r"Do not stop here: Sodium chloride \(brine\)"):
        batch_services.hold_batch(by=plant.by(), batch_id=batch.pk, reason="lunch is waiting for us")
    factories.work_off(plant, floating)
    assert _standing(batch) == {Leg.WHOLE: Chemical.SODIUM_CHLORIDE}
    down = families.start_next(plant, batch.steps.get(number=floating.number + 1))
    assert StepKind(down.kind) is StepKind.DISPLACE and not down.is_safe_hold_after
    factories.work_off(plant, down)
    assert _standing(batch) == {}


def test_the_salt_of_the_float_leaves_the_ledger_by_the_stock_that_was_drawn(
    plant: SmallPlant, batch: Batch, floating: StepRun
) -> None:
    before = use_by_reference([batch.number])[batch.number]["nacl"]
    planned = plan_of(batch).step(floating.number)
    drawn = next(entry for entry in planned.entries if entry.key == "stock_drawn")
    assert drawn.high is not None
    factories.write(plant, floating, "stock_drawn", f"{1000 * 0.99 * drawn.high:.1f} L")
    plant.forward(minutes=planned.value("duration_s") / 60)
    for spec in planned.entries:
        if spec.is_required and not spec.is_before and spec.key != "stock_drawn":
            factories.write(plant, floating, spec.key, factories.text_for(spec))
    batch_services.finish_step(by=plant.by(), step_id=floating.pk)
    grams = use_by_reference([batch.number])[batch.number]["nacl"] - before
    share = 0.99 * drawn.high / planned.value("stock_m3")
    assert grams == pytest.approx(1000 * planned.value("chemical_kg_100") * share, rel=2e-3)


def test_a_float_and_the_settling_before_it_are_never_skipped(plant: SmallPlant, batch: Batch) -> None:
    settle = families.work_to(plant, batch, StepKind.SETTLE)
    with pytest.raises(TransitionRefused, match="never skipped"):
        batch_services.skip_step(by=plant.by("supervisor"), step_id=settle.pk, reason="the bed looks still")
    factories.work_off(plant, families.start_next(plant, settle))
    step = families.step_of(batch, StepKind.FLOAT)
    with pytest.raises(TransitionRefused, match="Float separation in dense brine is never skipped"):
        batch_services.skip_step(by=plant.by("supervisor"), step_id=step.pk, reason="the layers look clean")


def test_a_float_ends_only_when_its_solution_is_fed_and_its_readings_stand(
    plant: SmallPlant, floating: StepRun
) -> None:
    plant.forward(minutes=100)
    with pytest.raises(TransitionRefused, match="Density of the solution in the vessel at the end"):
        batch_services.finish_step(by=plant.by(), step_id=floating.pk)
    factories.write(plant, floating, "volume_fed", "50 L")
    with pytest.raises((TransitionRefused, RecordRefused), match="still to feed"):
        batch_services.finish_step(by=plant.by(), step_id=floating.pk)


def test_a_solution_too_light_for_its_beads_is_a_major_deviation(
    plant: SmallPlant, batch: Batch, floating: StepRun
) -> None:
    with pytest.raises(RecordRefused, match="outside the limits"):
        factories.write(plant, floating, "standing_density", "1090 kg/m3")
    batch_services.write_entry(
        by=plant.by(), step_id=floating.pk, key="standing_density", text="1090 kg/m3", outside_is_true=True
    )
    assert Deviation.objects.get(batch=batch).severity == "major"


def test_the_separation_record_is_held_beside_what_the_float_promises(
    plant: SmallPlant, batch: Batch, floating: StepRun
) -> None:
    record = separation_record(batch)
    assert record is not None
    planned = plan_of(batch).step(floating.number)
    assert record.predicted["cation_in_anion_frac"].value == planned.value("cation_in_anion_frac")
    assert "separation_velocity_ratio" not in record.predicted
    apart = separation_record(families.frozen(
        plant, "mixed bed", vessel_id=families.spare(plant, "M3", "M1"), anion_vessel_id=families.spare(plant, "M4", "M2")
    ))  # fmt: skip
    assert apart is not None and "separation_velocity_ratio" in apart.predicted
    assert record.predicted["cation_in_anion_frac"].value < apart.predicted["cation_in_anion_frac"].value
