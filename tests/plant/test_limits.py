"""The plant's limits as versions: drafted, approved by another, in force from a date; what was frozen keeps its own."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields
from datetime import timedelta

import pytest
from django.db import DatabaseError, IntegrityError, transaction

from regenplant import units
from regenplant.audit import limits as record_limits
from regenplant.audit.by import By
from regenplant.audit.selectors import story
from regenplant.batches.frozen import plan_of
from regenplant.batches.services import abort_batch
from regenplant.core.errors import DomainError, NotAllowed, RecordRefused, StaleRecord
from regenplant.core.process.limits import DEFAULT_LIMITS, PlantLimits
from regenplant.core.process.reconciliation import StockFigures
from regenplant.core.process.sewer_budget import SewerFigures
from regenplant.people.authority import Role
from regenplant.people.models import Person
from regenplant.plant import limits, services
from regenplant.plant.limit_figures import FIGURES, RecordFigures, SampleFigures, value_of
from regenplant.plant.models import LimitsVersion
from tests import factories
from tests.conftest import Clock

Acts = Callable[..., By]
pytestmark = pytest.mark.django_db


def values(**change: float) -> dict[str, float]:
    return {**{figure.name: value_of(limits.DEFAULTS, figure) for figure in FIGURES}, **change}


@pytest.fixture
def second_supervisor(supervisor: Person) -> Person:
    return factories.person(Role.SUPERVISOR)


@pytest.fixture
def draft(supervisor: Person, by: Acts) -> LimitsVersion:
    return services.draft_limits(
        by=by(supervisor),
        values=values(caustic_strength_max_frac=0.08, late_after_s=1800.0),
        reason="Softer seals",
    ).result


def test_every_limit_of_the_core_has_its_place_and_its_default_within_the_bounds() -> None:
    assert {figure.name for figure in FIGURES} == {
        item.name
        for item in (
            *fields(PlantLimits),
            *fields(RecordFigures),
            *fields(SampleFigures),
            *fields(StockFigures),
            *fields(SewerFigures),
        )
    }
    for figure in FIGURES:
        assert figure.low <= value_of(limits.DEFAULTS, figure) <= figure.high, figure
        assert units.format_quantity(value_of(limits.DEFAULTS, figure), figure.kind)


def test_the_defaults_hold_until_another_person_approves(
    draft: LimitsVersion, supervisor: Person, second_supervisor: Person, by: Acts, clock: Clock
) -> None:
    assert limits.limits_in_force(clock.now) == DEFAULT_LIMITS
    with pytest.raises(NotAllowed, match="another person must approve"):
        services.approve_limits(
            by=by(supervisor), version_id=draft.pk, permit=factories.approval(by(supervisor), draft)
        )
    services.approve_limits(
        by=by(second_supervisor), version_id=draft.pk, permit=factories.approval(by(second_supervisor), draft)
    )
    assert limits.limits_in_force(clock.now).caustic_strength_max_frac == 0.08
    assert limits.limits_in_force(clock.now - timedelta(seconds=1)) == DEFAULT_LIMITS
    told = [line.sentence for line in story([("plant_limits", "limits")])]
    assert any("version 1 was approved" in line for line in told)


def test_a_version_takes_force_on_its_day(
    draft: LimitsVersion, second_supervisor: Person, by: Acts, clock: Clock
) -> None:
    starts = clock.now + timedelta(days=3)
    services.approve_limits(
        by=by(second_supervisor),
        version_id=draft.pk,
        permit=factories.approval(by(second_supervisor), draft),
        effective_from=starts,
    )
    assert limits.limits_in_force(starts - timedelta(seconds=1)) == DEFAULT_LIMITS
    assert limits.limits_in_force(starts).caustic_strength_max_frac == 0.08


@pytest.mark.requirement("ER-18")
def test_a_frozen_batch_keeps_the_limits_it_was_planned_under() -> None:
    plant = factories.small_plant()
    batch = factories.frozen_batch(plant, "sac_h")
    version = services.draft_limits(
        by=plant.by("supervisor"), values=values(height_kept_free_frac=0.10), reason="Less loss of beads"
    ).result
    services.approve_limits(
        by=plant.by("supervisor 2"),
        version_id=version.pk,
        permit=factories.approval(plant.by("supervisor 2"), version),
    )
    abort_batch(by=plant.by("supervisor"), batch_id=batch.pk, reason="the vessel is wanted for another")
    later = factories.frozen_batch(plant, "sac_h")
    batch.refresh_from_db()
    assert plan_of(batch).request.limits.height_kept_free_frac == 0.05
    assert plan_of(later).request.limits.height_kept_free_frac == 0.10


def test_what_differs_is_said_figure_by_figure(draft: LimitsVersion) -> None:
    changes = limits.changes_between(limits.content_before(draft), limits.content_from(draft.content))
    assert [(change.figure.name, change.old, change.new) for change in changes] == [
        ("caustic_strength_max_frac", 0.10, 0.08), ("late_after_s", 900.0, 1800.0),
    ]  # fmt: skip


def test_the_log_asks_the_version_in_force_when_an_entry_is_late(draft: LimitsVersion) -> None:
    assert record_limits.current().late_after_s == 900.0
    LimitsVersion.objects.filter(pk=draft.pk).update(
        state="approved",
        approved_by=factories.person(),
        approved_at=draft.made_at,
        effective_from=draft.made_at,
    )
    assert record_limits.current().late_after_s == 1800.0


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"caustic_strength_max_frac": 8.0}, "Strongest caustic"),
        ({"velocity_warn_m_per_s": 0.02}, "lies above"),
        ({"late_after_s": float("nan")}, "must be a number"),
        ({"pressure_drop_limit_pascal": 20.0}, "Pressure drop"),
        ({}, "limits that hold already"),
    ],
)
def test_figures_that_cannot_be_are_refused(
    supervisor: Person, by: Acts, change: dict[str, float], words: str
) -> None:
    with pytest.raises(DomainError, match=words):
        services.draft_limits(by=by(supervisor), values=values(**change), reason="For a test")
    assert not LimitsVersion.objects.exists()


def test_a_version_holds_every_figure(supervisor: Person, by: Acts) -> None:
    with pytest.raises(RecordRefused, match="missing: gypsum_index_stop"):
        services.draft_limits(
            by=by(supervisor),
            values={k: v for k, v in values().items() if k != "gypsum_index_stop"},
            reason="For a test",
        )


def test_what_took_force_is_not_withdrawn(
    draft: LimitsVersion, supervisor: Person, second_supervisor: Person, by: Acts, clock: Clock
) -> None:
    services.approve_limits(
        by=by(second_supervisor), version_id=draft.pk, permit=factories.approval(by(second_supervisor), draft)
    )
    with pytest.raises(RecordRefused, match="took force already"):
        services.withdraw_limits(by=by(second_supervisor), version_id=draft.pk, reason="Changed our minds")
    with pytest.raises(StaleRecord):
        services.approve_limits(
            by=by(second_supervisor),
            version_id=draft.pk,
            permit=factories.approval(by(second_supervisor), draft),
        )


@pytest.mark.parametrize("who", ["operator", "planner", "qc_technician", "outsider"])
def test_who_may_not_draft_or_approve_is_refused(
    request: pytest.FixtureRequest, draft: LimitsVersion, by: Acts, who: str
) -> None:
    person = request.getfixturevalue(who)
    with pytest.raises(NotAllowed):
        services.draft_limits(by=by(person), values=values(velocity_ratio_warn=1.6), reason="For a test")
    with pytest.raises(NotAllowed):
        services.approve_limits(
            by=by(person), version_id=draft.pk, permit=factories.approval(by(person), draft)
        )


def test_the_database_freezes_an_approved_version(
    draft: LimitsVersion, second_supervisor: Person, by: Acts, supervisor: Person
) -> None:
    services.approve_limits(
        by=by(second_supervisor), version_id=draft.pk, permit=factories.approval(by(second_supervisor), draft)
    )
    with pytest.raises(DatabaseError, match="frozen"), transaction.atomic():
        LimitsVersion.objects.filter(pk=draft.pk).update(content="{}")
    with pytest.raises((IntegrityError, DatabaseError)), transaction.atomic():
        LimitsVersion.objects.filter(pk=draft.pk).update(approved_by=supervisor)
