"""The search as it really runs: in a process of its own that the act begins, seen at work, stopped with the best so far, and cleared when
it is gone. Nothing of it is put in its place here but the name of the database.
"""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest
from django.conf import settings as in_force
from django.db import connection
from django.test import Client
from django.utils import timezone

from regenplant.core.scheduling.checker import check
from regenplant.people.models import Person
from regenplant.planning import processes, services
from regenplant.planning.models import DayPlan
from regenplant.planning.selectors import shown
from tests import factories
from tests.web.pages import text_of

pytestmark = pytest.mark.django_db(transaction=True)
LONGEST_S = 60.0
"""So long is waited for a process at most, on a machine with much else to do; it takes about three."""

BEGIN = processes.begin_process
"""As it is outside of tests, which else begin no process (conftest.py)."""


@pytest.fixture(autouse=True)
def own_processes(settings: Any, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Searches of the test find its database; none of them outlives it."""
    monkeypatch.setenv("REGENPLANT_PROCESS_DATABASE", str(connection.settings_dict["NAME"]))
    monkeypatch.setattr(processes, "begin_process", BEGIN)
    settings.SETTINGS_MODULE = "tests.planning.process_settings"
    yield
    for process in processes._begun:
        if process.poll() is None:
            os.kill(process.pid, signal.SIGKILL)
        process.wait()
    processes.reap()


@pytest.fixture
def plant() -> factories.SmallPlant:
    plant = factories.small_plant(now=factories.hours_ago(4))
    for family, count in (("sac_h", 7), ("sba_1", 5)):
        factories.accepted_tanks(plant, family, count=count)
    return plant


def begun(plant: factories.SmallPlant, seconds: int = 40) -> DayPlan:
    row: DayPlan = services.begin_plan(by=plant.by("planner", at=timezone.now()), seconds=seconds).result
    return row


def seen(row: DayPlan, wanted: Callable[[DayPlan], bool]) -> DayPlan:
    """The row as soon as it is as wanted; with what the process printed where it never is."""
    until = time.monotonic() + LONGEST_S
    while not wanted(row):
        assert time.monotonic() < until, f"{row.number} is {row.state}: {row.failure} {log()[-2000:]}"
        time.sleep(0.1)
        row.refresh_from_db()
    return row


def log() -> str:
    path = Path(in_force.DATA_DIR) / processes.LOG
    return path.read_text(encoding="utf-8") if path.exists() else ""


def test_it_begins_by_itself_tells_how_far_it_is_and_stops_with_the_best_so_far(
    plant: factories.SmallPlant, client_of: Callable[[Person], Client]
) -> None:
    row = begun(plant)
    assert (row.state, row.process, row.plan) == (DayPlan.State.RUNNING, None, None)
    row = seen(row, lambda one: one.plan is not None and one.progress_frac > 0.0 and one.steps > 0)
    (process,) = processes._begun
    assert row.state == DayPlan.State.RUNNING
    assert row.process == process.pid != os.getpid()
    assert not processes.is_gone(row, timezone.now())
    assert processes.clear_stale(timezone.now()) == ()
    first = row.progress_frac
    row = seen(row, lambda one: one.progress_frac > first)
    page = text_of(client_of(plant.people["planner"]).get(f"/day-plan/{row.number}/"))
    assert "Best so far: score" in page

    services.stop_plan(by=plant.by("planner", at=timezone.now()), number=row.number)
    row = seen(row, lambda one: one.state != DayPlan.State.RUNNING)
    assert (row.state, row.failure) == (DayPlan.State.STOPPED, "")
    assert process.wait(LONGEST_S) == 0
    view = shown(row)
    assert {serial for batch in view.plan.batches for serial in batch.tanks} == {
        tank.id for tank in view.problem.tanks
    }
    assert check(view.problem, view.plan).is_feasible
    assert row.score == pytest.approx(view.score.total)
    assert "Traceback" not in log()


def test_one_that_was_killed_is_cleared_with_what_it_had_found_and_the_next_one_begins(
    plant: factories.SmallPlant, client_of: Callable[[Person], Client]
) -> None:
    row = seen(begun(plant), lambda one: one.plan is not None)
    (process,) = processes._begun
    os.kill(process.pid, signal.SIGKILL)
    process.wait(LONGEST_S)
    row.refresh_from_db()
    assert row.state == DayPlan.State.RUNNING, "nobody was left to say that it ended"
    assert processes.is_gone(row, timezone.now())
    following = begun(plant)
    row.refresh_from_db()
    assert row.state == DayPlan.State.STOPPED
    assert shown(row).plan.batches
    following = seen(following, lambda one: one.process is not None)
    assert following.process not in (None, process.pid)
    (process,) = processes._begun
    os.kill(process.pid, signal.SIGKILL)
    process.wait(LONGEST_S)
    page = text_of(client_of(plant.people["planner"]).get("/day-plan/"))
    following.refresh_from_db()
    assert following.state in (DayPlan.State.FAILED, DayPlan.State.STOPPED)
    assert f"{following.number} is being searched" not in page
