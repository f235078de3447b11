"""The story of a batch on a phone and at a desk, and a verdict with everything wrong, in a real browser."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from playwright.sync_api import Page, expect

from regenplant.batches.models import Batch
from regenplant.core.process.vocabulary import StepKind
from tests import factories
from tests.browser.hands import WIDTHS, assert_accessible, assert_fits, sign_in

Open = Callable[..., Page]


@pytest.fixture
def plant(live_server: Any) -> factories.SmallPlant:
    return factories.plant_today()


@pytest.fixture
def sampled(plant: factories.SmallPlant) -> Batch:
    batch = factories.frozen_batch(plant, "sac_na")
    factories.run_to(plant, batch, StepKind.SAMPLE, finish=True)
    batch.refresh_from_db()
    return batch


@pytest.mark.parametrize("script", [True, False], ids=["script", "no script"])
def test_on_a_phone_the_acts_come_first_and_a_key_opens_the_filters(
    open_page: Open, plant: factories.SmallPlant, sampled: Batch, script: bool
) -> None:
    page = open_page("phone", script=script)
    sign_in(page, plant.people["qc"])
    page.goto(f"/batches/{sampled.number}/history/")
    chips = page.get_by_role("navigation", name="Acts by person")
    expect(chips).to_be_hidden()
    top = page.locator(".story-acts > li").first.bounding_box()
    assert top is not None and top["y"] < WIDTHS["phone"][1], "the first act is not on the first screen"
    summary = page.locator("details.narrow > summary")
    box = summary.bounding_box()
    assert box is not None and box["height"] >= 48
    summary.focus()
    page.keyboard.press("Enter")
    expect(chips).to_be_visible()
    chips.get_by_role("link", name="Operator 1", exact=True).click()
    expect(page.locator(".chosen")).to_contain_text("by Operator 1")
    expect(chips).to_be_hidden()
    assert_fits(page)


def test_at_a_desk_the_filters_stand_open(
    open_page: Open, plant: factories.SmallPlant, sampled: Batch
) -> None:
    page = open_page("desk")
    sign_in(page, plant.people["qc"])
    page.goto(f"/batches/{sampled.number}/history/")
    expect(page.get_by_role("navigation", name="Acts by person")).to_be_visible()
    expect(page.locator("details.narrow > summary")).to_be_hidden()
    assert_accessible(page)


@pytest.mark.parametrize("script", [True, False], ids=["script", "no script"])
def test_a_verdict_with_everything_wrong_is_told_so_once(
    open_page: Open, plant: factories.SmallPlant, sampled: Batch, script: bool
) -> None:
    page = open_page("tablet", script=script)
    page.watch.expect(422)  # type: ignore[attr-defined]
    sign_in(page, plant.people["qc"])
    page.goto(f"/batches/{sampled.number}/qc/?verdict=fail")
    page.locator("[name=reason]").fill("short")
    page.get_by_role("button", name="Fail and sign").click()
    for sentence in (
        "The reason is too short",
        "takes your user name",
        "Nothing is signed without your password",
    ):
        expect(page.locator("main")).to_contain_text(sentence)
    expect(page.locator("[name=reason]")).to_have_value("short")
