"""Chemical use of a batch: the ledger's mass is counted once, however many injections it was planned for."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from regenplant.batches.frozen import plan_of
from regenplant.batches.selectors import chemical_use, use
from regenplant.core.process.vocabulary import StepKind
from tests import factories
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db


def test_two_injections_of_one_chemical_share_the_mass_that_left_the_stock(
    plant: SmallPlant, monkeypatch: pytest.MonkeyPatch
) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.INJECT, finish=True)
    start, end = plant.now - timedelta(days=1), plant.now + timedelta(days=1)
    (line,) = chemical_use(start, end).lines
    # 0.306 m³ at 100 g/L: 30.6 kg as 100 %
    assert line.used_kg_100 == pytest.approx(30.6, rel=0.002)

    plan = plan_of(batch)
    inject = next(step for step in plan.steps if step.kind is StepKind.INJECT)
    twice = replace(plan, steps=(*plan.steps, replace(inject, number=len(plan.steps) + 1)))
    monkeypatch.setattr(use, "plan_of", lambda _: twice)
    lines = chemical_use(start, end).lines
    assert [one.used_kg_100 for one in lines] == [pytest.approx(line.used_kg_100 / 2)] * 2
