"""One batch of each family from the dock to the truck, through the screens, by the people whose work it is."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from regenplant.audit import chain
from regenplant.batches.models import Batch
from regenplant.tanks import services as tank_services
from tests import factories
from tests.browser import walking
from tests.browser.hands import assert_accessible, assert_fits, shot, sign_in

FAMILIES = ("sac_h", "sac_na", "sba_1", "sba_2")


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> walking.PlantClock:
    return walking.PlantClock(monkeypatch)


@pytest.mark.parametrize("family", FAMILIES)
def test_a_batch_goes_from_returned_tanks_to_released_and_shipped_tanks(
    open_page: Callable[..., Page], live_server, clock: walking.PlantClock, family: str
) -> None:
    plant = factories.small_plant(now=clock.now())
    serials = [
        tank_services.add_tank(
            by=plant.by("planner"),
            size_id=plant.size.pk,
            resin_type_id=plant.types[family].pk,
            segregation_class="D",
        ).result.serial
        for _ in range(3)
    ]
    operator, qc, release = open_page("tablet"), open_page("desk"), open_page("desk")
    sign_in(operator, plant.people["operator"])
    for serial in serials:
        walking.receive_and_accept(operator, serial, plant.customer.name)
    number = walking.start_batch(operator, plant.types[family].pk)
    walking.run_steps(operator, number, clock)

    sign_in(qc, plant.people["qc"])
    walking.measure_and_pass(qc, number)
    walking.fill_tanks(operator, number)

    # nobody who took part may release: the page says so, to the technician who measured
    qc.goto(f"/batches/{number}/release/")
    expect(qc.locator("main")).to_contain_text("another person must release it")
    sign_in(release, plant.people["supervisor 2"])
    walking.review(release, number)
    release.goto(f"/batches/{number}/release/")
    walking.sign(release, "Sign and release")
    expect(release.locator("main")).to_contain_text("Released")
    batch = Batch.objects.get(number=number)
    assert batch.state == "released"

    sheet = walking.open_pdf(operator, f"/papers/batches/{number}/sheet.pdf")
    assert walking.codes_on(sheet) >= {number, *serials}
    tags = walking.open_pdf(operator, f"/papers/batches/{number}/tags.pdf")
    assert walking.codes_on(tags) >= set(serials)
    for code in (number, *serials):
        operator.goto("/floor/")
        operator.locator("#scan").fill(code)
        operator.locator("#scan").press("Enter")
        expect(operator.locator("h1")).to_contain_text(code)

    for serial in serials:
        operator.goto(f"/tanks/{serial}/")
        walking.press(operator, re.compile("^Ship"))
        expect(operator.locator("main")).to_contain_text(re.compile("shipped", re.I))
    for page, path in (
        (operator, f"/batches/{number}/"),
        (qc, f"/batches/{number}/qc/"),
        (qc, f"/batches/{number}/history/"),
    ):
        page.goto(path)
        assert_accessible(page)
        assert_fits(page)
        shot(page, f"whole-way-{family}{path.replace('/', '-')}")
    assert list(chain.verify()) == []
