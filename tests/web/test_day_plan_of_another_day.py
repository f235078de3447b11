"""What is said of a plan whose day is over, in clock times of the plant; and the drawing on the home of the day plan."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from regenplant.core.errors import RecordRefused
from regenplant.core.scheduling.checker import check
from regenplant.planning import services
from regenplant.planning.deciding import work_out
from regenplant.planning.models import DayPlan, Decision
from regenplant.planning.selectors import shown
from regenplant.plant.models import PlantProfile
from regenplant.web.presenters.day_plan import past_words
from tests import factories
from tests.factories import SmallPlant
from tests.planning.searched import searched_plan
from tests.web.pages import text_of

As = Callable[[str], Client]
HOME = "/day-plan/"
NOW = datetime(2026, 11, 27, 12, tzinfo=UTC)


def plan(days_ago: int, state: str = "accepted") -> DayPlan:
    return DayPlan(number="DP-1", state=state, from_at=NOW - timedelta(days=days_ago))


@pytest.fixture
def profile(db: None) -> None:
    PlantProfile.objects.update(time_zone="Europe/Berlin")


@pytest.mark.usefixtures("profile")
@pytest.mark.parametrize(
    ("row", "waiting", "words"),
    [
        (plan(0), 3, ""),
        (plan(1), 3, "This is the plan of yesterday. 3 batches of it wait still; start what is right as it is, and make a plan for today: what has started is kept in it."),
        (plan(1), 1, "One batch of it waits still"),
        (plan(2), 0, "This is the plan of Wednesday 25 November 2026. Nothing of it waits any more; make a plan for today"),
        (plan(1, "done"), 0, "This plan was made for yesterday. Make another before you accept one"),
        (plan(9, "set_aside"), 0, ""),
    ],
)  # fmt: skip
def test_a_plan_says_of_which_day_it_is_once_that_is_over(row: DayPlan, waiting: int, words: str) -> None:
    said = past_words(row, waiting, NOW)
    assert (words in said) if words else not said


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=factories.hours_ago(4))


@pytest.fixture
def found(plant: SmallPlant) -> DayPlan:
    factories.accepted_tanks(plant, "sac_h", count=3)
    return searched_plan(plant)


def test_the_home_shows_the_latest_plan_until_one_was_accepted(
    as_: As, plant: SmallPlant, found: DayPlan
) -> None:
    answer = as_("operator").get(HOME)
    assert "Which batch stands in which vessel" in answer.content.decode()
    assert "The latest plan; nobody accepted one yet." in text_of(answer)
    services.accept_plan(by=plant.by("planner", at=timezone.now()), number=found.number)
    later = searched_plan(plant)
    answer = as_("operator").get(HOME)
    markup = answer.content.decode()
    assert "Drawn as it was accepted." in text_of(answer)
    assert answer.context["drawn_plan"] == found and answer.context["drawn"] is not None
    assert f"Vessels {found.number}" in text_of(answer)
    whole = (
        as_("operator").get(f"{HOME}{found.number}/").content.decode()
    )  # every day, also one on which a batch begins
    assert f'<a href="{HOME}{found.number}/batches/' in whole
    assert f'<a href="{HOME}{later.number}/batches/' not in markup
    assert "This is the plan of" not in text_of(answer)


def test_the_pages_of_an_accepted_plan_say_that_its_day_is_over(
    as_: As, plant: SmallPlant, found: DayPlan
) -> None:
    services.accept_plan(by=plant.by("planner", at=timezone.now()), number=found.number)
    DayPlan.objects.filter(pk=found.pk).update(from_at=timezone.now() - timedelta(days=1))
    for address in (HOME, f"{HOME}{found.number}/"):
        page = text_of(as_("planner").get(address))
        assert "This is the plan of yesterday." in page
        assert "Make a plan for today" in page


def test_refusals_tell_the_possible_times_by_the_clock_at_the_plant(
    plant: SmallPlant, found: DayPlan
) -> None:
    PlantProfile.objects.update(time_zone="Europe/Berlin")
    view = shown(found)
    batch = view.plan.batches[0]
    asked: tuple[dict[str, Any], ...] = (
        {"kind": Decision.Kind.PIN, "starts_at": timezone.now() + timedelta(days=90)},
        {"kind": Decision.Kind.RUSH, "tanks": batch.tanks, "wanted_by": timezone.now() + timedelta(days=90)},
    )
    for chosen in asked:
        with pytest.raises(RecordRefused) as refused:
            work_out(number=found.number, batch=batch.id, steps=2, **chosen)
        clock = shown(found).clock
        assert clock.words(clock.now_min) in refused.value.message
        assert clock.words(clock.end_min) in refused.value.message
        assert "Europe/Berlin" in refused.value.message


def test_a_broken_limit_is_told_in_moments_and_never_in_minutes(plant: SmallPlant, found: DayPlan) -> None:
    view = shown(found)
    batch = view.plan.batches[0]
    late = view.problem.calendar_end_min
    stages = tuple(
        replace(one, start_min=one.start_min + late, end_min=one.end_min + late) for one in batch.stages
    )
    broken = check(
        view.problem, replace(view.plan, batches=(replace(batch, stages=stages),)), view.clock.words
    )
    said = [one for one in broken.violations if one.startswith(f"{batch.id}: ends ")]
    assert said == [
        f"{batch.id}: ends {view.clock.words(stages[-1].end_min)}, after the days that are planned, {view.clock.words(late)}"
    ]
    assert not any(re.search(r"minute|\b\d{4,} min", one) for one in broken.violations)
