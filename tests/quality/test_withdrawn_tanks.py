"""Tanks that were filled and are withdrawn: their batch was amended to fail, or a person withdrew one of them."""

from __future__ import annotations

from typing import Any

import pytest

from regenplant.audit.selectors import story
from regenplant.audit.verifying import registry
from regenplant.batches import services as batch_services
from regenplant.batches.models import Batch, BatchTank
from regenplant.batches.readiness import occupants, resin_here_m3
from regenplant.core.errors import NotAllowed, RecordRefused, StaleRecord, TransitionRefused
from regenplant.core.process.lifecycle import VISIT, VisitAction, VisitState
from regenplant.quality import services
from regenplant.quality.investigation import investigate
from regenplant.quality.models import QcDecision
from regenplant.quality.record import plain_row, record_of
from regenplant.quality.services import amending
from regenplant.quality.signed_content import FAIL_MEANING, PASS_MEANING, RELEASE_MEANING, REOPEN_MEANING
from regenplant.quality.standing import standing_of
from regenplant.resins.models import LotParent
from regenplant.tanks import services as tank_services
from regenplant.tanks.guards import against_shipping
from regenplant.tanks.models import TankVisit
from tests import factories, families
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db

WHY = "The sample was drawn from another vessel."


def amend(plant: SmallPlant, batch: Batch, verdict: str = "fail") -> QcDecision:
    services.reopen_record(
        by=plant.by("supervisor"), batch_id=batch.pk, category="unit", reason=WHY,
        permit=factories.permit(plant, "supervisor", REOPEN_MEANING),
    )  # fmt: skip
    return sign_anew(plant, batch, verdict)


def sign_anew(plant: SmallPlant, batch: Batch, verdict: str) -> QcDecision:
    meaning = PASS_MEANING if verdict == "pass" else FAIL_MEANING
    return services.amend_decision(
        by=plant.by("qc"), batch_id=batch.pk, verdict=verdict, reason=WHY,
        permit=factories.permit(plant, "qc", meaning),
    ).result  # fmt: skip


def links_of(batch: Batch) -> list[BatchTank]:
    return list(batch.tank_links.select_related("visit__tank").order_by("position"))


def states(batch: Batch) -> list[str]:
    return [link.visit.state for link in links_of(batch)]


def ship(plant: SmallPlant, link: BatchTank) -> None:
    visit = TankVisit.objects.get(pk=link.visit_id)
    tank_services.ship_tank(by=plant.by("planner"), visit_id=visit.pk, version=visit.version)


def rework(plant: SmallPlant, batch: Batch, **more: Any) -> Batch:
    return batch_services.plan_rework(
        by=plant.by("supervisor"), batch_id=batch.pk, recipe_version_id=batch.recipe_version_id,
        cause="the sample tells nothing about this bed", **more,
    ).result  # fmt: skip


@pytest.fixture
def filled(plant: SmallPlant) -> Batch:
    return factories.filled_batch(plant, "sac_h")


@pytest.fixture
def released(plant: SmallPlant) -> Batch:
    batch = factories.frozen_batch(plant, "sac_h")
    return families.to_release(plant, batch)


# --- the whole batch --------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-01", "ER-29")
def test_a_filled_batch_amended_to_fail_stands_failed_and_its_tanks_are_withdrawn(
    plant: SmallPlant, filled: Batch
) -> None:
    assert amend(plant, filled).version == 2
    filled.refresh_from_db()
    assert filled.state == "failed" and filled.is_in_tanks
    assert states(filled) == ["withdrawn"] * 3
    for link in links_of(filled):
        with pytest.raises(
            TransitionRefused, match=rf"is not shipped\. Batch {filled.number} was amended to fail"
        ):
            ship(plant, link)
    assert filled not in occupants(filled.vessel)
    sentences = " ".join(event.sentence for event in story([("batch", filled.number)]))
    assert f"Batch {filled.number} failed: withdrawn " in sentences
    assert [finding.sentence for finding in registry.findings()] == []


@pytest.mark.requirement("ER-28")
def test_of_a_released_batch_the_shipped_tanks_are_named_and_the_others_withdrawn(
    plant: SmallPlant, released: Batch
) -> None:
    gone = links_of(released)[0]
    ship(plant, gone)
    amend(plant, released)
    released.refresh_from_db()
    assert released.state == "failed" and states(released) == ["shipped", "withdrawn", "withdrawn"]
    (failed,) = [one for one in story([("batch", released.number)]) if one.event == "batch.tanks_failed"]
    assert f"to be called back: {gone.visit.tank.serial}" in failed.sentence
    recall = investigate("batch", released.number, now=plant.now)
    assert [tank.serial for tank in recall.shipped] == [gone.visit.tank.serial]
    assert {tank.serial for tank in recall.recall} == {one.visit.tank.serial for one in links_of(released)}
    assert "to be called back" in standing_of(released, record_of(released)).flag
    assert [finding.sentence for finding in registry.findings()] == []


def test_nothing_of_the_amendment_stands_when_one_part_of_it_is_refused(
    plant: SmallPlant, filled: Batch, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(**_: Any) -> None:
        raise StaleRecord("A tank was changed by somebody else at the same moment.")

    monkeypatch.setattr(amending, "fail_tanks", refuse)
    with pytest.raises(StaleRecord):
        amend(plant, filled)
    filled.refresh_from_db()
    assert filled.state == "filled" and QcDecision.objects.filter(batch=filled).count() == 1
    assert states(filled) == ["refilled"] * 3


def test_while_the_record_is_open_or_amended_no_tank_of_it_leaves(plant: SmallPlant, released: Batch) -> None:
    first = links_of(released)[0]
    assert against_shipping(first.visit) == ()
    services.reopen_record(
        by=plant.by("supervisor"), batch_id=released.pk, category="unit", reason=WHY,
        permit=factories.permit(plant, "supervisor", REOPEN_MEANING),
    )  # fmt: skip
    with pytest.raises(TransitionRefused, match="Record open for correction"):
        ship(plant, first)
    sign_anew(plant, released, "pass")
    with pytest.raises(TransitionRefused, match="to be reviewed and released anew"):
        ship(plant, first)
    factories.reviewed(plant, released)
    services.release_anew(
        by=plant.by("qc 2"), batch_id=released.pk, permit=factories.permit(plant, "qc 2", RELEASE_MEANING)
    )
    ship(plant, first)
    assert states(released)[0] == "shipped"


@pytest.mark.requirement("ER-29")
def test_what_is_left_here_is_reworked_and_the_parent_keeps_its_history(
    plant: SmallPlant, released: Batch
) -> None:
    before = [link.filled_m3 for link in links_of(released)]
    ship(plant, links_of(released)[0])
    amend(plant, released)
    released.refresh_from_db()
    assert resin_here_m3(released) == pytest.approx(released.resin_volume_m3 * 2 / 3)
    child = rework(plant, released)
    assert child.tank_links.count() == 2
    assert child.resin_volume_m3 == pytest.approx(released.resin_volume_m3 * 2 / 3)
    assert states(child) == ["withdrawn"] * 2
    families.start_next(plant, child.steps.order_by("number")[0])
    assert states(child) == ["emptied"] * 2
    assert all(link.visit.is_shell_sound is None for link in links_of(child))
    families.to_release(plant, child)
    assert (
        LotParent.objects.get(child=child.lot).parent == released.lot
        and child.lot.cycles == released.lot.cycles + 1
    )
    released.refresh_from_db()
    assert released.state == "failed" and [link.filled_m3 for link in links_of(released)] == before
    shipped_again = links_of(child)[0]
    ship(plant, shipped_again)
    recall = investigate("batch", released.number, now=plant.now).recall
    of_parent = [tank.serial for tank in recall if tank.batch == released.number]
    assert of_parent == [links_of(released)[0].visit.tank.serial]
    assert [finding.sentence for finding in registry.findings()] == []


def test_the_rework_waits_until_its_vessel_is_free(plant: SmallPlant, filled: Batch) -> None:
    other = factories.frozen_batch(plant, "sac_h")
    amend(plant, filled)
    with pytest.raises(RecordRefused, match=f"holds batch {other.number}"):
        rework(plant, filled)
    batch_services.abort_batch(
        by=plant.by("supervisor"), batch_id=other.pk, reason="the vessel is needed first"
    )
    child = rework(plant, filled)
    batch_services.abort_batch(
        by=plant.by("supervisor"), batch_id=child.pk, reason="another recipe is better"
    )
    assert [link.is_current for link in links_of(filled)] == [True] * 3
    assert states(rework(plant, filled)) == ["withdrawn"] * 3


def test_a_batch_amended_to_fail_while_it_is_filled_takes_its_full_tanks_back(plant: SmallPlant) -> None:
    batch = factories.passed_batch(plant, "sac_h")
    first = links_of(batch)[0]
    tank_services.record_shell(by=plant.by(), visit_id=first.visit_id, is_sound=True)
    batch_services.fill_tank(
        by=plant.by(), batch_id=batch.pk, visit_id=first.visit_id, volume_m3=0.8 * first.resin_volume_m3
    )
    amend(plant, batch)
    batch.refresh_from_db()
    assert not batch.is_in_tanks and states(batch) == ["withdrawn", "emptied", "emptied"]
    child = rework(plant, batch)
    assert child.resin_volume_m3 == batch.resin_volume_m3
    families.start_next(plant, child.steps.order_by("number")[0])
    assert states(child) == ["emptied"] * 3


def test_scrapping_empties_the_tanks_that_are_here(plant: SmallPlant, released: Batch) -> None:
    ship(plant, links_of(released)[0])
    amend(plant, released)
    batch_services.scrap_batch(
        by=plant.by("supervisor"), batch_id=released.pk, reason="resin is spoiled for good"
    )
    released.refresh_from_db()
    assert released.state == "scrapped" and states(released) == ["shipped", "emptied", "emptied"]
    assert released.lot.is_scrapped


def test_where_all_is_shipped_nothing_is_reworked_or_scrapped(plant: SmallPlant, released: Batch) -> None:
    for link in links_of(released):
        ship(plant, link)
    amend(plant, released)
    with pytest.raises(TransitionRefused, match="No tank of this batch is here any more"):
        rework(plant, released)
    with pytest.raises(TransitionRefused, match="What was shipped is called back"):
        batch_services.scrap_batch(
            by=plant.by("supervisor"), batch_id=released.pk, reason="nothing is left of it"
        )


def test_from_a_tank_that_is_withdrawn_no_way_leads_to_the_truck_but_by_a_release() -> None:
    ways = {action: rule.to for (state, action), rule in VISIT.table.items() if state is VisitState.WITHDRAWN}
    assert ways == {
        VisitAction.PUT_BACK: VisitState.REFILLED,
        VisitAction.EMPTY: VisitState.EMPTIED,
        VisitAction.DISCARD: VisitState.EMPTIED,
    }


# --- one tank ---------------------------------------------------------------------------------------------------------------
def withdraw(plant: SmallPlant, link: BatchTank, who: str = "operator") -> None:
    batch_services.withdraw_filled_tank(
        by=plant.by(who), visit_id=link.visit_id, reason="the valve drips at the neck"
    )


def test_a_withdrawn_tank_is_not_released_with_its_batch_and_not_shipped(
    plant: SmallPlant, filled: Batch
) -> None:
    first = links_of(filled)[0]
    withdraw(plant, first)
    factories.reviewed(plant, filled)
    release = services.release_batch(
        by=plant.by("qc 2"), batch_id=filled.pk, permit=factories.permit(plant, "qc 2", RELEASE_MEANING)
    ).result
    assert states(filled) == ["withdrawn", "released", "released"]
    assert '"withdrawn":"the valve drips at the neck"' in release.signature.content.replace('": "', '":"')
    with pytest.raises(TransitionRefused, match=r"is withdrawn and is not shipped\. the valve drips"):
        ship(plant, first)
    with pytest.raises(TransitionRefused, match="released without this tank"):
        batch_services.put_back_filled_tank(
            by=plant.by("supervisor"), visit_id=first.visit_id, reason="the valve is new and tight"
        )
    batch_services.discard_filled_tank(
        by=plant.by("supervisor"), visit_id=first.visit_id, reason="it stood open over night"
    )
    assert states(filled)[0] == "emptied"
    assert [finding.sentence for finding in registry.findings()] == []


def test_a_released_tank_is_withdrawn_and_put_back_by_another_person(
    plant: SmallPlant, released: Batch
) -> None:
    first = links_of(released)[0]
    with pytest.raises(RecordRefused, match="at least 10"):
        batch_services.withdraw_filled_tank(by=plant.by(), visit_id=first.visit_id, reason="drips")
    withdraw(plant, first, who="qc")
    assert states(released)[0] == "withdrawn"
    with pytest.raises(NotAllowed):
        batch_services.put_back_filled_tank(
            by=plant.by(), visit_id=first.visit_id, reason="a new valve is in"
        )
    batch_services.put_back_filled_tank(
        by=plant.by("supervisor"), visit_id=first.visit_id, reason="a new valve is in"
    )
    assert states(released)[0] == "released"
    ship(plant, first)
    assert states(released)[0] == "shipped"
    with pytest.raises(TransitionRefused, match="cannot withdraw"):
        withdraw(plant, first)


def test_a_shell_that_was_emptied_and_holds_other_resin_stays_out_of_its_first_batchs_failing(
    plant: SmallPlant, filled: Batch
) -> None:
    first = links_of(filled)[0]
    withdraw(plant, first)
    batch_services.discard_filled_tank(
        by=plant.by("supervisor"), visit_id=first.visit_id, reason="it stood open over night"
    )
    other = factories.passed_batch(plant, "sac_h")
    batch_services.add_shell(by=plant.by(), batch_id=other.pk, visit_id=first.visit_id)
    families.fill(plant, other)
    amend(plant, filled)
    assert states(filled) == ["refilled", "withdrawn", "withdrawn"]
    assert [link.visit.state for link in links_of(other)] == ["refilled"] * 4
    assert [finding.sentence for finding in registry.findings()] == []


def test_a_tank_at_intake_is_held_there_not_withdrawn_here(plant: SmallPlant) -> None:
    visit = factories.accepted_tank(plant, "sac_h")
    with pytest.raises(RecordRefused, match="filled from no batch"):
        batch_services.withdraw_filled_tank(
            by=plant.by(), visit_id=visit.pk, reason="the valve drips at the neck"
        )


def test_a_batch_of_which_every_tank_is_withdrawn_is_not_released(plant: SmallPlant, filled: Batch) -> None:
    for link in links_of(filled):
        withdraw(plant, link)
    factories.reviewed(plant, filled)
    with pytest.raises(TransitionRefused, match="No tank is filled"):
        services.release_batch(
            by=plant.by("qc 2"), batch_id=filled.pk, permit=factories.permit(plant, "qc 2", RELEASE_MEANING)
        )


def test_a_tank_that_is_held_before_the_start_stops_the_start_and_says_why(plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    visit = links_of(batch)[0].visit
    tank_services.hold_tank(
        by=plant.by(), visit_id=visit.pk, reason="the drain smells of solvent", version=visit.version
    )
    with pytest.raises(
        TransitionRefused, match=r"is held; only accepted .*\. Held: the drain smells of solvent\."
    ):
        batch_services.start_batch(by=plant.by(), batch_id=batch.pk)


def test_columns_that_came_later_are_of_the_record_once_they_say_something(
    plant: SmallPlant, filled: Batch
) -> None:
    link = links_of(filled)[0]
    names = {"withdrawn_at", "withdrawn_reason"}
    assert not names & set(plain_row(link)) and "filled_volume_m3" in plain_row(link)
    before = record_of(filled).digest
    withdraw(plant, link)
    assert names <= set(plain_row(links_of(filled)[0])) and record_of(filled).digest != before
