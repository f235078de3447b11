"""The pages of tanks on their way, and what other pages say of them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta

import pytest
from django.test import Client
from django.utils import timezone

from regenplant.planning import services as plan_services
from regenplant.planning.selectors import waiting_batches
from regenplant.tanks import services as tank_services
from regenplant.tanks.models import ExpectedTank, Tank
from tests import factories
from tests.factories import SmallPlant
from tests.planning.searched import searched_plan
from tests.tanks.test_expecting import away
from tests.web.pages import text_of

pytestmark = pytest.mark.django_db
As = Callable[[str], Client]
LIST = "/intake/expected/"
WHEN = "%Y-%m-%dT%H:%M"


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=factories.hours_ago(4))


@pytest.fixture
def tanks(plant: SmallPlant) -> list[Tank]:
    return away(plant, 2)


def data(plant: SmallPlant, serials: str, **change: str) -> dict[str, str]:
    assert plant.customer is not None
    soon = timezone.localtime(timezone.now() + timedelta(hours=3))
    return {
        "customer": str(plant.customer.pk),
        "serials": serials,
        "expected_at": f"{soon:{WHEN}}",
        "due_at": f"{soon + timedelta(days=2):{WHEN}}",
        **change,
    }


@pytest.fixture
def rows(as_: As, plant: SmallPlant, tanks: list[Tank]) -> list[ExpectedTank]:
    sent = data(plant, f"{tanks[0].serial.lower()}\n {tanks[1].serial}, {tanks[0].serial}")
    answer = as_("planner").post(f"{LIST}new/", sent)
    assert answer.status_code == 302 and answer.headers["Location"] == LIST
    return list(ExpectedTank.objects.order_by("number"))


def test_serials_as_they_are_scanned_become_tanks_on_their_way(
    as_: As, rows: list[ExpectedTank], tanks: list[Tank]
) -> None:
    assert [row.tank for row in rows] == tanks
    page = text_of(as_("operator").get(LIST))
    assert "2 tanks on the way." in page
    for row in rows:
        assert row.tank.serial in page
        assert f"{timezone.localtime(row.expected_at):%Y-%m-%d %H:%M}" in page
    assert "call off" in page


def test_who_may_not_write_reads_only(as_: As, plant: SmallPlant, rows: list[ExpectedTank]) -> None:
    page = text_of(as_("qc").get(LIST))
    assert rows[0].tank.serial in page
    assert "call off" not in page
    assert "This takes an operator, supervisor or planner." in page
    assert as_("qc").post(f"{LIST}new/", data(plant, "T-1")).status_code == 403
    assert as_("qc").post(f"{LIST}{rows[0].number}/call-off/", {"reason": "not emptied"}).status_code == 403


def test_a_serial_nobody_knows_is_named_and_nothing_typed_is_lost(
    as_: As, plant: SmallPlant, tanks: list[Tank]
) -> None:
    answer = as_("planner").post(f"{LIST}new/", data(plant, f"{tanks[0].serial} T-99999"))
    assert answer.status_code == 422
    page = answer.content.decode()
    assert "No tank has the serial T-99999." in text_of(answer)
    assert f"{tanks[0].serial} T-99999" in page
    assert not ExpectedTank.objects.exists()


@pytest.mark.parametrize(
    "change",
    [{"serials": " "}, {"expected_at": "soon"}, {"customer": ""}, {"expected_at": "2001-01-01T08:00"}],
)
def test_what_cannot_be_is_refused_beside_its_field(
    as_: As, plant: SmallPlant, tanks: list[Tank], change: dict[str, str]
) -> None:
    answer = as_("planner").post(f"{LIST}new/", {**data(plant, tanks[0].serial), **change})
    assert answer.status_code == 422
    assert not ExpectedTank.objects.exists()


def test_another_time_a_stale_page_and_called_off(as_: As, rows: list[ExpectedTank]) -> None:
    row = rows[0]
    later = timezone.localtime(timezone.now() + timedelta(hours=6)).replace(second=0, microsecond=0)
    sent = {"expected_at": f"{later:{WHEN}}", "due_at": "", "reason": "the truck broke down", "version": "1"}
    assert as_("planner").post(f"{LIST}{row.number}/change/", sent).status_code == 302
    row.refresh_from_db()
    assert (row.expected_at, row.due_at) == (later, None)
    answer = as_("planner").post(f"{LIST}{row.number}/call-off/", {"reason": "not emptied", "version": "1"})
    assert answer.status_code == 409
    assert (
        as_("planner")
        .post(f"{LIST}{row.number}/call-off/", {"reason": "not emptied", "version": "2"})
        .status_code
        == 302
    )
    assert row.tank.serial not in text_of(as_("planner").get(LIST))
    assert as_("planner").get(f"{LIST}{row.number}/change/").status_code == 404


def test_the_plan_and_the_planned_batch_say_which_tank_is_not_here_yet(
    as_: As, plant: SmallPlant, rows: list[ExpectedTank]
) -> None:
    factories.accepted_tank(plant, "sac_h")
    plan = searched_plan(plant)
    page = text_of(as_("operator").get(f"/day-plan/{plan.number}/"))
    assert page.count("on its way, counts from") == 2
    plan_services.accept_plan(by=plant.by("planner", at=timezone.now()), number=plan.number)
    row = next(one for one in waiting_batches() if one.awaited.exists())
    assert row.code in text_of(as_("operator").get(LIST))
    page = text_of(as_("operator").get(f"/planned/{row.code}/"))
    assert page.count("on its way, expected") == 2
    tank_services.call_off_expected_tank(
        by=plant.by("planner", at=timezone.now()), expected_number=rows[0].number, reason="not emptied"
    )
    assert "called off: it does not come" in text_of(as_("operator").get(f"/planned/{row.code}/"))
    assert f"{rows[0].tank.serial} does not come: it was called off." in text_of(
        as_("planner").get("/day-plan/")
    )


def test_dock_and_waiting_list_lead_there(as_: As, plant: SmallPlant) -> None:
    for address in ("/intake/", "/waiting/"):
        assert f'href="{LIST}"' in as_("operator").get(address).content.decode()
    assert "Nobody wrote down a tank that is on its way." in text_of(as_("operator").get(LIST))
