"""A what-if copy is changed beside the first plan; side by side they differ in what was decided."""

from __future__ import annotations

import pytest

from regenplant.core.errors import NotAllowed, RecordRefused, StaleRecord
from regenplant.planning import services
from regenplant.planning.deciding import work_out
from regenplant.planning.models import DayPlan, Decision
from regenplant.planning.selectors import newest_plan, shown
from regenplant.web.presenters.day_plan_compared import compared
from tests import factories
from tests.planning.test_accepting import made


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant()


@pytest.fixture
def draft(plant: factories.SmallPlant) -> DayPlan:
    factories.accepted_tanks(plant, "sac_h", count=4)
    return made(plant)


def copied(
    plant: factories.SmallPlant, row: DayPlan, role: str = "planner", name: str = "One tank less"
) -> DayPlan:
    copy: DayPlan = services.copy_plan(by=plant.by(role), number=row.number, name=name).result
    return copy


def test_a_copy_is_changed_and_the_first_stays_as_it_was(plant: factories.SmallPlant, draft: DayPlan) -> None:
    copy = copied(plant, draft)
    assert newest_plan() == draft
    batch = shown(copy).plan.batches[0]
    services.keep_decision(
        by=plant.by("planner"),
        **work_out(
            number=copy.number, kind=Decision.Kind.LEAVE_OUT, batch=batch.id, tanks=batch.tanks[:1], steps=4
        ),
    )
    copy.refresh_from_db()
    before = draft.plan
    draft.refresh_from_db()
    assert draft.plan == before
    view = compared([(draft, shown(draft)), (copy, shown(copy))], "metric")
    figures = {row.what: row for row in view.figures}
    assert (figures["Tanks in a batch"].first, figures["Tanks in a batch"].difference) == ("4", "−1")
    assert batch.tanks[0] in {row.serial for row in view.tanks}
    assert [len(sentences) for _, sentences in view.decided] == [0, 1]


def test_a_copy_takes_what_was_decided_along(plant: factories.SmallPlant, draft: DayPlan) -> None:
    batch = shown(draft).plan.batches[0]
    services.keep_decision(
        by=plant.by("planner"),
        **work_out(number=draft.number, kind=Decision.Kind.PIN, batch=batch.id, steps=4),
    )
    draft.refresh_from_db()
    copy = copied(plant, draft)
    assert shown(copy).problem == shown(draft).problem
    view = compared([(draft, shown(draft)), (copy, shown(copy))], "us")
    assert {row.difference for row in view.figures} == {"the same"}
    assert view.tanks == ()
    services.undo_decision(by=plant.by("planner"), number=copy.number)
    assert draft.decisions.count() == 1


def test_who_may_not_make_a_plan_copies_none(plant: factories.SmallPlant, draft: DayPlan) -> None:
    with pytest.raises(NotAllowed):
        copied(plant, draft, "operator")
    with pytest.raises(RecordRefused, match="at least 3"):
        copied(plant, draft, name="x")
    with pytest.raises(StaleRecord):
        services.copy_plan(by=plant.by("planner"), number=draft.number, name="Old page", version=7)
    assert DayPlan.objects.count() == 1
