"""Random people do random acts in any order; what must never happen does not happen."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable

import pytest
from django.db import connection
from hypothesis import HealthCheck, Phase, settings
from hypothesis.stateful import run_state_machine_as_test

from regenplant.audit import chain
from regenplant.batches import services as batch_services
from regenplant.batches.frozen import is_untouched, plan_of
from regenplant.batches.legs import standing_chemicals
from regenplant.batches.models import Batch, BatchTank, StepRun
from regenplant.batches.selectors import separation_record
from regenplant.chemicals import services as chemical_services
from regenplant.chemicals.models import Movement
from regenplant.core.errors import DomainError
from regenplant.core.process.vocabulary import StepKind
from regenplant.people.signing import holds
from regenplant.plant import services as plant_services
from regenplant.quality import services as quality_services
from regenplant.quality.models import QcDecision, Release
from regenplant.quality.selectors import participants
from regenplant.quality.signed_content import FAIL_MEANING, PASS_MEANING, RELEASE_MEANING
from regenplant.tanks import services as tank_services
from regenplant.tanks.models import TankVisit
from tests import factories, families
from tests.factories import SmallPlant
from tests.journeys.machine import PlantInUse, prepared_plant
from tests.long.figures import keep

pytestmark = pytest.mark.django_db

PEOPLE = ("operator", "operator 2", "qc", "qc 2", "supervisor", "supervisor 2", "planner", "safety")


class Walk:
    """One random walk. Refusals are what the walk is about; anything but a DomainError is a defect and fails the test."""

    hydrometer = (("hcl", 1158.6), ("naoh", 1524.0), ("nacl", 1196.0))
    """What is checked again every week: chemical, density read [kg/m^3]."""

    def __init__(self, plant: SmallPlant, seed: int) -> None:
        self.plant, self.dice = plant, random.Random(seed)
        self.done = 0
        self.acts: tuple[Callable[[str], object], ...] = (
            self.start, self.step_on, self.step_on, self.step_on, self.step_on, self.read, self.measure, self.judge, self.fill,
            self.release, self.hold, self.resume, self.rework, self.scrap, self.ship, self.decide_deviation, self.look_through, self.skip,
        )  # fmt: skip

    def go(self, acts: int) -> None:
        for _ in range(acts):
            self.plant.forward(minutes=self.dice.choice((1, 4, 4, 20)))
            act, who = (
                self.sensible()
                if self.dice.random() < 0.5
                else (self.dice.choice(self.acts), self.dice.choice(PEOPLE))
            )
            try:
                act(who)
                self.done += 1
            except DomainError as refusal:
                assert refusal.message.strip().endswith((".", ")")), refusal.message
            self.hold_true()

    def sensible(self) -> tuple[Callable[[str], object], str]:
        """What a good plant would do next with its newest batch, so that walks get somewhere."""
        batch = Batch.objects.order_by("-id").first()
        state = batch.state if batch else ""
        choices: dict[str, tuple[tuple[Callable[[str], object], str], ...]] = {
            "running": ((self.step_on, "operator"),),
            "rinsing": ((self.step_on, "operator"), (self.read, "operator 2")),
            "held": ((self.resume, "operator"),),
            "awaiting_qc": ((self.measure, "qc"), (self.judge, "qc")),
            "passed": ((self.fill, "operator"),),
            "failed": ((self.rework, "supervisor"),),
            "filled": (
                (self.decide_deviation, "supervisor 2"),
                (self.look_through, "supervisor"),
                (self.release, "qc 2"),
                (self.release, "supervisor 2"),
            ),
            "released": ((self.ship, "planner"), (self.check_stock, "qc"), (self.start, "operator")),
        }
        return self.dice.choice(choices.get(state, ((self.check_stock, "qc"), (self.start, "operator"))))

    def check_stock(self, who: str) -> None:
        """The weekly checks, without which nothing may start."""
        plant_services.record_eyewash_test(by=self.plant.by(who), tested_on=self.plant.now.date())
        for chemical, density in self.hydrometer:
            chemical_services.check_strength(
                by=self.plant.by(who), lot_id=self.plant.lots[chemical].pk, temperature_kelvin=293.15,
                value_as_typed=str(density), unit_as_typed="kg/m3", density_kg_per_m3=density,
            )  # fmt: skip

    def any_batch(self, *states: str) -> Batch | None:
        found = list(Batch.objects.filter(state__in=states) if states else Batch.objects.all())
        return self.dice.choice(found) if found else None

    # --- acts -------------------------------------------------------------------------------------------------------
    def start(self, who: str) -> None:
        batch = self.any_batch("ready")
        if batch is None:
            batch = self.freeze(who)
        factories.write_required(self.plant, batch.steps.order_by("number")[0], is_before=True, who=who)
        batch_services.start_batch(by=self.plant.by(who), batch_id=batch.pk)

    def freeze(self, who: str) -> Batch:
        visits = factories.accepted_tanks(self.plant, "sac_h", 3)
        return batch_services.freeze_batch(
            by=self.plant.by(who), visit_ids=[visit.pk for visit in visits],
            vessel_id=self.plant.vessels["C1"].pk, recipe_version_id=self.plant.recipe["sac_h"].pk,
            specification_version_id=self.plant.specification["sac_h"].pk,
        ).result  # fmt: skip

    def step_on(self, who: str) -> None:
        batch = self.any_batch("running", "rinsing", "held")
        steps = families.at_work(batch) if batch else []
        if batch is None or not steps:
            return
        step = self.dice.choice(steps)
        if step.state == "waiting":
            factories.write_required(self.plant, step, is_before=True, who=who)
            batch_services.start_step(by=self.plant.by(who), step_id=step.pk)
        else:
            self.plant.forward(minutes=step.planned_duration_s / 60)
            if StepKind(step.kind) is self.last_rinse and self.dice.random() < 0.7:
                factories.rinse_down(self.plant, batch, who=who)
            factories.write_required(self.plant, step, is_before=False, who=who)
            batch_services.finish_step(by=self.plant.by(who), step_id=step.pk)

    def read(self, who: str) -> None:
        batch = self.any_batch("rinsing")
        if batch:
            factories.reading(self.plant, batch, f"{self.dice.uniform(1, 900):.1f} µS/cm", who=who)

    def measure(self, who: str) -> None:
        batch = self.any_batch("awaiting_qc")
        if batch:
            factories.measured_sample(
                self.plant, batch, who=who, outside=self.dice.choice(("", "", "hardness"))
            )

    def judge(self, who: str) -> None:
        batch, verdict = self.any_batch("awaiting_qc"), self.dice.choice(("pass", "pass", "fail"))
        if batch:
            meaning = PASS_MEANING if verdict == "pass" else FAIL_MEANING
            quality_services.decide_batch(
                by=self.plant.by(who), batch_id=batch.pk, verdict=verdict, reason="the dice said so today",
                permit=factories.permit(self.plant, who, meaning),
            )  # fmt: skip

    def fill(self, who: str) -> None:
        batch = self.any_batch("passed")
        if batch is None:
            return
        for link in batch.tank_links.filter(is_current=True, is_filled=False):
            tank_services.record_shell(by=self.plant.by(who), visit_id=link.visit_id, is_sound=True)
            batch_services.fill_tank(
                by=self.plant.by(who), batch_id=batch.pk, visit_id=link.visit_id, volume_m3=0.1
            )
        batch_services.finish_filling(by=self.plant.by(who), batch_id=batch.pk)

    def release(self, who: str) -> None:
        batch = self.any_batch()
        if batch:
            permit = factories.permit(self.plant, who, RELEASE_MEANING)
            quality_services.release_batch(by=self.plant.by(who), batch_id=batch.pk, permit=permit)

    def hold(self, who: str) -> None:
        batch = self.any_batch()
        if batch:
            act = self.dice.choice((batch_services.hold_batch, batch_services.interrupt_batch))
            act(by=self.plant.by(who), batch_id=batch.pk, reason="the dice said stop here")

    def resume(self, who: str) -> None:
        batch = self.any_batch("held")
        if batch:
            batch_services.resume_batch(by=self.plant.by(who), batch_id=batch.pk, note="the dice said go on")

    def rework(self, who: str) -> None:
        batch = self.any_batch("failed")
        if batch:
            batch_services.plan_rework(
                by=self.plant.by(who),
                batch_id=batch.pk,
                recipe_version_id=batch.recipe_version_id,
                cause="the dice said again",
            )

    def scrap(self, who: str) -> None:
        batch = self.any_batch("failed", "aborted")
        if batch and self.dice.random() < 0.2:
            batch_services.scrap_batch(
                by=self.plant.by(who), batch_id=batch.pk, reason="the dice said enough"
            )

    def ship(self, who: str) -> None:
        visits = list(TankVisit.objects.all())
        if visits:
            visit = self.dice.choice(visits)
            tank_services.ship_tank(by=self.plant.by(who), visit_id=visit.pk, version=visit.version)

    def decide_deviation(self, who: str) -> None:
        batch = self.any_batch()
        deviation = batch.deviations.filter(decided_at__isnull=True).first() if batch else None
        if deviation:
            factories.decided(self.plant, deviation, who=who, words="The dice found no harm in it.")

    def look_through(self, who: str) -> None:
        """The second person at what is critical, then the review of the record."""
        batch = self.any_batch()
        if batch:
            factories.check_what_is_critical(self.plant, batch, who=who)
            factories.reviewed(self.plant, batch, who=who)

    def skip(self, who: str) -> None:
        batch = self.any_batch("running", "rinsing")
        step = batch.steps.filter(state="waiting").order_by("number").first() if batch else None
        if step and self.dice.random() < 0.3:
            batch_services.skip_step(
                by=self.plant.by(who), step_id=step.pk, reason="the dice said leave it out"
            )

    last_rinse = StepKind.FAST_RINSE

    # --- what must hold after each act ----------------------------------------------------------------------------------
    def hold_true(self) -> None:
        for batch in Batch.objects.filter(state="released"):
            release = Release.objects.get(batch=batch)
            assert QcDecision.objects.get(batch=batch).verdict == "pass"
            assert release.released_by_id not in participants(batch)
            assert not batch.deviations.filter(decided_at__isnull=True).exists()
            assert holds(release.signature)
        for visit in TankVisit.objects.filter(state__in=["released", "shipped"]):
            assert visit.refilled_lot is not None
            assert Batch.objects.get(lot=visit.refilled_lot).state == "released"
        current = list(BatchTank.objects.filter(is_current=True).values_list("visit_id", flat=True))
        assert len(current) == len(set(current))
        for batch in Batch.objects.filter(state="held", holds__is_interruption=False, holds__resumed_at=None):
            assert standing_chemicals(batch.steps.all(), plan_of(batch)) == {}
        used = Movement.objects.filter(reference__startswith="B-").values_list("reference", flat=True)
        started = set(Batch.objects.exclude(started_at=None).values_list("number", flat=True))
        assert set(used) <= started


class MixedWalk(Walk):
    """The same with mixed beds: two legs at work, two vessels, four chemicals' worth of steps."""

    last_rinse = StepKind.RECIRCULATE

    def freeze(self, who: str) -> Batch:
        way = families.WAYS["mixed bed"]
        visits = families.tanks_for(self.plant, way)
        return batch_services.freeze_batch(
            by=self.plant.by(who), visit_ids=[visit.pk for visit in visits],
            vessel_id=self.plant.vessels[way.vessel].pk, recipe_version_id=self.plant.recipe[way.key].pk,
            specification_version_id=self.plant.specification[way.key].pk,
            anion_vessel_id=self.plant.vessels[way.anion_vessel].pk,
        ).result  # fmt: skip

    def hold_true(self) -> None:
        super().hold_true()
        for batch in Batch.objects.exclude(started_at=None):
            steps = list(batch.steps.all())
            running = [step.leg for step in steps if step.state == "running"]
            assert len(running) == len(set(running)) and ("whole" not in running or running == ["whole"])
            joined = any(step.kind == StepKind.JOIN and step.state != "waiting" for step in steps)
            if joined:
                assert all(step.state != "waiting" for step in steps if step.leg != "whole")
                record = separation_record(batch)
                assert record is not None and record.is_done and record.missing == ()


@pytest.mark.parametrize("seed", [1, 2])
def test_random_acts_keep_the_legs_of_mixed_beds_apart_and_in_order(seed: int) -> None:
    walk = MixedWalk(families.whole_plant(), seed)
    walk.go(150)
    assert walk.done > 30
    legs = StepRun.objects.exclude(leg="whole").exclude(state="waiting").values_list("leg", flat=True)
    assert set(legs) == {"cation", "anion"}
    assert list(chain.verify()) == []
    assert all(is_untouched(batch) for batch in Batch.objects.all())


# --- the machine of Hypothesis ------------------------------------------------------------------------------------------
def let_loose(examples: int, steps: int, *, derandomize: bool) -> Counter[str]:
    """Run the machine; what it did, by kind of act."""
    PlantInUse.base, PlantInUse.tally = prepared_plant(), Counter()
    run_state_machine_as_test(
        PlantInUse,
        settings=settings(
            max_examples=examples,
            stateful_step_count=steps,
            derandomize=derandomize,
            deadline=None,
            database=None,
            phases=(Phase.generate,) if derandomize else (Phase.generate, Phase.shrink),
            suppress_health_check=list(HealthCheck),
        ),
    )
    return PlantInUse.tally


@pytest.mark.requirement("ER-13", "ER-15", "ER-17", "ER-18", "ER-29")
def test_random_acts_in_any_order_keep_the_record_true() -> None:
    """The same few examples every time; the long run looks for new ones."""
    tally = let_loose(8, 40, derandomize=True)
    assert tally["steps"] >= 200 and tally["done"] > 50 and tally["refused"] > 50
    assert tally["done: batch released"] + tally["done: released by anybody"] > 0


@pytest.mark.long
def test_ten_thousand_random_acts_keep_the_record_true() -> None:
    tally = let_loose(260, 60, derandomize=False)
    assert tally["steps"] >= 10_000, tally
    database = connection.vendor
    keep(
        "acts",
        database,
        random_acts=tally["steps"],
        done=tally["done"],
        refused_without_a_trace=tally["refused"],
    )
    keep(
        "acts",
        database,
        **{kind: count for kind, count in sorted(tally.items()) if kind.startswith("done: ")},
    )
    assert tally["done: batch released"] > 10
