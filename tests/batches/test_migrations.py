"""What stood in the database before the families grew still stands in it afterwards, with the locks of a live plant on."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import pytest
from django.core.management import call_command
from django.db import connection
from django.db.migrations.executor import MigrationExecutor

from regenplant.audit import locks
from regenplant.audit.locks import Lock
from tests.factories import START

pytestmark = pytest.mark.django_db(transaction=True)

BEFORE = [
    ("people", "0003_authority_alerts_and_shared_accounts"),
    ("chemicals", "0002_initial"),
    ("plant", "0001_initial"),
    ("recipes", "0001_initial"),
    ("resins", "0001_initial"),
    ("tanks", "0001_initial"),
    ("batches", "0002_initial"),
]


def migrate(targets: list[tuple[str, str]]) -> Any:
    executor = MigrationExecutor(connection)
    executor.migrate(targets)
    return MigrationExecutor(connection).loader.project_state(targets).apps


@pytest.fixture
def before() -> Iterator[Any]:
    locks.remove()
    newest = MigrationExecutor(connection).loader.graph.leaf_nodes()
    try:
        yield migrate(BEFORE)
    finally:
        locks.remove()
        migrate(newest)
        locks.install()


def old_rows(apps: Any) -> dict[str, int]:
    """A running batch in its vessel, as the program before wrote it."""

    def make(label: str, **values: Any) -> Any:
        return apps.get_model(label)._default_manager.create(**values)

    person = make("people.Person", username="operator-1", full_name="Operator 1", initials="O1", password="x")
    vessel = make(
        "plant.Vessel", code="C1", name="Vessel C1", internal_diameter_m=0.7, straight_height_m=2.0,
        bed_volume_min_m3=0.2, bed_volume_max_m3=0.4, families=["sac_h"], segregation_classes=["D"],
    )  # fmt: skip
    make("plant.PlantProfile", id=1, name="Old plant", feed_alkalinity_kg_per_m3=0.2)
    resin = make(
        "resins.ResinType", code="SAC-8", description="cation", family="sac_h", total_capacity_eq_per_m3=1900.0,
        operating_capacity_eq_per_m3=1100.0, bead_diameter_m=0.0006, bead_density_kg_per_m3=1280.0,
        max_temperature_kelvin=393.15,
    )  # fmt: skip
    owner = {
        "content": "{}",
        "digest": "0" * 64,
        "reason": "old",
        "made_by": person,
        "made_at": START,
        "number": 1,
    }
    recipe = make("recipes.Recipe", code="OLD", name="Old recipe", family="sac_h")
    specification = make("recipes.Specification", code="OLD", name="Old limits", family="sac_h")
    batch = make(
        "batches.Batch", number="B-10001", state="running", resin_type=resin, segregation_class="D", vessel=vessel,
        recipe_version=make("recipes.RecipeVersion", recipe=recipe, **owner),
        specification_version=make("recipes.SpecificationVersion", specification=specification, **owner),
        resin_volume_m3=0.3, resin_volume_form="Na", plan_text="{}", plan_digest="0" * 64, core_version="0",
        planned_by=person, planned_at=START,
    )  # fmt: skip
    step = make(
        "batches.StepRun", batch=batch, number=1, kind="load", name="Load", planned_duration_s=60.0, state="running"
    )  # fmt: skip
    entry = make(
        "batches.StepEntry", step=step, key="flow", name="Flow", kind="flow", value_as_typed="60", unit_as_typed="L/min",
        value=0.001, occurred_at=START, entered_at=START, entered_by=person,
    )  # fmt: skip
    return {"batch": batch.pk, "step": step.pk, "entry": entry.pk, "resin": resin.pk}


def of_then(lock: Lock) -> Lock:
    """The lock as it was when its table had fewer columns."""
    with connection.cursor() as cursor:
        if not lock.columns or lock.table not in connection.introspection.table_names(cursor):
            return lock
        known = {column.name for column in connection.introspection.get_table_description(cursor, lock.table)}
    return replace(lock, columns=tuple(name for name in lock.columns if name in known))


def test_old_rows_come_through_with_the_locks_of_a_live_plant_on(
    before: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    keys = old_rows(before)
    today = locks.declared()
    locks.declare(*(of_then(lock) for lock in today))
    with monkeypatch.context() as then:
        then.setattr(locks.sealed, "tables", dict)  # rows were not sealed yet
        locks.install()
    locks.declare(*today)
    call_command("migrate", verbosity=0)  # as an upgrade does it: locks off before, on again after
    newest = MigrationExecutor(connection).loader
    now = newest.project_state(newest.graph.leaf_nodes()).apps
    assert locks.missing() == ()
    batch = now.get_model("batches.Batch").objects.get(pk=keys["batch"])
    assert (batch.number, batch.resin_volume_form, batch.anion_vessel_id) == ("B-10001", "Na", None)
    step = now.get_model("batches.StepRun").objects.get(pk=keys["step"])
    assert (step.leg, step.state) == ("whole", "running")
    entry = now.get_model("batches.StepEntry").objects.get(pk=keys["entry"])
    assert (entry.value_as_typed, entry.value) == ("60", 0.001)
    assert (entry.standing, entry.is_late, entry.instrument_was_valid) == ("written", False, True)
    resin = now.get_model("resins.ResinType").objects.get(pk=keys["resin"])
    assert (resin.bead_diameter_spread_frac, resin.bead_density_spread_kg_per_m3) == (0.15, 5.0)
    assert (resin.cation_type_id, resin.cation_share_frac) == (None, None)
    plant = now.get_model("plant.PlantProfile").objects.get()
    assert (plant.name, plant.feed_basis, plant.feed_calcium_eq_per_m3) == ("Old plant", "", None)
    vessel = now.get_model("plant.Vessel").objects.get(code="C1")
    assert (vessel.families, vessel.chemicals, vessel.takes_anion_leg_only) == (["sac_h"], [], False)
