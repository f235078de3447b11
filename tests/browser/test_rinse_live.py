"""The rinse-down page while readings arrive: it renews itself, keeps what a person does on it, and takes readings by the pad."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from regenplant.batches.models import Batch, RinseReading
from tests import factories
from tests.batches.meter_logs import take
from tests.browser.hands import (
    WIDTHS,
    assert_accessible,
    assert_fits,
    assert_targets_are_large,
    shot,
    sign_in,
)
from tests.factories import SmallPlant

Open = Callable[..., Page]
BY_METER = [39.0, 38.0, 36.9, 35.8, 34.8, 33.7, 32.6, 31.5, 30.4, 29.2, 28.0, 26.5]


@pytest.fixture
def plant(live_server) -> SmallPlant:  # type: ignore[no-untyped-def]
    return factories.small_plant(now=timezone.now() - timedelta(hours=9))


@pytest.fixture
def rinsing(plant: SmallPlant) -> Batch:
    return factories.rinsing_batch(plant, "1800 µS/cm", "420 µS/cm", "95 µS/cm", "40 µS/cm")


def test_a_meter_s_readings_arrive_while_the_page_is_open(
    page: Page, plant: SmallPlant, rinsing: Batch
) -> None:
    sign_in(page, plant.people["qc"])
    page.clock.install()
    page.goto(f"/batches/{rinsing.number}/rinse/?x=bv")
    page.locator("#id_value").fill("8.9 us/cm")
    page.locator("#rinse-twin > summary").click()
    page.locator("#across-time").focus()
    take(plant, rinsing, BY_METER, every_s=10.0)
    page.clock.fast_forward("00:06")
    expect(page.locator("#rinse-head")).to_contain_text("26.5")
    expect(page.locator("#rinse-head")).to_contain_text("by meter at")
    expect(page.locator("#rinse-curve .key")).to_contain_text("by meter")
    expect(page.locator("#rinse-twin")).to_have_attribute("open", "")
    expect(page.locator("#across-time")).to_be_focused()
    expect(page.locator("#id_value")).to_have_value("8.9 us/cm")
    expect(page.locator("#rinse-curve")).to_contain_text("bed volumes of rinse water")


def test_while_nothing_is_new_nothing_is_sent(page: Page, plant: SmallPlant, rinsing: Batch) -> None:
    sign_in(page, plant.people["qc"])
    page.clock.install()
    page.goto(f"/batches/{rinsing.number}/rinse/")
    statuses: list[int] = []
    page.on(
        "response", lambda answer: statuses.append(answer.status) if "/rinse/now/" in answer.url else None
    )
    for _ in range(3):
        with page.expect_response("**/rinse/now/**"):
            page.clock.fast_forward("00:05")
    assert statuses.count(204) >= 2 and set(statuses) <= {200, 204}


def test_a_reading_is_written_by_the_pad_alone(open_page: Open, plant: SmallPlant, rinsing: Batch) -> None:
    """Beside the digits three presses: next field, write; the pad stands open where fingers are the pointer, units and cell are those
    of the last reading."""
    page = open_page("phone", has_touch=True, is_mobile=True)
    sign_in(page, plant.people["qc"])
    page.goto(f"/batches/{rinsing.number}/rinse/")
    pad = page.locator(".pad:visible")
    expect(pad).to_have_count(1)
    expect(page.locator("#id_value")).to_have_attribute("inputmode", "none")
    for key in "3", "2", "decimal point", "5":
        pad.get_by_role("button", name=key, exact=True).tap()
    expect(pad.locator("[data-echo]")).to_have_text(
        "Reading of the cell: 32.5"
    )  # in sight where the field is not
    pad.get_by_role("button", name="Next: Water temperature").tap()
    expect(pad.locator("[data-echo]")).to_have_text("Water temperature:")
    expect(page.locator("#id_value")).to_have_value("32.5 µS/cm")
    for key in "1", "9":
        pad.get_by_role("button", name=key, exact=True).tap()
    shot(page, "rinse-pad-phone")
    pad.get_by_role("button", name="Write it down").tap()
    expect(page.locator(".receipt")).to_contain_text("Written: 32.5 µS/cm at 19")
    row = RinseReading.objects.latest("pk")
    assert (row.value_as_typed, row.unit_as_typed, row.instrument.code) == ("32.5", "µS/cm", "CELL")


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
@pytest.mark.parametrize("screen", WIDTHS)
def test_the_page_fits_and_is_accessible(
    open_page: Open, plant: SmallPlant, rinsing: Batch, screen: str, dark: bool
) -> None:
    take(plant, rinsing, BY_METER, every_s=10.0)
    page = open_page(screen, dark=dark)
    sign_in(page, plant.people["qc"])
    page.goto(f"/batches/{rinsing.number}/rinse/")
    page.locator("#forecast-working > summary").click()
    assert_accessible(page)
    assert_fits(page)
    assert_targets_are_large(page)
    shot(page, f"rinse-live-{screen}-{'dark' if dark else 'light'}")
