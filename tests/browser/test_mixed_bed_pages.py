"""The pages of mixed beds and carbon in a real browser: they fit every screen, can be read and pressed, and say which leg is which."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from regenplant.batches.models import Batch
from regenplant.core.process.vocabulary import Leg, StepKind
from tests import factories, families
from tests.browser import at_the_bed, walking
from tests.browser.hands import (
    WIDTHS,
    assert_accessible,
    assert_fits,
    assert_targets_are_large,
    shot,
    sign_in,
)
from tests.factories import SmallPlant


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> walking.PlantClock:
    return walking.PlantClock(monkeypatch)


@pytest.fixture
def plant(live_server, clock: walking.PlantClock) -> SmallPlant:  # type: ignore[no-untyped-def]
    return families.whole_plant(now=clock.now())


def look(page: Page, path: str, name: str) -> None:
    """A page at every width: nothing scrolls sideways, everything can be pressed, axe finds nothing."""
    for screen, (width, height) in WIDTHS.items():
        page.set_viewport_size({"width": width, "height": height})
        page.goto(path)
        assert_fits(page)
        assert_targets_are_large(page)
        assert_accessible(page)
        shot(page, f"{name}-{screen}")


@pytest.fixture
def side_by_side(plant: SmallPlant, clock: walking.PlantClock) -> Batch:
    """A mixed bed with acid running in one leg and caustic in the other."""
    batch = families.frozen(plant, "mixed bed")
    families.cut_done(plant, batch)
    for leg in (Leg.CATION, Leg.ANION):
        families.start_next(plant, families.step_of(batch, StepKind.INJECT, leg.value))
    clock.catch_up(plant.now)
    clock.forward(minutes=9)
    return batch


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_both_legs_stand_on_one_page_at_every_width(
    open_page: Callable[..., Page], plant: SmallPlant, side_by_side: Batch, dark: bool
) -> None:
    page = open_page("desk", dark=dark)
    sign_in(page, plant.people["operator"])
    path, shade = f"/batches/{side_by_side.number}/", "dark" if dark else "light"
    look(page, path, f"mixed-bed-legs-{shade}")
    for leg, vessel, chemical in (
        (Leg.CATION, "M1", "Hydrochloric acid"),
        (Leg.ANION, "M2", "Sodium hydroxide (caustic)"),
    ):
        card = at_the_bed.card(page, at_the_bed.step_of(side_by_side.number, StepKind.INJECT, leg))
        expect(card).to_contain_text(re.compile(rf"{leg.label}, {vessel}: running since", re.I))
        expect(card).to_contain_text(f"{chemical} stands in the {leg.label}, {vessel}.")
    look(page, "/floor/", f"mixed-bed-floor-{shade}")


def test_what_is_typed_into_one_leg_is_refused_there_and_not_in_the_other(
    open_page: Callable[..., Page], plant: SmallPlant, side_by_side: Batch
) -> None:
    page = open_page("tablet")
    sign_in(page, plant.people["operator"])
    page.goto(f"/batches/{side_by_side.number}/")
    acid, caustic = (
        at_the_bed.card(page, at_the_bed.step_of(side_by_side.number, StepKind.INJECT, leg))
        for leg in (Leg.CATION, Leg.ANION)
    )
    field = re.compile("^Write down: strength")
    caustic.get_by_role("textbox", name=field).fill("14 %")
    caustic.get_by_role("button", name="Write it down", exact=True).click()
    expect(caustic.locator(".err")).to_contain_text("is outside the limits")
    expect(caustic.get_by_role("textbox", name=field)).to_have_value("14 %")
    expect(acid.locator(".err")).to_have_count(0)
    expect(acid.get_by_role("textbox", name=field)).to_have_value("")
    assert_accessible(page)
    assert_fits(page)


def test_the_start_page_of_a_mixed_bed_plans_again_with_another_anion_vessel(
    open_page: Callable[..., Page], plant: SmallPlant, clock: walking.PlantClock
) -> None:
    families.tanks_for(plant, families.WAYS["mixed bed"])
    clock.catch_up(plant.now)
    page = open_page("desk")
    sign_in(page, plant.people["operator"])
    path = f"/start/?type={plant.types['mb'].pk}&class=D"
    look(page, path, "mixed-bed-start")
    page.goto(path)  # anew: axe leaves its own style attributes on the elements it measured
    legs = page.get_by_role("group", name="Vessel of the anion leg")
    expect(legs.get_by_role("radio", name="M2")).to_be_checked()
    digest = page.locator("input[name=digest]").input_value()
    legs.get_by_role("radio", name="A1").check()
    expect(page).to_have_url(re.compile(rf"anion_vessel={plant.vessels['A1'].pk}\b"))
    expect(
        page.get_by_role("group", name="Vessel of the anion leg").get_by_role("radio", name="A1")
    ).to_be_checked()
    assert page.locator("input[name=digest]").input_value() != digest
    page.get_by_label("Water these tanks treated, all together").fill("40 m3")
    page.get_by_role("button", name="Plan again").click()
    expect(page).to_have_url(re.compile("throughput=40"))
    expect(page.get_by_label("Water these tanks treated, all together")).to_have_value("40 m3")


def test_the_later_pages_of_a_mixed_bed_fit_and_are_accessible(
    open_page: Callable[..., Page], plant: SmallPlant, clock: walking.PlantClock
) -> None:
    operator, qc = open_page("desk"), open_page("desk")
    sign_in(operator, plant.people["operator"])
    sign_in(qc, plant.people["qc"])
    batch = families.frozen(plant, "mixed bed")
    families.start_next(plant, families.work_to(plant, batch, StepKind.CUT))
    factories.write_required(plant, families.step_of(batch, StepKind.CUT), is_before=False)
    clock.catch_up(plant.now)
    look(operator, f"/batches/{batch.number}/", "mixed-bed-separation")
    look(operator, f"/batches/{batch.number}/plan/", "mixed-bed-plan")

    plant.forward(hours=1)
    factories.work_off(plant, families.step_of(batch, StepKind.CUT))
    families.start_next(plant, families.work_to(plant, batch, StepKind.RECIRCULATE))
    for value in ("8.1 µS/cm", "2.4 µS/cm", "0.9 µS/cm", "0.4 µS/cm"):
        plant.forward(minutes=4)
        factories.reading(plant, batch, value)
    clock.catch_up(plant.now)
    look(operator, f"/batches/{batch.number}/rinse/", "mixed-bed-rinse")

    families.work_to(plant, batch, StepKind.SAMPLE)
    sample = families.start_next(plant, families.step_of(batch, StepKind.SAMPLE))
    factories.work_off(plant, sample)
    factories.measured_sample(plant, batch)
    clock.catch_up(plant.now)
    look(qc, f"/batches/{batch.number}/qc/", "mixed-bed-qc")
    expect(qc.locator("main")).to_contain_text("Silica")


def test_carbon_and_how_we_know_fit_and_are_accessible(
    open_page: Callable[..., Page], plant: SmallPlant, clock: walking.PlantClock
) -> None:
    page = open_page("desk")
    sign_in(page, plant.people["operator"])
    batch = families.frozen(plant, "carbon")
    families.start_next(plant, families.work_to(plant, batch, StepKind.SANITIZE))
    clock.catch_up(plant.now)
    look(page, f"/batches/{batch.number}/", "carbon-batch")
    expect(page.locator("main")).not_to_contain_text(re.compile("regenerat", re.I))
    look(page, "/how-we-know/", "how-we-know")
    look(page, "/bench/", "bench-list")
