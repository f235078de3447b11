"""What the plant refuses, as people meet it on the screen: a sentence with what was seen and allowed, nothing lost."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from regenplant.audit.models import AuditEvent
from regenplant.batches.models import Batch, Deviation, StepEntry
from regenplant.core.process.vocabulary import StepKind
from regenplant.people.models import Signature
from regenplant.plant import services as plant_services
from tests import factories
from tests.browser import walking
from tests.browser.hands import assert_accessible, assert_fits, shot, sign_in
from tests.factories import SmallPlant


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> walking.PlantClock:
    return walking.PlantClock(monkeypatch)


@pytest.fixture
def plant(live_server, clock: walking.PlantClock) -> SmallPlant:
    return factories.small_plant(now=clock.now())


def start_url(plant: SmallPlant, family: str = "sac_h") -> str:
    return f"/start/?type={plant.types[family].pk}&class=D"


def test_two_people_start_with_the_same_tanks_and_the_second_is_told(
    open_page: Callable[..., Page], plant: SmallPlant
) -> None:
    factories.accepted_tanks(plant, "sac_h", 3)
    first, second = open_page("tablet"), open_page("tablet")
    for page, who in ((first, "operator"), (second, "operator 2")):
        sign_in(page, plant.people[who])
        page.goto(start_url(plant))
        page.get_by_role("checkbox", name=re.compile("I read the cautions")).check()
    walking.press(first, "Start batch")
    first.wait_for_url(re.compile(r"/batches/B-"))
    walking.press(second, "Start batch")
    expect(second.locator("main")).to_contain_text("Its tanks may be in another batch by now")
    assert Batch.objects.count() == 1
    shot(second, "refusal-same-tanks")


def test_a_locked_out_vessel_blocks_the_start_with_its_reason(
    open_page: Callable[..., Page], plant: SmallPlant
) -> None:
    factories.accepted_tanks(plant, "sac_h", 3)
    plant_services.lock_out_vessel(
        by=plant.by("supervisor"), vessel_id=plant.vessels["C1"].pk, number="118", reason="drain valve work"
    )
    page = open_page("tablet")
    sign_in(page, plant.people["operator"])
    page.goto(start_url(plant))
    expect(page.get_by_role("button", name="Start batch")).to_have_count(0)
    expect(page.locator("main")).to_contain_text("drain valve work")
    assert_accessible(page)
    assert_fits(page)


def test_too_few_tanks_say_how_much_is_missing(open_page: Callable[..., Page], plant: SmallPlant) -> None:
    factories.accepted_tanks(plant, "sac_h", 1)
    page = open_page("tablet")
    sign_in(page, plant.people["operator"])
    page.goto("/floor/")
    expect(page.locator("main")).to_contain_text(re.compile(r"Needs 98(\.0)?\sL more"))
    page.goto(start_url(plant))
    expect(page.locator("main")).to_contain_text("Too few to start")


def running_injection(plant: SmallPlant) -> tuple[Batch, str]:
    batch = factories.frozen_batch(plant, "sac_h")
    step = factories.run_to(plant, batch, StepKind.INJECT)
    batch.refresh_from_db()
    return batch, f"/batches/{batch.number}/?entry=strength" if step else ""


def test_a_value_outside_comes_back_red_and_is_kept_only_when_said_to_be_true(
    open_page: Callable[..., Page], plant: SmallPlant, clock: walking.PlantClock
) -> None:
    batch, url = running_injection(plant)
    clock.forward(hours=8)  # the batch was run ahead of the server's clock; the page comes after it
    page = open_page("tablet")
    sign_in(page, plant.people["operator"])
    page.goto(url)
    page.locator("#write input[name=value]").fill("15.1 %")
    walking.press(page, "Write it down")
    expect(page.locator("main")).to_contain_text(re.compile(r"15\.10\s% is outside"))
    expect(page.locator("#write input[name=value]")).to_have_value("15.1 %")
    assert not StepEntry.objects.filter(step__batch=batch, key="strength").exists()
    assert_accessible(page)
    shot(page, "refusal-outside")
    page.locator("#write input[name=value]").fill("6.2 %")
    walking.press(page, "Write it down")
    walking.press(page, "It is true: write it down")
    expect(page.locator("#write input[name=value]")).to_have_value("")
    page.locator("#write input[name=value]").fill("6.2 %")  # critical: once more, out of sight of the first
    walking.press(page, "Write it down")
    expect(page.locator("main")).to_contain_text("It is outside its limits, so a deviation is open")
    assert Deviation.objects.filter(batch=batch, what__contains="6.2 %").exists()


@pytest.mark.parametrize(
    "typed", ["acid", "5.1 kg", "-5 %", "1e30 %", "5,100 %", "<script>alert(1)</script> %"]
)
def test_a_bad_number_is_answered_beside_the_field_and_stays_there(
    open_page: Callable[..., Page], plant: SmallPlant, clock: walking.PlantClock, typed: str
) -> None:
    batch, url = running_injection(plant)
    clock.forward(hours=8)
    page = open_page("phone")
    sign_in(page, plant.people["operator"])
    page.goto(url)
    page.locator("#write input[name=value]").fill(typed)
    walking.press(page, "Write it down")
    expect(page.locator("#write .err").first).to_be_visible()
    expect(page.locator("#write input[name=value]")).to_have_value(typed)
    assert not StepEntry.objects.filter(step__batch=batch, key="strength").exists()
    assert_fits(page)


def test_a_batch_with_acid_in_its_bed_has_no_hold_button_but_a_sentence(
    open_page: Callable[..., Page], plant: SmallPlant, clock: walking.PlantClock
) -> None:
    batch, _ = running_injection(plant)
    clock.forward(hours=8)
    page = open_page("tablet")
    sign_in(page, plant.people["operator"])
    page.goto(f"/batches/{batch.number}/")
    expect(page.get_by_role("link", name="Hold this batch")).to_have_count(0)
    expect(page.locator("main")).to_contain_text("Do not stop here: Hydrochloric acid stands in the bed")
    page.watch.expect(400)  # type: ignore[attr-defined]
    page.goto(f"/batches/{batch.number}/hold/")
    expect(page.locator("main")).to_contain_text("Do not stop here")


def test_a_wrong_password_signs_nothing_and_is_written_down(
    open_page: Callable[..., Page], plant: SmallPlant, clock: walking.PlantClock
) -> None:
    batch = factories.filled_batch(plant, "sac_h")
    factories.reviewed(plant, batch)
    clock.forward(hours=12)
    page = open_page("desk")
    sign_in(page, plant.people["supervisor 2"])
    page.goto(f"/batches/{batch.number}/release/")
    page.locator(".sign input[name=username]").fill(plant.people["supervisor 2"].username)
    page.locator(".sign input[type=password]").fill("not my password")
    walking.press(page, "Sign and release")
    expect(page.locator(".sign")).to_contain_text("User name and password do not fit, so nothing was signed")
    expect(page.locator(".sign input[type=password]")).to_have_value("")
    expect(page.get_by_text("User name and password do not fit, so nothing was signed")).to_be_in_viewport()
    batch.refresh_from_db()
    assert batch.state == "filled"
    assert not Signature.objects.filter(record_kind="release").exists()
    assert AuditEvent.objects.filter(event="signature.refused").count() == 1
    assert_accessible(page)
    shot(page, "refusal-password")


def test_a_tank_with_sour_first_water_is_held_by_itself(
    open_page: Callable[..., Page], plant: SmallPlant
) -> None:
    visit = factories.received_tank(plant, "sac_h")
    page = open_page("tablet")
    sign_in(page, plant.people["operator"])
    page.goto(f"/intake/{visit.number}/")
    for name, value in (
        ("shell", "sound"), ("head_and_fittings", "sound"), ("odour", "none"), ("water_colour", "clear"),
        ("oxidizer_strip", "none"),
    ):  # fmt: skip
        page.locator(f"input[name={name}][value={value}]").check()
    page.get_by_label(re.compile("first drain", re.I)).first.fill("3.1")
    walking.press(page, "Write it down")
    expect(page.locator("main")).to_contain_text("3.1")
    expect(page.get_by_role("button", name=re.compile("Accept to class"))).to_have_count(0)
    visit.refresh_from_db()
    assert visit.state == "held"
    assert_accessible(page)
    shot(page, "refusal-sour")


def test_a_code_that_fits_nothing_says_so_and_a_scan_never_acts(
    open_page: Callable[..., Page], plant: SmallPlant
) -> None:
    visit = factories.received_tank(plant, "sac_h")
    page = open_page("tablet")
    page.watch.expect(404)  # type: ignore[attr-defined]
    sign_in(page, plant.people["operator"])
    before = AuditEvent.objects.count()
    for code, says in (
        ("Q-777", "fits no tank, batch or paper"),
        (visit.tank.serial.lower(), visit.tank.serial),
    ):
        page.locator("#scan").fill(code)
        page.locator("#scan").press("Enter")
        expect(page.locator("main")).to_contain_text(says)
    assert AuditEvent.objects.count() == before


@pytest.mark.parametrize(
    "path",
    [
        "/batches/B-99999/",
        "/tanks/T-0/",
        "/intake/V-1/",
        "/batches/B-99999/rinse/",
        "/papers/batches/B-9/sheet.pdf",
        "/nowhere/",
    ],
)
def test_what_is_not_here_says_so_and_is_never_a_crash(
    open_page: Callable[..., Page], plant: SmallPlant, path: str
) -> None:
    page = open_page("tablet")
    page.watch.expect(400, 404)  # type: ignore[attr-defined]
    sign_in(page, plant.people["operator"])
    answer = page.goto(path)
    assert answer is not None and answer.status in (400, 404)
    expect(page.locator("h1")).to_be_visible()
    assert_accessible(page)


def test_a_person_without_the_right_sees_the_reason_on_the_button(
    open_page: Callable[..., Page], plant: SmallPlant
) -> None:
    factories.accepted_tanks(plant, "sac_h", 3)
    page = open_page("desk")
    sign_in(page, plant.people["qc"])
    page.goto(start_url(plant))
    expect(page.get_by_role("button", name="Start batch")).to_have_count(0)
    expect(page.locator("main")).to_contain_text(
        "Start batch: This takes an operator, supervisor or planner."
    )
