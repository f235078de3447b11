"""The day plan as people use it: planned, a batch put later by hand, accepted; a lock-out leaves the plan, or a tank that is held; it is
planned again, what was started stays, and the first batch is started from it.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from regenplant.batches.models import Batch
from regenplant.planning.models import DayPlan, PlannedBatch
from regenplant.planning.search import search
from regenplant.planning.selectors import waiting_batches
from regenplant.plant import services as plant_services
from regenplant.plant.models import Vessel
from tests import factories
from tests.browser import walking
from tests.browser.hands import assert_accessible, assert_fits, shot, sign_in
from tests.factories import SmallPlant


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> walking.PlantClock:
    monkeypatch.setattr("regenplant.planning.processes.begin_process", lambda number: search(number, steps=6))
    return walking.PlantClock(monkeypatch)


@pytest.fixture
def plant(live_server: Any, clock: walking.PlantClock) -> SmallPlant:
    return factories.small_plant(now=clock.now())


def made(page: Page) -> str:
    """The number of a plan that was asked for and found."""
    page.get_by_label("Seconds to search").fill("5")
    walking.press(page, "Search")
    page.wait_for_url(re.compile(r"/day-plan/DP-\d+/"))
    expect(page.locator("main")).to_contain_text("found")
    return page.url.rstrip("/").rsplit("/", 1)[1]


def accept(page: Page, number: str) -> None:
    page.goto(f"/day-plan/{number}/")
    page.get_by_role("link", name="Accept it").click()
    walking.press(page, "Accept it")
    expect(page.locator("main")).to_contain_text(f"{number} is the plan of the plant")


def test_a_day_is_planned_changed_accepted_planned_again_and_begun(
    open_page: Callable[..., Page], plant: SmallPlant, clock: walking.PlantClock
) -> None:
    factories.accepted_tanks(plant, "sac_h", 3)
    factories.another_vessel(plant, "C9", "sac_h")
    page = open_page("tablet")
    sign_in(page, plant.people["planner"])
    page.goto("/waiting/")
    page.get_by_role("link", name="Day plan").click()
    page.get_by_role("link", name="Make a plan").click()
    number = made(page)
    assert_accessible(page)
    assert_fits(page)
    shot(page, "day-plan")

    page.get_by_role("link", name="B0001", exact=True).click()
    page.get_by_role("link", name="Put it in a vessel or at a time").click()
    vessel = DayPlan.objects.get(number=number).plan["batches"][0]["vessel"]
    other = "C9" if vessel != "C9" else "C1"
    page.get_by_label("Vessel").select_option(other)
    page.get_by_label("Begins").fill("")
    walking.press(page, "Decide it")
    expect(page.locator("main")).to_contain_text("It costs:")
    expect(page.locator("main")).to_contain_text(f"in {other}")
    accept(page, number)
    assert_accessible(page)
    assert_fits(page)
    shot(page, "day-plan-accepted")

    plant_services.lock_out_vessel(
        by=plant.by("supervisor", at=clock.now()),
        vessel_id=Vessel.objects.get(code=other).pk,
        number="118",
        reason="drain valve work",
    )
    page.goto("/day-plan/")
    expect(page.locator("main")).to_contain_text(f"needs {other}, which is locked out: drain valve work")
    shot(page, "day-plan-left")
    page.get_by_role("link", name="Plan again, keep what has started").click()
    again = made(page)
    expect(page.locator("main")).to_contain_text("against the plan that holds")
    accept(page, again)
    (planned,) = waiting_batches()
    assert planned.vessel.code == vessel

    floor = open_page("tablet")
    sign_in(floor, plant.people["operator"])
    floor.goto(f"/scan/?code={planned.code}")
    floor.get_by_role("link", name="Look at it, then start").click()
    floor.get_by_role("checkbox", name=re.compile("I read the cautions")).check()
    walking.press(floor, "Start batch")
    floor.wait_for_url(re.compile(r"/batches/B-"))
    batch = Batch.objects.get()
    planned.refresh_from_db()
    assert (planned.state, planned.batch_number) == (PlannedBatch.State.STARTED, batch.number)
    assert batch.vessel.code == vessel


def start(page: Page, planned: PlannedBatch) -> Batch:
    """A planned batch from its code on the wall to a running number."""
    page.goto(f"/scan/?code={planned.code}")
    page.get_by_role("link", name="Look at it, then start").click()
    page.get_by_role("checkbox", name=re.compile("I read the cautions")).check()
    walking.press(page, "Start batch")
    page.wait_for_url(re.compile(r"/batches/B-"))
    planned.refresh_from_db()
    assert planned.state == PlannedBatch.State.STARTED
    return Batch.objects.get(number=planned.batch_number)


def test_a_tank_that_is_held_leaves_the_plan_and_what_was_started_stays(
    open_page: Callable[..., Page], plant: SmallPlant, clock: walking.PlantClock
) -> None:
    factories.accepted_tanks(plant, "sac_h", 4)
    factories.accepted_tanks(plant, "sba_1", 3)
    planner = open_page("tablet")
    sign_in(planner, plant.people["planner"])
    planner.goto("/day-plan/new/")
    first = made(planner)
    accept(planner, first)
    cation, anion = sorted(waiting_batches(), key=lambda one: one.resin_type.family != "sac_h")

    floor = open_page("tablet")
    sign_in(floor, plant.people["operator"])
    begun = start(floor, anion)

    held = cation.tanks.select_related("visit__tank").first()
    assert held is not None
    supervisor = open_page("tablet")
    sign_in(supervisor, plant.people["supervisor"])
    supervisor.goto(f"/scan/?code={held.visit.number}")
    supervisor.get_by_label("Reason").fill("Its label is torn off, nobody knows the owner")
    walking.press(supervisor, "Hold")
    expect(supervisor.locator("main")).to_contain_text("Held")

    planner.goto("/day-plan/")
    expect(planner.locator("main")).to_contain_text(f"{cation.code}: {held.visit.tank.serial} is held")
    shot(planner, "day-plan-tank-held")
    planner.get_by_role("link", name="Plan again, keep what has started").click()
    again = made(planner)
    expect(planner.get_by_role("region", name="What moves")).to_contain_text(f"{cation.vessel.code}, ")
    expect(planner.locator("main")).to_contain_text(
        f"{cation.code}, planned before, goes without it: {held.visit.tank.serial} is held"
    )
    expect(planner.locator("main")).to_contain_text(begun.number)
    shot(planner, "day-plan-again")
    accept(planner, again)

    (planned,) = waiting_batches()
    serials = {link.visit.tank.serial for link in planned.tanks.all()}
    assert len(serials) == 3
    assert held.visit.tank.serial not in serials
    cation.refresh_from_db()
    assert cation.state == PlannedBatch.State.REPLACED
    wall = walking.open_pdf(planner, f"/papers/day-plans/{again}/wall.pdf")
    assert walking.codes_on(wall) == {planned.code, begun.number}
    batch = start(floor, planned)
    assert {link.visit.tank.serial for link in batch.tank_links.select_related("visit__tank")} == serials
    begun.refresh_from_db()
    assert begun.vessel.code == anion.vessel.code
