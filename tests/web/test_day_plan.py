"""The pages of the day plan."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client

from regenplant.planning import services
from regenplant.planning.figures_kept import figures_in_force
from regenplant.planning.models import DayPlan, PlannedBatch
from regenplant.planning.search import search
from regenplant.plant.services import lock_out_vessel
from regenplant.tanks import services as tanks
from regenplant.tanks.models import TankVisit
from regenplant.web.presenters.day_plan import percent_done
from tests import factories
from tests.factories import SmallPlant
from tests.planning.searched import searched_plan
from tests.web.pages import text_of

pytestmark = pytest.mark.django_db
As = Callable[[str], Client]
HOME = "/day-plan/"


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=factories.hours_ago(4))


@pytest.fixture
def found(plant: SmallPlant) -> DayPlan:
    factories.accepted_tanks(plant, "sac_h", count=3)
    return searched_plan(plant)


def test_before_any_plan_the_page_says_so(as_: As) -> None:
    page = text_of(as_("operator").get(HOME))
    assert "No plan was made yet." in page
    assert "This takes a supervisor or planner." in page


def test_a_plan_is_asked_for_and_seen_while_it_is_searched(as_: As, plant: SmallPlant) -> None:
    answer = as_("planner").post(f"{HOME}new/", {"seconds": "20", "from_at": ""})
    row = DayPlan.objects.get()
    assert answer.headers["Location"] == f"{HOME}{row.number}/"
    answer = as_("operator").get(f"{HOME}{row.number}/")
    page = text_of(answer)
    assert "0 % of 20 s" in page
    assert 'hx-trigger="every 2s"' in answer.content.decode()
    assert "Look again" in page
    again = as_("supervisor").post(f"{HOME}new/", {"seconds": "20", "from_at": ""})
    assert again.status_code == 422
    assert f"{row.number} is being searched" in text_of(again)


def test_a_search_that_tells_nothing_on_the_way_is_as_far_as_the_clock_says(found: DayPlan) -> None:
    row = DayPlan(
        state=DayPlan.State.RUNNING, made_at=found.made_at, seconds=20, progress_frac=0.1, plan=found.plan
    )
    at = {seconds: percent_done(row, row.made_at + timedelta(seconds=seconds)) for seconds in (1, 5, 60)}
    assert at == {1: 10, 5: 25, 60: 99}
    row.plan = None
    assert percent_done(row, row.made_at + timedelta(seconds=5)) == 10


def test_an_operator_looks_and_makes_none(as_: As, found: DayPlan) -> None:
    assert as_("operator").get(f"{HOME}{found.number}/").status_code == 200
    assert as_("operator").post(f"{HOME}new/", {"seconds": "20", "from_at": ""}).status_code == 403
    assert DayPlan.objects.count() == 1


@pytest.mark.parametrize("seconds", ["4", "301", "many", ""])
def test_seconds_outside_are_refused_beside_the_field(as_: As, plant: SmallPlant, seconds: str) -> None:
    answer = as_("planner").post(f"{HOME}new/", {"seconds": seconds, "from_at": ""})
    assert answer.status_code == 422
    assert not DayPlan.objects.exists()


def test_a_plan_shows_its_batches_and_every_tank_with_ready_and_due(as_: As, found: DayPlan) -> None:
    page = text_of(as_("operator").get(f"{HOME}{found.number}/"))
    assert found.plan is not None
    for batch in found.plan["batches"]:
        assert batch["id"] in page
        for serial in batch["tanks"]:
            assert serial in page
    assert "Taken for granted" in page
    assert "every 2s" not in as_("operator").get(f"{HOME}{found.number}/").content.decode()


def test_a_plan_is_drawn_with_what_binds_and_each_batch_leads_to_its_page(as_: As, found: DayPlan) -> None:
    answer = as_("operator").get(f"{HOME}{found.number}/")
    markup, page = answer.content.decode(), text_of(answer)
    assert "Which batch stands in which vessel" in markup
    assert found.plan is not None
    for batch in found.plan["batches"]:
        assert f'<a href="{HOME}{found.number}/batches/{batch["id"]}/" aria-label="' in markup
    for what in ("Hydrochloric acid skid", "Deionized water", "Waste tank", "QC technicians", "2 operators"):
        assert what in page
    assert "What binds" in page
    assert page.count("busiest") == 1
    assert "Hydrochloric acid skid: peak 1, limit 1" in page
    assert "Not used on this day: " in page


def test_a_plan_without_a_batch_is_not_drawn(as_: As, plant: SmallPlant) -> None:
    row = search(services.begin_plan(by=plant.by("planner"), seconds=5).result.number, steps=1)
    assert row is not None
    page = text_of(as_("operator").get(f"{HOME}{row.number}/"))
    assert "No batch is planned" in page
    assert "What binds" not in page


def test_it_is_stopped_and_set_aside_on_pages_of_their_own(as_: As, plant: SmallPlant) -> None:
    row = services.begin_plan(by=plant.by("planner"), seconds=5).result
    assert "The best plan so far is kept." in text_of(as_("planner").get(f"{HOME}{row.number}/stop/"))
    assert as_("planner").post(f"{HOME}{row.number}/stop/").status_code == 302
    row.refresh_from_db()
    assert row.is_stop_wanted
    search(row.number, steps=2)
    row.refresh_from_db()
    answer = as_("planner").post(f"{HOME}{row.number}/set-aside/", {"version": str(row.version)})
    assert answer.status_code == 302
    row.refresh_from_db()
    assert row.state == DayPlan.State.SET_ASIDE
    assert as_("planner").post(f"{HOME}{row.number}/set-aside/").status_code == 422


def test_no_such_plan_is_no_page(as_: As) -> None:
    assert as_("planner").get(f"{HOME}DP-777/").status_code == 404


def test_the_waiting_list_leads_there(as_: As) -> None:
    assert HOME in as_("operator").get("/waiting/").content.decode()


# --- decisions ----------------------------------------------------------------------------------------------------------------
def first_batch(row: DayPlan) -> dict[str, Any]:
    assert row.plan is not None
    batch: dict[str, Any] = row.plan["batches"][0]
    return batch


def test_several_tanks_are_decided_about_on_one_page(as_: As, found: DayPlan) -> None:
    address = f"{HOME}{found.number}/several/"
    assert f'href="{address}"' in as_("planner").get(f"{HOME}{found.number}/").content.decode()
    page = text_of(as_("planner").get(address))
    serials = [name for batch in (found.plan or {})["batches"] for name in batch["tanks"]]
    assert all(serial in page for serial in serials)
    sent = {"tanks": serials[:2], "version": str(found.version), "kind": "rush", "wanted_by": ""}
    refused = as_("planner").post(address, sent)
    assert refused.status_code == 422
    assert "Write by when the tanks are wanted." in text_of(refused)
    answer = as_("planner").post(address, {**sent, "kind": "leave_out"}, follow=True)
    page = text_of(answer)
    assert f"{serials[0]} and {serials[1]} are left out of this plan." in page
    assert "It costs:" in page
    assert as_("operator").post(address, {**sent, "kind": "leave_out"}).status_code == 403
    stale = as_("planner").post(address, {**sent, "kind": "leave_out", "tanks": serials[2:3]})
    assert stale.status_code == 409
    found.refresh_from_db()
    assert found.decisions.count() == 1


def test_a_decision_tells_what_it_costs_and_is_taken_back(as_: As, found: DayPlan) -> None:
    batch = first_batch(found)
    address = f"{HOME}{found.number}/batches/{batch['id']}/"
    assert "Leave tanks out" in text_of(as_("planner").get(address))
    data = {"tanks": batch["tanks"][:1], "version": str(found.version)}
    answer = as_("planner").post(f"{address}leave-out/", data, follow=True)
    page = text_of(answer)
    assert f"{batch['tanks'][0]} is left out" in page
    assert "It costs:" in page
    found.refresh_from_db()
    answer = as_("planner").post(f"{HOME}{found.number}/undo/", {"version": str(found.version)}, follow=True)
    assert "is as it was before" in text_of(answer)
    assert not found.decisions.exists()


@pytest.mark.parametrize("way", ["pin", "split", "join", "leave-out", "rush"])
def test_each_way_has_its_page_and_an_operator_is_refused(as_: As, found: DayPlan, way: str) -> None:
    address = f"{HOME}{found.number}/batches/{first_batch(found)['id']}/{way}/"
    assert as_("planner").get(address).status_code == 200
    assert as_("operator").post(address, {}).status_code == 403


def test_a_decision_on_a_stale_page_is_refused_with_what_was_typed(as_: As, found: DayPlan) -> None:
    batch = first_batch(found)
    address = f"{HOME}{found.number}/batches/{batch['id']}/"
    seen = str(found.version)
    pinned = as_("supervisor").post(f"{address}pin/", {"vessel": "", "starts_at": "", "version": seen})
    assert pinned.status_code == 302, text_of(pinned)
    answer = as_("planner").post(f"{address}leave-out/", {"tanks": batch["tanks"][:1], "version": seen})
    assert answer.status_code == 409
    assert "was changed since you opened it" in text_of(answer)


def test_a_batch_that_is_not_there_is_no_page(as_: As, found: DayPlan) -> None:
    assert as_("planner").get(f"{HOME}{found.number}/batches/B0999/").status_code == 404


# --- accepted -----------------------------------------------------------------------------------------------------------------
@pytest.fixture
def planned(as_: As, found: DayPlan) -> PlannedBatch:
    answer = as_("planner").post(
        f"{HOME}{found.number}/accept/", {"version": str(found.version)}, follow=True
    )
    assert "is the plan of the plant" in text_of(answer)
    row = PlannedBatch.objects.first()
    assert row is not None
    return row


def test_an_accepted_plan_shows_its_batches_and_the_waiting_list_its_tanks(
    as_: As, planned: PlannedBatch
) -> None:
    assert planned.code in text_of(as_("operator").get(HOME))
    assert f"Planned for {planned.code}" in text_of(as_("operator").get("/waiting/"))
    page = text_of(as_("operator").get(f"/planned/{planned.code}/"))
    for link in planned.tanks.all():
        assert link.visit.tank.serial in page


def test_a_scan_leads_to_the_planned_batch_and_from_there_to_a_start_as_planned(
    as_: As, planned: PlannedBatch
) -> None:
    answer = as_("operator").get("/scan/", {"code": planned.code.lower()})
    assert answer.headers["Location"] == f"/planned/{planned.code}/"
    page = as_("operator").get("/start/", {"planned": planned.code}, follow=True)
    assert f"As planned: {planned.code}" in text_of(page)
    view, pool = page.context["view"], page.context["pool"]
    data = {
        "type": pool.resin_type.pk, "class": pool.segregation_class, "dedicated": "", "chosen": "1", "act": "freeze", "gear": "on",
        "tanks": [tank.id for tank in view.tanks if tank.is_in], "vessel": view.vessel_id, "digest": view.digest,
        "recipe": next(one.id for one in view.recipes if one.is_chosen),
        "specification": next(one.id for one in view.specifications if one.is_chosen), "planned": page.context["planned"],
    }  # fmt: skip
    assert set(data["tanks"]) == {link.visit_id for link in planned.tanks.all()}
    answer = as_("operator").post("/start/", data, follow=True)
    planned.refresh_from_db()
    assert planned.state == PlannedBatch.State.STARTED
    assert planned.batch_number in text_of(answer)
    assert planned.batch_number in text_of(as_("operator").get(f"/planned/{planned.code}/"))


def test_it_is_cancelled_with_a_reason_by_who_may(as_: As, planned: PlannedBatch) -> None:
    address = f"/planned/{planned.code}/cancel/"
    assert as_("operator").post(address, {"reason": "The truck is away"}).status_code == 403
    assert as_("planner").post(address, {"reason": "no"}).status_code == 422
    assert as_("planner").post(address, {"reason": "The truck is away"}).status_code == 302
    page = text_of(as_("planner").get(f"/planned/{planned.code}/"))
    assert "The truck is away" in page
    assert as_("planner").post(address, {"reason": "The truck is away"}).status_code == 409


def test_a_stale_plan_is_refused_on_its_page_with_what_moved(
    as_: As, plant: SmallPlant, found: DayPlan
) -> None:
    serial = first_batch(found)["tanks"][0]
    visit = TankVisit.objects.get(tank__serial=serial)
    tanks.hold_tank(
        by=plant.by("supervisor"), visit_id=visit.pk, reason="The label is off", version=visit.version
    )
    answer = as_("planner").post(f"{HOME}{found.number}/accept/", {"version": str(found.version)})
    assert answer.status_code == 409
    assert f"{serial} is held" in text_of(answer)
    assert not PlannedBatch.objects.exists()


def test_what_has_left_the_plan_stands_on_the_page_with_a_way_to_plan_again(
    as_: As, plant: SmallPlant, planned: PlannedBatch
) -> None:
    assert "Nothing has left the plan." in text_of(as_("operator").get(HOME))
    lock_out_vessel(
        by=plant.by("supervisor"), vessel_id=planned.vessel_id, number="7", reason="Drain valve leaks"
    )
    page = text_of(as_("planner").get(HOME))
    assert f"{planned.code} needs {planned.vessel.code}, which is locked out: Drain valve leaks." in page
    assert "Plan again, keep what has started" in page
    assert f"{planned.code} needs {planned.vessel.code}" in text_of(as_("operator").get("/handover/"))


def test_a_copy_is_compared_with_its_first(as_: As, found: DayPlan) -> None:
    data = {"name": "C1 stays free", "version": str(found.version)}
    answer = as_("planner").post(f"{HOME}{found.number}/copy/", data)
    copy = DayPlan.objects.get(name="C1 stays free")
    assert answer.headers["Location"] == f"{HOME}{copy.number}/"
    page = text_of(as_("operator").get(f"{HOME}compare/", {"first": found.number, "second": copy.number}))
    assert "Every tank is served in the same vessel at the same time." in page
    assert "C1 stays free" in page
    assert "Choose two different plans." in text_of(
        as_("operator").get(f"{HOME}compare/", {"first": found.number, "second": found.number})
    )
    assert as_("operator").get(f"{HOME}compare/", {"first": "DP-777"}).status_code == 422
    assert as_("operator").get(f"{HOME}compare/").status_code == 200


def test_figures_are_recorded_on_their_page_and_a_bad_line_is_named_beside_its_field(as_: As) -> None:
    address = f"{HOME}figures/"
    page = as_("planner").get(address)
    data = dict(page.context["form"].initial) | {"reason": "Our own working times."}
    answer = as_("planner").post(address, data | {"working_times": "early six to two"})
    assert answer.status_code == 422
    assert "Line 1 is not understood" in answer.context["form"].errors["working_times"][0]
    assert as_("operator").post(address, data).status_code == 403
    data["working_times"] = "early 06:00-14:00 Mon-Sat operators 2 technicians 1 second 1"
    data["stays_hcl"] = "250 kg"
    assert "0 to 1440; 30 is common practice, from memory" in text_of(page)
    refused = as_("planner").post(address, data | {"look_over_min": "2000"})
    assert refused.status_code == 422
    assert refused.context["form"].errors["look_over_min"] == [
        "Minutes from the door to accepted: 2000 is written; possible is 0 to 1440."
    ]
    data["look_over_min"] = "45"
    assert as_("planner").post(address, data).status_code == 302
    assert figures_in_force().look_over_min == 45
    assert figures_in_force().stays_kg == {"hcl": 250.0}
    assert "Our own working times." in text_of(as_("operator").get(address))
    assert as_("planner").post(address, data).status_code == 409
