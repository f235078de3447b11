"""The QC technician's and the supervisor's pages in a real browser: they renew themselves, they fit, they can be read."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from regenplant.batches import services as batch_services
from regenplant.batches.models import Batch
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


@pytest.fixture
def plant(live_server) -> SmallPlant:  # type: ignore[no-untyped-def]
    return factories.small_plant(now=timezone.now() - timedelta(hours=9))


@pytest.fixture
def rinsing(plant: SmallPlant) -> Batch:
    return factories.rinsing_batch(plant, "400 µS/cm", "60 µS/cm", "14 µS/cm")


def test_a_reading_by_somebody_else_arrives_and_what_is_being_typed_stays(
    page: Page, plant: SmallPlant, rinsing: Batch
) -> None:
    sign_in(page, plant.people["qc"])
    page.clock.install()
    page.goto(f"/batches/{rinsing.number}/rinse/")
    page.locator("#id_value").fill("8.9 us/cm")
    plant.forward(minutes=4)
    factories.reading(plant, rinsing, "9.5 µS/cm", who="operator")
    page.clock.fast_forward("00:06")
    expect(page.locator("#rinse-head")).to_contain_text("9.5")
    expect(page.locator("#rinse-table")).to_contain_text("4 readings by CELL.")
    expect(page.locator("#rinse-end")).to_contain_text("1 of 3 readings")
    expect(page.locator("#id_value")).to_have_value("8.9 us/cm")


def test_what_a_reading_means_at_25_degrees_is_said_while_it_is_typed(
    page: Page, plant: SmallPlant, rinsing: Batch
) -> None:
    sign_in(page, plant.people["qc"])
    page.goto(f"/batches/{rinsing.number}/rinse/")
    page.locator("#id_value").press_sequentially("8.9 us/cm")
    page.locator("#id_temperature").press_sequentially("18")
    meaning = page.locator("#reading-meaning")
    expect(meaning).to_contain_text("brought to 25 °C as water with a trace of caustic")
    expect(meaning).to_contain_text("CELL, calibrated to")
    page.locator("#id_instrument").select_option(str(plant.instruments["OLD-CELL"].pk))
    expect(meaning).to_contain_text("the reading informs only")


@pytest.mark.parametrize("script", [True, False], ids=["script", "no script"])
def test_what_was_refused_is_on_the_screen_at_once(
    open_page: Callable[..., Page], plant: SmallPlant, rinsing: Batch, script: bool
) -> None:
    """The entry stands far below the curve, the verdict far below the tests: nobody is left at the head of the page."""
    page = open_page("phone", script=script)
    sign_in(page, plant.people["qc"])
    page.goto(f"/batches/{rinsing.number}/rinse/")
    page.locator("#id_value").fill("wet")
    page.locator("#id_temperature").fill("20 C")
    page.get_by_role("button", name="Write it down").click()
    expect(page.locator("#reading-form .err").first).to_be_in_viewport()
    if script:
        expect(page.locator("#id_value")).to_be_focused()
    page.locator("#id_value").fill("8.9 us/cm")
    page.get_by_role("button", name="Write it down").click()
    expect(page.locator(".receipt")).to_be_in_viewport()

    sampled = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, sampled, StepKind.SAMPLE, finish=True)
    page.goto(f"/batches/{sampled.number}/qc/?verdict=fail")
    page.locator("[name=reason]").fill("too short")
    page.locator(".sign input[name=username]").fill(plant.people["qc"].username)
    page.locator(".sign input[type=password]").fill(factories.PASSWORD)
    page.get_by_role("button", name="Fail and sign").click()
    if script:
        expect(page.get_by_text("The reason is too short")).to_be_in_viewport()
    else:
        expect(page.get_by_role("heading", name=f"Fail batch {sampled.number}")).to_be_in_viewport()


def test_a_reading_and_a_signature_need_no_script(
    open_page: Callable[..., Page], plant: SmallPlant, rinsing: Batch
) -> None:
    page = open_page("tablet", script=False)
    sign_in(page, plant.people["qc"])
    page.goto(f"/batches/{rinsing.number}/rinse/")
    page.locator("#id_value").fill("8.9 us/cm")
    page.locator("#id_temperature").fill("20 C")
    page.get_by_role("button", name="Write it down").click()
    expect(page.locator(".receipt")).to_contain_text("Written: 8.9 us/cm at 20 C")
    batch = factories.filled_batch(plant, "sac_h")
    factories.reviewed(plant, batch)
    page.goto(f"/batches/{batch.number}/release/")
    expect(page.locator("main")).to_contain_text("so another person must release it")
    other = open_page("desk", script=False)
    sign_in(other, plant.people["qc 2"])
    other.goto(f"/batches/{batch.number}/release/")
    other.locator(".sign input[name=username]").fill(plant.people["qc 2"].username)
    other.locator(".sign input[type=password]").fill(factories.PASSWORD)
    other.get_by_role("button", name="Sign and release").click()
    expect(other.locator(".receipt")).to_contain_text("its tanks are released")


@pytest.mark.parametrize("dark", [False, True], ids=["light", "dark"])
def test_the_pages_fit_every_screen_and_can_be_read(
    open_page: Callable[..., Page], plant: SmallPlant, rinsing: Batch, dark: bool
) -> None:
    factories.reading(plant, rinsing, "18.9 Mohm-cm", who="operator")
    batch_services.open_deviation(
        by=plant.by(), batch_id=rinsing.pk, what="the flow meter stuck for 3 min", severity="minor"
    )
    deviation = rinsing.deviations.latest("pk")
    sampled = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, sampled, StepKind.SAMPLE, finish=True)
    filled = factories.filled_batch(plant, "sac_na")
    reading = rinsing.readings.latest("occurred_at")
    for who, paths in (
        (
            "qc",
            {
                "rinse": f"/batches/{rinsing.number}/rinse/",
                "rinse-correct": f"/batches/{rinsing.number}/rinse/readings/{reading.pk}/correct/",
                "qc": "/qc/",
                "qc-decision": f"/batches/{sampled.number}/qc/",
                "qc-fail": f"/batches/{sampled.number}/qc/?verdict=fail",
            },
        ),
        (
            "supervisor",
            {
                "qc-release": f"/batches/{filled.number}/release/",
                "review": "/review/",
                "review-deviation": f"/review/deviations/{deviation.number}/",
                "review-batch": f"/batches/{filled.number}/review/?open=all",
                "review-reopen": f"/batches/{filled.number}/reopen/",
                "review-versions": f"/batches/{filled.number}/versions/",
                "history": f"/batches/{filled.number}/history/",
                "tracing": "/tracing/",
                "tracing-investigation": f"/tracing/investigation/?kind=batch&code={filled.number}",
                "tracing-trace": f"/tracing/trace/?kind=batch&code={filled.number}",
                "review-chain": "/review/record/",
                "chemical-use": "/chemicals/use/?period=30_days",
            },
        ),
    ):
        page = open_page("desk", dark=dark)
        sign_in(page, plant.people[who])
        for name, path in paths.items():
            for screen, (width, height) in {**WIDTHS, "zoomed": (720, 450)}.items():
                page.set_viewport_size({"width": width, "height": height})
                page.goto(path)
                assert_fits(page)
                assert_targets_are_large(page)
                shot(page, f"{name}-{screen}-{'dark' if dark else 'light'}")
            assert_accessible(page)
