"""Batches under way as the day plan sees them."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime, timedelta
from itertools import pairwise

import pytest

from regenplant.batches.models import Batch
from regenplant.batches.selectors.progress import progress_of
from regenplant.core.process.vocabulary import StepKind
from regenplant.core.scheduling.problem import RunningStage
from regenplant.planning.clock import PlanClock
from regenplant.planning.figures import PlanningFigures, WorkingTime
from regenplant.planning.live import live_plant
from tests import families
from tests.core.scheduling.laid_rules import over_by_what_waited
from tests.planning.test_live import ALWAYS, NOW, ROUND_THE_CLOCK


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


ONE_OF_EACH = PlanningFigures(
    working_times=(
        WorkingTime("day", 6 * 60, 22 * 60, operators=1, technicians=1, second_people=1, weekdays=ALWAYS),
    )
)


def test_batches_that_wait_for_the_same_people_are_laid_one_after_the_other(db: None) -> None:
    """Six batches stand before their first step, with one operator and one technician: nothing is laid over either."""
    plant = families.whole_plant()
    for way in ("mixed bed", "polishing mixed bed", "weak acid", "weak base", "acrylic", "carbon"):
        families.frozen(plant, way)
    problem = live_plant(NOW, ONE_OF_EACH).problem
    assert len(problem.running) == 6
    assert all(
        {"judge", "fill tanks", "release"} <= {stage.name for stage in one.stages} for one in problem.running
    )
    assert over_by_what_waited(problem, problem.running) == []
    judged = sorted(
        (stage.start_min, stage.end_min)
        for one in problem.running
        for stage in one.stages
        if stage.name == "judge"
    )
    assert all(before[1] <= after[0] for before, after in pairwise(judged))


def test_a_step_that_runs_lasts_what_is_left_of_it_and_what_follows_comes_behind(
    mixed_bed: tuple[families.SmallPlant, Batch],
) -> None:
    plant, batch = mixed_bed
    families.start_next(plant, families.work_to(plant, batch, StepKind.SEPARATE))
    (planned,) = (line for line in progress_of(batch, NOW).steps if line.kind == StepKind.SEPARATE.value)
    began = step_began(batch)
    soon = began + timedelta(seconds=planned.planned_s / 2)
    whole, half = first_of(began), first_of(soon)
    assert whole.name == half.name == f"{planned.number} {planned.name}"
    assert whole.end_min - whole.start_min == -(-int(planned.planned_s // 60) // 5) * 5
    assert 0 < half.end_min - half.start_min < whole.end_min - whole.start_min


def step_began(batch: Batch) -> datetime:
    began = batch.steps.get(state="running").started_at
    assert began is not None
    return began


def first_of(now: datetime) -> RunningStage:
    (running,) = live_plant(now, ROUND_THE_CLOCK).problem.running
    return running.stages[0]


def test_what_runs_while_nobody_works_is_said_with_the_time_at_the_plant(
    mixed_bed: tuple[families.SmallPlant, Batch],
) -> None:
    plant, batch = mixed_bed
    families.start_next(plant, families.work_to(plant, batch, StepKind.SEPARATE))
    began = step_began(batch).astimezone(PlanClock(NOW, 5, 2).zone)
    nobody = WorkingTime(
        "other", (began.hour * 60 + 180) % 1440, (began.hour * 60 + 300) % 1440, 2, 1, 1, ALWAYS
    )
    live = live_plant(began, PlanningFigures(working_times=(nobody,)))
    over = [
        words
        for words in live.assumed
        if words.startswith("What runs now takes more operators than there is")
    ]
    assert len(over) == 1
    assert f"from {live.clock.words(live.clock.now_min)} to " in over[0]
    assert ": 0.25 of 0." in over[0]
