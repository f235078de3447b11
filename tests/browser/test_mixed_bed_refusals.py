"""What a mixed bed refuses, as people meet it on the screen: stopping over chemical, joining too early, mixing pools."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from regenplant.batches.models import Batch, Deviation, StepEntry
from regenplant.core.process.vocabulary import Leg, StepKind
from tests import factories, families
from tests.browser import at_the_bed, walking
from tests.browser.hands import assert_accessible, assert_fits, shot, sign_in
from tests.factories import SmallPlant

WHY = "lunch is waiting for us"


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> walking.PlantClock:
    return walking.PlantClock(monkeypatch)


@pytest.fixture
def plant(live_server, clock: walking.PlantClock) -> SmallPlant:  # type: ignore[no-untyped-def]
    return families.whole_plant(now=clock.now())


@pytest.fixture
def parted(plant: SmallPlant) -> Batch:
    """A mixed bed whose legs stand apart, nothing injected yet."""
    batch = families.frozen(plant, "mixed bed")
    families.cut_done(plant, batch)
    return batch


@pytest.fixture
def page(open_page: Callable[..., Page], plant: SmallPlant) -> Page:
    found = open_page("tablet")
    sign_in(found, plant.people["operator"])
    return found


def work(plant: SmallPlant, batch: Batch, leg: Leg, *kinds: StepKind) -> None:
    """Steps of a leg from start to end, through the services."""
    for kind in kinds:
        factories.work_off(plant, families.start_next(plant, families.step_of(batch, kind, leg.value)))


def show(page: Page, plant: SmallPlant, clock: walking.PlantClock, batch: Batch) -> None:
    clock.catch_up(plant.now)
    page.goto(f"/batches/{batch.number}/")


def test_a_mixed_bed_is_not_held_while_either_leg_holds_chemical(
    page: Page, plant: SmallPlant, clock: walking.PlantClock, parted: Batch
) -> None:
    for leg in (Leg.CATION, Leg.ANION):
        families.start_next(plant, families.step_of(parted, StepKind.INJECT, leg.value))
    show(page, plant, clock, parted)
    expect(page.get_by_role("link", name="Hold this batch")).to_have_count(0)
    said = "Do not stop here: Hydrochloric acid (in the cation leg), as well as sodium hydroxide"
    expect(page.locator("main")).to_contain_text(said)
    page.goto(f"/batches/{parted.number}/hold/")
    expect(page.locator("main")).to_contain_text(said)
    expect(page.get_by_role("link", name="It stopped by itself")).to_be_visible()
    assert_accessible(page)

    acid = families.step_of(parted, StepKind.INJECT, "cation")
    factories.work_off(plant, acid)
    work(plant, parted, Leg.CATION, StepKind.DISPLACE)
    show(page, plant, clock, parted)
    expect(page.get_by_role("link", name="Hold this batch")).to_have_count(0)
    expect(page.locator("main")).to_contain_text("Sodium hydroxide (caustic) stands in the anion leg, M2.")
    expect(page.locator("main")).not_to_contain_text("Hydrochloric acid stands in")

    factories.work_off(plant, families.step_of(parted, StepKind.INJECT, "anion"))
    work(plant, parted, Leg.ANION, StepKind.DISPLACE)
    show(page, plant, clock, parted)
    page.get_by_role("link", name="Hold this batch").click()
    page.get_by_label("Why it stands still").fill(WHY)
    page.get_by_role("button", name="Hold this batch").click()
    expect(page.locator("main")).to_contain_text(WHY)
    parted.refresh_from_db()
    assert parted.state == "held"
    assert_accessible(page)
    assert_fits(page)


def test_the_legs_are_not_joined_before_both_are_rinsed(
    page: Page, plant: SmallPlant, clock: walking.PlantClock, parted: Batch
) -> None:
    leg = (StepKind.INJECT, StepKind.DISPLACE, StepKind.RINSE)
    join = at_the_bed.step_of(parted.number, StepKind.JOIN)
    work(plant, parted, Leg.CATION, *leg)
    work(plant, parted, Leg.ANION, StepKind.INJECT)
    show(page, plant, clock, parted)
    expect(page.locator("main")).to_contain_text("The cation leg is done and waits for the anion leg.")
    expect(page.get_by_role("button", name=f"Start step {join.number}")).to_have_count(0)

    # a page that was kept, or a press that was copied: the start of the join is asked for all the same
    displace = at_the_bed.step_of(parted.number, StepKind.DISPLACE, Leg.ANION)
    at_the_bed.write_down(page, displace, is_before=True)
    press = page.get_by_role("button", name=f"Start step {displace.number}", exact=True)
    press.evaluate(
        "(button, number) => button.form.action = button.form.action.replace(/steps\\/\\d+/, `steps/${number}`)",
        join.number,
    )
    press.click()
    refused = page.get_by_role("alert")
    expect(refused).to_contain_text("First: Displacement rinse, anion leg, Intermediate rinse, anion leg")
    assert not parted.steps.filter(kind="join").exclude(state="waiting").exists()
    shot(page, "refusal-join")

    page.goto(f"/batches/{parted.number}/")
    page.get_by_role("button", name=f"Start step {displace.number}", exact=True).click()
    clock.forward(seconds=displace.value("duration_s"))
    at_the_bed.finish(page, displace)
    rinse = at_the_bed.step_of(parted.number, StepKind.RINSE, Leg.ANION)
    at_the_bed.work(page, parted.number, rinse, clock)
    card = at_the_bed.card(page, join)
    expect(card.get_by_text(f"Start step {join.number}: Before the start, write down: ")).to_be_visible()
    for tick in (spec for spec in join.entries if spec.is_before and spec.kind == "confirm"):
        card.get_by_label(re.compile(rf"^{re.escape(tick.name)}")).check()
    card.get_by_role("button", name="Write the ticks down").click()
    expect(page.locator(".receipt")).to_contain_text("one tick")
    # acid still drains from the cation leg
    card.get_by_role("textbox", name=re.compile("^Write down: pH.*cation", re.I)).fill("2.1")
    card.get_by_role("button", name="Write it down", exact=True).click()
    expect(card.locator(".err")).to_contain_text("is outside the limits")
    expect(card.locator(".err")).to_contain_text("3.5")
    assert not StepEntry.objects.filter(step__batch=parted, key="cation_ph").exists()
    assert_accessible(page)
    assert_fits(page)


def test_no_leg_starts_before_the_separation_record_is_whole(
    page: Page, plant: SmallPlant, clock: walking.PlantClock
) -> None:
    batch = families.frozen(plant, "mixed bed")
    families.start_next(plant, families.work_to(plant, batch, StepKind.CUT))
    plant.forward(minutes=30)
    show(page, plant, clock, batch)
    cut = at_the_bed.step_of(batch.number, StepKind.CUT)
    card = at_the_bed.card(page, cut)
    expect(card.get_by_text(re.compile("^Step done: First write down .*Interface above"))).to_be_visible()
    for step in (at_the_bed.step_of(batch.number, StepKind.INJECT, leg) for leg in (Leg.CATION, Leg.ANION)):
        expect(at_the_bed.card(page, step)).to_have_count(0)

    stray = next(spec for spec in cut.entries if spec.key == "cation_in_anion")
    page.goto(f"/batches/{batch.number}/?entry={stray.key}")
    card.get_by_role("textbox", name=re.compile("^Write down: ")).fill("4 %")
    card.get_by_role("button", name="Write it down", exact=True).click()
    expect(card.locator(".err")).to_contain_text("is outside the limits")
    card.get_by_role("button", name="It is true: write it down").click()
    expect(page.locator(".receipt")).to_contain_text("a deviation is open")
    assert Deviation.objects.get(batch=batch).severity == "major"
    row = page.get_by_role("region", name="Separation record").get_by_role("row").filter(has_text=stray.name)
    expect(row).to_contain_text(re.compile(r"4\.0+\s%"))
    expect(page.locator("main")).to_contain_text("Still to write:")
    assert_accessible(page)
    assert_fits(page)
    shot(page, "refusal-separation")


def test_a_polishing_tank_never_gets_into_a_pool_of_working_mixed_beds(
    page: Page, plant: SmallPlant, clock: walking.PlantClock
) -> None:
    working = factories.accepted_tanks(plant, "mb", 3)
    # of the same class, so that only the grade keeps them apart
    polishing = factories.accepted_tank(plant, "mb_p")
    clock.catch_up(plant.now)
    page.goto("/waiting/")
    for title, says in (
        ("Mixed bed, working grade · class D", "Start in M1"),
        ("Mixed bed, polishing grade · class D", "No vessel takes this family and class"),
    ):
        pool = page.locator("main li").filter(has=page.get_by_role("heading", name=title, exact=True))
        expect(pool).to_contain_text(says)
    start = f"/start/?type={plant.types['mb'].pk}&class=D&chosen=1"
    asked = "".join(f"&tanks={visit.pk}" for visit in (*working, polishing))
    page.goto(start + asked)
    tanks = page.get_by_role("group", name="Tanks of this batch")
    expect(tanks.get_by_role("checkbox")).to_have_count(3)
    expect(tanks).not_to_contain_text(polishing.tank.serial)

    # a form that was tampered with
    tanks.evaluate(
        """(group, key) => group.insertAdjacentHTML('beforeend', `<input type="hidden" name="tanks" value="${key}">`)""",
        polishing.pk,
    )
    page.get_by_role("checkbox", name=re.compile("I read the cautions")).check()
    page.get_by_role("button", name="Start batch").click()
    expect(page.locator("main")).to_contain_text("Different pools are never mixed.")
    assert not Batch.objects.exists()
    assert_accessible(page)
    shot(page, "refusal-polishing")
