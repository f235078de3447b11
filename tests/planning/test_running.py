"""Batches under way as the day plan sees them."""

from __future__ import annotations

from collections import defaultdict

import pytest

from regenplant.batches.models import Batch
from regenplant.core.process.vocabulary import StepKind
from regenplant.core.scheduling.problem import RunningStage
from regenplant.planning.live import live_plant
from tests import families
from tests.planning.test_live import NOW, ROUND_THE_CLOCK


@pytest.fixture
def mixed_bed(db: None) -> tuple[families.SmallPlant, Batch]:
    plant = families.whole_plant()
    return plant, families.frozen(plant, "mixed bed")


def test_a_mixed_bed_has_its_vessel_until_it_is_filled_and_takes_both_chemicals(
    mixed_bed: tuple[families.SmallPlant, Batch],
) -> None:
    plant, batch = mixed_bed
    families.tanks_for(plant, families.WAYS["mixed bed"])  # the plan holds vessels that something waits for
    stages = left()
    taken: defaultdict[str, int] = defaultdict(int)
    for stage in stages:
        if stage.chemical is not None:
            taken[stage.chemical] += stage.grams
    assert dict(taken) == pytest.approx(
        {code: 1000 * kg for code, kg in families.chemicals_planned(batch).items()}, abs=1
    )
    busy = {one.id: one.ready_min for one in live_plant(NOW, ROUND_THE_CLOCK).problem.vessels}
    filled = next(stage for stage in stages if stage.name == "fill tanks")
    assert busy[batch.vessel.code] == filled.end_min


def left() -> tuple[RunningStage, ...]:
    (running,) = live_plant(NOW, ROUND_THE_CLOCK).problem.running
    return running.stages


def test_once_both_legs_have_had_their_chemical_none_is_reserved(
    mixed_bed: tuple[families.SmallPlant, Batch],
) -> None:
    plant, batch = mixed_bed
    whole = left()
    families.work_to(plant, batch, StepKind.JOIN)
    later = left()
    assert sum(stage.grams for stage in whole) > 0 == sum(stage.grams for stage in later)
    assert {stage.name for stage in later} < {stage.name for stage in whole}


def test_a_leg_that_has_had_its_chemical_leaves_the_other_one_reserved(
    mixed_bed: tuple[families.SmallPlant, Batch],
) -> None:
    """The cation leg is worked to its displacement while the anion leg waits: only caustic is still to be drawn. (The grams of a step that has begun are drawn.)"""
    plant, batch = mixed_bed
    families.work_to(plant, batch, StepKind.DISPLACE, leg="cation")
    drawn = {stage.chemical for stage in left() if stage.grams}
    assert drawn == {"naoh"}
