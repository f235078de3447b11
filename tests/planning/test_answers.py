"""What would bring a late tank on time: asked of a plan, kept with it, read again; and what keeps it from being asked."""

from __future__ import annotations

from datetime import timedelta
from itertools import count

import pytest

from regenplant.audit.models import AuditEvent
from regenplant.core.errors import NotAllowed, OutOfRange, RecordRefused, StaleRecord
from regenplant.planning import answers, deciding, services
from regenplant.planning.answers import answer_from, work_out
from regenplant.planning.models import DayPlan, Decision, LateTankAnswer
from regenplant.planning.search import search
from regenplant.planning.selectors import shown
from tests import factories

STEPS = 3


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant()


@pytest.fixture
def draft(plant: factories.SmallPlant) -> DayPlan:
    """A plan with one tank that is wanted before any plan can have it ready."""
    factories.accepted_tanks(plant, "sac_h", count=3)
    row = search(services.begin_plan(by=plant.by("planner"), seconds=5).result.number, steps=4)
    assert row is not None
    batch, clock = shown(row).plan.batches[0], shown(row).clock
    services.keep_decision(
        by=plant.by("planner"),
        **deciding.work_out(
            number=row.number,
            kind=Decision.Kind.RUSH,
            batch=batch.id,
            tanks=batch.tanks[:1],
            wanted_by=clock.moment(batch.start_min + 30),
            steps=STEPS,
        ),
    )
    row.refresh_from_db()
    return row


def late(row: DayPlan) -> str:
    view = shown(row)
    due = {tank.id: tank.due_min for tank in view.problem.tanks}
    return next(name for one in view.plan.batches for name in one.tanks if one.end_min > due[name])


def on_time(row: DayPlan) -> str:
    view = shown(row)
    due = {tank.id: tank.due_min for tank in view.problem.tanks}
    return next(name for one in view.plan.batches for name in one.tanks if one.end_min <= due[name])


def asked(plant: factories.SmallPlant, row: DayPlan, role: str = "planner") -> LateTankAnswer:
    worked = work_out(number=row.number, tank=late(row), steps=STEPS)
    answer: LateTankAnswer = services.keep_answer(by=plant.by(role), **worked).result
    return answer


def test_an_answer_is_kept_with_its_plan_and_changes_nothing_of_it(
    plant: factories.SmallPlant, draft: DayPlan
) -> None:
    plan, version = draft.plan, draft.version
    kept = asked(plant, draft)
    draft.refresh_from_db()
    assert (draft.plan, draft.version) == (plan, version)
    assert (kept.tank, kept.plan_version, kept.asked_by) == (
        late(draft),
        version,
        plant.people["planner"],
    )
    found = answer_from(LateTankAnswer.objects.get().content)
    assert found.ready_min > found.due_min
    assert found.alone_min > found.due_min  # 30 minutes after its loading no tank is ready
    assert not found.first.is_on_time
    assert found.tried
    assert all(one.is_on_time for one in found.tried if one.helps)
    assert AuditEvent.objects.filter(event="day_plan.asked").count() == 1


def test_asking_again_puts_the_newer_answer_in_its_place(plant: factories.SmallPlant, draft: DayPlan) -> None:
    first = asked(plant, draft)
    again = asked(plant, draft, "supervisor")
    assert again.pk == first.pk
    assert LateTankAnswer.objects.get().asked_by == plant.people["supervisor"]


def test_a_plan_that_was_changed_meanwhile_keeps_no_answer(
    plant: factories.SmallPlant, draft: DayPlan
) -> None:
    worked = work_out(number=draft.number, tank=late(draft), steps=STEPS)
    services.undo_decision(by=plant.by("planner"), number=draft.number)
    with pytest.raises(StaleRecord, match="was changed since you opened it"):
        services.keep_answer(by=plant.by("planner"), **worked)
    assert not LateTankAnswer.objects.exists()


def test_a_page_of_an_older_plan_is_refused(plant: factories.SmallPlant, draft: DayPlan) -> None:
    worked = work_out(number=draft.number, tank=late(draft), version=draft.version - 1, steps=STEPS)
    with pytest.raises(StaleRecord):
        services.keep_answer(by=plant.by("planner"), **worked)


def test_an_operator_asks_nothing(plant: factories.SmallPlant, draft: DayPlan) -> None:
    with pytest.raises(NotAllowed):
        asked(plant, draft, "operator")
    assert not LateTankAnswer.objects.exists()


def test_a_tank_on_time_and_one_of_no_batch_are_no_question(draft: DayPlan) -> None:
    services_first = on_time(draft)
    with pytest.raises(OutOfRange, match="is on time"):
        work_out(number=draft.number, tank=services_first, steps=STEPS)
    with pytest.raises(OutOfRange, match="stands in no batch"):
        work_out(number=draft.number, tank="T-STRANGE", steps=STEPS)
    with pytest.raises(RecordRefused, match="no day plan"):
        work_out(number="DP-999", tank=services_first, steps=STEPS)


def test_an_answer_about_a_tank_of_no_batch_is_not_kept(plant: factories.SmallPlant, draft: DayPlan) -> None:
    worked = work_out(number=draft.number, tank=late(draft), steps=STEPS)
    with pytest.raises(RecordRefused, match="stands in no batch"):
        services.keep_answer(by=plant.by("planner"), **{**worked, "tank": "T-STRANGE"})


def test_a_plan_set_aside_is_not_asked_about_and_an_accepted_one_is(
    plant: factories.SmallPlant, draft: DayPlan
) -> None:
    services.accept_plan(by=plant.by("planner"), number=draft.number)
    draft.refresh_from_db()
    assert asked(plant, draft).plan_version == draft.version
    other = search(services.begin_plan(by=plant.by("planner"), seconds=5).result.number, steps=2)
    assert other is not None
    services.set_plan_aside(by=plant.by("planner"), number=other.number)
    with pytest.raises(RecordRefused, match="set aside"):
        work_out(number=other.number, tank=late(draft), steps=STEPS)


def test_one_question_at_a_time_and_free_again_after_a_refusal(draft: DayPlan) -> None:
    with answers._one_at_a_time, pytest.raises(RecordRefused, match="being worked out"):
        work_out(number=draft.number, tank=late(draft), steps=STEPS)
    with pytest.raises(OutOfRange):
        work_out(number=draft.number, tank=on_time(draft), steps=STEPS)
    assert work_out(number=draft.number, tank=late(draft), steps=STEPS)["content"]["tried"]


def test_a_question_ends_in_its_time(draft: DayPlan) -> None:
    ticks = count(step=answers.LONGEST_S)
    content = work_out(number=draft.number, tank=late(draft), clock=lambda: float(next(ticks)))["content"]
    assert content["tried"] == []
    assert content["not_tried"] > 0


def test_an_answer_goes_with_its_plan(plant: factories.SmallPlant, draft: DayPlan) -> None:
    asked(plant, draft)
    copy = services.copy_plan(by=plant.by("planner"), number=draft.number, name="Another way").result
    assert not copy.answers.exists()
    assert timedelta(0) <= LateTankAnswer.objects.get().asked_at - draft.made_at
