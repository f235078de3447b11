"""Decisions about a draft: carried out, held against every limit, weighed, undone; and those that cannot be."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from regenplant.core.errors import NotAllowed, RecordRefused, StaleRecord
from regenplant.core.scheduling.checker import check
from regenplant.planning import services
from regenplant.planning.deciding import work_out
from regenplant.planning.models import DayPlan, Decision
from regenplant.planning.search import search
from regenplant.planning.selectors import PlanShown, shown
from tests import factories

Kind = Decision.Kind
STEPS = 4


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant()


@pytest.fixture
def draft(plant: factories.SmallPlant) -> DayPlan:
    factories.accepted_tanks(plant, "sac_h", count=4)
    row = search(services.begin_plan(by=plant.by("planner"), seconds=5).result.number, steps=STEPS)
    assert row is not None
    return row


def decide(plant: factories.SmallPlant, row: DayPlan, role: str = "planner", **arguments: Any) -> None:
    chosen = work_out(number=row.number, steps=STEPS, **arguments)
    services.keep_decision(by=plant.by(role), **chosen)


def decided(plant: factories.SmallPlant, row: DayPlan, role: str = "planner", **arguments: Any) -> PlanShown:
    decide(plant, row, role, **arguments)
    row.refresh_from_db()
    view = shown(row)
    assert check(view.problem, view.plan).is_feasible
    return view


def first(row: DayPlan) -> Any:
    return shown(row).plan.batches[0]


def test_a_batch_is_pinned_to_a_time_to_the_minute(plant: factories.SmallPlant, draft: DayPlan) -> None:
    batch, clock = first(draft), shown(draft).clock
    later = clock.moment(batch.start_min + 60)
    view = decided(plant, draft, kind=Kind.PIN, batch=batch.id, starts_at=later)
    (moved,) = [one for one in view.plan.batches if set(one.tanks) == set(batch.tanks)]
    assert moved.start_min == batch.start_min + 60
    (decision,) = view.decisions
    assert decision.costs["after"]["score"] == pytest.approx(draft.score)
    assert decision.costs["before"]["score"] < decision.costs["after"]["score"]


def test_a_batch_is_split_and_joined_again(plant: factories.SmallPlant, draft: DayPlan) -> None:
    batch = first(draft)
    apart = batch.tanks[:1]
    view = decided(plant, draft, kind=Kind.SPLIT, batch=batch.id, tanks=apart)
    assert {frozenset(one.tanks) for one in view.plan.batches} >= {
        frozenset(apart),
        frozenset(batch.tanks[1:]),
    }
    alone = next(one for one in view.plan.batches if one.tanks == apart)
    rest = next(one for one in view.plan.batches if set(one.tanks) == set(batch.tanks[1:]))
    view = decided(plant, draft, kind=Kind.JOIN, batch=alone.id, other=rest.id)
    assert frozenset(batch.tanks) in {frozenset(one.tanks) for one in view.plan.batches}


def test_a_tank_is_left_out_and_the_bound_with_it(plant: factories.SmallPlant, draft: DayPlan) -> None:
    batch = first(draft)
    view = decided(plant, draft, kind=Kind.LEAVE_OUT, batch=batch.id, tanks=batch.tanks[:1])
    assert batch.tanks[0] not in {name for one in view.plan.batches for name in one.tanks}
    assert view.bound is None


def test_a_rush_is_due_earlier_and_weighs_most(plant: factories.SmallPlant, draft: DayPlan) -> None:
    batch, clock = first(draft), shown(draft).clock
    wanted = clock.moment(batch.start_min + 30)
    view = decided(plant, draft, kind=Kind.RUSH, batch=batch.id, tanks=batch.tanks[:1], wanted_by=wanted)
    tank = next(one for one in view.problem.tanks if one.id == batch.tanks[0])
    assert tank.due_min == clock.minute(wanted)
    assert tank.priority == max(view.problem.priority_weight)
    assert view.bound is not None


@pytest.mark.django_db
@pytest.mark.parametrize("hour", [9, 10, 12, 15])
def test_tanks_stay_together_where_a_bed_could_be_ready_today_and_its_release_only_after_the_weekend(
    hour: int,
) -> None:
    """On a Friday the bed may be done in time while the technician has gone home: the place is looked for on Monday then."""
    plant = factories.small_plant(now=datetime(2026, 11, 27, hour, 31, tzinfo=UTC))
    factories.accepted_tanks(plant, "sac_h", count=3)
    row = search(services.begin_plan(by=plant.by("planner"), seconds=5).result.number, steps=STEPS)
    assert row is not None
    batch = first(row)
    view = decided(plant, row, kind=Kind.PIN, batch=batch.id)
    assert {frozenset(one.tanks) for one in view.plan.batches} == {frozenset(batch.tanks)}


def several(draft: DayPlan) -> tuple[tuple[str, ...], list[Any]]:
    """One tank of each of two batches of the same resin, and the batches."""
    batches = list(shown(draft).plan.batches)[:2]
    return tuple(one.tanks[0] for one in batches), batches


@pytest.fixture
def two_batches(plant: factories.SmallPlant) -> DayPlan:
    factories.accepted_tanks(plant, "sac_h", count=7)
    row = search(services.begin_plan(by=plant.by("planner"), seconds=5).result.number, steps=STEPS)
    assert row is not None and row.plan is not None and len(row.plan["batches"]) == 2
    return row


def test_tanks_of_several_batches_are_left_out_at_once_and_taken_back_as_one(
    plant: factories.SmallPlant, two_batches: DayPlan
) -> None:
    tanks, _ = several(two_batches)
    plan, score = two_batches.plan, two_batches.score
    view = decided(plant, two_batches, kind=Kind.LEAVE_OUT, tanks=tanks)
    assert not set(tanks) & {name for one in view.plan.batches for name in one.tanks}
    (decision,) = view.decisions
    assert decision.sentence == f"{tanks[0]} and {tanks[1]} are left out of this plan."
    services.undo_decision(by=plant.by("planner"), number=two_batches.number, version=two_batches.version)
    two_batches.refresh_from_db()
    assert (two_batches.plan, two_batches.score) == (plan, score)


def test_tanks_of_several_batches_are_kept_together(
    plant: factories.SmallPlant, two_batches: DayPlan
) -> None:
    tanks, _ = several(two_batches)
    view = decided(plant, two_batches, kind=Kind.PIN, tanks=tanks)
    assert frozenset(tanks) in {frozenset(one.tanks) for one in view.plan.batches}
    assert len({name for one in view.plan.batches for name in one.tanks}) == 7


def test_tanks_of_several_batches_are_rushed_at_once(
    plant: factories.SmallPlant, two_batches: DayPlan
) -> None:
    tanks, batches = several(two_batches)
    wanted = shown(two_batches).clock.moment(max(one.end_min for one in batches))
    view = decided(plant, two_batches, kind=Kind.RUSH, tanks=tanks, wanted_by=wanted)
    rushed = {tank.id for tank in view.problem.tanks if tank.priority == max(view.problem.priority_weight)}
    assert rushed == set(tanks)


def test_tanks_of_different_resin_are_not_kept_together_and_strange_ones_are_no_choice(
    plant: factories.SmallPlant, two_batches: DayPlan
) -> None:
    factories.accepted_tanks(plant, "sba_1", count=3)
    services.set_plan_aside(by=plant.by("planner"), number=two_batches.number)
    row = search(services.begin_plan(by=plant.by("planner"), seconds=5).result.number, steps=STEPS)
    assert row is not None
    view = shown(row)
    by_family = {tank.family: tank.id for tank in view.problem.tanks}
    for tanks, words in (
        (tuple(by_family.values()), "must not go together"),
        (("T-STRANGE",), "of this plan only"),
        ((), "Tick the tanks"),
        ((view.problem.tanks[0].id,), "Tick two or more"),
    ):
        with pytest.raises(RecordRefused, match=words):
            decide(plant, row, kind=Kind.PIN, tanks=tanks)
    assert not Decision.objects.exists()


def test_undoing_brings_back_plan_score_and_bound(plant: factories.SmallPlant, draft: DayPlan) -> None:
    plan, score, bound = draft.plan, draft.score, draft.bound
    batch = first(draft)
    decided(plant, draft, kind=Kind.LEAVE_OUT, batch=batch.id, tanks=batch.tanks[:1])
    services.undo_decision(by=plant.by("planner"), number=draft.number, version=draft.version)
    draft.refresh_from_db()
    assert (draft.plan, draft.score, draft.bound) == (plan, score, bound)
    assert not draft.decisions.exists()
    with pytest.raises(RecordRefused, match="Nothing was decided"):
        services.undo_decision(by=plant.by("planner"), number=draft.number)


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"kind": Kind.PIN, "vessel": "NOWHERE"}, "not there"),
        ({"kind": Kind.PIN, "starts_at": factories.START - timedelta(days=1)}, "within the days"),
        ({"kind": Kind.JOIN, "other": "B0001"}, "Choose the other"),
        ({"kind": Kind.JOIN, "other": "B0999"}, "no batch B0999"),
        ({"kind": Kind.SPLIT, "tanks": ()}, "Tick the tanks"),
        ({"kind": Kind.SPLIT, "tanks": ("T-STRANGE",)}, "of this batch only"),
        ({"kind": Kind.RUSH, "tanks": "first"}, "by when"),
        (
            {"kind": Kind.RUSH, "tanks": "first", "wanted_by": factories.START - timedelta(days=1)},
            "within its days",
        ),
        ({"kind": Kind.SPLIT, "tanks": "all"}, "nothing stays behind"),
        ({"kind": "wish", "tanks": "first"}, "no decision"),
    ],
)
def test_what_cannot_be_is_refused_with_its_sentence_and_changes_nothing(
    plant: factories.SmallPlant, draft: DayPlan, arguments: dict[str, Any], words: str
) -> None:
    tanks = first(draft).tanks
    chosen = {"first": tanks[:1], "all": tanks}.get(arguments.get("tanks", ""), arguments.get("tanks", ()))
    with pytest.raises(RecordRefused, match=words):
        decide(plant, draft, batch="B0001", **{**arguments, "tanks": chosen})
    assert not Decision.objects.exists()
    version = draft.version
    draft.refresh_from_db()
    assert draft.version == version


def test_a_decision_on_an_old_page_is_refused(plant: factories.SmallPlant, draft: DayPlan) -> None:
    batch, seen = first(draft), draft.version
    decided(plant, draft, kind=Kind.PIN, batch=batch.id)
    with pytest.raises(StaleRecord, match="was changed since you opened it"):
        decide(plant, draft, kind=Kind.PIN, batch=batch.id, version=seen)


def test_an_operator_decides_nothing(plant: factories.SmallPlant, draft: DayPlan) -> None:
    with pytest.raises(NotAllowed):
        decided(plant, draft, "operator", kind=Kind.PIN, batch=first(draft).id)


def test_a_plan_that_is_set_aside_is_not_changed(plant: factories.SmallPlant, draft: DayPlan) -> None:
    batch = first(draft)
    services.set_plan_aside(by=plant.by("planner"), number=draft.number)
    with pytest.raises(RecordRefused, match="set aside"):
        decided(plant, draft, kind=Kind.PIN, batch=batch.id)
