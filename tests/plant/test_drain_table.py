"""The plant's own class table of drains: never wider than the program's, approved by another, in force for steps from then on."""

from __future__ import annotations

from datetime import timedelta

import pytest

from regenplant.batches import services as batch_services
from regenplant.batches.models import Batch
from regenplant.batches.routes import choices_for
from regenplant.core.errors import NotAllowed, OutOfRange, PlanRefused, RecordRefused
from regenplant.core.process.drains import (
    CLASS_TABLE,
    ClassTable,
    Destination,
    Drained,
    allowed,
    plain_of_table,
    table_of_plain,
)
from regenplant.core.process.vocabulary import SegregationClass, StepKind
from regenplant.plant import services
from regenplant.plant.drain_table import table_in_force, version_in_force
from regenplant.plant.models import DrainTableVersion
from tests import factories
from tests.factories import SmallPlant
from tests.plant.tables import changed, without_sewer

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant()


def draft(plant: SmallPlant, table: ClassTable | None = None, who: str = "supervisor") -> DrainTableVersion:
    version: DrainTableVersion = services.draft_drain_table(
        by=plant.by(who), table=table or without_sewer(), reason="Letter of the sewer office"
    ).result
    return version


def approve(plant: SmallPlant, version: DrainTableVersion, who: str = "supervisor 2") -> None:
    other = plant.by(who)
    services.approve_drain_table(by=other, version_id=version.pk, permit=factories.approval(other, version))


@pytest.mark.requirement("EV-01")
@pytest.mark.parametrize(
    ("kind", "drained", "to"),
    [
        ("D", "regenerant", "brine_sewer"),
        ("C", "regenerant", "rinse_drain"),
        ("B", "cleaner", "backwash_drain"),
        ("F", "regenerant", "neutralization"),
        ("F", "water", "backwash_drain"),
        ("E", "water", "rinse_drain"),
        ("X", "regenerant", "neutralization"),
    ],
)
def test_no_table_of_a_plant_is_wider_than_the_program(
    plant: SmallPlant, kind: str, drained: str, to: str
) -> None:
    with pytest.raises(OutOfRange, match="can only be stricter") as refused:
        draft(plant, changed(kind, drained, to))
    assert refused.value.field == f"{kind.lower()}_{drained}" and not DrainTableVersion.objects.exists()


@pytest.mark.requirement("EV-01")
def test_what_an_old_version_allows_and_the_program_forbids_is_left_out() -> None:
    plain = plain_of_table(CLASS_TABLE)
    plain["D"]["regenerant"] = ["brine_sewer", "neutralization"]
    plain["F"]["water"] = ["neutralization", "reclaim"]
    del plain["C"]["brine"]
    table = table_of_plain(plain)
    assert table[SegregationClass.INDUSTRIAL][Drained.REGENERANT] == (Destination.NEUTRALIZATION,)
    assert table[SegregationClass.METAL_BEARING][Drained.WATER] == (Destination.RECLAIM,)
    assert table[SegregationClass.HIGH_PURITY] == CLASS_TABLE[SegregationClass.HIGH_PURITY]
    assert table_of_plain(plain_of_table(CLASS_TABLE)) == CLASS_TABLE


def test_it_holds_once_another_person_approved_it(plant: SmallPlant) -> None:
    version = draft(plant)
    assert table_in_force(plant.now) == CLASS_TABLE
    with pytest.raises(NotAllowed, match="another person must approve"):
        approve(plant, version, "supervisor")
    with pytest.raises(NotAllowed):
        draft(plant, who="operator")
    approve(plant, version)
    assert version_in_force(plant.now) == version and table_in_force(plant.now) == without_sewer()
    assert version_in_force(plant.now - timedelta(seconds=1)) is None
    with pytest.raises(RecordRefused, match="holds already"):
        draft(plant)
    with pytest.raises(RecordRefused, match="took force already"):
        services.withdraw_drain_table(by=plant.by("supervisor 2"), version_id=version.pk, reason="a slip")
    assert version_in_force(plant.now) == version


@pytest.mark.requirement("EV-01")
def test_a_waiting_step_is_held_against_the_table_of_its_start(plant: SmallPlant) -> None:
    softener: Batch = factories.frozen_batch(plant, "sac_na")
    factories.run_to(plant, softener, StepKind.BACKWASH, finish=True)
    step = softener.steps.get(kind=StepKind.INJECT.value)
    batch_services.route_step(
        by=plant.by(), step_id=step.pk, destination="brine_sewer", reason="the sewer takes brine"
    )
    assert Destination.BRINE_SEWER in choices_for(step, softener, metal=False, now=plant.now)
    plant.forward(minutes=1)
    approve(plant, draft(plant))
    assert Destination.BRINE_SEWER not in choices_for(step, softener, metal=False, now=plant.now)
    with pytest.raises(RecordRefused, match="may not go to: brine to the sewer"):
        factories.run_to(plant, softener, StepKind.INJECT)
    with pytest.raises(RecordRefused, match="Allowed: waste tank"):
        batch_services.route_step(
            by=plant.by(), step_id=step.pk, destination="brine_sewer", reason="once more, please"
        )
    batch_services.route_step(
        by=plant.by(), step_id=step.pk, destination="neutralization", reason="as the table has it"
    )
    batch_services.start_step(by=plant.by(), step_id=step.pk)
    step.refresh_from_db()
    assert (step.state, step.drains_to) == ("running", "neutralization")


@pytest.mark.requirement("EV-01")
def test_what_may_drain_nowhere_is_not_planned(plant: SmallPlant) -> None:
    """One emptied cell speaks of its own stream and class, and of where the table is changed; never of all that the class drains."""
    approve(plant, draft(plant, changed("D", "brine")))
    with pytest.raises(PlanRefused) as refused:
        factories.frozen_batch(plant, "sac_na")
    (check,) = [one for one in refused.value.checks if one.code == "drain_destination"]
    assert check.sentence.startswith(
        "Spent brine and its rinse of class D may drain nowhere by the class table of drains in force. Steps: "
    )
    assert "under Set-up, What may drain where" in check.sentence and "at the dock" in check.sentence
    steps = check.sentence.partition("Steps: ")[2].partition(".")[0].lower()
    assert "brine" in steps or "inject" in steps, steps
    assert "backwash" not in steps, "its water still has a drain"


@pytest.mark.requirement("EV-01")
def test_another_stream_of_the_class_is_planned_all_the_same(plant: SmallPlant) -> None:
    approve(plant, draft(plant, changed("D", "brine")))
    assert factories.frozen_batch(plant, "sac_h").number


@pytest.mark.requirement("EV-01")
def test_a_cell_emptied_after_the_plan_stops_the_step_in_the_same_words(plant: SmallPlant) -> None:
    softener: Batch = factories.frozen_batch(plant, "sac_na")
    factories.run_to(plant, softener, StepKind.BACKWASH, finish=True)
    approve(plant, draft(plant, changed("D", "brine")))
    with pytest.raises(RecordRefused, match=r"of class D may drain nowhere .* What may drain where"):
        factories.run_to(plant, softener, StepKind.INJECT)


@pytest.mark.requirement("EV-02")
def test_a_stricter_row_for_metals_holds_for_every_flagged_tank(plant: SmallPlant) -> None:
    approve(plant, draft(plant, changed("F", "regenerant", "metal_drum")))
    found = table_in_force(plant.now)
    assert allowed("D", Drained.REGENERANT, has_metal_flag=True, table=found) == (Destination.METAL_DRUM,)
    assert allowed("F", Drained.REGENERANT, table=found) == (Destination.METAL_DRUM,)
    assert (
        allowed("D", Drained.REGENERANT, table=found)
        == CLASS_TABLE[SegregationClass.INDUSTRIAL][Drained.REGENERANT]
    )
