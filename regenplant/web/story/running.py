"""A batch of the story in its vessels: steps, legs, what is written down, readings."""

from __future__ import annotations

import random
from collections.abc import Generator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import groupby

from regenplant import units
from regenplant.batches import services as batches
from regenplant.batches.checking import unchecked
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch, StepRun
from regenplant.batches.rinse import rinse_flow_m3_per_s, specification_of
from regenplant.core.process.continued import PASSED
from regenplant.core.process.entry_rules import is_critical
from regenplant.core.process.plan import EntrySpec
from regenplant.core.process.specification import CONDUCTIVITY, Specification
from regenplant.core.process.vocabulary import Leg, StepKind
from regenplant.web.story.cast import Stage
from regenplant.web.story.clockwork import side_by_side
from regenplant.web.story.plot import Run
from regenplant.web.story.readings import ByHand, ByLogger, ByMeter, Reading, Water
from regenplant.web.story.resin_store import top_up
from regenplant.web.story.rinsing import Curve

MINUTE, HOUR = timedelta(minutes=1), timedelta(hours=1)

CELL = {
    "sac_h": "CELL-1", "wac_h": "CELL-1", "sac_na": "CELL-3", "sba_1": "CELL-2", "sba_2": "CELL-2", "sba_a": "CELL-2",
    "wba": "CELL-2", "mb": "CELL-5", "mb_p": "CELL-5", "gac": "CELL-3",
}  # fmt: skip
TEXTS = {
    "cut_container": "drum MB-CUT 2",
    "container_label": "big bag SC-14",
    "waste_decided_by": "S. Quill, paper W-31 (invented)",
    "carbon_lot": "coconut lot 8-55 (invented)",
}
"""What is written where words are asked for, by entry."""


JUDGED_RINSES = [kind.value for kind in StepKind if kind.is_judged_rinse]


def needed(wanted: Specification, every: timedelta) -> timedelta:
    """How long people read on inside the limit: the hold time, and so many readings in a row."""
    return max(timedelta(seconds=wanted.hold_time_s), every * wanted.consecutive_readings)


def begun_plus(at: datetime) -> datetime:
    """The longest a story waits for an end point."""
    return at + 4 * HOUR


@dataclass(slots=True)
class Turn:
    """One run of a batch through its steps."""

    run: Run
    batch: Batch
    dice: random.Random
    is_rework: bool
    curve: Curve | None = None


LESS_WHEN_IT_GOES_ON = 0.85
"""Share of the planned rinse water that a rinse takes when it goes on: less than QC allowed it."""


class Running:
    """Carries batches out on a stage."""

    def __init__(self, stage: Stage):
        self.stage = stage

    def carry_out(
        self, run: Run, batch: Batch, at: datetime, *, is_rework: bool = False
    ) -> Generator[datetime, None, datetime | None]:
        """All steps of a frozen batch; returns the moment the last one ended, None when it is still held."""
        dice = random.Random(run.seed + (1 if is_rework else 0))
        turn = Turn(run, batch, dice, is_rework)
        yield at
        steps = list(batch.steps.order_by("number"))
        self.write(run, batch, steps[0], at, dice, is_before=True)
        batches.start_batch(by=self.stage.by(run.operator, at), batch_id=batch.pk)
        for is_in_legs, together in groupby(steps, key=lambda step: step.leg != Leg.WHOLE):
            found = list(together)
            if is_in_legs:
                at = yield from self.both_legs(turn, found, at)
                continue
            for step in found:
                at = yield from self.one_step(turn, step, at)
                if run.holds_after is StepKind(step.kind):
                    yield at
                    batches.hold_batch(
                        by=self.stage.by(run.operator, at),
                        batch_id=batch.pk,
                        reason="Heater gives 29 °C, this step needs warmer caustic. The bed stands in water.",
                    )
                    return None
                if run.tops_up and StepKind(step.kind) is StepKind.BACKWASH:
                    yield at
                    top_up(self.stage, run.operator, batch, at)
                    at += 3 * MINUTE
                if run.pauses_after is StepKind(step.kind) and not is_rework:
                    at = yield from self.pause(run, batch, at)
        return at

    def once_more(self, run: Run, batch: Batch, at: datetime) -> Generator[datetime, None, datetime]:
        """The round of a rinse that goes on: it begins just inside its limit and falls no more."""
        turn = Turn(run, batch, random.Random(run.seed + 7), is_rework=True)
        limit = specification_of(batch).limit(CONDUCTIVITY)
        high = limit.high if limit is not None and limit.high is not None else 1e-3
        turn.curve = Curve.gone_on(at, high)
        for step in batch.steps.filter(state="waiting").order_by("number"):
            at = yield from self.one_step(turn, step, at)
        return at

    def both_legs(
        self, turn: Turn, steps: Sequence[StepRun], at: datetime
    ) -> Generator[datetime, None, datetime]:
        """Both legs of a mixed bed side by side, each in its own time; returns when the slower one is done."""

        def one_leg(leg: Leg) -> Generator[datetime, None, datetime]:
            moment = at + (0 if leg is Leg.CATION else 2) * MINUTE
            for step in steps:
                if step.leg == leg:
                    moment = yield from self.one_step(turn, step, moment)
            return moment

        return (yield from side_by_side([one_leg(Leg.CATION), one_leg(Leg.ANION)]))

    def one_step(self, turn: Turn, step: StepRun, at: datetime) -> Generator[datetime, None, datetime]:
        """One step with everything written down; returns the moment the next may begin."""
        run, batch, dice = turn.run, turn.batch, turn.dice
        kind, plan = StepKind(step.kind), plan_of(batch)
        length = timedelta(seconds=plan.step(step.number).value("duration_s") * dice.uniform(0.98, 1.06))
        if step.number > 1:
            yield at
            self.write(run, batch, step, at, dice, is_before=True)
            batches.start_step(by=self.stage.by(run.operator, at), step_id=step.pk)
        fails_here = kind.is_judged_rinse and run.is_on_a_plateau and not turn.is_rework
        if kind.is_judged_rinse:
            at = yield from self.rinse(turn, step, at, length)
        else:
            middle = at + length * 0.4
            yield middle
            self.write(run, batch, step, middle, dice, is_before=False, is_late_part=False)
            at += length
            yield at
            self.write(run, batch, step, at, dice, is_before=False, is_late_part=True)
        if kind is StepKind.SAMPLE:
            self.check(run, batch, at)
        if fails_here:
            batches.finish_step(
                by=self.stage.by("osk", at),
                step_id=step.pk,
                reason="stands on a plateau above the limit; no use to rinse on",
            )
        else:
            batches.finish_step(by=self.stage.by(run.operator, at), step_id=step.pk)
        return at + MINUTE

    def check(self, run: Run, batch: Batch, at: datetime) -> None:
        """A second person checks what the class of this batch wants checked by two."""
        for one in unchecked(batch):
            proof = self.stage.permit(run.technician, batches.CHECK_MEANING, at)
            by = self.stage.by(run.technician, at)
            if one.entry is not None:
                batches.check_entry(by=by, entry_id=one.entry.pk, permit=proof)
            elif one.reading is not None:
                batches.check_reading(by=by, reading_id=one.reading.pk, permit=proof)

    def pause(self, run: Run, batch: Batch, at: datetime) -> Generator[datetime, None, datetime]:
        """Hold at a safe point, put something right, go on; returns the moment it goes on."""
        yield at
        batches.hold_batch(
            by=self.stage.by(run.operator, at),
            batch_id=batch.pk,
            reason="The waste tank is being emptied; room is needed first.",
        )
        at += 45 * MINUTE
        yield at
        batches.resume_batch(
            by=self.stage.by(run.operator, at),
            batch_id=batch.pk,
            note="Waste tank emptied, room is there again.",
        )
        return at

    LATE = (
        "volume_fed", "stock_drawn", "contact_time", "duration", "volume", "water_clear", "nothing_foreign", "tanks_checked",
        "drained_fast", "bed_even", "cut_volume", "cut_container", "cut_kept", "cation_in_anion", "anion_in_cation",
        "all_joined", "joined_volume", "carbon_in", "carbon_wetted", "waste_set_aside",
    )  # fmt: skip

    def write(
        self,
        run: Run,
        batch: Batch,
        step: StepRun,
        at: datetime,
        dice: random.Random,
        *,
        is_before: bool,
        is_late_part: bool | None = None,
    ) -> None:
        """Write the entries of a step that belong to this moment."""
        for spec in plan_of(batch).step(step.number).entries:
            if spec.is_before != is_before or not spec.is_required:
                continue
            if not is_before and is_late_part is not None and (spec.key in self.LATE) != is_late_part:
                continue
            factor = 1.11 if run.overfeeds and spec.key in ("stock_drawn", "volume_fed") else 1.0
            if spec.key == PASSED and step.number > len(plan_of(batch).steps):
                factor = LESS_WHEN_IT_GOES_ON
            text = self.value_of(spec, dice, factor)
            batches.write_entry(
                by=self.stage.by(run.operator, at),
                step_id=step.pk,
                key=spec.key,
                text=text,
                again=text if is_critical(spec) else "",
                outside_is_true=factor > 1.0,
            )

    def value_of(self, spec: EntrySpec, dice: random.Random, factor: float = 1.0) -> str:
        if spec.kind in ("confirm", "choice"):
            return "yes"
        if spec.kind == "text":
            return TEXTS.get(spec.key, "as on the label (invented)")
        low = spec.low if spec.low is not None else (spec.target or 0.0) * 0.99
        high = spec.high if spec.high is not None else max(low, (spec.target or low) * 1.01)
        middle = spec.target if spec.target is not None else (low + high) / 2
        value = dice.gauss(middle, (high - low) / 16) * factor
        if factor == 1.0:
            value = min(max(value, low + (high - low) * 0.06), high - (high - low) * 0.06)
        return units.format_quantity(value, spec.kind)

    def rinse(
        self, turn: Turn, step: StepRun, at: datetime, length: timedelta
    ) -> Generator[datetime, None, datetime]:
        """Read until the end point holds; a rinse that another follows ends by its volume. Returns its end."""
        run, batch, dice = turn.run, turn.batch, turn.dice
        wanted = specification_of(batch)
        limit = wanted.limit(CONDUCTIVITY)
        end = at + max(length, timedelta(minutes=4))
        yield at + 2 * MINUTE
        self.write(run, batch, step, at + 2 * MINUTE, dice, is_before=False, is_late_part=False)
        if limit is not None and limit.high is not None:
            planned = timedelta(seconds=plan_of(batch).step(step.number).value("duration_s"))
            turn.curve = turn.curve or Curve.of(run, dice, at, planned, limit.high, is_rework=turn.is_rework)
            reading = self.reading_of(turn, step, at, wanted)
            is_last = not batch.steps.filter(number__gt=step.number, kind__in=JUDGED_RINSES).exists()
            last_moment = begun_plus(at) if is_last else end
            moment, inside_since, is_held = at + reading.first, None, False
            while moment < last_moment and not (is_last and is_held):
                yield moment
                is_inside = reading.take(moment) <= limit.high
                inside_since = (inside_since or moment) if is_inside else None
                is_held = inside_since is not None and moment - inside_since >= needed(wanted, reading.every)
                if self.is_given_up(turn, moment):
                    break
                moment += reading.every
            end = max(end, moment) if is_last else end
            yield end
            reading.close(end)
        yield end
        self.write(run, batch, step, end, dice, is_before=False, is_late_part=True)
        return end

    def is_given_up(self, turn: Turn, moment: datetime) -> bool:
        """A person sees that it falls no further; today nobody has looked yet."""
        run, curve = turn.run, turn.curve
        ends_above = (run.fails or bool(run.goes_down)) and not turn.is_rework
        return ends_above and curve is not None and curve.is_flat(moment)

    def reading_of(self, turn: Turn, step: StepRun, at: datetime, wanted: Specification) -> Reading:
        """By the meter at the vessel's outlet, by a logger, or by hand."""
        assert turn.curve is not None
        run, batch = turn.run, turn.batch
        feed = self.stage.feeds.get(run.vessel)
        code = CELL[batch.resin_type.family]
        cell = feed.instrument if feed else self.stage.instruments[code]
        water = Water(turn.curve, turn.dice, wanted.compensation, cell, at, rinse_flow_m3_per_s(batch, step))
        if feed is not None:
            return ByMeter(self.stage, feed, water)
        if run.is_logged:
            return ByLogger(self.stage, run.operator, batch, water)
        return ByHand(self.stage, run.operator, batch, water)
