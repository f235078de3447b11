"""A refused tank stands in quarantine until somebody writes where it went."""

from __future__ import annotations

from datetime import date

import pytest
from django.db import DatabaseError, transaction

from regenplant.audit.selectors import story
from regenplant.audit.verifying.registry import Look
from regenplant.core.errors import NotAllowed, RecordRefused, StaleRecord
from regenplant.safety.models import RefusedAway
from regenplant.safety.selectors import quarantine, refused_visits
from regenplant.safety.services import let_refused_tank_go
from regenplant.safety.verification import check_refused
from regenplant.tanks import services as tanks
from regenplant.tanks.models import TankVisit
from tests import factories
from tests.factories import SmallPlant

TODAY = date(2026, 3, 2)
TO = "Invented treater, Hollow Road"


@pytest.fixture
def refused(plant: SmallPlant) -> TankVisit:
    visit = factories.received_tank(plant, "sac_h")
    row: TankVisit = tanks.refuse_tank(
        by=plant.by("safety"), visit_id=visit.pk, reason="The first water is yellow.", version=visit.version
    ).result
    return row


def gone(plant: SmallPlant, visit: TankVisit, **more: object) -> RefusedAway:
    given = {"went_to": TO, "left_on": TODAY, **more}
    row: RefusedAway = let_refused_tank_go(by=plant.by("supervisor"), visit_id=visit.pk, **given).result
    return row


def test_it_leaves_the_quarantine_with_the_words_of_where_it_went(
    plant: SmallPlant, refused: TankVisit
) -> None:
    assert list(quarantine()) == [refused]
    row = gone(plant, refused, paper_number="P-77")
    assert not quarantine().exists() and refused_visits().get().refused_away == row
    (line,) = story([("tank_visit", refused.number)])[-1:]
    assert (
        line.sentence
        == f"{refused.tank.serial}, refused, left the plant on 2026-03-02, to {TO}, with paper P-77"
    )
    with pytest.raises(StaleRecord, match=f"to {TO}"):
        gone(plant, refused)
    with pytest.raises(DatabaseError), transaction.atomic():
        RefusedAway.objects.update(went_to="The river")


def test_only_a_supervisor_or_the_safety_lead_lets_it_go(plant: SmallPlant, refused: TankVisit) -> None:
    for who in ("operator", "qc", "planner"):
        with pytest.raises(NotAllowed):
            let_refused_tank_go(by=plant.by(who), visit_id=refused.pk, went_to=TO, left_on=TODAY)
    let_refused_tank_go(by=plant.by("safety"), visit_id=refused.pk, went_to=TO, left_on=TODAY)


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"left_on": date(2026, 3, 3)}, "today is 2026-03-02"),
        ({"left_on": date(2026, 3, 1)}, "it came on 2026-03-02"),
        ({"went_to": " "}, "is empty"),
        ({"paper_number": "9" * 61}, "at most 60"),
    ],
)
def test_what_it_must_say(plant: SmallPlant, refused: TankVisit, more: dict[str, object], says: str) -> None:
    with pytest.raises(RecordRefused, match=says):
        gone(plant, refused, **more)
    assert list(quarantine()) == [refused]


def test_a_tank_that_is_not_refused_does_not_leave_by_this_way(plant: SmallPlant) -> None:
    visit = factories.received_tank(plant, "sac_h")
    with pytest.raises(RecordRefused, match="is received, not refused"):
        gone(plant, visit)
    held = tanks.hold_tank(
        by=plant.by("operator"), visit_id=visit.pk, reason="It smells of chlorine.", version=visit.version
    ).result
    assert list(quarantine()) == [held]


def test_one_that_left_and_was_not_refused_is_found(plant: SmallPlant, refused: TankVisit) -> None:
    gone(plant, refused)
    assert list(check_refused(Look())) == []
    TankVisit.objects.filter(pk=refused.pk).update(state="received")
    (found,) = check_refused(Look())
    assert found.sentence.endswith(f"and visit {refused.number} is received.")
