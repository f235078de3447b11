"""Three weeks of an invented plant: tanks come in, batches run, one fails and is reworked, and today is under way."""

from __future__ import annotations

import random
from collections.abc import Generator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from django.db import transaction

from regenplant import units
from regenplant.batches import services as batches
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch, StepRun
from regenplant.batches.services.writing import ReadingAsTyped
from regenplant.chemicals.models import ChemicalLot
from regenplant.core.process.intake import (
    FittingCondition,
    InspectionData,
    Odour,
    OxidizerStrip,
    ReturnReason,
    ShellCondition,
    WaterColour,
)
from regenplant.core.process.plan import EntrySpec
from regenplant.core.process.specification import CONDUCTIVITY
from regenplant.core.process.vocabulary import StepKind
from regenplant.plant import services as plant
from regenplant.plant.models import Vessel
from regenplant.quality import services as quality
from regenplant.quality.services.measuring import MeasurementAsTyped
from regenplant.quality.signed_content import FAIL_MEANING, PASS_MEANING, RELEASE_MEANING
from regenplant.quality.specification import sample_limits
from regenplant.recipes.selectors import specification_definition
from regenplant.tanks import services as tanks
from regenplant.tanks.models import Tank, TankVisit
from regenplant.web.story.cast import Stage, check, deliver, set_the_stage
from regenplant.web.story.clockwork import Clockwork, Script

MINUTE, HOUR, DAY = timedelta(minutes=1), timedelta(hours=1), timedelta(days=1)


@dataclass(frozen=True, slots=True)
class Run:
    """One batch of the story: which vessel and pool, how many tanks, when, by whom, and how it goes."""

    vessel: str
    resin_type: str
    segregation_class: str
    count: int
    operator: str = "tarn"
    technician: str = "brae"
    releaser: str = "fenn"
    fails: bool = False
    overfeeds: bool = False
    holds_after: StepKind | None = None
    """Held after this step, and still held now."""
    pauses_after: StepKind | None = None
    """Held after this step for three quarters of an hour, then gone on."""
    seed: int = 0


CELL = {"sac_h": "CELL-1", "sba_1": "CELL-2", "sba_2": "CELL-2", "sac_na": "CELL-3"}
TEST_KIT = {"hardness": "KIT-H", "silica": "KIT-S", "ph": "PH-1", "sodium": "NA-1"}
RINSE_MINUTES = 4


class Life:
    """Plays scripts on a stage."""

    def __init__(self, stage: Stage):
        self.stage = stage
        self.clockwork = Clockwork()
        self.random = random.Random(20260311)
        self.next_tank: dict[tuple[str, str], int] = {}

    # --- tanks --------------------------------------------------------------------------------------------------
    def take_tanks(self, key: tuple[str, str], count: int) -> list[Tank]:
        """The next tanks of a pool, going round."""
        fleet = self.stage.tanks[key]
        first = self.next_tank.get(key, 0)
        self.next_tank[key] = first + count
        return [fleet[(first + index) % len(fleet)] for index in range(count)]

    def home_of(self, tank: Tank, key: tuple[str, str]) -> int:
        fleet = next(f for f in self.stage.data["fleets"] if (f["resin_type"], f["segregation_class"]) == key)
        homes = fleet["homes"]
        return self.stage.customers[homes[tank.pk % len(homes)]].pk

    def receive(
        self, tank: Tank, key: tuple[str, str], at: datetime, *, bay: str, due_in: timedelta
    ) -> TankVisit:
        customer_id = self.home_of(tank, key)
        due = (at + due_in).replace(hour=7, minute=0, second=0, microsecond=0)
        outcome = tanks.receive_tank(
            by=self.stage.by("sallow", at),
            tank_id=tank.pk,
            customer_id=customer_id,
            return_reason=ReturnReason.EXHAUSTED.value,
            customer_words=self.random.choice(["", "", "light went red", "slow", "ran out on Monday"]),
            bay=bay,
            due_at=due,
        )
        visit: TankVisit = outcome.result
        return visit

    def look_over(self, visit: TankVisit, at: datetime, *, ph: float | None = None) -> None:
        value = ph if ph is not None else round(self.random.uniform(5.8, 7.9), 1)
        inspection = InspectionData(
            shell=ShellCondition.SOUND,
            head_and_fittings=FittingCondition.SOUND,
            odour=Odour.NONE,
            water_colour=WaterColour.CLEAR,
            oxidizer_strip=OxidizerStrip.NONE,
            first_drain_ph=value,
            first_drain_ph_as_typed=str(value),
        )
        tanks.inspect_tank(by=self.stage.by("sallow", at), visit_id=visit.pk, inspection=inspection)

    def bring_in(
        self, key: tuple[str, str], count: int, at: datetime, *, due_in: timedelta = 2 * DAY
    ) -> list[TankVisit]:
        """Receive, look over and accept some tanks; returns their visits."""
        found = []
        for index, tank in enumerate(self.take_tanks(key, count)):
            moment = at + index * 2 * MINUTE
            visit = self.receive(tank, key, moment, bay=f"bay {1 + index % 6}", due_in=due_in)
            self.look_over(visit, moment + MINUTE)
            visit.refresh_from_db()
            tanks.accept_tank(
                by=self.stage.by("sallow", moment + MINUTE),
                visit_id=visit.pk,
                segregation_class=key[1],
                version=visit.version,
            )
            found.append(visit)
        return found

    # --- a batch --------------------------------------------------------------------------------------------------
    def batch(self, run: Run, start: datetime) -> Script:
        """One batch from the dock to the truck. The tanks come in some hours before ``start``."""
        key = (run.resin_type, run.segregation_class)
        arrival = start - 5 * HOUR - timedelta(minutes=2 * run.count)
        yield arrival
        visits = self.bring_in(key, run.count, arrival)
        yield start
        batch = self.freeze(run, visits, start)
        yield from self.carry_out(run, batch, start + 3 * MINUTE)

    def freeze(self, run: Run, visits: Sequence[TankVisit], at: datetime) -> Batch:
        family = self.stage.types[run.resin_type].family
        outcome = batches.freeze_batch(
            by=self.stage.by(run.operator, at),
            visit_ids=[visit.pk for visit in visits],
            vessel_id=self.stage.vessels[run.vessel].pk,
            recipe_version_id=self.stage.recipe[family].pk,
            specification_version_id=self.stage.specification[family].pk,
        )
        batch: Batch = outcome.result
        return batch

    def carry_out(self, run: Run, batch: Batch, at: datetime, *, is_rework: bool = False) -> Script:
        """From the start of a frozen batch to its shipment."""
        dice = random.Random(run.seed + (1 if is_rework else 0))
        yield at
        first = batch.steps.order_by("number")[0]
        self.write(run, batch, first, at, dice, is_before=True)
        batches.start_batch(by=self.stage.by(run.operator, at), batch_id=batch.pk)
        for step in batch.steps.order_by("number"):
            planned = plan_of(batch).step(step.number).value("duration_s")
            length = timedelta(seconds=planned * dice.uniform(0.98, 1.06))
            if step.number > 1:
                self.write(run, batch, step, at, dice, is_before=True)
                batches.start_step(by=self.stage.by(run.operator, at), step_id=step.pk)
            if StepKind(step.kind) is StepKind.FAST_RINSE:
                at = yield from self.rinse(run, batch, step, at, length, dice, is_rework=is_rework)
            else:
                middle = at + length * 0.4
                yield middle
                self.write(run, batch, step, middle, dice, is_before=False, is_late_part=False)
                at += length
                yield at
                self.write(run, batch, step, at, dice, is_before=False, is_late_part=True)
            if StepKind(step.kind) is StepKind.FAST_RINSE and run.fails and not is_rework:
                batches.finish_step(
                    by=self.stage.by("osk", at),
                    step_id=step.pk,
                    reason="stands on a plateau above the limit; no use to rinse on",
                )
            else:
                batches.finish_step(by=self.stage.by(run.operator, at), step_id=step.pk)
            if run.holds_after is StepKind(step.kind):
                batches.hold_batch(
                    by=self.stage.by(run.operator, at + MINUTE),
                    batch_id=batch.pk,
                    reason="Heater gives 29 °C, this step needs warmer caustic. The bed stands in water.",
                )
                return
            if run.pauses_after is StepKind(step.kind) and not is_rework:
                at = yield from self.pause(run, batch, at + MINUTE)
            at += MINUTE
        yield from self.judge(run, batch, at, dice, is_rework=is_rework)

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
        "volume_fed",
        "stock_drawn",
        "contact_time",
        "duration",
        "volume",
        "water_clear",
        "nothing_foreign",
        "tanks_checked",
    )

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
            batches.write_entry(
                by=self.stage.by(run.operator, at),
                step_id=step.pk,
                key=spec.key,
                text=self.value_of(spec, dice, factor),
                outside_is_true=factor > 1.0,
            )

    def value_of(self, spec: EntrySpec, dice: random.Random, factor: float = 1.0) -> str:
        if spec.kind in ("confirm", "choice"):
            return "yes"
        low = spec.low if spec.low is not None else (spec.target or 0.0) * 0.99
        high = spec.high if spec.high is not None else max(low, (spec.target or low) * 1.01)
        middle = spec.target if spec.target is not None else (low + high) / 2
        value = dice.gauss(middle, (high - low) / 16) * factor
        if factor == 1.0:
            value = min(max(value, low + (high - low) * 0.06), high - (high - low) * 0.06)
        return units.format_quantity(value, spec.kind)

    # --- rinse, QC, filling -----------------------------------------------------------------------------------------
    def rinse(
        self,
        run: Run,
        batch: Batch,
        step: StepRun,
        at: datetime,
        length: timedelta,
        dice: random.Random,
        *,
        is_rework: bool,
    ) -> Generator[datetime, None, datetime]:
        """Readings until the end point holds; returns the moment the rinse may end."""
        family = batch.resin_type.family
        specification = self.stage.specification[family]
        wanted = specification_definition(specification)
        limit = wanted.limit(CONDUCTIVITY)
        end = at + max(length, timedelta(minutes=4))
        yield at + 2 * MINUTE
        self.write(run, batch, step, at + 2 * MINUTE, dice, is_before=False, is_late_part=False)
        if limit is not None and limit.high is not None:
            floor = limit.high * (2.4 if run.fails and not is_rework else dice.uniform(0.35, 0.6))
            start = limit.high * dice.uniform(250, 500)
            minutes_per_decade = length.total_seconds() / 60 / dice.uniform(3.2, 4.0)
            begun, moment, held = at, at + 3 * MINUTE, 0
            needed = int(wanted.hold_time_s // 60 // RINSE_MINUTES) + 2
            while held < needed and moment < begun + 4 * HOUR:
                minutes = (moment - begun).total_seconds() / 60
                value = floor + start * 10 ** (-minutes / minutes_per_decade)
                value *= dice.gauss(1.0, 0.012)
                yield moment
                self.read(run, batch, value, moment, dice)
                held = held + 1 if value <= limit.high else 0
                if run.fails and not is_rework and minutes > 3 * minutes_per_decade + 25:
                    break
                moment += RINSE_MINUTES * MINUTE
            end = max(end, moment)
        yield end
        self.write(run, batch, step, end, dice, is_before=False, is_late_part=True)
        return end

    def read(self, run: Run, batch: Batch, at_25: float, moment: datetime, dice: random.Random) -> None:
        cell = self.stage.instruments[CELL[batch.resin_type.family]]
        celsius = dice.gauss(19.0, 0.3)
        shown = at_25 if cell.compensation != "none" else at_25 * (1 - 0.021 * (25 - celsius))
        batches.record_reading(
            by=self.stage.by(run.operator, moment),
            batch_id=batch.pk,
            reading=ReadingAsTyped(
                value_text=f"{shown * 1e4:.4g} µS/cm",
                temperature_text=f"{celsius:.1f} °C",
                instrument_id=cell.pk,
            ),
        )

    def judge(self, run: Run, batch: Batch, at: datetime, dice: random.Random, *, is_rework: bool) -> Script:
        batch.refresh_from_db()
        at += timedelta(minutes=dice.randint(8, 25))
        yield at
        for limit in sample_limits(batch):
            low = limit.low if limit.low is not None else 0.0
            high = limit.high if limit.high is not None else low * 1.5
            value = low + (high - low) * dice.uniform(0.25, 0.6)
            quality.record_measurement(
                by=self.stage.by(run.technician, at),
                batch_id=batch.pk,
                measurement=MeasurementAsTyped(
                    key=limit.measurement,
                    value_text=units.format_quantity(value, limit.kind).replace(" as CaCO₃", ""),
                    instrument_id=self.stage.instruments[TEST_KIT[limit.measurement]].pk,
                    method="usual method of the bench",
                ),
            )
        at += 6 * MINUTE
        yield at
        if run.fails and not is_rework:
            yield from self.fail_and_rework(run, batch, at)
            return
        quality.decide_batch(
            by=self.stage.by(run.technician, at),
            batch_id=batch.pk,
            verdict="pass",
            permit=self.stage.permit(run.technician, PASS_MEANING, at),
        )
        yield from self.fill_and_ship(run, batch, at)

    def fail_and_rework(self, run: Run, batch: Batch, at: datetime) -> Script:
        quality.decide_batch(
            by=self.stage.by(run.technician, at),
            batch_id=batch.pk,
            verdict="fail",
            reason="Conductivity stood at more than twice its limit for over half an hour.",
            permit=self.stage.permit(run.technician, FAIL_MEANING, at),
        )
        at += 50 * MINUTE
        yield at
        for deviation in batch.deviations.filter(decided_at__isnull=True):
            batches.close_deviation(
                by=self.stage.by("vale", at),
                deviation_id=deviation.pk,
                decision="Agreed. The resin is regenerated again with a full dose.",
            )
        outcome = batches.plan_rework(
            by=self.stage.by("osk", at),
            batch_id=batch.pk,
            recipe_version_id=batch.recipe_version_id,
            cause="Caustic tank level read low: too little was drawn. Full regeneration again.",
        )
        yield from self.carry_out(run, outcome.result, at + 10 * MINUTE, is_rework=True)

    def fill_and_ship(self, run: Run, batch: Batch, at: datetime) -> Script:
        batch.refresh_from_db()
        links = list(batch.tank_links.filter(is_current=True).select_related("visit__tank"))
        for link in links:
            at += 4 * MINUTE
            yield at
            tanks.record_shell(by=self.stage.by(run.operator, at), visit_id=link.visit_id, is_sound=True)
            batches.fill_tank(
                by=self.stage.by(run.operator, at),
                batch_id=batch.pk,
                visit_id=link.visit_id,
                volume_m3=link.visit.tank.resin_volume_m3,
            )
        at += 2 * MINUTE
        yield at
        batches.finish_filling(by=self.stage.by(run.operator, at), batch_id=batch.pk)
        for deviation in batch.deviations.filter(decided_at__isnull=True):
            batches.close_deviation(
                by=self.stage.by("vale", at),
                deviation_id=deviation.pk,
                decision="No effect on the resin; accepted. Operator told.",
            )
        at += 35 * MINUTE
        yield at
        quality.release_batch(
            by=self.stage.by(run.releaser, at),
            batch_id=batch.pk,
            permit=self.stage.permit(run.releaser, RELEASE_MEANING, at),
        )
        at = max(at + 20 * MINUTE, (at + DAY).replace(hour=6, minute=30))
        yield at
        for link in links:
            visit = TankVisit.objects.get(pk=link.visit_id)
            tanks.ship_tank(by=self.stage.by("sallow", at), visit_id=visit.pk, version=visit.version)

    # --- housekeeping -------------------------------------------------------------------------------------------------
    def weekly(self, start: datetime) -> Script:
        """Eyewash tests, strength checks and deliveries."""
        at = start
        while True:
            at += timedelta(days=4)
            yield at
            plant.record_eyewash_test(by=self.stage.by("quill", at), tested_on=at.date())
            for chemical in self.stage.data["chemicals"]:
                lot = ChemicalLot.objects.get(chemical=chemical["chemical"], is_in_use=True)
                if (at - start).days % 8 == 0:
                    deliver(self.stage, at, chemical)
                else:
                    check(self.stage, at, lot.pk, chemical)

    def lock_out(self, at: datetime, vessel: str, reason: str) -> Script:
        yield at
        plant.lock_out_vessel(
            by=self.stage.by("osk", at),
            vessel_id=Vessel.objects.get(code=vessel).pk,
            number="118",
            reason=reason,
        )

    def at_the_dock(self, at: datetime) -> Script:
        """This morning's truck: tanks that still wait for their look-over, and one whose first water was sour."""
        yield at
        for index, tank in enumerate(self.take_tanks(("CAT-H", "D"), 3)):
            self.receive(tank, ("CAT-H", "D"), at + index * MINUTE, bay="dock", due_in=3 * DAY)
        (sour,) = self.take_tanks(("AN1-OH", "D"), 1)
        visit = self.receive(sour, ("AN1-OH", "D"), at + 4 * MINUTE, bay="quarantine", due_in=3 * DAY)
        self.look_over(visit, at + 6 * MINUTE, ph=3.1)

    def waiting(self, at: datetime, key: tuple[str, str], count: int, due_in: timedelta) -> Script:
        yield at
        self.bring_in(key, count, at, due_in=due_in)


HISTORY: tuple[tuple[int, int, Run], ...] = (
    (20, 6, Run("C1", "CAT-H", "D", 9)), (20, 7, Run("A1", "AN1-OH", "D", 7, operator="sallow")),
    (19, 6, Run("S1", "SOFT-NA", "D", 9)), (19, 7, Run("C2", "CAT-H", "C", 4, technician="fenn", releaser="osk")),
    (18, 6, Run("A3", "AN2-OH", "D", 5)), (18, 8, Run("C1", "CAT-H", "D", 9, operator="sallow", pauses_after=StepKind.DISPLACE)),
    (17, 6, Run("A1", "AN1-OH", "D", 7)), (17, 7, Run("S2", "SOFT-NA", "B", 6)),
    (16, 6, Run("S1", "SOFT-NA", "D", 9, operator="sallow")), (15, 6, Run("A2", "AN1-OH", "C", 5)),
    (15, 7, Run("C1", "CAT-H", "D", 9, overfeeds=True)), (14, 6, Run("K1", "CAT-H", "A", 4)),
    (13, 6, Run("A1", "AN1-OH", "D", 7, fails=True)), (13, 7, Run("C2", "CAT-H", "C", 4)),
    (12, 6, Run("S1", "SOFT-NA", "D", 9, pauses_after=StepKind.BACKWASH)), (12, 7, Run("A3", "AN2-OH", "D", 5, technician="fenn", releaser="brae")),
    (11, 6, Run("C1", "CAT-H", "D", 9)), (10, 6, Run("A1", "AN1-OH", "D", 7, operator="sallow")),
    (9, 6, Run("S1", "SOFT-NA", "D", 9)), (9, 7, Run("A2", "AN1-OH", "C", 5)), (8, 6, Run("C1", "CAT-H", "D", 9)),
    (7, 6, Run("A3", "AN2-OH", "D", 5)), (6, 6, Run("A1", "AN1-OH", "D", 7)), (6, 7, Run("S2", "SOFT-NA", "B", 6)),
    (5, 6, Run("S1", "SOFT-NA", "D", 9)), (5, 7, Run("C2", "CAT-H", "C", 4)), (4, 6, Run("C1", "CAT-H", "D", 9)),
    (3, 6, Run("A1", "AN1-OH", "D", 7)), (3, 7, Run("K1", "CAT-H", "A", 4)), (2, 6, Run("S1", "SOFT-NA", "D", 9)),
)  # fmt: skip
"""(days ago, hour of the day, run)."""


def tell_the_story(now: datetime) -> None:
    """Play the whole story up to ``now`` in one transaction: all of it or nothing."""
    with transaction.atomic():
        start = (now - 22 * DAY).replace(hour=5, minute=0, second=0, microsecond=0)
        life = Life(set_the_stage(now, start))
        life.clockwork.add(start, life.weekly(start))
        for index, (days, hour, run) in enumerate(HISTORY):
            begin = (now - days * DAY).replace(hour=hour, minute=5, second=0, microsecond=0)
            life.clockwork.add(begin - 8 * HOUR, life.batch(_seeded(run, index), begin))
        _today(life, now)
        life.clockwork.play(now)


def _seeded(run: Run, seed: int) -> Run:
    return Run(**{**{name: getattr(run, name) for name in run.__slots__}, "seed": seed})


def _today(life: Life, now: datetime) -> None:
    """Work in progress, by minutes before now: each lands in the middle of something."""
    under_way = (
        (72, Run("C1", "CAT-H", "D", 12, seed=101)),
        (70, Run("S1", "SOFT-NA", "D", 12, operator="sallow", seed=102)),
        (212, Run("A1", "AN1-OH", "D", 8, seed=103)),
        (205, Run("C2", "CAT-H", "C", 6, operator="sallow", seed=104)),
        (66, Run("A3", "AN2-OH", "D", 6, holds_after=StepKind.BACKWASH, seed=105)),
    )
    for minutes, run in under_way:
        begin = now - minutes * MINUTE
        life.clockwork.add(begin - 8 * HOUR, life.batch(run, begin))
    life.clockwork.add(now - 3 * HOUR, life.lock_out(now - 3 * HOUR, "A2", "Drain valve work"))
    life.clockwork.add(now - 95 * MINUTE, life.at_the_dock(now - 95 * MINUTE))
    for hours, key, count, due in (
        (26, ("SOFT-NA", "B"), 7, 1 * DAY), (22, ("AN1-OH", "C"), 4, 2 * DAY), (7, ("CAT-H", "D"), 7, 2 * DAY), (5, ("CAT-H", "A"), 3, 1 * DAY)
    ):  # fmt: skip
        life.clockwork.add(now - hours * HOUR, life.waiting(now - hours * HOUR, key, count, due))
