"""From the dock to the release through the screens, for the families whose way is longer: mixed beds in two legs, sulfuric acid
in steps, a weak base, a polishing mixed bed, and carbon that is exchanged."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from regenplant.audit import chain
from regenplant.batches.models import Batch
from regenplant.core.process.vocabulary import Leg, ResinFamily, StepKind
from regenplant.tanks import services as tank_services
from tests import families
from tests.browser import at_the_bed, walking
from tests.browser.hands import assert_accessible, assert_fits, shot, sign_in
from tests.factories import SmallPlant
from tests.families import WAYS, Family


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> walking.PlantClock:
    return walking.PlantClock(monkeypatch)


@pytest.fixture
def plant(live_server, clock: walking.PlantClock) -> SmallPlant:  # type: ignore[no-untyped-def]
    return families.whole_plant(now=clock.now())


def tanks_away(plant: SmallPlant, way: Family, count: int = 3) -> list[str]:
    """Serials of tanks at a customer's, each with a lot on record."""
    lot = families.lot_on_record(plant, way)
    families.recipe_of(plant, way)
    return [
        tank_services.add_tank(
            by=plant.by("planner"),
            size_id=plant.size.pk,
            resin_type_id=plant.types[way.key].pk,
            segregation_class=way.segregation_class,
            resin_lot_id=lot.pk,
        ).result.serial
        for _ in range(count)
    ]


def start_from_waiting(page: Page, plant: SmallPlant, way: Family) -> str:
    """From the waiting list by the pool's own button, with vessel and recipe chosen, to a batch; returns its number."""
    page.goto("/waiting/")
    name = f"{ResinFamily(way.key).label} · class {way.segregation_class}"
    pool = page.locator("main li").filter(has=page.get_by_role("heading", name=name, exact=True))
    pool.get_by_role("link", name=f"Start in {way.vessel}").click()
    expect(page.get_by_role("heading", level=1)).to_contain_text("Start a batch of")
    if way.recipe:
        recipe = page.get_by_label("Recipe", exact=True)
        version = families.recipe_of(plant, way)
        recipe.select_option(str(version))
        expect(page).to_have_url(re.compile(rf"recipe={version}\b"))
    if way.anion_vessel:
        legs = page.get_by_role("group", name="Vessel of the anion leg")
        legs.get_by_role("radio", name=way.anion_vessel).check()
        expect(page.locator("main")).to_contain_text("comes back when the legs are joined")
        for said in ("Backwash separation", "Interface cut", "Join the legs", "Recirculating rinse"):
            expect(page.locator("main")).to_contain_text(said)
    page.get_by_role("checkbox", name=re.compile("I read the cautions")).check()
    walking.press(page, "Start batch")
    page.wait_for_url(re.compile(r"/batches/B-\d+/"))
    number = page.url.rstrip("/").rsplit("/", 1)[1]
    vessels = f"{way.vessel} and {way.anion_vessel}" if way.anion_vessel else way.vessel
    expect(page.locator(".receipt")).to_contain_text(f"{number} is planned in {vessels}")
    return number


def to_release(open_page: Callable[..., Page], plant: SmallPlant, operator: Page, number: str) -> None:
    """From QC to the release: measured and passed by QC, filled by the operator, released by a person who took no part."""
    expect(operator.locator("main")).to_contain_text("Awaiting QC")
    qc, release = open_page("desk"), open_page("desk")
    sign_in(qc, plant.people["qc"])
    if any(step.kind is StepKind.CUT for step in at_the_bed.planned_steps(number)):
        qc.goto(f"/batches/{number}/qc/")  # what is signed is shown: how the bed parted too
        expect(qc.get_by_role("region", name="Verdict")).to_contain_text(
            "Cation beads found in the anion sample"
        )
    walking.measure_and_pass(qc, number)
    walking.fill_tanks(operator, number, volume="2.9 ft3")
    qc.goto(f"/batches/{number}/release/")
    expect(qc.locator("main")).to_contain_text("another person must release it")
    expect(qc.get_by_role("button", name="Sign and release")).to_have_count(0)
    sign_in(release, plant.people["supervisor 2"])
    walking.review(release, number)
    release.goto(f"/batches/{number}/release/")
    walking.sign(release, "Sign and release")
    expect(release.locator("main")).to_contain_text("Released")
    batch = Batch.objects.get(number=number)
    assert batch.state == "released" and not batch.deviations.exists()
    assert {link.visit.state for link in batch.tank_links.select_related("visit")} == {"released"}
    assert list(chain.verify()) == []
    for page, path in ((operator, f"/batches/{number}/"), (qc, f"/batches/{number}/qc/")):
        page.goto(path)
        assert_accessible(page)
        assert_fits(page)


def receive(page: Page, plant: SmallPlant, way: Family, serials: list[str]) -> None:
    for serial in serials:
        walking.receive_and_accept(page, serial, plant.customer.name, segregation_class=way.segregation_class)


@pytest.mark.parametrize("name", ["mixed bed", "polishing mixed bed"])
def test_a_mixed_bed_parts_into_two_legs_and_joins_again(
    open_page: Callable[..., Page], plant: SmallPlant, clock: walking.PlantClock, name: str
) -> None:
    way = WAYS[name]
    serials = tanks_away(plant, way)
    operator = open_page("tablet")
    sign_in(operator, plant.people["operator"])
    receive(operator, plant, way, serials)
    number = start_from_waiting(operator, plant, way)
    steps = at_the_bed.planned_steps(number)
    cut = at_the_bed.step_of(number, StepKind.CUT)
    join = at_the_bed.step_of(number, StepKind.JOIN)

    at_the_bed.work_through(operator, number, clock, [step for step in steps if step.number <= cut.number])
    separation = operator.get_by_role("region", name="Separation record")
    for spec in (spec for spec in cut.entries if spec.is_required and spec.kind != "confirm"):
        row = separation.get_by_role("row").filter(has_text=spec.name)
        expect(row).not_to_contain_text("not written")
    expect(operator.locator("main")).to_contain_text("By the beads that were counted")
    shot(operator, f"every-family-separation-{way.key}")

    at_the_bed.work_side_by_side(operator, number, clock)
    for leg in (Leg.CATION, Leg.ANION):
        assert not Batch.objects.get(number=number).steps.filter(leg=leg.value).exclude(state="done").exists()
    at_the_bed.work_through(operator, number, clock, [step for step in steps if step.number >= join.number])

    operator.get_by_role("link", name="Rinse-down", exact=True).click()
    expect(operator.locator("#rinse-head")).to_contain_text("The end point is met.")
    shot(operator, f"every-family-rinse-{way.key}")
    to_release(open_page, plant, operator, number)


@pytest.mark.parametrize("name", ["sulfuric cation", "weak base", "carbon"])
def test_a_batch_of_one_bed_goes_from_returned_tanks_to_released_tanks(
    open_page: Callable[..., Page], plant: SmallPlant, clock: walking.PlantClock, name: str
) -> None:
    way = WAYS[name]
    serials = tanks_away(plant, way)
    operator = open_page("tablet")
    sign_in(operator, plant.people["operator"])
    receive(operator, plant, way, serials)
    number = start_from_waiting(operator, plant, way)
    at_the_bed.work_through(operator, number, clock, at_the_bed.planned_steps(number))
    to_release(open_page, plant, operator, number)
