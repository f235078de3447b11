"""What a regeneration lost, from loaded, topped up, filled and kept; and the advice that follows on the page of the lot."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from regenplant.batches import resin_volumes, services
from regenplant.batches.cycle_losses import losses_of
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch, StepEntry
from regenplant.core.process.resin_advice import Step
from regenplant.core.process.vocabulary import Leg, StepKind
from regenplant.people.models import Person
from regenplant.quality.ageing import ageing_of
from regenplant.resins.services import Counted
from regenplant.tanks import services as tank_services
from tests import factories, families
from tests.batches.test_topping_up import received, top_up, with_lot
from tests.factories import SmallPlant
from tests.web.pages import text_of

pytestmark = [pytest.mark.django_db, pytest.mark.requirement("RS-08")]


def filled_with(plant: SmallPlant, batch: Batch, each_m3: float) -> Batch:
    """Every tank of a passed batch filled with so much, in the regenerated form."""
    for link in batch.tank_links.select_related("visit__tank"):
        tank_services.record_shell(by=plant.by(), visit_id=link.visit_id, is_sound=True)
        services.fill_tank(by=plant.by(), batch_id=batch.pk, visit_id=link.visit_id, volume_m3=each_m3)
    services.finish_filling(by=plant.by(), batch_id=batch.pk)
    batch.refresh_from_db()
    return batch


def passed(plant: SmallPlant, family: str = "sac_h") -> Batch:
    return factories.passed_batch(plant, family)


def test_a_loss_is_what_came_in_less_what_went_out(plant: SmallPlant) -> None:
    """By hand: 306 L in the sodium form in, three tanks of 104.86 L in the hydrogen form (7 % larger): 294 L out, 12 L lost."""
    batch = filled_with(plant, passed(plant), 0.098 * 1.07)
    assert batch.lot_id is not None
    loss = losses_of([batch.lot_id])[batch.lot_id]
    assert loss.number == batch.number and loss.came_in_m3 == pytest.approx(0.306)
    assert loss.filled_m3 == pytest.approx(0.294) and loss.lost_m3 == pytest.approx(0.012)
    services.keep_rest(by=plant.by(), batch_id=batch.pk, rest=Counted(0.00642, "H"))
    loss = losses_of([batch.lot_id])[batch.lot_id]
    assert loss.kept_m3 == pytest.approx(0.006) and loss.lost_m3 == pytest.approx(0.006)
    balance = resin_volumes.balance_of(batch)
    assert loss.lost_m3 == pytest.approx(balance.missing_m3 + balance.lost_in_bed_m3), (
        "the page of the batch agrees"
    )


def test_what_was_counted_at_loading_counts_and_not_the_plan(plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.BACKWASH)
    written = StepEntry.objects.get(step__batch=batch, key="resin_volume", replaced_by__isnull=True)
    services.correct_entry(
        by=plant.by(), entry_id=written.pk, text="300 L", category="slip", reason="read the wrong line"
    )
    batch = filled_with(plant, factories.pass_batch(plant, batch), 0.098 * 1.07)
    assert batch.lot_id is not None
    loss = losses_of([batch.lot_id])[batch.lot_id]
    assert (
        loss.is_counted and loss.came_in_m3 == pytest.approx(0.300) and loss.lost_m3 == pytest.approx(0.006)
    )


def test_top_ups_count_as_come_in(plant: SmallPlant) -> None:
    """10 L of the bed were found missing and 10 L added: with 306 L in tanks 10 L were lost."""
    old, new = received(plant, "OLD", into_store=False, volume_m3=0.306), received(plant, "NEW")
    batch = factories.frozen_batch(plant, "sac_h", with_lot(plant, old))
    factories.run_to(plant, batch, StepKind.BACKWASH)
    top_up(plant, batch, new)
    batch = filled_with(plant, factories.pass_batch(plant, batch), 0.102 * 1.07)
    assert batch.lot_id is not None
    loss = losses_of([batch.lot_id])[batch.lot_id]
    assert loss.topped_up_m3 == pytest.approx(0.010) and loss.lost_m3 == pytest.approx(0.010)


def test_a_batch_that_is_not_filled_yet_lost_nothing(plant: SmallPlant) -> None:
    batch = passed(plant)
    assert batch.lot_id is not None and losses_of([batch.lot_id]) == {} == losses_of([])


def test_the_cut_of_a_mixed_bed_is_no_loss() -> None:
    """What is drawn off at the interface went out; the page of the batch says the same."""
    plant = families.whole_plant()
    batch = factories.pass_batch(plant, families.frozen(plant, "mixed bed"))
    batch = filled_with(plant, batch, 0.098)
    assert batch.lot_id is not None
    loss, balance = losses_of([batch.lot_id])[batch.lot_id], resin_volumes.balance_of(batch)
    assert loss.cut_m3 == pytest.approx(balance.cut_m3)
    assert loss.lost_m3 == pytest.approx(balance.missing_m3 + balance.lost_in_bed_m3)


def test_at_the_cut_each_resin_of_a_mixed_bed_is_told_apart(
    client_of: Callable[[Person], Client],
) -> None:
    """The cation resin is counted as planned, of the anion resin a tenth is missing. What came in was typed with four digits."""
    plant = families.whole_plant()
    batch = families.frozen(plant, "mixed bed")
    cut = next(step for step in plan_of(batch).steps if step.kind is StepKind.CUT)
    step = factories.run_to(plant, batch, StepKind.CUT, finish=True)
    written = StepEntry.objects.get(step=step, key="anion_volume", replaced_by__isnull=True)
    less = f"{900 * cut.value('upper_layer_m3'):.4f} L"
    services.correct_entry(
        by=plant.by(), entry_id=written.pk, text=less, again=less, category="slip", reason="read the wrong line", outside_is_true=True
    )  # fmt: skip
    batch = filled_with(plant, factories.pass_batch(plant, batch), 0.098)
    assert batch.lot is not None
    cation, anion = losses_of([batch.lot_id or 0])[batch.lot_id or 0].parts
    assert (cation.leg, cation.short_frac) == (Leg.CATION, pytest.approx(0.0, abs=2e-4))
    assert (anion.leg, anion.short_frac) == (Leg.ANION, pytest.approx(0.1, abs=2e-4))
    text = text_of(client_of(plant.people["planner"]).get(reverse("resin-ageing-lot", args=[batch.lot.code])))
    assert "the counts tell which of them is short" in text and "10.0 %" in text.replace("\xa0", " ")


def test_many_lots_take_no_more_queries_than_one(plant: SmallPlant) -> None:
    first = factories.filled_batch(plant, "sac_h")
    with CaptureQueriesContext(connection) as one:
        losses_of([first.lot_id or 0])
    more = [first, factories.filled_batch(plant, "sac_na"), factories.filled_batch(plant, "sba_1")]
    with CaptureQueriesContext(connection) as many:
        assert len(losses_of([batch.lot_id or 0 for batch in more])) == 3
    assert len(many) == len(one) <= 7


def test_the_lot_says_what_it_lost_and_is_advised_to_be_topped_up(
    plant: SmallPlant, client_of: Callable[[Person], Client]
) -> None:
    batch = filled_with(plant, passed(plant), 0.098 * 1.07)
    lot = batch.lot
    assert lot is not None
    found = ageing_of(lot, plant.now)
    assert found is not None and found.losses is not None
    assert found.losses.last_frac == pytest.approx(12 / 306) and found.cycles[0].steps_back == 0
    advice = [one for one in found.sides[0].advice if one.step is Step.TOP_UP]
    assert [one.reason for one in advice] == [
        "3.9 % of it was lost in the last cycle; 1 to 3 % are usual. One count may be 5 % off. "
        "Top up with the same resin, conditioned, and look where it went."
    ]
    text = text_of(client_of(plant.people["planner"]).get(reverse("resin-ageing-lot", args=[lot.code])))
    for words in ("Top it up", batch.number, "3.9", "A rate needs more", "promises nothing"):
        assert words in text, words


def test_a_usual_loss_advises_nothing(plant: SmallPlant) -> None:
    batch = filled_with(plant, passed(plant), 0.100 * 1.07)
    assert batch.lot is not None
    found = ageing_of(batch.lot, plant.now)
    assert found is not None and found.losses is not None and found.losses.mean_frac == pytest.approx(6 / 306)
    assert all(one.step is not Step.TOP_UP for side in found.sides for one in side.advice)


def test_a_count_that_cannot_be_is_shown_and_not_counted(plant: SmallPlant) -> None:
    batch = filled_with(plant, passed(plant), 0.040 * 1.07)
    assert batch.lot is not None
    found = ageing_of(batch.lot, plant.now)
    assert found is not None and found.losses is None
    (cycle,) = found.cycles
    assert "cannot be" in cycle.why_not and cycle.lost_frac == pytest.approx(186 / 306)
