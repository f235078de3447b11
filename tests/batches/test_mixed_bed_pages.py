"""What pages ask about a mixed bed: both legs at work, the time left, the vessels to choose from."""

from __future__ import annotations

import pytest

from regenplant.audit.selectors import story
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch
from regenplant.batches.selectors import batch_page, start_page
from regenplant.core.errors import OutOfRange
from regenplant.core.process.vocabulary import StepKind
from regenplant.plant import services as plant_services
from tests import families
from tests.factories import SmallPlant
from tests.families import cut_done, step_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return families.whole_plant()


@pytest.fixture
def batch(plant: SmallPlant) -> Batch:
    return families.frozen(plant, "mixed bed")


# --- what pages ask ---------------------------------------------------------------------------------------------------
def test_the_page_shows_both_legs_at_work_and_puts_one_in_front(plant: SmallPlant, batch: Batch) -> None:
    cut_done(plant, batch)
    acid = families.start_next(plant, step_of(batch, StepKind.INJECT, "cation"))
    caustic = step_of(batch, StepKind.INJECT, "anion")
    fresh = Batch.objects.get(pk=batch.pk)
    page = batch_page(fresh, by=plant.by())
    assert [(work.line.number, work.leg.value, work.vessel_code) for work in page.works] == [
        (acid.number, "cation", "M1"),
        (caustic.number, "anion", "M2"),
    ]
    assert page.current is not None and page.current.number == acid.number
    other = batch_page(fresh, by=plant.by(), step_number=caustic.number)
    assert other.current is not None and other.current.number == caustic.number
    assert other.step_offer("start") is not None and page.step_offer("finish") is not None
    assert "Hydrochloric acid (in the cation leg)" in page.chemical_in_bed


def test_the_time_left_counts_the_longer_leg(plant: SmallPlant, batch: Batch) -> None:
    page = batch_page(Batch.objects.get(pk=batch.pk), by=plant.by())
    planned = {one.number: one.planned_duration_s for one in batch.steps.all()}
    legs = {
        leg: sum(planned[one.number] for one in batch.steps.filter(leg=leg))
        for leg in ("whole", "cation", "anion")
    }
    assert page.progress.planned_s == pytest.approx(legs["whole"] + max(legs["cation"], legs["anion"]))
    assert page.progress.left_s == pytest.approx(page.progress.planned_s)


def test_the_start_page_suggests_a_free_anion_vessel(plant: SmallPlant) -> None:
    families.tanks_for(plant, families.WAYS["mixed bed"])
    asked = {
        "resin_type_id": plant.types["mb"].pk,
        "segregation_class": "D",
        "dedicated_to_id": None,
    }
    page = start_page(plant.now, **asked)
    assert page is not None and page.needs_anion_vessel and page.anion_vessel is not None
    assert page.anion_vessel.code == "M2" and page.plan is not None and page.plan_digest
    plant_services.lock_out_vessel(
        by=plant.by("supervisor"), vessel_id=plant.vessels["M2"].pk, number="9", reason="gasket leaks"
    )
    page = start_page(plant.now, **asked)
    assert page is not None and page.anion_vessel is not None and page.anion_vessel.code == "A1"
    unknown = start_page(plant.now, **asked, anion_vessel_id=plant.vessels["W1"].pk)
    assert unknown is not None and unknown.anion_vessel is None and unknown.plan is None
    against = {one.vessel.code: one.reasons_against for one in page.anion_vessels}
    assert against["M2"] == ("M2 is locked out: gasket leaks.",)


def test_what_was_frozen_from_a_start_page_is_what_it_showed(plant: SmallPlant) -> None:
    visits = families.tanks_for(plant, families.WAYS["sulfuric cation"])
    recipe = families.recipe_of(plant, families.WAYS["sulfuric cation"])
    page = start_page(
        plant.now,
        resin_type_id=plant.types["sac_h"].pk,
        segregation_class="D",
        dedicated_to_id=None,
        visit_ids=[visit.pk for visit in visits],
        recipe_version_id=recipe,
        throughput_m3=50.0,
    )
    assert page is not None and page.feed is not None and page.throughput_m3 == 50.0
    batch = families.frozen(
        plant, "sulfuric cation", visits, shown_digest=page.plan_digest, throughput_m3=50.0
    )
    request = plan_of(batch).request
    # 6 eq of cations in each cubic meter of the analysis, 50 m³
    assert plan_of(batch).totals["eluted_eq"].value == pytest.approx(300.0)
    assert (
        request.throughput_m3 == 50.0
        and request.feed is not None
        and request.feed.calcium_frac == pytest.approx(0.1)
    )


def test_a_throughput_below_zero_is_refused(plant: SmallPlant) -> None:
    with pytest.raises(OutOfRange, match="throughput"):
        families.frozen(plant, "weak base", throughput_m3=-1.0)


def test_the_story_of_a_mixed_bed_names_both_vessels(plant: SmallPlant, batch: Batch) -> None:
    lines = [line.sentence for line in story([("batch", batch.number)])]
    assert any("in M1 and M2" in line for line in lines)
    cut_done(plant, batch)
    families.start_next(plant, step_of(batch, StepKind.INJECT, "anion"))
    in_anion_vessel = [line.sentence for line in story([("vessel", "M2")])]
    assert any(
        step_of(batch, StepKind.INJECT, "anion").name in line and "started" in line
        for line in in_anion_vessel
    )
