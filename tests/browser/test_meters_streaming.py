"""Readings stream in over HTTP and over MQTT while the rinse page stands open: it shows them without being opened anew."""

from __future__ import annotations

import json
import urllib.request
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
from django.utils import timezone
from playwright.sync_api import Page, expect

from regenplant.batches.models import Batch, MeterLog
from tests import factories
from tests.api.meters import Meter, message, meter_at, reading
from tests.browser.hands import assert_accessible, assert_fits, shot, sign_in
from tests.factories import SmallPlant
from tests.meters.broker import Broker, running
from tests.meters.listening import Listening, PublishingMeter

SOON_MS = 30_000
TOPIC = "rinse/a1/outlet"


@pytest.fixture
def plant(live_server: Any) -> SmallPlant:
    return factories.small_plant(now=timezone.now() - timedelta(hours=9))


@pytest.fixture
def batch(plant: SmallPlant) -> Batch:
    return factories.rinsing_batch(plant)


@pytest.fixture
def meter(plant: SmallPlant, batch: Batch) -> Meter:
    return meter_at(plant, "A1", topic=TOPIC)


@pytest.fixture
def broker(tmp_path: Path) -> Iterator[Broker]:
    with running(tmp_path / "broker") as found:
        yield found


@pytest.fixture
def listening(tmp_path: Path, broker: Broker, meter: Meter) -> Iterator[Listening]:
    found = Listening(tmp_path / "plant", broker)
    found.start()
    found.until_it_listens()
    yield found
    found.stop()


def test_readings_arrive_on_the_open_page_by_both_ways(
    page: Page,
    live_server: Any,
    plant: SmallPlant,
    batch: Batch,
    meter: Meter,
    broker: Broker,
    listening: Listening,
) -> None:
    sign_in(page, plant.people["qc"])
    page.goto(f"/batches/{batch.number}/rinse/")
    page.evaluate("window.openedOnce = true")
    page.locator("#id_value").fill("8.9 us/cm")
    expect(page.locator("#rinse-end")).to_contain_text("0 of 3 readings")

    at = plant.now + timedelta(minutes=5)
    body = message([reading(at, "400"), reading(at + timedelta(minutes=2), "9.5")])
    call = urllib.request.Request(
        f"{live_server.url}/api/readings/",
        data=json.dumps(body).encode(),
        headers={"Authorization": f"Bearer {meter.token}", "Content-Type": "application/json"},
    )
    with urllib.request.urlopen(call, timeout=30) as answer:
        assert json.load(answer)["kept"] == 2
    expect(page.locator("#rinse-end")).to_contain_text("1 of 3 readings", timeout=SOON_MS)

    PublishingMeter(broker, TOPIC).publish(
        [
            message([reading(at + timedelta(minutes=4 + 2 * index), f"{9.4 - index / 10:.1f}")])
            for index in range(2)
        ]
    )
    expect(page.locator("#rinse-end")).to_contain_text("3 of 3 readings", timeout=SOON_MS)
    assert sorted(MeterLog.objects.values_list("source", flat=True).distinct()) == ["http", "mqtt"]
    assert page.evaluate("window.openedOnce") is True, "the page was not opened anew"
    expect(page.locator("#id_value")).to_have_value("8.9 us/cm")


def test_the_pages_of_meter_feeds_fit_and_can_be_read(
    open_page: Any, plant: SmallPlant, meter: Meter
) -> None:
    for screen in ("phone", "tablet", "desk"):
        page = open_page(screen)
        sign_in(page, plant.people["supervisor"])
        for name, address in (
            ("list", "/setup/meter-feeds/"), ("new", "/setup/meter-feeds/new/"), ("one", "/setup/meter-feeds/M1/"), ("interface", "/api/"),
        ):  # fmt: skip
            page.goto(address)
            assert_fits(page)
            assert_accessible(page)
            shot(page, f"meter-feeds-{name}-{screen}")
        page.goto("/setup/meter-feeds/M1/token/")
        page.locator("#id_reason").fill("It was seen by others.")
        page.get_by_role("button", name="Make a new token and show it").click()
        expect(page.locator("[data-token]")).to_be_visible()
        assert_fits(page)
        assert_accessible(page)
        shot(page, f"meter-feeds-token-{screen}")
