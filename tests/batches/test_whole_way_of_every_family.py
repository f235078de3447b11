"""From accepted tanks to released tanks through the services, for the families beside the first four."""

from __future__ import annotations

import pytest

from regenplant.audit import chain
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch
from regenplant.chemicals.selectors import use_by_reference
from regenplant.core.errors import PlanRefused, RecordRefused, TransitionRefused
from regenplant.core.process.batch_plan import plan_batch
from regenplant.core.process.vocabulary import StepKind
from regenplant.people.signing import holds
from regenplant.recipes.selectors import purpose_of, usable_recipe_versions
from regenplant.use.models import UseRow
from tests import factories, families
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return families.whole_plant()


@pytest.mark.parametrize("name", families.WAYS)
def test_a_batch_goes_from_accepted_tanks_to_released_tanks(plant: SmallPlant, name: str) -> None:
    batch = families.frozen(plant, name)
    plan = plan_of(batch)
    again = plan_batch(plan.request)
    assert again.steps == plan.steps and dict(again.totals) == dict(plan.totals)

    batch = families.to_release(plant, batch)
    assert batch.state == "released" and not batch.deviations.exists()
    visits = [link.visit for link in batch.tank_links.select_related("visit__tank__resin_lot")]
    assert {visit.state for visit in visits} == {"released"}
    assert {visit.tank.resin_lot for visit in visits} == {batch.lot}
    assert holds(batch.release.signature) and holds(batch.qc_decision.signature)
    assert list(chain.verify()) == []
    every_chemical_left_the_ledger_once(plant, batch)


def every_chemical_left_the_ledger_once(plant: SmallPlant, batch: Batch) -> None:
    used = use_by_reference([batch.number])[batch.number]
    planned = families.chemicals_planned(batch)
    # stock is written down by tank level to a liter, small ones to 0.1 L (7 g of 12 % hypochlorite), and the ledger follows
    assert used == {key: pytest.approx(1000 * kg, rel=0.02, abs=7.5) for key, kg in planned.items()}
    rows = {row.chemical: row for row in UseRow.objects.filter(number=batch.number)}
    assert {chemical: row.used_grams for chemical, row in rows.items()} == used
    for chemical, kg in planned.items():
        assert rows[chemical].planned_grams == pytest.approx(1000 * kg, abs=2)
        assert 0 <= rows[chemical].theory_grams <= rows[chemical].planned_grams


def test_the_steps_of_stepwise_sulfuric_acid_share_what_the_load_asks_for(plant: SmallPlant) -> None:
    batch = families.to_release(plant, families.frozen(plant, "sulfuric cation"))
    row = UseRow.objects.get(number=batch.number, chemical="h2so4")
    # 0.306 m³ at 1,100 eq/m³, 49.04 g of H2SO4 per equivalent: 16.5 kg in all, however many steps bring it
    assert row.theory_grams == pytest.approx(306 * 1100 * 0.04904, rel=0.002)


# --- lots -----------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("name", "cycles_before", "cycles_after"),
    [("weak base", 4, 5), ("mixed bed", 2, 3), ("conditioning", 0, 0), ("carbon", 0, 0)],
)
def test_regeneration_counts_a_cycle_and_conditioning_and_carbon_do_not(
    plant: SmallPlant, name: str, cycles_before: int, cycles_after: int
) -> None:
    batch = families.to_release(plant, families.frozen(plant, name, cycles=cycles_before))
    assert batch.lot is not None and batch.lot.cycles == cycles_after
    assert batch.lot.resin_type == batch.resin_type
    assert batch.lot.volume_form == factories.exhausted_form(batch.resin_type.family)


def test_exchanged_carbon_comes_from_the_lot_that_was_filled_in_not_from_the_spent_one(
    plant: SmallPlant,
) -> None:
    new = families.lot_on_record(plant, families.WAYS["carbon"], code="GAC-77")
    batch = families.frozen(plant, "carbon")
    fill = families.work_to(plant, batch, StepKind.FILL)
    families.start_next(plant, fill)
    factories.write(plant, fill, "carbon_lot", "gac-77")
    batch = families.to_release(plant, batch)
    assert batch.lot is not None and batch.lot.cycles == 0
    assert [link.parent for link in batch.lot.parent_links.all()] == [new]


def test_spent_carbon_is_no_parent_of_the_new(plant: SmallPlant) -> None:
    batch = families.to_release(plant, families.frozen(plant, "carbon"))
    assert batch.lot is not None and not batch.lot.parent_links.exists()


# --- polishing ------------------------------------------------------------------------------------------------------
def test_polishing_mixed_beds_never_pool_with_working_ones(plant: SmallPlant) -> None:
    working = families.tanks_for(plant, families.WAYS["mixed bed"], 2)
    polishing = families.tanks_for(plant, families.WAYS["polishing mixed bed"], 1)
    with pytest.raises(RecordRefused, match="Different pools are never mixed") as refusal:
        families.frozen(plant, "mixed bed", [*working, *polishing])
    assert refusal.value.code == "mixed_pool" and not Batch.objects.exists()


def test_polishing_of_the_same_class_still_is_another_pool(plant: SmallPlant) -> None:
    way = families.WAYS["polishing mixed bed"]
    polishing = factories.accepted_tanks(plant, way.key, 1, segregation_class="D")
    working = families.tanks_for(plant, families.WAYS["mixed bed"], 2)
    with pytest.raises(RecordRefused, match="Different pools are never mixed"):
        families.frozen(plant, "mixed bed", [*working, *polishing])


def test_a_polishing_recipe_is_offered_to_polishing_resin_only(plant: SmallPlant) -> None:
    def offered(family: str, grade: str) -> list[str]:
        return [version.recipe.code for version in usable_recipe_versions(family, grade, plant.now)]

    polishing = plant.recipe["mb_p"].recipe.code
    assert polishing in offered("mb_p", "polishing")
    assert offered("mb_p", "working") == []
    assert polishing not in offered("mb", "working")


def test_polishing_resin_whose_history_nobody_knows_is_refused(plant: SmallPlant) -> None:
    way = families.WAYS["polishing mixed bed"]
    visits = factories.accepted_tanks(plant, way.key, 3, segregation_class=way.segregation_class)
    with pytest.raises(PlanRefused, match="no lot is on record, so nobody knows") as refusal:
        families.frozen(plant, "polishing mixed bed", visits)
    assert "resin_history_known" in [check.code for check in refusal.value.checks]


def test_polishing_resin_with_too_many_regenerations_behind_it_is_refused(plant: SmallPlant) -> None:
    most = int(
        plan_of(families.frozen(plant, "polishing mixed bed")).request.recipe.limits["resin_cycles_max"]
    )
    Batch.objects.update(state="aborted")
    visits = families.tanks_for(plant, families.WAYS["polishing mixed bed"], cycles=most + 1)
    with pytest.raises(PlanRefused, match="regeneration") as refusal:
        families.frozen(plant, "polishing mixed bed", visits, vessel_id=families.spare(plant, "P3", "P1"),
                        anion_vessel_id=families.spare(plant, "P4", "P2"))  # fmt: skip
    assert any("cycles" in check.code for check in refusal.value.checks)


# --- recipes offered --------------------------------------------------------------------------------------------------
def test_cleaning_and_conditioning_are_offered_after_regeneration_and_marked(plant: SmallPlant) -> None:
    for code in ("CL-FE-H", "CO-H", "H-H2SO4-120"):
        plant.recipe[code] = factories.approved_recipe(plant, families.default_recipe(code))
    found = usable_recipe_versions("sac_h", "working", plant.now)
    assert [(version.recipe.code, purpose_of(version).value) for version in found] == [
        ("H-H2SO4-120", "regeneration"),
        ("H-HCL-100", "regeneration"),
        ("CL-FE-H", "cleaning"),
        ("CO-H", "conditioning"),
    ]
    # resin of another grade is not regenerated by a working recipe, but cleaned it may be
    assert [version.recipe.code for version in usable_recipe_versions("sac_h", "polishing", plant.now)] == [
        "CL-FE-H",
        "CO-H",
    ]


def test_a_batch_is_not_held_while_a_sanitizer_or_a_soak_stands(plant: SmallPlant) -> None:
    from regenplant.batches import services as batch_services

    for name, kind, said in (
        ("carbon", StepKind.SANITIZE, "Sodium hypochlorite"),
        ("organic cleaning", StepKind.SOAK, "Sodium hydroxide"),
    ):
        batch = families.frozen(plant, name)
        families.start_next(plant, families.work_to(plant, batch, kind))
        with pytest.raises(TransitionRefused, match=f"Do not stop here: {said}"):
            batch_services.hold_batch(by=plant.by(), batch_id=batch.pk, reason="lunch is waiting for us")


def test_a_sanitizer_of_carbon_stands_in_the_tanks_and_no_refusal_speaks_of_a_bed(plant: SmallPlant) -> None:
    from regenplant.batches import services as batch_services

    batch = families.frozen(plant, "carbon")
    families.start_next(plant, families.work_to(plant, batch, StepKind.SANITIZE))
    with pytest.raises(TransitionRefused) as refusal:
        batch_services.hold_batch(by=plant.by(), batch_id=batch.pk, reason="lunch is waiting for us")
    assert "Sodium hypochlorite stands in the tanks." in refusal.value.message
    assert "the bed" not in refusal.value.message
    batch_services.interrupt_batch(by=plant.by(), batch_id=batch.pk, reason="the pump tripped")
    what = batch.deviations.get().what
    assert what == "Stopped with Sodium hypochlorite in the tanks: the pump tripped"


# --- rinses one after the other ---------------------------------------------------------------------------------------
def test_only_the_last_rinse_waits_for_the_end_point_and_the_volumes_add_up(plant: SmallPlant) -> None:
    from regenplant.batches import services as batch_services
    from regenplant.batches.rinse import end_point, rinsed_so_far
    from regenplant.batches.selectors import rinse_page

    batch = families.frozen(plant, "mixed bed")
    fast = families.start_next(plant, families.work_to(plant, batch, StepKind.FAST_RINSE))
    batch.refresh_from_db()
    assert batch.state == "rinsing"
    plant.forward(minutes=10)
    first = factories.reading(plant, batch, "300 µS/cm")
    assert first.step == fast and not end_point(batch).is_met
    plant.forward(minutes=fast.planned_duration_s / 60)
    factories.write_required(plant, fast, is_before=False)
    batch_services.finish_step(by=plant.by(), step_id=fast.pk)
    passed = rinsed_so_far(batch)
    assert passed is not None and passed > 0
    loop = families.start_next(plant, batch.steps.get(kind=StepKind.RECIRCULATE))
    batch.refresh_from_db()
    assert batch.state == "rinsing"
    plant.forward(minutes=10)
    second = factories.reading(plant, batch, "3 µS/cm", rinsed="306 L")
    # 306 L through the 0.306 m³ loaded are one bed volume, on top of those of the fast rinse
    assert second.step == loop and second.rinsed_bv == pytest.approx(passed + 1.0)
    page = rinse_page(batch, plant.now)
    assert [step.kind for step in page.steps] == ["fast_rinse", "recirculate"] and page.step == loop
    assert page.end_point.recirculated_bv == pytest.approx(1.0)
    assert page.end_point.rinsed_bv == pytest.approx(passed + 1.0)
    factories.write_required(plant, loop, is_before=False)
    with pytest.raises(TransitionRefused, match="Conductivity"):
        batch_services.finish_step(by=plant.by(), step_id=loop.pk)
