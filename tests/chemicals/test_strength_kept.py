"""A strength that moved since a batch was planned: it cannot start so, and its record keeps what the dose was worked out with."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from django.utils import timezone

from regenplant.batches import services as batch_services
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch, Deviation
from regenplant.batches.readiness import changed_strengths, not_as_planned
from regenplant.chemicals import selectors, services
from regenplant.chemicals.models import ChemicalLot, Place
from regenplant.core.errors import TransitionRefused
from regenplant.core.process.strength_change import origin_words
from regenplant.core.process.vocabulary import StepKind
from regenplant.documents.batch_record.gathering import batch_record_content
from regenplant.documents.batch_record.paper import draw_batch_record
from regenplant.documents.page import A4
from regenplant.quality.record import record_of
from regenplant.web.presenters.plan import plan_view
from regenplant.web.presenters.review_record import whole_record
from tests import factories, families
from tests.chemicals.test_blending import COMES_GRAMS, ISSUE, checked, unloaded
from tests.documents.reading import whole_text
from tests.factories import SmallPlant

pytestmark = [pytest.mark.django_db, pytest.mark.requirement("CS-05")]


@pytest.fixture
def plant(db: None) -> SmallPlant:
    """Acid of 32 % stands in the tank, checked, and its fill connection has a code."""
    plant = factories.small_plant()
    place = Place.objects.get(code="B-HCL")
    services.set_fill_connection(
        by=plant.by("supervisor"), place_id=place.pk, connection_code="FILL-HCL", un_number="UN1789", ullage_margin_m3=0.5,
    )  # fmt: skip
    checked(plant, "LOT-HCL", 0.32)
    plant.forward(hours=1)
    return plant


@pytest.fixture
def planned(plant: SmallPlant) -> Batch:
    return factories.frozen_batch(plant, "sac_h")


def start(plant: SmallPlant, batch: Batch) -> None:
    families.start_next(plant, batch.steps.order_by("number")[0])


def titrated(plant: SmallPlant, strength_frac: float) -> None:
    services.check_strength(
        by=plant.by("qc"), lot_id=ChemicalLot.objects.get(code="LOT-HCL").pk, temperature_kelvin=293.15,
        value_as_typed=f"{strength_frac * 100:g}", unit_as_typed="%", strength_frac=strength_frac,
    )  # fmt: skip


# --- at the start ---------------------------------------------------------------------------------------------------------
def test_a_planned_batch_is_not_started_with_acid_that_was_blended_since(
    plant: SmallPlant, planned: Batch
) -> None:
    """Equal masses of 32 % and 36 % solution give 34 %: 6.25 % more acid in the same volume (hand calculation)."""
    unloaded(plant)
    (change,) = changed_strengths(planned, plant.now)
    assert change.change_frac == pytest.approx(0.34 / 0.32 - 1, rel=1e-9)
    with pytest.raises(TransitionRefused) as refused:
        start(plant, planned)
    said = refused.value.message.replace("\u00a0", " ")
    assert (
        "worked out with 32 % (lot LOT-HCL); 34 % stands in the tank now (lot LOT-HCL with A-118 on top)"
        in said
    )
    assert "6.2 % too much, at most 3 % is allowed" in said
    assert f"a supervisor aborts {planned.number}, its tanks go back to the waiting list" in said
    planned.refresh_from_db()
    assert planned.state == "ready" and not_as_planned(planned, plant.now) != ""


def test_planned_again_it_takes_the_blend_and_starts(plant: SmallPlant, planned: Batch) -> None:
    visits = [link.visit for link in planned.tank_links.select_related("visit")]
    unloaded(plant)
    batch_services.abort_batch(
        by=plant.by("supervisor"), batch_id=planned.pk, reason="acid was delivered, the plan is old"
    )
    again = factories.frozen_batch(plant, "sac_h", visits)
    assert plan_of(again).request.stock["hcl"].strength_frac == pytest.approx(0.34, rel=1e-9)
    start(plant, again)
    again.refresh_from_db()
    assert again.state == "running"


@pytest.mark.parametrize(
    ("found", "may_start"), [(0.3275, True), (0.3125, True), (0.335, False), (0.305, False)]
)
def test_a_later_check_of_the_same_acid_stops_only_beyond_three_percent_of_it(
    plant: SmallPlant, planned: Batch, found: float, may_start: bool
) -> None:
    titrated(plant, found)
    assert bool(changed_strengths(planned, plant.now)) is not may_start
    if may_start:
        start(plant, planned)
        return
    with pytest.raises(TransitionRefused, match=f"too {'much' if found > 0.32 else 'little'}"):
        start(plant, planned)


def test_a_batch_that_runs_keeps_its_plan_and_the_change_is_a_deviation(
    plant: SmallPlant, planned: Batch
) -> None:
    inject = families.work_to(plant, planned, StepKind.INJECT)
    digest = planned.plan_digest
    unloaded(plant)
    assert not_as_planned(Batch.objects.get(pk=planned.pk), plant.now) == ""
    families.start_next(plant, inject)
    planned.refresh_from_db()
    inject.refresh_from_db()
    assert inject.state == "running" and planned.plan_digest == digest
    (deviation,) = Deviation.objects.filter(batch=planned, source="limit", severity="major")
    assert deviation.step == inject and "too much" in deviation.what and deviation.is_open


def test_without_a_change_no_deviation_is_written(plant: SmallPlant, planned: Batch) -> None:
    families.start_next(plant, families.work_to(plant, planned, StepKind.INJECT))
    assert not Deviation.objects.filter(batch=planned).exists()


# --- in the record ----------------------------------------------------------------------------------------------------------
def test_the_record_shows_the_blend_the_dose_was_worked_out_with_and_no_later_check(
    plant: SmallPlant,
) -> None:
    unloaded(plant)
    batch = factories.frozen_batch(plant, "sac_h")
    stock = plan_of(batch).request.stock["hcl"]
    check, delivery = stock.parts
    assert (check.lot_code, check.method, check.strength_frac) == ("LOT-HCL", "titration", 0.32)
    assert (delivery.lot_code, delivery.strength_frac, delivery.kg_100) == ("A-118", 0.36, COMES_GRAMS / 1000)
    assert delivery.left_kg_100 == 3000.0 and delivery.gives_frac == pytest.approx(0.34, rel=1e-9)
    factories.run_to(plant, batch, StepKind.SAMPLE)
    titrated(plant, 0.345)  # later, and no matter of this batch
    content = batch_record_content(batch.number, ISSUE)
    (strength,) = content.strengths
    assert strength.strength_frac == pytest.approx(0.34, rel=1e-9)
    assert {draw.checked_strength_frac for draw in content.draws} == {strength.strength_frac}
    assert strength.stock == "lot LOT-HCL with A-118 on top"
    first, second = (sentence.replace("\u00a0", " ").replace("\u202f", "") for sentence in strength.origin)
    assert first.startswith("Lot LOT-HCL was checked 2026-03-0") and first.endswith("by titration: 32 %.")
    assert "as 100 % at 36 % by its sample, onto 3000 kg as 100 %. Together 34 %." in second
    text = whole_text(draw_batch_record(content, A4, "metric")).replace("\u00a0", " ")
    assert "A-118 came on top" in text and "Dose with" in text
    looked = dict(whole_record(record_of(batch)).chemicals)
    assert "A-118 came on top" in looked["Hydrochloric acid, dose"]
    (view,) = plan_view(plan_of(batch), timezone.now(), "metric").chemicals
    assert len(view.origin) == 2


def test_a_plan_frozen_before_parts_were_kept_still_says_what_it_knows(plant: SmallPlant) -> None:
    unloaded(plant)
    stock = replace(selectors.stock_data(plant.now)["hcl"], parts=())
    assert origin_words(stock, lambda text: text[:10]) == (
        f"Lot LOT-HCL was checked {stock.checked_at[:10]}.", "A-118 came on top since, by mass balance.",
    )  # fmt: skip
    never = replace(stock, checked_at="", added_lots=())
    assert origin_words(never, str) == ("Lot LOT-HCL was never checked at the plant.",)


def test_draws_between_two_deliveries_change_what_was_left(plant: SmallPlant) -> None:
    unloaded(plant, "A-1", 1_000_000)
    plant.now += timedelta(minutes=5)
    unloaded(plant, "A-2", 500_000)
    first, second = selectors.stock_data(plant.now)["hcl"].parts[1:]
    assert second.left_kg_100 == first.left_kg_100 + first.kg_100 == 4000.0
    assert second.gives_frac == selectors.stock_data(plant.now)["hcl"].strength_frac
