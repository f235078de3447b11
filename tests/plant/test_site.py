"""Determinations of the site: without one that lets it in, metal-bearing resin is not accepted (EV-03)."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

import pytest

from regenplant.core.errors import NotAllowed, OutOfRange, RecordRefused, TransitionRefused
from regenplant.plant import services
from regenplant.plant.site import determination, determination_stop
from regenplant.tanks import services as tank_services
from regenplant.tanks.models import TankVisit
from regenplant.tanks.selectors import intake_page
from tests import factories
from tests.factories import SmallPlant

pytestmark = [pytest.mark.django_db, pytest.mark.requirement("EV-03")]
REASON = "Disposition: copper below the limit of our drums, all is ready."


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.tank_plant()


def determined(plant: SmallPlant, *, who: str = "safety", **more: Any):
    given = {
        "decided_on": date(2026, 2, 2),
        "document": "Letter of the state office, file 26-118 (invented)",
        "reviewer": "S. Quill, safety lead",
        "accepts_metal": True,
        **more,
    }
    return services.record_determination(by=plant.by(who), **given).result


def metal_tank(plant: SmallPlant) -> TankVisit:
    visit = factories.received_tank(plant, "sac_h", segregation_class="F")
    tank_services.inspect_tank(by=plant.by(), visit_id=visit.pk, inspection=factories.SOUND_LOOK)
    return TankVisit.objects.get(pk=visit.pk)


def accept(plant: SmallPlant, visit: TankVisit, who: str = "safety") -> TankVisit:
    return tank_services.accept_tank(
        by=plant.by(who), visit_id=visit.pk, segregation_class="F", version=visit.version, reason=REASON
    ).result


def test_none_a_no_and_one_that_ran_out_let_nothing_in(plant: SmallPlant) -> None:
    visit = metal_tank(plant)
    with pytest.raises(
        TransitionRefused, match=r"no determination of the site .* the letter to the customer"
    ):
        accept(plant, visit)
    determined(plant, accepts_metal=False)
    with pytest.raises(TransitionRefused, match="does not let it in"):
        accept(plant, visit)
    determined(plant, valid_until=date(2026, 3, 1))
    with pytest.raises(TransitionRefused, match="held until 2026-03-01"):
        accept(plant, visit)
    assert TankVisit.objects.get(pk=visit.pk).state == "held"


def test_with_one_in_force_the_safety_lead_accepts_in_writing_and_nobody_else(plant: SmallPlant) -> None:
    determined(plant, valid_until=date(2027, 2, 2))
    visit = metal_tank(plant)
    with pytest.raises(TransitionRefused, match="only by a written disposition of the safety lead"):
        accept(plant, visit, "supervisor")
    page = intake_page(visit.number, plant.now, may_dispose=True)
    assert page is not None and [item.value for item in page.classes] == ["F"]
    assert accept(plant, visit).state == "accepted"


def test_the_newest_holds_and_the_earlier_ones_stay(plant: SmallPlant) -> None:
    first = determined(plant)
    second = determined(plant, accepts_metal=False)
    found = determination()
    assert found is not None and (found.pk, first.number, second.number) == (second.pk, 1, 2)
    assert "does not let it in" in determination_stop(plant.now)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"decided_on": date(2026, 3, 2) + timedelta(days=1)}, "decided_on"),
        ({"valid_until": date(2026, 2, 1)}, "valid_until"),
        ({"document": ""}, "document"),
        ({"reviewer": " "}, "reviewer"),
    ],
)
def test_what_cannot_be_is_refused(plant: SmallPlant, change: dict[str, Any], field: str) -> None:
    with pytest.raises((OutOfRange, RecordRefused)) as refused:
        determined(plant, **change)
    assert refused.value.field == field and determination() is None


def test_who_may_not_is_refused(plant: SmallPlant) -> None:
    with pytest.raises(NotAllowed):
        determined(plant, who="operator")
