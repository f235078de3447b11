"""The pages that say why: a batch of a plan, a late tank, and what would bring it on time."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from django.utils import timezone

from regenplant.planning import deciding, services
from regenplant.planning.models import DayPlan, Decision, LateTankAnswer, PlannedBatch
from regenplant.planning.selectors import shown
from tests import factories
from tests.factories import SmallPlant
from tests.planning.searched import searched_plan
from tests.web.pages import text_of

pytestmark = pytest.mark.django_db
As = Callable[[str], Client]
HOME = "/day-plan/"


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=factories.hours_ago(4))


@pytest.fixture
def found(plant: SmallPlant) -> DayPlan:
    """A plan of three tanks of which the first is wanted too early."""
    factories.accepted_tanks(plant, "sac_h", count=3)
    by = plant.by("planner", at=timezone.now())
    row = searched_plan(plant)
    batch, clock = shown(row).plan.batches[0], shown(row).clock
    services.keep_decision(
        by=by,
        **deciding.work_out(
            number=row.number,
            kind=Decision.Kind.RUSH,
            batch=batch.id,
            tanks=batch.tanks[:1],
            wanted_by=clock.moment(batch.start_min + 30),
            steps=3,
        ),
    )
    row.refresh_from_db()
    return row


def tanks_of(row: DayPlan) -> tuple[str, str]:
    """A late one and one on time."""
    view = shown(row)
    due = {tank.id: tank.due_min for tank in view.problem.tanks}
    ends = {name: one.end_min for one in view.plan.batches for name in one.tanks}
    late = [name for name, end in ends.items() if end > due[name]]
    return late[0], next(name for name in ends if name not in late)


def test_a_batch_says_why_now_why_here_and_why_these_tanks(as_: As, found: DayPlan) -> None:
    batch = shown(found).plan.batches[0]
    page = text_of(as_("operator").get(f"{HOME}{found.number}/batches/{batch.id}/"))
    for heading in ("Why now", "Why here", "Why these tanks"):
        assert heading in page
    assert "Without that it would be ready" in page or "Nothing keeps it" in page or "No limit keeps" in page
    assert "of resin;" in page


def test_a_late_tank_is_asked_about_and_the_answer_stands_on_its_page(as_: As, found: DayPlan) -> None:
    late, _ = tanks_of(found)
    address = f"{HOME}{found.number}/tanks/{late}/"
    assert f'href="{address}"' in as_("planner").get(f"{HOME}{found.number}/").content.decode()
    before = text_of(as_("planner").get(address))
    assert "Nobody asked yet" in before
    answer = as_("planner").post(f"{address}help/", {"version": found.version})
    assert answer.status_code == 302
    assert answer.headers["Location"] == address
    page = text_of(as_("operator").get(address))
    assert "Even alone in the plant it would be ready" in page
    assert "A promise that this plan can keep:" in page
    assert "Tried, and no help by itself" in page
    assert plant_name(found) in page
    assert "Nobody asked yet" not in page


def plant_name(found: DayPlan) -> str:
    return str(found.made_by.full_name)


def test_an_operator_reads_and_asks_nothing(as_: As, found: DayPlan) -> None:
    late, _ = tanks_of(found)
    address = f"{HOME}{found.number}/tanks/{late}/"
    page = text_of(as_("operator").get(address))
    assert "This takes a supervisor or planner." in page
    assert as_("operator").post(f"{address}help/", {"version": found.version}).status_code == 403
    assert not LateTankAnswer.objects.exists()


def test_a_tank_on_time_offers_no_question_and_refuses_one(as_: As, found: DayPlan) -> None:
    _, fine = tanks_of(found)
    address = f"{HOME}{found.number}/tanks/{fine}/"
    page = text_of(as_("planner").get(address))
    assert "on time" in page
    assert "Ask what would" not in page
    answer = as_("planner").post(f"{address}help/", {"version": found.version})
    assert answer.status_code == 422
    assert "is on time in the plan" in text_of(answer)


def test_an_old_page_is_refused_and_an_old_answer_says_so(as_: As, found: DayPlan, plant: SmallPlant) -> None:
    late, fine = tanks_of(found)
    address = f"{HOME}{found.number}/tanks/{late}/"
    as_("planner").post(f"{address}help/", {"version": found.version})
    batch = next(one for one in shown(found).plan.batches if fine in one.tanks)
    services.keep_decision(
        by=plant.by("planner", at=timezone.now()),
        **deciding.work_out(number=found.number, kind=Decision.Kind.PIN, batch=batch.id, steps=3),
    )
    page = text_of(as_("planner").get(address))
    assert "was changed by hand since this was asked" in page
    answer = as_("planner").post(f"{address}help/", {"version": found.version})
    assert answer.status_code == 409
    assert "was changed since you opened it" in text_of(answer)


def test_a_plan_that_was_replaced_or_set_aside_says_so(as_: As, found: DayPlan, plant: SmallPlant) -> None:
    late, _ = tanks_of(found)
    address = f"{HOME}{found.number}/tanks/{late}/"
    by = plant.by("planner", at=timezone.now())
    newer = searched_plan(plant, steps=2)
    assert f"Look at {newer.number}" in text_of(as_("planner").get(address))
    services.set_plan_aside(by=by, number=found.number)
    page = text_of(as_("planner").get(address))
    assert "nothing is asked of it any more" in page
    answer = as_("planner").post(f"{address}help/", {"version": found.version + 1})
    assert answer.status_code == 422
    assert "set aside" in text_of(answer)


def test_what_is_not_there_is_not_found(as_: As, found: DayPlan) -> None:
    late, _ = tanks_of(found)
    assert as_("planner").get(f"{HOME}{found.number}/tanks/T-STRANGE/").status_code == 404
    assert as_("planner").get(f"{HOME}DP-999/tanks/{late}/").status_code == 404


def test_a_planned_batch_leads_to_why(as_: As, found: DayPlan, plant: SmallPlant) -> None:
    services.accept_plan(by=plant.by("planner", at=timezone.now()), number=found.number)
    planned = PlannedBatch.objects.select_related("acceptance").first()
    assert planned is not None
    address = f"{HOME}{found.number}/batches/{planned.plan_batch}/"
    assert f'href="{address}"' in as_("operator").get(f"/planned/{planned.code}/").content.decode()
    assert "Why now" in text_of(as_("operator").get(address))
