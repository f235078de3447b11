"""The page of a plan with very many tanks."""

from __future__ import annotations

import copy
import json
import os
import subprocess
import sys
import time
from collections.abc import Callable
from urllib.parse import urlsplit

import pytest
from django.conf import settings
from django.db import connection
from django.test import Client
from django.utils import timezone

from regenplant.core.scheduling.exchange import problem_from
from regenplant.core.scheduling.solve import Budget, solve
from regenplant.people.models import Person
from regenplant.planning.clock import PlanClock
from regenplant.planning.kept import Notes, notes_to, plan_to, problem_to
from regenplant.planning.models import DayPlan
from tests import factories
from tests.core.scheduling.instances import instance

TANKS = 600


def large_plan(by: Person) -> DayPlan:
    """A plan of an invented plant with eight vessels and room enough."""
    text = json.dumps(instance(3, tanks=TANKS))
    data = json.loads(text.replace('"acid"', '"hcl"').replace('"caustic"', '"naoh"'))
    first = data["vessels"][0]
    data["vessels"] = [{**copy.deepcopy(first), "id": f"V{number}", "max_fill_l": 600} for number in range(8)]
    data["waste"] = {"capacity_l": 200_000, "initial_l": 0, "drain_l_per_min": 300}
    data["water"]["deionized"]["rate_l_per_min"] = 2_000
    for supply in data["chemicals"].values():
        supply |= {"skid_lines": 3, "initial_kg": 20_000}
    for shift in data["operator_shifts"]:
        shift["operators"] = 4
    problem = problem_from(data)
    now = timezone.now()
    return DayPlan.objects.create(
        number="DP-777",
        state=DayPlan.State.DONE.value,
        made_at=now,
        made_by=by,
        from_at=now,
        problem=problem_to(problem),
        plan=plan_to(solve(problem, 1, Budget(steps=1)).plan),
        notes=notes_to(Notes(PlanClock(now, problem.slot_min, 12))),
        seconds=5,
        score=1.0,
        ended_at=now,
    )


@pytest.mark.django_db
def test_the_page_of_six_hundred_tanks_comes_in_time(client_of: Callable[[Person], Client]) -> None:
    """Bound: 0.3 s of this program's own time for the whole page with its frame; measured on two busy cores 0.14 s."""
    plant = factories.small_plant(now=factories.hours_ago(4))
    row = large_plan(plant.people["planner"])
    client = client_of(plant.people["planner"])
    took = []
    for _ in range(3):
        begun = time.process_time()
        answer = client.get(f"/day-plan/{row.number}/")
        took.append(time.process_time() - begun)
    assert answer.status_code == 200
    assert answer.content.decode().count("/tanks/K") >= TANKS
    assert min(took) < 0.3, f"{min(took):.3f} s"


@pytest.mark.django_db(transaction=True)
def test_the_first_page_of_a_fresh_server_comes_in_time_too(client_of: Callable[[Person], Client]) -> None:
    """Bound as above: templates, units and pages are loaded before anybody asks. Measured on two busy cores 0.16 s, without that 0.84 s."""
    plant = factories.small_plant(now=factories.hours_ago(4))
    row = large_plan(plant.people["planner"])
    session = client_of(plant.people["planner"]).cookies[settings.SESSION_COOKIE_NAME].value
    answer = subprocess.run(
        [
            sys.executable,
            "-m",
            "tests.web.first_page",
            f"/day-plan/{row.number}/",
            f"{settings.SESSION_COOKIE_NAME}={session}",
        ],
        env={**os.environ, "DJANGO_SETTINGS_MODULE": "tests.settings", "DATABASE_URL": address_of_database()},
        capture_output=True,
        text=True,
        check=True,
    )
    found = json.loads(answer.stdout.splitlines()[-1])
    assert found["status"] == "200 OK"
    assert found["tanks"] >= TANKS
    assert found["took_s"] < 0.3, f"{found['took_s']:.3f} s"


def address_of_database() -> str:
    """Of the one that this run tests in."""
    name = connection.settings_dict["NAME"]
    if connection.vendor == "sqlite":
        return f"sqlite:///{name}"
    return urlsplit(os.environ["DATABASE_URL"])._replace(path=f"/{name}").geturl()
