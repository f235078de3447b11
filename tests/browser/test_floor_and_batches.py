"""The operator's pages in a real browser: they renew and plan again by themselves, need no script, fit, and can be read."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from regenplant.batches import services as batch_services
from regenplant.batches.models import Batch, StepEntry
from regenplant.core.process.vocabulary import StepKind
from tests import factories
from tests.browser.hands import (
    WIDTHS,
    assert_accessible,
    assert_fits,
    assert_targets_are_large,
    shot,
    sign_in,
)
from tests.factories import SmallPlant

SMALL_TEXT = """() => [...document.querySelectorAll('main *')].filter(e => {
  const own = [...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim());
  return own && e.getBoundingClientRect().width > 2 && !['SUB', 'SUP'].includes(e.tagName) && !e.closest('.vh')
    && parseFloat(getComputedStyle(e).fontSize) < 17.9;
}).map(e => e.tagName + ' ' + e.textContent.trim().slice(0, 40))"""


@pytest.fixture
def plant(live_server) -> SmallPlant:  # type: ignore[no-untyped-def]
    return factories.small_plant(now=timezone.now() - timedelta(hours=12))


@pytest.fixture
def acid(plant: SmallPlant) -> Batch:
    batch = factories.frozen_batch(plant, "sac_h")
    step = factories.run_to(plant, batch, StepKind.INJECT)
    batch_services.write_entry(by=plant.by(), step_id=step.pk, key="strength", text="5.9 %", again="5.9 %")
    plant.forward(minutes=4)
    batch_services.write_entry(by=plant.by(), step_id=step.pk, key="strength", text="5.1 %", again="5.1 %")
    return batch


def test_the_floor_renews_itself_each_minute(page: Page, plant: SmallPlant, acid: Batch) -> None:
    sign_in(page, plant.people["operator"])
    page.clock.install()
    page.goto("/floor/")
    expect(page.locator(".beds > li")).to_have_count(1)
    factories.run_to(plant, factories.frozen_batch(plant, "sac_na"), StepKind.LOAD)
    page.locator(f"#bed-{acid.number}").focus()
    page.clock.fast_forward("01:01")
    expect(page.locator(".beds > li")).to_have_count(2)
    expect(page.locator("main .title .prose")).to_contain_text("Two beds are at work.")
    expect(page.locator(f"#bed-{acid.number}")).to_be_focused()


def test_another_choice_of_tanks_plans_again_and_keeps_the_hand_where_it_was(
    page: Page, plant: SmallPlant
) -> None:
    visits = factories.accepted_tanks(plant, "sac_h", 4)
    sign_in(page, plant.people["operator"])
    page.goto(f"/start/?type={plant.types['sac_h'].pk}&class=D")
    expect(page.locator(".title .prose")).to_contain_text("4 tanks fit C1")
    digest = page.locator("input[name=digest]").input_value()
    tick = page.locator(f"#tank-{visits[0].pk}")
    tick.focus()
    tick.press("Space")
    expect(page.locator(".title .prose")).to_contain_text("3 tanks fit C1: 306.0")
    expect(tick).to_be_focused()
    assert page.locator("input[name=digest]").input_value() != digest
    assert "csrf" not in page.url and f"tanks={visits[1].pk}" in page.url


def test_starting_writing_and_holding_need_no_script(
    open_page: Callable[..., Page], plant: SmallPlant
) -> None:
    visits = factories.accepted_tanks(plant, "sac_h", 4)
    page = open_page("tablet", script=False)
    sign_in(page, plant.people["operator"])
    page.goto(f"/start/?type={plant.types['sac_h'].pk}&class=D")
    page.locator(f"#tank-{visits[3].pk}").uncheck()
    page.get_by_role("button", name="Plan again").click()
    expect(page.locator(".title .prose")).to_contain_text("3 tanks fit C1: 306.0")
    page.get_by_role("checkbox", name=re.compile("I read the cautions")).check()
    page.get_by_role("button", name="Start batch").click()
    for key in ("vessel_ready", "gear_on"):
        page.locator(f"#tick-{key}").check()
    page.get_by_role("button", name="Write the ticks down").click()
    page.get_by_role("button", name="Start loading").click()
    page.locator("#id_value").fill("30 L")
    page.get_by_role("button", name="Write it down", exact=True).click()
    expect(page.locator(".err")).to_contain_text("is outside the limits")
    expect(page.locator(".near")).to_contain_text("Did you mean 300 L?")
    page.locator("#id_value").fill("300 L")
    page.get_by_role("button", name="Write it down", exact=True).click()
    expect(page.locator(".receipt")).to_contain_text("Written: resin volume loaded, sodium form 300.0")
    page.get_by_role("link", name="Hold this batch").click()
    page.locator("#id_reason").fill("the resin catcher is full")
    page.get_by_role("button", name="Hold this batch").click()
    expect(page.locator("main")).to_contain_text("Held in load the vessel")


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_the_pages_fit_every_screen_and_can_be_read(
    open_page: Callable[..., Page], plant: SmallPlant, acid: Batch, dark: bool
) -> None:
    held = factories.frozen_batch(plant, "sba_1")
    factories.run_to(plant, held, StepKind.BACKWASH, finish=True)
    batch_services.hold_batch(by=plant.by(), batch_id=held.pk, reason="caustic is too cold, 29 °C")
    batch_services.open_deviation(
        by=plant.by(), batch_id=held.pk, what="the flow meter stuck for 3 min", severity="minor"
    )
    passed = factories.passed_batch(plant, "sac_na")
    ready = factories.frozen_batch(plant, "sba_2")
    factories.accepted_tanks(plant, "sac_h", 3)
    entry = StepEntry.objects.filter(step__batch=acid, key="strength").latest("occurred_at")
    number, pool = acid.number, f"/start/?type={plant.types['sac_h'].pk}&class=D"
    paths = {
        "floor": "/floor/",
        "start": pool,
        "start-choose": "/start/",
        "batch-ready": f"/batches/{ready.number}/",
        "batch-running": f"/batches/{number}/?entry=flow",
        "batch-held": f"/batches/{held.number}/",
        "batch-passed": f"/batches/{passed.number}/",
        "batch-plan": f"/batches/{number}/plan/",
        "batch-history": f"/batches/{number}/history/",
        "batch-hold": f"/batches/{number}/hold/",
        "batch-resume": f"/batches/{held.number}/resume/",
        "batch-deviation": f"/batches/{number}/deviations/new/",
        "batch-correct": f"/batches/{number}/entries/{entry.pk}/correct/",
        "batch-fill": f"/batches/{passed.number}/fill/",
        "batches": "/batches/",
    }
    page = open_page("desk", dark=dark)
    sign_in(page, plant.people["operator"])
    for name, path in paths.items():
        for screen, (width, height) in {**WIDTHS, "zoomed": (720, 450)}.items():
            page.set_viewport_size({"width": width, "height": height})
            page.goto(path)
            assert_fits(page)
            assert_targets_are_large(page)
            if name != "batches":  # a listing, read at a desk
                assert page.evaluate(SMALL_TEXT) == [], path
            shot(page, f"{name}-{screen}-{'dark' if dark else 'light'}")
        assert_accessible(page)
