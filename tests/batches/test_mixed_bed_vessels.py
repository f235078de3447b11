"""Which vessel is whose while the legs of a mixed bed run apart, and when it is reworked."""

from __future__ import annotations

import pytest
from django.db import DatabaseError, IntegrityError, transaction

from regenplant.batches import services as batch_services
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch
from regenplant.core.errors import RecordRefused, TransitionRefused
from regenplant.core.process.vocabulary import StepKind
from regenplant.plant import services as plant_services
from regenplant.plant.models import Vessel
from tests import factories, families
from tests.factories import SmallPlant
from tests.families import cut_done, step_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return families.whole_plant()


@pytest.fixture
def batch(plant: SmallPlant) -> Batch:
    return families.frozen(plant, "mixed bed")


# --- vessels ----------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("CS-03")
def test_each_vessel_remembers_the_chemical_of_its_own_leg(plant: SmallPlant, batch: Batch) -> None:
    cut_done(plant, batch)
    families.start_next(plant, step_of(batch, StepKind.INJECT, "cation"))
    caustic = families.start_next(plant, step_of(batch, StepKind.INJECT, "anion"))

    def noted() -> dict[str, tuple[str, bool, str]]:
        return {
            one.code: (one.last_chemical, one.is_flushed, one.last_segregation_class)
            for one in Vessel.objects.filter(code__in=("M1", "M2"))
        }

    assert noted() == {"M1": ("hcl", False, "D"), "M2": ("naoh", False, "D")}
    factories.work_off(plant, caustic)
    factories.work_off(plant, families.start_next(plant, step_of(batch, StepKind.DISPLACE, "anion")))
    assert noted() == {"M1": ("hcl", False, "D"), "M2": ("naoh", True, "D")}


def test_together_in_one_vessel_it_is_flushed_when_both_legs_are(plant: SmallPlant) -> None:
    batch = families.frozen(plant, "mixed bed together")
    cut_done(plant, batch)
    for leg in ("cation", "anion"):
        families.start_next(plant, step_of(batch, StepKind.INJECT, leg))
    for leg, is_flushed in (("cation", False), ("anion", True)):
        factories.work_off(plant, step_of(batch, StepKind.INJECT, leg))
        factories.work_off(plant, families.start_next(plant, step_of(batch, StepKind.DISPLACE, leg)))
        assert Vessel.objects.get(code="M1").is_flushed is is_flushed


@pytest.mark.requirement("CS-08")
def test_a_locked_out_anion_vessel_stops_the_anion_leg_only(plant: SmallPlant, batch: Batch) -> None:
    cut_done(plant, batch)
    plant_services.lock_out_vessel(
        by=plant.by("supervisor"), vessel_id=plant.vessels["M2"].pk, number="9", reason="gasket leaks"
    )
    caustic = step_of(batch, StepKind.INJECT, "anion")
    factories.write_required(plant, caustic, is_before=True)
    with pytest.raises(TransitionRefused, match="M2 is locked out: gasket leaks"):
        batch_services.start_step(by=plant.by(), step_id=caustic.pk)
    assert families.start_next(plant, step_of(batch, StepKind.INJECT, "cation")).state == "running"


def test_a_vessel_in_use_as_anion_vessel_is_busy_and_the_reverse(plant: SmallPlant, batch: Batch) -> None:
    visits = families.tanks_for(plant, families.WAYS["mixed bed"])
    with pytest.raises(RecordRefused, match=f"M2 is the anion vessel of batch {batch.number}") as refusal:
        families.frozen(plant, "mixed bed", visits, vessel_id=families.spare(plant, "M3", "M1"))
    assert (refusal.value.code, refusal.value.field) == ("vessel_occupied", "anion_vessel")
    with pytest.raises(RecordRefused, match=f"M2 is the anion vessel of batch {batch.number}") as refusal:
        families.frozen(plant, "mixed bed", visits, vessel_id=plant.vessels["M2"].pk,
                        anion_vessel_id=families.spare(plant, "M4", "M2"))  # fmt: skip
    assert refusal.value.field == "vessel"
    with pytest.raises(RecordRefused, match=f"M1 holds batch {batch.number}") as refusal:
        families.frozen(plant, "mixed bed", visits, vessel_id=plant.vessels["M3"].pk,
                        anion_vessel_id=plant.vessels["M1"].pk)  # fmt: skip
    assert refusal.value.field == "anion_vessel"
    assert Batch.objects.count() == 1


def test_the_database_gives_an_anion_vessel_once(plant: SmallPlant, batch: Batch) -> None:
    row = {
        field.attname: getattr(batch, field.attname)
        for field in Batch._meta.concrete_fields
        if not field.primary_key
    }
    other = families.spare(plant, "M3", "M1")
    with pytest.raises(IntegrityError), transaction.atomic():
        Batch.objects.create(**{**row, "number": "B-2", "vessel_id": other})
    with pytest.raises(IntegrityError), transaction.atomic():
        Batch.objects.create(**{**row, "number": "B-3", "vessel_id": other, "anion_vessel_id": other})


def test_the_anion_vessel_is_frozen_with_the_plan(plant: SmallPlant, batch: Batch) -> None:
    assert batch.anion_vessel is not None and plan_of(batch).request.anion_vessel is not None
    assert plan_of(batch).request.anion_vessel.code == batch.anion_vessel.code == "M2"
    with pytest.raises(DatabaseError), transaction.atomic():
        Batch.objects.filter(pk=batch.pk).update(anion_vessel=None)


@pytest.mark.parametrize(
    ("name", "anion_vessel", "code"),
    [
        ("mixed bed", None, "anion_vessel_missing"),
        ("mixed bed", "M1", "anion_vessel_is_vessel"),
        ("mixed bed together", "M2", "anion_vessel_not_needed"),
        ("weak base", "M2", "anion_vessel_not_needed"),
    ],
)
def test_an_anion_vessel_is_named_where_the_legs_run_apart_and_nowhere_else(
    plant: SmallPlant, name: str, anion_vessel: str | None, code: str
) -> None:
    key = plant.vessels[anion_vessel].pk if anion_vessel else None
    with pytest.raises(RecordRefused) as refusal:
        families.frozen(plant, name, anion_vessel_id=key)
    assert (refusal.value.code, refusal.value.field) == (code, "anion_vessel")
    assert not Batch.objects.exists()


# --- rework -----------------------------------------------------------------------------------------------------------
def rework(plant: SmallPlant, batch: Batch, **more) -> Batch:  # type: ignore[no-untyped-def]
    return batch_services.plan_rework(
        by=plant.by("supervisor"),
        batch_id=batch.pk,
        cause="silica above its limit",
        **{"recipe_version_id": batch.recipe_version_id, **more},
    ).result


def aborted_apart(plant: SmallPlant, batch: Batch) -> None:
    """Given up while the resin stands in two vessels."""
    cut_done(plant, batch)
    batch_services.hold_batch(by=plant.by(), batch_id=batch.pk, reason="the acid pump is broken")
    batch_services.abort_batch(
        by=plant.by("supervisor"), batch_id=batch.pk, reason="the pump comes next week"
    )
    batch.refresh_from_db()


def test_a_failed_mixed_bed_is_reworked_in_the_same_two_vessels(plant: SmallPlant, batch: Batch) -> None:
    from regenplant.quality import services as quality_services
    from regenplant.quality.signed_content import FAIL_MEANING

    while steps := families.at_work(batch):
        if steps[0].state == "waiting":
            families.start_next(plant, steps[0])
        factories.work_off(plant, steps[0])
    quality_services.decide_batch(
        by=plant.by("qc"), batch_id=batch.pk, verdict="fail", reason="silica is above its limit",
        permit=factories.permit(plant, "qc", FAIL_MEANING),
    )  # fmt: skip
    child = rework(plant, batch)
    assert (child.vessel.code, child.anion_vessel.code, child.parent) == ("M1", "M2", batch)
    assert families.to_release(plant, child).state == "released"


def test_resin_that_stands_apart_keeps_both_vessels(plant: SmallPlant, batch: Batch) -> None:
    aborted_apart(plant, batch)
    other = families.spare(plant, "M4", "M2")
    with pytest.raises(RecordRefused, match=f"The anion resin of {batch.number} stands in M2"):
        rework(plant, batch, anion_vessel_id=other)
    together = families.recipe_of(plant, families.WAYS["mixed bed together"])
    child = rework(plant, batch, recipe_version_id=together)
    assert child.anion_vessel is not None and child.anion_vessel.code == "M2"


def test_a_vessel_of_an_aborted_mixed_bed_stays_busy_until_it_is_scrapped(
    plant: SmallPlant, batch: Batch
) -> None:
    aborted_apart(plant, batch)
    visits = families.tanks_for(plant, families.WAYS["mixed bed"])
    free = families.spare(plant, "M3", "M1")
    with pytest.raises(RecordRefused, match="M2 is the anion vessel of batch"):
        families.frozen(plant, "mixed bed", visits, vessel_id=free)
    batch_services.scrap_batch(
        by=plant.by("supervisor"), batch_id=batch.pk, reason="resin is fouled beyond use"
    )
    assert families.frozen(plant, "mixed bed", visits, vessel_id=free).state == "ready"
