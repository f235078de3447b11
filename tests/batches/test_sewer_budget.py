"""The permit's day holds when batches are planned and started (EV-06)."""

from __future__ import annotations

import pytest

from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch
from regenplant.batches.readiness import live_blockers
from regenplant.batches.sewer_budget import planned_loads
from regenplant.core.errors import PlanRefused
from regenplant.core.process.discharge import PermitContent
from regenplant.core.process.sewer_budget import Loads
from regenplant.plant import limits, services, sewer_day
from regenplant.plant.limit_figures import FIGURES, value_of
from tests import factories

pytestmark = pytest.mark.django_db
FAMILY = "sac_na"


def permitted(plant: factories.SmallPlant, **budget_kg: float) -> None:
    """The permit, with this much of the day."""
    content = PermitContent(
        number="Demo 1", expires_on="2030-01-01", **{f"{ion}_kg_per_day": kg for ion, kg in budget_kg.items()}
    )
    draft = services.draft_permit(
        by=plant.by("supervisor"), content=content, reason="as the paper says"
    ).result
    other = plant.by("supervisor 2")
    services.approve_permit(by=other, version_id=draft.pk, permit=factories.approval(other, draft))


def softener(plant: factories.SmallPlant, vessel: str) -> Batch:
    return factories.frozen_in(plant, FAMILY, vessel)


@pytest.fixture
def told(monkeypatch: pytest.MonkeyPatch) -> list[sewer_day.SewerDay]:
    """What the day is told to be, in place of what the waste tanks say."""
    days = [sewer_day.SewerDay()]
    monkeypatch.setattr(sewer_day, "_TELLERS", [lambda now: days[-1]])
    return days


@pytest.mark.requirement("EV-06")
def test_the_fourth_of_four_softener_batches_over_the_budget_is_refused_with_its_reason(
    told: list[sewer_day.SewerDay],
) -> None:
    plant = factories.small_plant()
    for code in ("S2", "S3", "S4"):
        factories.another_vessel(plant, code, FAMILY)
    first = softener(plant, "S1")
    each_kg = planned_loads(plan_of(first)).chloride_kg
    assert each_kg > 0.0
    permitted(plant, chloride=3.5 * each_kg)
    softener(plant, "S2")
    third = softener(plant, "S3")
    found = next(check for check in plan_of(third).checks if check.code == "sewer_budget")
    assert found.is_met and "The day’s budget of the sewer takes it" in found.sentence
    [near] = [check for check in plan_of(third).checks if check.code == "sewer_budget_near"]
    assert near.warns and "comes near its edge: chloride" in near.sentence  # 3 of 3.5 is 86 %
    with pytest.raises(PlanRefused) as refused:
        softener(plant, "S4")
    [check] = [check for check in refused.value.checks if check.code == "sewer_budget"]
    assert "The sewer takes no more of this today. Chloride" in check.sentence
    assert "50\u00a0% of this resin" in check.sentence  # half a batch is left: 3.5 less 3
    assert Batch.objects.count() == 3


@pytest.mark.requirement("EV-06")
def test_a_batch_that_was_planned_does_not_start_when_the_day_is_spoken_for(
    told: list[sewer_day.SewerDay],
) -> None:
    plant = factories.small_plant()
    batch = factories.frozen_batch(plant, FAMILY)
    each_kg = planned_loads(plan_of(batch)).chloride_kg
    permitted(plant, chloride=1.5 * each_kg)
    assert not live_blockers(batch, plant.now)  # its own load is not counted twice
    told.append(
        sewer_day.SewerDay(gone=Loads(chloride_kg=0.4 * each_kg), standing=Loads(chloride_kg=0.2 * each_kg))
    )
    [blocker] = live_blockers(batch, plant.now)
    assert "The sewer takes no more of this today" in blocker
    told.append(sewer_day.SewerDay(gone=Loads(chloride_kg=0.4 * each_kg)))
    assert not live_blockers(batch, plant.now)


def test_a_permit_without_a_budget_asks_for_nothing(told: list[sewer_day.SewerDay]) -> None:
    plant = factories.small_plant()
    told.append(sewer_day.SewerDay(gone=Loads(chloride_kg=1e6)))
    batch = factories.frozen_batch(plant, FAMILY)
    assert "sewer_budget" not in {check.code for check in plan_of(batch).checks}


@pytest.mark.requirement("EV-06")
def test_the_share_that_warns_is_the_plants(told: list[sewer_day.SewerDay]) -> None:
    plant = factories.small_plant()
    each_kg = planned_loads(plan_of(softener(plant, "S1"))).chloride_kg
    permitted(plant, chloride=4.0 * each_kg)
    factories.another_vessel(plant, "S2", FAMILY)
    factories.another_vessel(plant, "S3", FAMILY)
    assert not {"sewer_budget_near"} & {check.code for check in plan_of(softener(plant, "S2")).checks}
    values = {figure.name: value_of(limits.newest_content(), figure) for figure in FIGURES}
    draft = services.draft_limits(
        by=plant.by("supervisor"),
        values=values | {"sewer_day_warn_frac": 0.7},
        reason="The sewer office watches us",
    ).result
    other = plant.by("supervisor 2")
    services.approve_limits(by=other, version_id=draft.pk, permit=factories.approval(other, draft))
    assert "sewer_budget_near" in {
        check.code for check in plan_of(softener(plant, "S3")).checks
    }  # 3 of 4 is 75 %
