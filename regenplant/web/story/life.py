"""Three weeks of an invented plant: tanks come in, batches run, one fails and is reworked, and today is under way."""

from __future__ import annotations

import random
from collections.abc import Generator, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from django.db import transaction

from regenplant import units
from regenplant.batches import services as batches
from regenplant.batches.models import Batch
from regenplant.batches.resin_volumes import counted_bed_m3, made_regenerated_m3
from regenplant.chemicals.models import ChemicalLot
from regenplant.core.process.measurements import MEASUREMENTS
from regenplant.core.process.specification import Limit
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.people.binding import TwoPeople
from regenplant.plant import services as plant
from regenplant.plant.models import Vessel
from regenplant.quality import services as quality
from regenplant.quality.retained import sample_missing
from regenplant.quality.services.measuring import MeasurementAsTyped
from regenplant.quality.signed_content import (
    DOWNGRADE_MEANING,
    FAIL_MEANING,
    PASS_MEANING,
    RELEASE_MEANING,
    REVIEW_MEANING,
)
from regenplant.quality.specification import sample_limits, tanks_with_resin
from regenplant.quality.ways import customers_of
from regenplant.tanks import services as tanks
from regenplant.tanks.models import TankVisit
from regenplant.web.story.ageing import watch_the_resin
from regenplant.web.story.audits import audited, put_up_levels, put_up_prices
from regenplant.web.story.calibrations import later_calibration, put_up_instruments
from regenplant.web.story.cast import Stage, check, deliver, set_the_stage
from regenplant.web.story.chemical_safety import new_revision, put_up_storage, spills
from regenplant.web.story.clockwork import Clockwork, Script
from regenplant.web.story.dock import Dock
from regenplant.web.story.meters import put_up_feeds
from regenplant.web.story.papers import certify
from regenplant.web.story.plans import plan_the_day, say_when_the_hall_works
from regenplant.web.story.plot import HISTORY, UNDER_WAY, Run
from regenplant.web.story.products import next_version, set_up_products
from regenplant.web.story.resin_store import fill_the_store, keep_rest
from regenplant.web.story.running import Running
from regenplant.web.story.safety import near_misses, put_up_stations, refused_tanks, walk_round
from regenplant.web.story.sewer import excursions, open_excursion, put_up_permit, signed_month
from regenplant.web.story.stock import counting, expecting, put_up_shapes
from regenplant.web.story.unloading import CONNECTIONS, put_up_connections, unload, wrong_connection
from regenplant.web.story.waste_tanks import begun, waste_tanks

MINUTE, HOUR, DAY = timedelta(minutes=1), timedelta(hours=1), timedelta(days=1)

TEST_KIT = {
    "silica": "KIT-S",
    "ph": "PH-1",
    "sodium": "NA-1",
    "chloride": "LAB-1",
    "tank_conductivity": "CELL-5",
}
"""What a measurement of the bench is read with; everything else with the titration kit."""
OTHER_TESTS = "KIT-H"
METHOD = {"chloride": "ion chromatography"}
"""Where the bench does not do it the usual way."""

USUALLY_LOSES = (0.008, 0.024)
"""Shares of the resin that a cycle loses; 1 to 3 % are usual (common practice)."""
LOSES = {"S2": (0.036, 0.052)}
"""The bottom screen of this vessel lets beads through."""


class Life:
    """Plays scripts on a stage."""

    def __init__(self, stage: Stage):
        self.stage = stage
        self.clockwork = Clockwork()
        self.dock = Dock(stage)
        self.running = Running(stage)

    # --- a batch --------------------------------------------------------------------------------------------------
    def batch(self, run: Run, start: datetime) -> Script:
        """One batch from the dock to the truck. The tanks come in some hours before ``start``."""
        key = (run.resin_type, run.segregation_class)
        arrival = start - 5 * HOUR - timedelta(minutes=2 * run.count)
        yield arrival
        visits = yield from self.dock.bring_in(key, run.count, arrival)
        yield start
        batch = self.freeze(run, visits, start)
        yield from self.carry_on(run, batch, start + 3 * MINUTE)

    def freeze(self, run: Run, visits: Sequence[TankVisit], at: datetime) -> Batch:
        family = self.stage.types[run.resin_type].family
        outcome = batches.freeze_batch(
            by=self.stage.by(run.operator, at),
            visit_ids=[visit.pk for visit in visits],
            vessel_id=self.stage.vessels[run.vessel].pk,
            recipe_version_id=self.stage.recipe[run.recipe or family].pk,
            specification_version_id=self.stage.specification[family].pk,
            anion_vessel_id=self.stage.vessels[run.anion_vessel].pk if run.anion_vessel else None,
        )
        batch: Batch = outcome.result
        return batch

    def carry_on(self, run: Run, batch: Batch, at: datetime, *, is_rework: bool = False) -> Script:
        """From the start of a frozen batch to its shipment, or to where it is held."""
        ended = yield from self.running.carry_out(run, batch, at, is_rework=is_rework)
        if ended is not None:
            dice = random.Random(run.seed + (3 if is_rework else 2))
            yield from self.judge(run, batch, ended, dice, is_rework=is_rework)

    def judge(self, run: Run, batch: Batch, at: datetime, dice: random.Random, *, is_rework: bool) -> Script:
        batch.refresh_from_db()
        at += timedelta(minutes=dice.randint(8, 25))
        yield at
        if run.rinses_on and not is_rework:
            at = yield from self.rinse_on(run, batch, at)
        for limit in sample_limits(batch):
            if not limit.each_tank:
                self.measure(run, batch, limit, at, dice)
        at += 6 * MINUTE
        yield at
        if sample_missing(batch):
            self.keep_sample(run, batch, at)
        if run.waits_at_qc:
            return
        if run.goes_down:
            yield from self.go_down(run, batch, at)
            return
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

    def measure(
        self,
        run: Run,
        batch: Batch,
        limit: Limit,
        at: datetime,
        dice: random.Random,
        tank_id: int | None = None,
    ) -> None:
        """One result inside its limit, by the method that the limit or the bench names."""
        known = MEASUREMENTS.get(limit.measurement)
        low = limit.low if limit.low is not None else known.lowest if known else 0.0
        high = limit.high if limit.high is not None else low * 1.5
        value = low + (high - low) * dice.uniform(0.25, 0.6)
        usual = limit.method or (known.methods[0].name if known and known.methods else "")
        quality.record_measurement(
            by=self.stage.by(run.technician, at),
            batch_id=batch.pk,
            measurement=MeasurementAsTyped(
                key=limit.measurement,
                value_text=units.format_quantity(value, limit.kind).replace(" as CaCO₃", ""),
                instrument_id=self.stage.instruments[TEST_KIT.get(limit.measurement, OTHER_TESTS)].pk,
                method=METHOD.get(limit.measurement, usual),
                tank_id=tank_id,
            ),
        )

    def test_tanks(self, run: Run, batch: Batch, at: datetime) -> Script:
        """What the specification wants measured behind each filled tank."""
        dice = random.Random(run.seed + 11)
        for limit in sample_limits(batch):
            for link in tanks_with_resin(batch) if limit.each_tank else ():
                at += 2 * MINUTE
                yield at
                self.measure(run, batch, limit, at, dice, link.pk)

    def rinse_on(self, run: Run, batch: Batch, at: datetime) -> Generator[datetime, None, datetime]:
        """The sample stands just outside: QC hands the batch back, and the operator rinses on."""
        quality.continue_rinse(
            by=self.stage.by(run.technician, at),
            batch_id=batch.pk,
            reason="The sample still feels of caustic; the reading falls, so it rinses on before it is measured.",
        )
        at = yield from self.running.once_more(run, batch, at + 5 * MINUTE)
        batch.refresh_from_db()
        at += 8 * MINUTE
        yield at
        return at

    def keep_sample(self, run: Run, batch: Batch, at: datetime) -> None:
        quality.keep_sample(
            by=self.stage.by(run.operator, at),
            batch_id=batch.pk,
            volume_text="0.5 L",
            place=f"sample shelf {batch.segregation_class}{batch.pk % 9 + 1}",
        )

    def go_down(self, run: Run, batch: Batch, at: datetime) -> Script:
        """It stands on a plateau that suits a lower product; the customers accept it, and two people sign."""
        kept = batch.retained_samples.first()
        if kept is not None:  # half a litre went into tests of what keeps the reading up
            quality.discard_sample(
                by=self.stage.by(run.technician, at),
                sample_id=kept.pk,
                why="used",
                reason="All of it went into tests for silica and organics.",
            )
            self.keep_sample(run, batch, at)
        at += 90 * MINUTE
        yield at
        quality.downgrade_batch(
            by=self.stage.by(run.technician, at),
            batch_id=batch.pk,
            to_version_id=self.stage.specification["lower"].pk,
            to_class=run.goes_down,
            reason="Stands on a plateau above its limit and meets the feed of a boiler; no organics found.",
            orders=[
                quality.CustomerOrder(
                    customer.pk, f"PO-{customer.code}-17", "their buyer (invented)", at.date()
                )
                for customer in customers_of(batch)
            ],
            together=TwoPeople(
                self.stage.permit(run.technician, DOWNGRADE_MEANING, at),
                self.stage.by("vale", at),
                self.stage.permit("vale", DOWNGRADE_MEANING, at),
            ),
        )
        yield from self.fill_and_ship(run, batch, at)

    def fail_and_rework(self, run: Run, batch: Batch, at: datetime) -> Script:
        quality.decide_batch(
            by=self.stage.by(run.technician, at),
            batch_id=batch.pk,
            verdict="fail",
            reason="Conductivity stood at more than twice its limit for over half an hour.",
            proposal="inject_full",
            permit=self.stage.permit(run.technician, FAIL_MEANING, at),
        )
        at += 50 * MINUTE
        yield at
        for deviation in batch.deviations.filter(decided_at__isnull=True):
            batches.close_deviation(
                by=self.stage.by("vale", at),
                deviation_id=deviation.pk,
                decision=batches.Decision(
                    "rework",
                    "Agreed. The resin is regenerated again with a full dose.",
                    "chemical",
                    "Too little caustic was drawn: the tank level read low.",
                ),
                permit=self.stage.permit("vale", batches.DECIDED_MEANING, at),
            )
        outcome = batches.plan_rework(
            by=self.stage.by("osk", at),
            batch_id=batch.pk,
            recipe_version_id=batch.recipe_version_id,
            cause="Caustic tank level read low: too little was drawn. Full regeneration again.",
        )
        yield from self.carry_on(run, outcome.result, at + 10 * MINUTE, is_rework=True)

    def grows(self, run: Run, batch: Batch) -> float:
        """What goes back into a tank over what came out of it: grown to the regenerated form, less what the cycle lost. Of a bed that was
        topped up the tanks take no more than they brought, and the rest is kept."""
        swelling = batch.resin_type.swelling_frac
        if ResinFamily(batch.resin_type.family).is_exchanged:
            return 1.0
        if run.tops_up:
            return float(min(1.0, 1.0 + swelling))
        low, high = LOSES.get(run.vessel, USUALLY_LOSES)
        lost = random.Random(run.seed + 29).uniform(low, high)
        return made_regenerated_m3(batch) / counted_bed_m3(batch) * (1.0 - lost)

    def fill_and_ship(self, run: Run, batch: Batch, at: datetime) -> Script:
        batch.refresh_from_db()
        links = list(batch.tank_links.filter(is_current=True).select_related("visit__tank"))
        grows = self.grows(run, batch)
        for link in links:
            at += 4 * MINUTE
            yield at
            tanks.record_shell(by=self.stage.by(run.operator, at), visit_id=link.visit_id, is_sound=True)
            batches.fill_tank(
                by=self.stage.by(run.operator, at),
                batch_id=batch.pk,
                visit_id=link.visit_id,
                volume_m3=round(link.resin_volume_m3 * grows, 4),
            )
        at += 2 * MINUTE
        yield at
        batches.finish_filling(by=self.stage.by(run.operator, at), batch_id=batch.pk)
        if run.tops_up:
            keep_rest(self.stage, run.operator, batch, at)
        yield from self.test_tanks(run, batch, at)
        at += 2 * len(links) * MINUTE
        yield at
        for deviation in batch.deviations.filter(decided_at__isnull=True):
            batches.close_deviation(
                by=self.stage.by("vale", at),
                deviation_id=deviation.pk,
                decision=batches.Decision(
                    "accept",
                    "No effect on the resin; accepted. Operator told.",
                    "handling",
                    "The level was read with the pump still running.",
                ),
                permit=self.stage.permit("vale", batches.DECIDED_MEANING, at),
            )
        at += 20 * MINUTE
        yield at
        reviewer = "vale" if run.releaser != "vale" else "osk"
        quality.review_record(
            by=self.stage.by(reviewer, at),
            batch_id=batch.pk,
            permit=self.stage.permit(reviewer, REVIEW_MEANING, at),
        )
        at += 15 * MINUTE
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
        yield from certify(self.stage, run.releaser, run.paper, links, at)

    # --- housekeeping -------------------------------------------------------------------------------------------------
    def weekly(self, start: datetime) -> Script:
        """Eyewash tests, strength checks and deliveries."""
        at = start
        while True:
            at += timedelta(days=4)
            yield at
            walk_round(self.stage, at)
            for chemical in self.stage.data["chemicals"]:
                lot = ChemicalLot.objects.get(chemical=chemical["chemical"], is_in_use=True)
                if (at - start).days % 8 == 0:
                    if chemical["chemical"] in CONNECTIONS:
                        self.clockwork.add(at + 90 * MINUTE, unload(self.stage, at + 90 * MINUTE, chemical))
                    else:
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
        for index, tank in enumerate(self.dock.take_tanks(("CAT-H", "D"), 3)):
            moment = at + index * MINUTE
            yield moment
            self.dock.receive(tank, ("CAT-H", "D"), moment, bay="dock", due_in=3 * DAY)
        (sour,) = self.dock.take_tanks(("AN1-OH", "D"), 1)
        yield at + 4 * MINUTE
        visit = self.dock.receive(sour, ("AN1-OH", "D"), at + 4 * MINUTE, bay="quarantine", due_in=3 * DAY)
        yield at + 6 * MINUTE
        self.dock.look_over(visit, at + 6 * MINUTE, ph=3.1)

    def waiting(self, at: datetime, key: tuple[str, str], count: int, due_in: timedelta) -> Script:
        yield at
        yield from self.dock.bring_in(key, count, at, due_in=due_in)


def tell_the_story(now: datetime) -> None:
    """Play the whole story up to ``now`` in one transaction: all of it or nothing."""
    with transaction.atomic():
        start = (now - 22 * DAY).replace(hour=5, minute=0, second=0, microsecond=0)
        stage = set_the_stage(now, start)
        put_up_instruments(stage, start)
        put_up_feeds(stage, start)
        set_up_products(stage, start)
        put_up_permit(stage, start)
        put_up_shapes(stage, start)
        put_up_storage(stage, start)
        put_up_connections(stage, start)
        put_up_prices(stage, start)
        put_up_levels(stage, start)
        put_up_stations(stage, start)
        life = Life(stage)
        life.clockwork.add(start, life.weekly(start))
        life.clockwork.add(start, waste_tanks(stage, start))
        life.clockwork.add(now - 9 * DAY, excursions(stage, now - 9 * DAY))
        life.clockwork.add(now - 19 * HOUR, open_excursion(stage, now - 19 * HOUR))
        life.clockwork.add(now - 18 * HOUR, signed_month(stage, now - 18 * HOUR))
        life.clockwork.add(now - 52 * MINUTE, begun(stage, now - 52 * MINUTE))
        life.clockwork.add(start + 30 * HOUR, fill_the_store(stage, start + 30 * HOUR))
        for index, (days, hour, run) in enumerate(HISTORY):
            begin = (now - days * DAY).replace(hour=hour, minute=5, second=0, microsecond=0)
            life.clockwork.add(begin - 8 * HOUR, life.batch(replace(run, seed=index), begin))
        _today(life, now)
        life.clockwork.play(now)


def _today(life: Life, now: datetime) -> None:
    """Work in progress, by minutes before now: each lands in the middle of something."""
    for minutes, run in UNDER_WAY:
        begin = now - minutes * MINUTE
        life.clockwork.add(begin - 8 * HOUR, life.batch(run, begin))
    life.clockwork.add(now - 5 * DAY, refused_tanks(life.stage, now - 5 * DAY))
    life.clockwork.add(now - 50 * HOUR, near_misses(life.stage, now - 50 * HOUR))
    life.clockwork.add(now - 70 * HOUR, wrong_connection(life.stage, now - 70 * HOUR))
    life.clockwork.add(now - 27 * HOUR, later_calibration(life.stage, "CELL-2", now - 27 * HOUR))
    life.clockwork.add(now - 60 * HOUR, say_when_the_hall_works(life.stage, now - 60 * HOUR))
    life.clockwork.add(now - HOUR / 6, plan_the_day(life.stage, now - HOUR / 6))
    drafted = now - 20 * HOUR
    life.clockwork.add(
        drafted,
        next_version(
            life.stage, "H-LANTERN", 20.0, "The laboratory asks for a little less from next month on", drafted
        ),
    )
    life.clockwork.add(now - 4 * DAY, watch_the_resin(life.stage, now))
    life.clockwork.add(now - 7 * DAY, counting(life.stage, now))
    life.clockwork.add(now - 7 * DAY, expecting(life.stage, now))
    life.clockwork.add(now - 9 * DAY, new_revision(life.stage, now - 9 * DAY))
    life.clockwork.add(now - 5 * DAY, spills(life.stage, now))
    life.clockwork.add(now - 5 * HOUR, audited(life.stage, now - 5 * HOUR))
    life.clockwork.add(now - 3 * HOUR, life.lock_out(now - 3 * HOUR, "A2", "Drain valve work"))
    life.clockwork.add(now - 95 * MINUTE, life.at_the_dock(now - 95 * MINUTE))
    for hours, key, count, due in (
        (26, ("SOFT-NA", "B"), 7, 1 * DAY), (22, ("AN1-OH", "C"), 4, 2 * DAY), (7, ("CAT-H", "D"), 7, 2 * DAY), (5, ("CAT-H", "A"), 3, 1 * DAY)
    ):  # fmt: skip
        life.clockwork.add(now - hours * HOUR, life.waiting(now - hours * HOUR, key, count, due))
