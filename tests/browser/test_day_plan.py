"""The day plan as people use it: planned, a batch put later by hand, accepted; a lock-out leaves the plan, a tank or a batch that is held;
it is planned again, what was started stays, and the first batch is started from it. A batch says why, a late tank what would have to change.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from regenplant.batches.models import Batch
from regenplant.core.process.vocabulary import StepKind
from regenplant.planning.models import DayPlan, PlannedBatch
from regenplant.planning.search import search
from regenplant.planning.selectors import shown, waiting_batches
from regenplant.plant import services as plant_services
from regenplant.plant.models import Vessel
from tests import factories
from tests.browser import walking
from tests.browser.hands import assert_accessible, assert_fits, shot, sign_in
from tests.factories import SmallPlant
from tests.tanks.test_expecting import away


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


def test_a_batch_of_the_plan_is_held_under_way_and_what_waited_behind_it_moves(
    open_page: Callable[..., Page], plant: SmallPlant, clock: walking.PlantClock
) -> None:
    factories.another_vessel(plant, "C9", "sac_h")
    spare = Vessel.objects.get(code="C9")
    by = plant.by("supervisor", at=clock.now())
    plant_services.lock_out_vessel(by=by, vessel_id=spare.pk, number="118", reason="drain valve work")
    factories.accepted_tanks(plant, "sac_h", 7)
    planner = open_page("tablet")
    sign_in(planner, plant.people["planner"])
    planner.goto("/day-plan/new/")
    accept(planner, made(planner))
    first, second = waiting_batches()
    assert (first.vessel.code, second.vessel.code) == ("C1", "C1")

    floor = open_page("tablet")
    sign_in(floor, plant.people["operator"])
    begun = start(floor, first)
    plant.now = clock.now()
    factories.run_to(plant, begun, StepKind.LOAD, finish=True)
    clock.catch_up(plant.now)
    floor.goto(f"/batches/{begun.number}/")
    floor.get_by_role("link", name="Hold this batch").click()
    floor.locator("#id_reason").fill("the acid pump leaks at its seal")
    walking.press(floor, "Hold this batch")
    expect(floor.locator("main")).to_contain_text("Held")
    by = plant.by("supervisor", at=clock.now())
    plant_services.lift_lock_out(by=by, vessel_id=spare.pk, checked="nobody inside, tools out, valve turned")

    planner.goto("/day-plan/")
    told = planner.locator("main")
    expect(told).to_contain_text(f"{begun.number}, planned as {first.code}, is held: its tanks are not ready")
    expect(told).to_contain_text(f"{second.code} needs C1, where {begun.number} is held")
    assert_accessible(planner)
    assert_fits(planner)
    shot(planner, "day-plan-batch-held")
    planner.get_by_role("link", name="Plan again, keep what has started").click()
    again = made(planner)
    moved = planner.get_by_role("region", name="What moves").locator("tbody tr")
    expect(moved).to_have_count(1)
    expect(moved).to_contain_text("C1, ")
    expect(moved.locator("b")).to_contain_text("C9, ")
    expect(planner.locator("main")).to_contain_text(
        "C1 holds resin that somebody has to decide on; nothing is planned into C1."
    )
    shot(planner, "day-plan-batch-held-again")
    accept(planner, again)

    (planned,) = waiting_batches()
    assert planned.vessel.code == "C9"
    assert {link.visit_id for link in planned.tanks.all()} == {link.visit_id for link in second.tanks.all()}
    first.refresh_from_db()
    begun.refresh_from_db()
    assert (first.state, first.batch_number) == (PlannedBatch.State.STARTED, begun.number)
    assert (begun.state, begun.vessel.code) == ("held", "C1")


def test_a_late_tank_is_asked_what_would_have_to_change_and_a_batch_why(
    open_page: Callable[..., Page], plant: SmallPlant, clock: walking.PlantClock
) -> None:
    factories.accepted_tanks(plant, "sac_h", 3)
    page = open_page("tablet")
    sign_in(page, plant.people["planner"])
    page.goto("/day-plan/new/")
    number = made(page)
    page.get_by_role("link", name="B0001", exact=True).click()
    why = page.get_by_role("heading", name="Why now").locator("xpath=..").locator("li")
    expect(why.first).to_contain_text(re.compile(r"\w+ .*\."))
    for heading in ("Why here", "Why these tanks"):
        expect(page.get_by_role("heading", name=heading)).to_be_visible()
    assert_accessible(page)
    assert_fits(page)
    shot(page, "day-plan-why")

    page.get_by_role("link", name="Rush tanks").click()
    page.get_by_role("checkbox").first.check()
    view = shown(DayPlan.objects.get(number=number))
    soon = timezone.localtime(view.clock.moment(view.plan.batches[0].start_min + 30))
    page.get_by_label("Wanted by").fill(f"{soon:%Y-%m-%dT%H:%M}")
    walking.press(page, "Decide it")
    page.get_by_role("region", name="Tanks of the plan").get_by_role("link", name=re.compile(r" h$")).click()
    expect(page.locator("main")).to_contain_text("Nobody asked yet.")
    walking.press(page, "Ask what would bring it on time")
    answer = page.locator("main")
    expect(answer).to_contain_text("Even alone in the plant it would be ready", timeout=60_000)
    expect(answer).to_contain_text("Each change was put in by itself")
    assert_accessible(page)
    assert_fits(page)
    shot(page, "day-plan-late-tank")


def test_tanks_on_their_way_are_written_down_planned_received_and_started(
    open_page: Callable[..., Page], plant: SmallPlant, clock: walking.PlantClock
) -> None:
    factories.accepted_tank(plant, "sac_h")
    tanks = away(plant, 2)
    page = open_page("tablet")
    sign_in(page, plant.people["planner"])
    page.goto("/waiting/")
    page.get_by_role("link", name="On their way").click()
    page.get_by_role("link", name="Write some down").click()
    page.get_by_label("From").select_option(index=1)
    page.get_by_label("Tanks").fill("\n".join(tank.serial for tank in tanks))
    soon = timezone.localtime(clock.now() + timedelta(hours=2))
    page.get_by_label("At the door").fill(f"{soon:%Y-%m-%dT%H:%M}")
    assert_accessible(page)
    assert_fits(page)
    shot(page, "expected-new")
    walking.press(page, "Write it down")
    expect(page.get_by_role("region", name="Tanks on their way").locator("tbody tr")).to_have_count(2)

    page.goto("/day-plan/new/")
    number = made(page)
    expect(page.get_by_role("region", name="Tanks of the plan")).to_contain_text("on its way, counts from")
    assert_accessible(page)
    assert_fits(page)
    shot(page, "day-plan-expected")
    hours = page.get_by_role("region", name=re.compile("^Plan of .* over the hours$")).last
    captions = hours.locator(".stay .cap")
    expect(captions.first).to_be_visible()
    hours.evaluate("region => { region.scrollLeft = 120 }")
    edge, kept = hours.bounding_box(), captions.first.bounding_box()
    assert edge and kept and abs(kept["x"] - edge["x"]) < 8, "captions of what is shared stay in sight too"
    assert all(
        box["x"] + box["width"] <= edge["x"] + edge["width"]
        for one in captions.all()
        if (box := one.bounding_box())
    )
    accept(page, number)
    planned = next(row for row in waiting_batches() if row.awaited.exists())
    page.goto("/intake/expected/")
    assert_accessible(page)
    assert_fits(page)
    shot(page, "expected")
    phone = open_page("phone")
    sign_in(phone, plant.people["planner"])
    phone.goto("/intake/expected/")
    assert_fits(phone)
    shot(phone, "expected-phone")
    phone.goto(f"/day-plan/{number}/")
    drawn = phone.get_by_role("region", name=re.compile("^Plan of .* over the hours$")).last
    drawn.scroll_into_view_if_needed()
    names = drawn.locator(".stay text").first
    left = drawn.bounding_box()
    drawn.evaluate("region => { region.scrollLeft = 250 }")
    after = names.bounding_box()
    assert left and after
    assert abs(after["x"] - left["x"]) < 8, (
        "the names of the vessels stay in sight while the hours are scrolled"
    )
    phone.goto(f"/planned/{planned.code}/")
    assert_fits(phone)
    shot(phone, "planned-expected-phone")

    assert plant.customer is not None
    clock.forward(hours=2)
    floor = open_page("tablet")
    sign_in(floor, plant.people["operator"])
    for tank in tanks:
        walking.receive_and_accept(floor, tank.serial, plant.customer.name)
    clock.catch_up(planned.starts_at)
    later = open_page("tablet")
    sign_in(later, plant.people["operator"])
    batch = start(later, planned)
    assert {tank.serial for tank in tanks} <= {
        link.visit.tank.serial for link in batch.tank_links.select_related("visit__tank")
    }
