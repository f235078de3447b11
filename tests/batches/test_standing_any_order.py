"""Whatever comes in whatever order, the kept standing is what a calculation from nothing says, and the readings are the right ones.

Drawn at random: readings by hand, packets of two meters (late, out of order, overlapping, sent twice), corrections, set-asides. Held
against a plain list of readings that this test keeps by itself, and judged one by one.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any

import pytest
from django.db import transaction
from hypothesis import Phase, given, settings
from hypothesis import strategies as st

from regenplant.batches import services
from regenplant.batches.models import Batch, MeterLog, RinseReading
from regenplant.batches.packets import AHEAD_S, METER_AHEAD_S
from regenplant.batches.points import points_of
from regenplant.batches.rinse import end_point_of, rinse_flow_m3_per_s, specification_of
from regenplant.batches.services.readings import ReadingAsTyped
from regenplant.batches.standing import end_point_in, fresh, is_fresh, standing_of, worked_out
from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.errors import RecordRefused
from regenplant.core.process.acceptance import judge
from regenplant.core.process.specification import RinseReading as CoreReading
from regenplant.core.process.vocabulary import StepKind
from tests import factories
from tests.batches.meter_logs import device, logged, packet
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db
MINUTES = 120
CELLS = ("CELL", "OLD-CELL")
"""The second is out of calibration: its readings inform, and prove nothing."""

BY_HAND = st.tuples(st.just("hand"), st.integers(1, 3), st.sampled_from((4, 8, 9, 30, 200)), st.sampled_from(CELLS))  # fmt: skip
PACKET = st.tuples(st.just("packet"), st.integers(-10, MINUTES - 5), st.integers(10, 40), st.sampled_from(CELLS), st.sampled_from(("file", "http")), st.sampled_from((3, 8, 20)))  # fmt: skip
ASIDE = st.tuples(st.just("aside"), st.integers(0, 5), st.none() | st.tuples(st.integers(0, 30), st.integers(0, 10)))  # fmt: skip
CORRECT = st.tuples(st.just("correct"), st.integers(0, 5), st.sampled_from((5, 9, 60)))
ACTS = st.lists(st.one_of(BY_HAND, PACKET, PACKET, ASIDE, CORRECT), min_size=1, max_size=7)


@dataclass
class Told:
    """The readings as this test knows them: by hand and by packet, each (moment, µS/cm, cell)."""

    began: datetime
    hand: dict[int, tuple[datetime, float, str]] = field(default_factory=dict)
    logs: dict[int, dict[datetime, tuple[float, str]]] = field(default_factory=dict)
    aside: dict[int, list[tuple[datetime, datetime] | None]] = field(default_factory=dict)

    def knows(self, at: datetime, cell: str) -> bool:
        return any(at in log and log[at][1] == cell for log in self.logs.values()) or any(
            (at, cell) == (moment, own) for moment, _, own in self.hand.values()
        )

    def standing(self) -> list[tuple[datetime, float, str]]:
        found = list(self.hand.values())
        for pk, log in self.logs.items():
            stretches = self.aside.get(pk, [])
            found += [
                (at, value, cell)
                for at, (value, cell) in log.items()
                if not any(one is None or one[0] <= at <= one[1] for one in stretches)
            ]
        return sorted(found)


@pytest.fixture
def rinsing(plant: SmallPlant) -> Batch:
    batch = factories.frozen_batch(plant, "sba_1")
    factories.run_to(plant, batch, StepKind.FAST_RINSE)
    for cell in CELLS:
        device(plant, batch, cell)
    return Batch.objects.get(pk=batch.pk)


def play(plant: SmallPlant, batch: Batch, act: Any, told: Told) -> None:
    match act:
        case ("hand", minutes, value, cell):
            plant.forward(minutes=minutes)
            row = factories.reading(plant, batch, f"{value} µS/cm", cell=cell)
            told.hand[row.pk] = (row.occurred_at, float(value), cell)
        case ("packet", start, count, cell, source, value):
            first = told.began.replace(microsecond=0) + timedelta(minutes=start, seconds=1)
            readings = logged(first, [value + 0.01 * (n + start) for n in range(count)])
            ahead = timedelta(seconds=METER_AHEAD_S if source == "http" else AHEAD_S)
            new = {
                one.at: (float(one.value_text), cell)
                for one in readings
                if told.began <= one.at <= plant.now + ahead and not told.knows(one.at, cell)
            }
            by = plant.by()
            if source == "http":
                by = replace(by, user=device(plant, batch, cell))
            handed = packet(plant, readings, source=source, cell=cell)
            if not new:
                with pytest.raises(RecordRefused) as refusal:
                    services.take_in(by=by, batch_id=batch.pk, packet=handed)
                assert refusal.value.code == "nothing_new"
                return
            row = services.take_in(by=by, batch_id=batch.pk, packet=handed).result
            assert row.count == len(new) and row.count + row.known_already + row.outside == count
            told.logs[row.pk] = new
        case ("aside", which, stretch) if told.logs:
            pk = sorted(told.logs)[which % len(told.logs)]
            log = MeterLog.objects.get(pk=pk)
            span = None
            if stretch is not None:
                first = min(log.first_at + timedelta(minutes=stretch[0]), log.last_at)
                span = (first, first + timedelta(minutes=stretch[1]))
            services.set_aside(
                by=plant.by(), log_id=pk, category="instrument", reason="the plug was loose then",
                from_at=span[0] if span else None, until_at=span[1] if span else None,
            )  # fmt: skip
            told.aside.setdefault(pk, []).append(span)
        case ("correct", which, value) if told.hand:
            pk = sorted(told.hand)[which % len(told.hand)]
            at, _, cell = told.hand.pop(pk)
            typed = ReadingAsTyped(f"{value} µS/cm", "25 °C", plant.instruments[cell].pk, again_text=f"{value} µS/cm")  # fmt: skip
            row = services.correct_reading(
                by=plant.by(), reading_id=pk, reading=typed, category="slip", reason="one line above was read"
            ).result  # fmt: skip
            told.hand[row.pk] = (at, float(value), cell)


def hold(plant: SmallPlant, batch: Batch, told: Told) -> None:
    """The record against the plain list, and the kept standing against one from nothing."""
    batch = Batch.objects.get(pk=batch.pk)
    wanted = told.standing()
    points = points_of(batch)
    codes = points.instrument_codes
    seen = sorted(
        (round(at, 3), round(shown * 1e4, 6), codes[int(pk)])
        for at, shown, pk in zip(points.at_s, points.conductivity_siemens_per_m, points.instrument_id, strict=True)
    )  # fmt: skip
    own = {cell: plant.instruments[cell].code for cell in CELLS}
    assert seen == sorted(
        (round(at.timestamp(), 3), round(value, 6), own[cell]) for at, value, cell in wanted
    )

    step = batch.steps.get(kind=StepKind.FAST_RINSE.value)
    bv_per_s = rinse_flow_m3_per_s(batch, step) / batch.resin_volume_m3
    specification = specification_of(batch)
    way = Compensation(plant.instruments["CELL"].compensation or Compensation.NONE)
    plain = [
        CoreReading(at.timestamp(), bv_per_s * (at - told.began).total_seconds(), value * 1e-4, 298.15, way, own[cell], cell == "CELL")
        for at, value, cell in wanted
    ]  # fmt: skip
    verdict = end_point_of(judge(plain, specification), specification)
    kept = standing_of(batch)
    if kept is None:
        assert not wanted and not told.logs
        return
    assert is_fresh(batch) and fresh(batch, plant.now).pk == kept.pk
    said = end_point_in(kept)
    assert (said.is_met, said.held_readings, said.reasons) == (verdict.is_met, verdict.held_readings, verdict.reasons)  # fmt: skip
    assert said.held_s == pytest.approx(verdict.held_s, abs=2e-3)
    anew = worked_out(batch, plant.now)
    for name in ("basis", "points", "logs", "newest_at", "curve", "end_point", "grade", "lot_code", "endpoint_bv", "decade_bv"):  # fmt: skip
        assert getattr(kept, name) == getattr(anew, name), name
    assert kept.points == len(wanted)


def test_the_kept_standing_is_what_a_calculation_from_nothing_says(plant: SmallPlant, rinsing: Batch) -> None:
    step = rinsing.steps.get(kind=StepKind.FAST_RINSE.value)
    assert step.started_at is not None
    plant.forward(minutes=MINUTES)
    begun = plant.now

    @settings(max_examples=10, deadline=None, derandomize=True, phases=[Phase.explicit, Phase.generate])
    @given(ACTS)
    def whatever_comes(acts: list[Any]) -> None:
        plant.now = begun
        told = Told(step.started_at)
        place = transaction.savepoint()
        try:
            for act in acts:
                play(plant, rinsing, act, told)
            hold(plant, rinsing, told)
        finally:
            transaction.savepoint_rollback(place)

    whatever_comes()
    assert not RinseReading.objects.exists()
