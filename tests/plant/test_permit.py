"""The discharge permit as versions, and the window that plans take from it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta

import pytest

from regenplant.audit.by import By
from regenplant.audit.selectors import story
from regenplant.core.errors import DomainError, NotAllowed, RecordRefused
from regenplant.core.process.discharge import PermitContent
from regenplant.people.authority import Role
from regenplant.people.models import Person
from regenplant.plant import permit, services
from regenplant.plant.models import PermitVersion, PlantProfile
from regenplant.plant.selectors import waste_data
from tests import factories
from tests.conftest import Clock

Acts = Callable[..., By]
pytestmark = pytest.mark.django_db
CONTENT = PermitContent(
    number="Demo sewer 7", authority="Town of Nowhere", expires_on="2027-06-30", ph_low=5.5, ph_high=10.0,
    chloride_kg_per_day=250.0,
)  # fmt: skip


@pytest.fixture
def draft(supervisor: Person, by: Acts) -> PermitVersion:
    return services.draft_permit(by=by(supervisor), content=CONTENT, reason="Paper of 2026-01-12").result


def test_the_profile_holds_until_a_version_is_approved_by_another_person(
    draft: PermitVersion, supervisor: Person, safety_lead: Person, by: Acts, clock: Clock
) -> None:
    PlantProfile.objects.create(
        pk=1, name="Plant", permit_number="Old 3", permit_expires_on=date(2026, 12, 1)
    )
    before = permit.permit_in_force(clock.now)
    assert (before.version, before.content) == (None, PermitContent(number="Old 3", expires_on="2026-12-01"))
    assert before.content.budget_kg() == {}
    with pytest.raises(NotAllowed, match="another person must approve"):
        services.approve_permit(
            by=by(supervisor), version_id=draft.pk, permit=factories.approval(by(supervisor), draft)
        )
    services.approve_permit(
        by=by(safety_lead), version_id=draft.pk, permit=factories.approval(by(safety_lead), draft)
    )
    found = permit.permit_in_force(clock.now)
    assert (found.version, found.content) == (draft, CONTENT)
    assert found.content.budget_kg() == {"chloride": 250.0}
    assert permit.permit_in_force(clock.now - timedelta(seconds=1)).version is None
    told = [line.sentence for line in story([("discharge_permit", "permit")])]
    assert any("Discharge permit: version 1 was approved" in line for line in told)


def test_a_plan_takes_its_window_from_the_permit_in_force() -> None:
    plant = factories.small_plant()
    assert (waste_data(plant.now).ph_low, waste_data(plant.now).ph_high) == (6.0, 9.0)
    draft = services.draft_permit(
        by=plant.by("supervisor"), content=CONTENT, reason="Paper of 2026-01-12"
    ).result
    other = plant.by("supervisor 2")
    services.approve_permit(by=other, version_id=draft.pk, permit=factories.approval(other, draft))
    assert (waste_data(plant.now).ph_low, waste_data(plant.now).ph_high) == (5.5, 10.0)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"ph_low": 4.5}, "ph_low"),
        ({"number": " "}, "number"),
        ({"expires_on": ""}, "expires_on"),
        ({"expires_on": "30/06/27"}, "expires_on"),
        ({"readings_apart_s": 60.0}, "readings_apart_s"),
        ({"tds_kg_per_day": -1.0}, "tds_kg_per_day"),
    ],
)
def test_a_permit_that_cannot_be_is_refused_beside_its_field(
    supervisor: Person, by: Acts, change: dict[str, object], field: str
) -> None:
    with pytest.raises(DomainError) as refused:
        services.draft_permit(
            by=by(supervisor), content=replace(CONTENT, **change), reason="Paper of January"
        )  # type: ignore[arg-type]
    assert refused.value.field == field and not PermitVersion.objects.exists()


def test_who_has_no_right_writes_none_and_one_that_took_force_stays(
    draft: PermitVersion, operator: Person, safety_lead: Person, by: Acts
) -> None:
    with pytest.raises(NotAllowed):
        services.draft_permit(by=by(operator), content=CONTENT, reason="Paper of January")
    services.approve_permit(
        by=by(safety_lead), version_id=draft.pk, permit=factories.approval(by(safety_lead), draft)
    )
    with pytest.raises(RecordRefused, match="took force already"):
        services.withdraw_permit(
            by=by(factories.person(Role.SUPERVISOR)), version_id=draft.pk, reason="We think it is too wide"
        )
