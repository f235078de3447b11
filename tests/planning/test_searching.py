"""A plan is asked for, searched in steps, stopped, fails with its sentence; a search that is gone is cleared."""

from __future__ import annotations

import os
import socket
import subprocess
import sys
from datetime import timedelta
from typing import Any, NamedTuple

import pytest
from django.db import IntegrityError, transaction
from django.utils import timezone

from regenplant.core.errors import NotAllowed, OutOfRange, RecordRefused
from regenplant.core.scheduling.checker import check
from regenplant.planning import processes, services
from regenplant.planning.models import DayPlan
from regenplant.planning.search import search
from regenplant.planning.selectors import newest_plan, running_plan, shown
from tests import factories

STEPS = 4


class Bound(NamedTuple):
    """As much of a lower bound as its search reads."""

    total: float


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant()


def begun(plant: factories.SmallPlant, role: str = "planner", **arguments: Any) -> DayPlan:
    row: DayPlan = services.begin_plan(by=plant.by(role), **{"seconds": 5, **arguments}).result
    return row


def found(plant: factories.SmallPlant, **arguments: Any) -> DayPlan:
    row = search(begun(plant, **arguments).number, steps=STEPS)
    assert row is not None
    return row


@pytest.mark.parametrize("role", ["planner", "supervisor"])
def test_planner_and_supervisor_let_the_plant_be_planned(plant: factories.SmallPlant, role: str) -> None:
    visits = factories.accepted_tanks(plant, "sac_h", count=3)
    row = search(begun(plant, role).number, steps=STEPS)
    assert row is not None
    assert (row.state, row.failure) == (DayPlan.State.DONE, "")
    view = shown(row)
    assert {serial for batch in view.plan.batches for serial in batch.tanks} | set(view.unplaced) == {
        visit.tank.serial for visit in visits
    }
    assert check(view.problem, view.plan).is_feasible
    assert row.score == pytest.approx(view.score.total)
    assert row.bound is not None
    assert row.bound <= row.score
    assert row.progress_frac == 1.0
    assert newest_plan() == row
    assert running_plan() is None


@pytest.mark.parametrize("role", ["operator", "qc"])
def test_others_do_not(plant: factories.SmallPlant, role: str) -> None:
    with pytest.raises(NotAllowed):
        begun(plant, role)
    assert not DayPlan.objects.exists()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ({"seconds": 4}, "5 to 300 seconds"),
        ({"seconds": 301}, "5 to 300 seconds"),
        ({"from_at": factories.START - timedelta(days=2)}, "now or up to seven days ahead"),
        ({"from_at": factories.START + timedelta(days=9)}, "now or up to seven days ahead"),
    ],
)
def test_a_search_outside_its_bounds_is_refused(
    plant: factories.SmallPlant, arguments: dict[str, Any], words: str
) -> None:
    with pytest.raises(OutOfRange, match=words):
        begun(plant, **arguments)


def test_one_plan_is_searched_at_a_time(plant: factories.SmallPlant) -> None:
    first = begun(plant)
    with pytest.raises(RecordRefused, match=f"{first.number} is being searched"):
        begun(plant)
    with pytest.raises(IntegrityError), transaction.atomic():
        DayPlan.objects.create(
            number="DP-999", made_at=first.made_at, made_by=first.made_by, from_at=first.from_at, seconds=5
        )


def test_a_search_that_is_stopped_keeps_the_best_so_far(plant: factories.SmallPlant) -> None:
    factories.accepted_tanks(plant, "sac_h", count=3)
    row = begun(plant)
    services.stop_plan(by=plant.by("planner"), number=row.number)
    ticks = iter(range(0, 10_000, 2))
    row_after = search(row.number, steps=50_000, clock=lambda: float(next(ticks)))
    assert row_after is not None
    assert row_after.state == DayPlan.State.STOPPED
    assert row_after.plan is not None
    assert row_after.steps < 50_000
    with pytest.raises(RecordRefused, match="not being searched any more"):
        services.stop_plan(by=plant.by("planner"), number=row.number)


def test_a_refusal_is_kept_with_its_sentence(
    plant: factories.SmallPlant, monkeypatch: pytest.MonkeyPatch
) -> None:
    factories.accepted_tanks(plant, "sac_h", count=2)
    monkeypatch.setattr("regenplant.plant.selectors.waste_tank", lambda: None)
    row = found(plant)
    assert row.state == DayPlan.State.FAILED
    assert "waste tank" in row.failure
    assert newest_plan() is None


def test_a_defect_is_kept_and_raised(plant: factories.SmallPlant, monkeypatch: pytest.MonkeyPatch) -> None:
    row = begun(plant)

    def broken(*_: Any, **__: Any) -> None:
        raise ZeroDivisionError

    monkeypatch.setattr("regenplant.planning.search.solve", broken)
    with pytest.raises(ZeroDivisionError):
        search(row.number, steps=STEPS)
    row.refresh_from_db()
    assert row.state == DayPlan.State.FAILED
    assert "ZeroDivisionError" in row.failure


def test_a_plant_without_tanks_has_an_empty_plan(plant: factories.SmallPlant) -> None:
    row = found(plant)
    assert row.state == DayPlan.State.DONE
    assert shown(row).plan.batches == ()


def test_a_second_process_leaves_a_search_alone(plant: factories.SmallPlant) -> None:
    row = found(plant)
    assert search(row.number, steps=STEPS) is None


# --- searches that are gone -------------------------------------------------------------------------------------------------
def ended_process() -> int:
    process = subprocess.Popen([sys.executable, "-c", ""])
    process.wait()
    return process.pid


def test_a_search_whose_process_is_gone_is_cleared(plant: factories.SmallPlant) -> None:
    row = begun(plant)
    now = timezone.now()
    DayPlan.objects.update(process=ended_process(), host=socket.gethostname()[:80], told_at=now)
    assert processes.clear_stale(now) == (row.number,)
    row.refresh_from_db()
    assert row.state == DayPlan.State.FAILED
    assert "process is gone" in row.failure


def test_what_it_had_found_is_kept(plant: factories.SmallPlant) -> None:
    row = begun(plant)
    now = timezone.now()
    DayPlan.objects.update(
        process=ended_process(),
        host=socket.gethostname()[:80],
        told_at=now,
        plan={"instance": "", "batches": []},
    )
    processes.clear_stale(now)
    row.refresh_from_db()
    assert row.state == DayPlan.State.STOPPED


def test_one_that_says_nothing_for_a_minute_is_gone_and_one_that_lives_is_not(
    plant: factories.SmallPlant,
) -> None:
    row = begun(plant)
    now = timezone.now()
    DayPlan.objects.update(process=os.getpid(), host=socket.gethostname()[:80], told_at=now)
    assert processes.clear_stale(now + timedelta(seconds=59)) == ()
    assert processes.clear_stale(now + timedelta(seconds=61)) == (row.number,)


def test_one_that_is_too_busy_to_hear_a_stop_is_ended_with_its_best_and_leaves_it_alone(
    plant: factories.SmallPlant, monkeypatch: pytest.MonkeyPatch
) -> None:
    factories.accepted_tanks(plant, "sac_h", count=3)
    row = begun(plant)
    seen: list[DayPlan] = []

    def busy(*_: Any, **__: Any) -> Any:
        """A bound that cannot be broken off, while somebody stops the search and looks at its page."""
        services.stop_plan(by=plant.by("planner"), number=row.number)
        now = timezone.now()
        assert processes.clear_stale(now + processes.DEAF_FOR / 2) == ()
        row.refresh_from_db()
        assert row.state == DayPlan.State.RUNNING
        processes.clear_stale(now + 2 * processes.DEAF_FOR)
        row.refresh_from_db()
        seen.append(row)
        return Bound(0.0)

    monkeypatch.setattr("regenplant.planning.search.lower_bound", busy)
    ticks = iter(range(0, 10_000, 2))
    after = search(row.number, steps=50_000, clock=lambda: float(next(ticks)))
    (ended,) = seen
    assert (ended.state, ended.failure) == (DayPlan.State.STOPPED, "")
    assert after is not None
    assert (after.state, after.plan, after.score, after.ended_at) == (
        ended.state,
        ended.plan,
        ended.score,
        ended.ended_at,
    )
    assert check(shown(after).problem, shown(after).plan).is_feasible


def test_the_next_start_clears_what_is_gone(plant: factories.SmallPlant) -> None:
    first = begun(plant)
    DayPlan.objects.update(
        process=ended_process(), host=socket.gethostname()[:80], told_at=plant.by("planner").at
    )
    second = begun(plant)
    first.refresh_from_db()
    assert first.state == DayPlan.State.FAILED
    assert second.state == DayPlan.State.RUNNING


def test_a_plan_is_set_aside_once(plant: factories.SmallPlant) -> None:
    row = found(plant)
    services.set_plan_aside(by=plant.by("planner"), number=row.number, version=row.version)
    row.refresh_from_db()
    assert row.state == DayPlan.State.SET_ASIDE
    with pytest.raises(RecordRefused, match="set aside and is not set aside"):
        services.set_plan_aside(by=plant.by("planner"), number=row.number)
