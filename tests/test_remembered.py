"""What is remembered is what would have been done: the same rows, the same answers, and nothing once something else was written."""

from __future__ import annotations

from collections import OrderedDict
from io import StringIO
from typing import Any

import pytest
from django.apps import apps
from django.core.management import call_command
from django.db import transaction

from regenplant.batches.models import Batch
from regenplant.tanks.models import Customer
from tests import factories, remembered
from tests.factories import SmallPlant
from tests.remembered import MEMORY

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def nothing_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(MEMORY, "kept", OrderedDict())
    monkeypatch.delenv("REGENPLANT_TEST_ACTS", raising=False)
    remembered.begin(is_allowed=True)


def rows() -> dict[str, list[tuple[Any, ...]]]:
    """Every row of every table."""
    return {
        model._meta.label: sorted(model._base_manager.values_list(), key=repr) for model in apps.get_models()
    }


def a_day() -> tuple[SmallPlant, Batch]:
    plant = factories.small_plant()
    batch = factories.frozen_batch(plant, "sba_1")
    return plant, factories.pass_batch(plant, batch)


def shape_of(plant: SmallPlant, batch: Batch) -> Any:
    return remembered._plain((plant, batch), [])


def test_the_second_time_leaves_the_same_rows_and_answers() -> None:
    with transaction.atomic():
        said = shape_of(*a_day())
        done = rows()
        transaction.set_rollback(True)
    before, hits = len(done["audit.AuditEvent"]), MEMORY.hits
    remembered.begin(is_allowed=True)
    plant, batch = a_day()
    assert MEMORY.hits == hits + 3
    assert before > 100 and rows() == done and shape_of(plant, batch) == said
    call_command("verify_records", stdout=(words := StringIO()))
    assert "All records hold." in words.getvalue()


def test_an_argument_stays_the_same_object_and_is_moved_on() -> None:
    for _ in range(2):
        with transaction.atomic():
            remembered.begin(is_allowed=True)
            plant = factories.small_plant()
            began = plant.now
            batch = factories.frozen_batch(plant, "sac_h")
            assert factories.pass_batch(plant, batch) is batch
            assert batch.state == "passed" and plant.now > began
            transaction.set_rollback(True)
    assert MEMORY.hits >= 3


def test_other_arguments_and_another_database_are_not_mixed_up() -> None:
    plant = factories.small_plant()
    assert plant.customer is not None
    before = MEMORY.state
    Customer.objects.filter(pk=plant.customer.pk).update(name="Another name")
    assert MEMORY.state not in (before, None)  # known, but another one
    first, second = factories.frozen_batch(plant, "sac_h"), factories.frozen_batch(plant, "sac_na")
    assert first.number != second.number and first.recipe_version_id != second.recipe_version_id


def test_an_act_from_elsewhere_ends_it_for_the_test() -> None:
    from regenplant.tanks import services

    plant = factories.small_plant()
    services.add_customer(by=plant.by("planner"), code="MARS", name="Mars Test Kitchen")
    assert MEMORY.state is None
    misses = MEMORY.misses
    factories.frozen_batch(plant, "sac_h")
    assert MEMORY.misses == misses and MEMORY.state is None


def test_what_fails_is_not_kept() -> None:
    plant = factories.small_plant()
    kept = len(MEMORY.kept)
    with pytest.raises(KeyError):
        factories.frozen_batch(plant, "no such family")
    assert len(MEMORY.kept) == kept and MEMORY.state is None


@pytest.mark.acts_only
def test_where_only_acts_write_nothing_is_remembered() -> None:
    remembered.begin(is_allowed=False)
    factories.first_administrator()
    assert not MEMORY.kept
