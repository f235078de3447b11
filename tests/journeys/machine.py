"""A plant in the hands of chance: random people do random acts in any order, and after each everything must still hold.

The acts are the services as they are called by the screens. A refusal is what the machine is about, and it must leave no
trace; anything but a DomainError is a defect and fails. Hypothesis shrinks what fails to the shortest way there.

Each example begins at the same prepared plant (``prepared_plant``): it is built once, and every example is rolled back to it.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from typing import Any

from django.db import transaction
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule

from regenplant.audit.use_case import Outcome
from regenplant.batches import services as batch_services
from regenplant.batches.models import Batch, Deviation, StepEntry
from regenplant.chemicals import services as chemical_services
from regenplant.chemicals.models import Movement, Place
from regenplant.core.errors import DomainError
from regenplant.core.process.vocabulary import StepKind
from regenplant.plant import services as plant_services
from regenplant.plant.models import Vessel
from regenplant.quality import services as quality_services
from regenplant.quality.signed_content import FAIL_MEANING, PASS_MEANING, RELEASE_MEANING
from regenplant.recipes import services as recipe_services
from regenplant.tanks import services as tank_services
from regenplant.tanks.models import TankVisit
from tests import factories, families
from tests.factories import SmallPlant
from tests.journeys.invariants import Watch

PEOPLE = ("operator", "operator 2", "qc", "qc 2", "supervisor", "supervisor 2", "planner", "safety")
FAMILIES = ("sac_h", "sac_na", "sba_1", "sba_2")
REASON = "The dice said so, in ten characters and more."

people = st.sampled_from(PEOPLE)
picks = st.integers(0, 30)
"""Which of the records that are there: counted round and round, so that shrinking finds the first."""


def prepared_plant() -> SmallPlant:
    """A plant in which every stage of a batch is met: one ready, one in its rinse, one before QC, one filled, tanks at the dock."""
    plant = factories.small_plant()
    factories.filled_batch(plant, "sac_h")
    factories.run_to(plant, factories.frozen_batch(plant, "sac_h"), StepKind.FAST_RINSE)
    factories.run_to(plant, factories.frozen_batch(plant, "sac_na"), StepKind.SAMPLE, finish=True)
    factories.run_to(plant, factories.frozen_batch(plant, "sba_2"), StepKind.BACKWASH)
    factories.frozen_batch(plant, "sba_1")
    for family in FAMILIES:
        factories.accepted_tanks(plant, family, 3)
    factories.received_tank(plant, "sac_h")
    return plant


class PlantInUse(RuleBasedStateMachine):
    """See the head of this file. ``base`` and ``tally`` are set by the test."""

    base: SmallPlant
    tally: Counter[str]

    def __init__(self) -> None:
        super().__init__()
        self.undo = transaction.atomic()
        self.undo.__enter__()
        self.plant = replace(self.base, now=self.base.now)
        self.watch = Watch()

    def teardown(self) -> None:
        try:
            self.watch.at_the_end()
        finally:
            transaction.set_rollback(True)
            self.undo.__exit__(None, None, None)

    # --- how an act is done -------------------------------------------------------------------------------------------
    def act(self, name: str, *acts: Callable[[], Any]) -> None:
        """Do acts of one person one after the other; the first refusal ends them, and the refused one leaves no trace."""
        self.tally["steps"] += 1
        for one in acts:
            before = self.watch.head()
            try:
                one()
            except DomainError as refusal:
                assert refusal.message.strip().endswith((".", ")")), refusal.message
                assert self.watch.head() == before, (
                    f"{name} was refused and wrote something: {refusal.message}"
                )
                self.tally["refused"] += 1
                return
        self.tally["done"] += 1
        self.tally[f"done: {name}"] += 1

    def batch(self, pick: int, *states: str) -> Batch | None:
        found = Batch.objects.filter(state__in=states) if states else Batch.objects.all()
        rows = list(found.order_by("id"))
        return rows[pick % len(rows)] if rows else None

    # --- the plant as such --------------------------------------------------------------------------------------------
    @rule(minutes=st.sampled_from((1, 15, 90, 600)))
    def time_passes(self, minutes: int) -> None:
        self.plant.forward(minutes=minutes)

    @rule(who=people, days=st.integers(0, 8))
    def check_the_stock(self, who: str, days: int) -> None:
        """The weekly checks, some days later: without them nothing may start."""
        self.plant.forward(days=days)
        plant, by = self.plant, self.plant.by(who)
        densities = (("hcl", 1158.6), ("naoh", 1524.0), ("nacl", 1196.0))
        self.act(
            "weekly checks",
            lambda: plant_services.record_eyewash_test(by=by, tested_on=plant.now.date()),
            *(
                lambda chemical=chemical, density=density: chemical_services.check_strength(
                    by=by, lot_id=plant.lots[chemical].pk, temperature_kelvin=293.15, value_as_typed=str(density),
                    unit_as_typed="kg/m3", density_kg_per_m3=density,
                )
                for chemical, density in densities
            ),
        )  # fmt: skip

    @rule(who=people, kg=st.integers(0, 3500), pick=picks)
    def count_a_stock(self, who: str, kg: int, pick: int) -> None:
        tanks = list(Place.objects.filter(kind="bulk_tank").order_by("id"))
        place, by = tanks[pick % len(tanks)], self.plant.by(who)
        self.act(
            "stock counted",
            lambda: chemical_services.count_stock(
                by=by, place_id=place.pk, counted_grams_100=kg * 1000, reason=REASON
            ),
        )

    @rule(who=people, pick=picks)
    def take_a_movement_back(self, who: str, pick: int) -> None:
        rows = list(Movement.objects.order_by("-number")[:10])
        by = self.plant.by(who)
        self.act(
            "movement taken back",
            lambda: chemical_services.correct_movement(
                by=by, movement_id=rows[pick % len(rows)].pk, category="slip", reason=REASON
            ),
        )

    @rule(who=people, pick=picks, lift=st.booleans())
    def lock_out_or_lift(self, who: str, pick: int, lift: bool) -> None:
        vessels = list(Vessel.objects.order_by("code"))
        vessel, by = vessels[pick % len(vessels)], self.plant.by(who)
        if lift:
            self.act(
                "lock-out lifted",
                lambda: plant_services.lift_lock_out(by=by, vessel_id=vessel.pk, checked=REASON),
            )
        elif pick % 3 == 0:  # seldom: a locked vessel stops everything
            self.act(
                "locked out",
                lambda: plant_services.lock_out_vessel(
                    by=by, vessel_id=vessel.pk, number="L-1", reason=REASON
                ),
            )

    @rule(drafter=people, approver=people, family=st.sampled_from(FAMILIES))
    def renew_a_recipe(self, drafter: str, approver: str, family: str) -> None:
        """A new version, approved: batches that run keep theirs."""
        recipe, made = self.plant.recipe[family].recipe, {}
        definition = factories.usual_recipe(family)

        def draft() -> None:
            made["version"] = recipe_services.draft_recipe_version(
                by=self.plant.by(drafter), recipe_id=recipe.pk, definition=definition, reason=REASON
            ).result

        self.act(
            "recipe renewed",
            draft,
            lambda: recipe_services.approve_recipe_version(
                by=self.plant.by(approver),
                version_id=made["version"].pk,
                permit=factories.approval(self.plant.by(approver), made["version"]),
            ),
        )

    # --- tanks --------------------------------------------------------------------------------------------------------
    @rule(who=people, pick=picks, verdict=st.sampled_from(("accept", "hold", "refuse")))
    def judge_a_tank(self, who: str, pick: int, verdict: str) -> None:
        visits = list(TankVisit.objects.filter(state__in=("received", "held", "accepted")).order_by("id"))
        if not visits:
            return
        visit, by = visits[pick % len(visits)], self.plant.by(who)
        if verdict == "accept":
            self.act(
                "tank accepted",
                lambda: tank_services.inspect_tank(by=by, visit_id=visit.pk, inspection=factories.SOUND_LOOK),
                lambda: tank_services.accept_tank(
                    by=by, visit_id=visit.pk, segregation_class="D", reason=REASON, version=version_of(visit)
                ),
            )
        elif verdict == "hold":
            self.act(
                "tank held",
                lambda: tank_services.hold_tank(
                    by=by, visit_id=visit.pk, reason=REASON, version=visit.version - pick % 2
                ),
            )
        elif pick % 4 == 0:
            self.act(
                "tank refused",
                lambda: tank_services.refuse_tank(
                    by=by, visit_id=visit.pk, reason=REASON, version=visit.version
                ),
            )

    @rule(who=people, pick=picks)
    def ship(self, who: str, pick: int) -> None:
        visits = list(TankVisit.objects.filter(state__in=("released", "refilled")).order_by("id"))
        if visits:
            visit, by = visits[pick % len(visits)], self.plant.by(who)
            self.act(
                "tank shipped",
                lambda: tank_services.ship_tank(by=by, visit_id=visit.pk, version=visit.version),
            )

    @rule(who=people, pick=picks)
    def receive_again(self, who: str, pick: int) -> None:
        """A tank that was shipped comes back, or is said to come back while it is here."""
        visits = list(TankVisit.objects.order_by("-id"))
        visit, by = visits[pick % len(visits)], self.plant.by(who)
        self.act(
            "tank received",
            lambda: tank_services.receive_tank(
                by=by, tank_id=visit.tank_id, customer_id=visit.customer_id, return_reason="exhausted"
            ),
        )

    # --- batches ------------------------------------------------------------------------------------------------------
    @rule(who=people, family=st.sampled_from(FAMILIES))
    def freeze(self, who: str, family: str) -> None:
        self.freeze_for(who, family)

    def freeze_for(self, who: str, family: str) -> None:
        """Three accepted tanks of a family, whether or not they are free."""
        visits = TankVisit.objects.filter(
            state="accepted", resin_type__family=family, segregation_class="D"
        ).order_by("-id")[:3]
        keys, by, plant = [visit.pk for visit in visits], self.plant.by(who), self.plant
        if keys:
            self.act(
                "batch frozen",
                lambda: batch_services.freeze_batch(
                    by=by, visit_ids=keys, vessel_id=plant.vessels[factories.VESSEL_OF[family]].pk,
                    recipe_version_id=plant.recipe[family].pk, specification_version_id=plant.specification[family].pk,
                ),
            )  # fmt: skip

    def work(self, batch: Batch | None, who: str, pick: int, patient: bool) -> None:
        """Start the next step of a batch or end the one that runs, with everything that must be written."""
        steps = families.at_work(batch) if batch else []
        if batch is None or not steps:
            return
        step, plant = steps[pick % len(steps)], self.plant
        if step.state == "waiting":
            start = (
                (lambda: batch_services.start_batch(by=plant.by(who), batch_id=batch.pk))
                if batch.state == "ready"
                else (lambda: batch_services.start_step(by=plant.by(who), step_id=step.pk))
            )
            before = lambda: factories.write_required(plant, step, is_before=True, who=who)  # noqa: E731
            self.act("step started", before, start)
            return
        if patient:
            plant.forward(minutes=step.planned_duration_s / 60)
        self.act(
            "step done",
            *(
                [lambda: factories.rinse_down(plant, batch, who=who)]
                if StepKind(step.kind) is StepKind.FAST_RINSE and patient
                else []
            ),
            lambda: factories.write_required(plant, step, is_before=False, who=who),
            lambda: batch_services.finish_step(by=plant.by(who), step_id=step.pk),
        )

    @rule(who=people, pick=picks, patient=st.booleans())
    def step_on(self, who: str, pick: int, patient: bool) -> None:
        self.work(self.batch(pick, "ready", "running", "rinsing", "held"), who, pick, patient)

    def go_on(self, pick: int) -> None:
        """What a good plant would do next with one of its batches, so that walks get somewhere."""
        batch, plant = (
            self.batch(pick, "ready", "running", "rinsing", "awaiting_qc", "passed", "filled"),
            self.plant,
        )
        if batch is None:
            self.freeze_for("operator", FAMILIES[pick % 4])
        elif batch.state == "awaiting_qc":
            self.act(
                "batch passed",
                lambda: factories.measured_sample(plant, batch, who="qc"),
                lambda: self.decide(batch, "qc", "pass"),
            )
        elif batch.state == "passed":
            self.fill_up(batch, "operator")
        elif batch.state == "filled":
            decisions = [
                lambda row=row: factories.decided(plant, row, who="supervisor 2", words=REASON)
                for row in batch.deviations.filter(decided_at=None)
            ]
            self.act(
                "batch released",
                *decisions,
                lambda: factories.check_what_is_critical(plant, batch),
                lambda: factories.reviewed(plant, batch, who="supervisor"),
                lambda: self.let_go(batch, "qc 2"),
            )
        else:
            self.work(batch, "operator", 0, True)

    @rule(pick=picks)
    def good_plant(self, pick: int) -> None:
        self.go_on(pick)

    @rule(pick=picks)
    def good_plant_again(self, pick: int) -> None:
        self.go_on(pick)

    @rule(pick=picks, hours=st.integers(1, 5))
    def good_hours(self, pick: int, hours: int) -> None:
        """Several things in a row at one batch."""
        for _ in range(hours):
            self.go_on(pick)
            self.watch.everything_holds()

    @rule(who=people, pick=picks, us_per_cm=st.floats(0.5, 900))
    def read(self, who: str, pick: int, us_per_cm: float) -> None:
        batch, plant = self.batch(pick, "rinsing", "running"), self.plant
        if batch:
            self.act("reading", lambda: factories.reading(plant, batch, f"{us_per_cm:.1f} µS/cm", who=who))

    @rule(who=people, pick=picks, factor=st.sampled_from((0.3, 1.0, 3.0)), is_true=st.booleans())
    def write_an_entry(self, who: str, pick: int, factor: float, is_true: bool) -> None:
        """A number at its target, or outside and said to be true: that opens a deviation."""
        batch = self.batch(pick, "ready", "running", "rinsing", "held")
        steps = families.at_work(batch) if batch else []
        specs = [
            spec
            for step in steps
            for spec in factories.plan_of(step.batch).step(step.number).entries
            if spec.target
        ]
        if not specs:
            return
        spec, by = specs[pick % len(specs)], self.plant.by(who)
        step = next(one for one in steps if spec in factories.plan_of(one.batch).step(one.number).entries)
        text = factories.units.format_quantity((spec.target or 1.0) * factor, spec.kind)
        self.act(
            "entry",
            lambda: batch_services.write_entry(
                by=by, step_id=step.pk, key=spec.key, text=text, outside_is_true=is_true
            ),
        )

    @rule(who=people, pick=picks)
    def correct_an_entry(self, who: str, pick: int) -> None:
        rows = list(StepEntry.objects.filter(value__isnull=False).order_by("-id")[:20])
        row, by = rows[pick % len(rows)], self.plant.by(who)
        text = f"{row.value_as_typed} {row.unit_as_typed}"
        self.act(
            "entry corrected",
            lambda: batch_services.correct_entry(
                by=by,
                entry_id=row.pk,
                text=text,
                again=text,
                category="slip",
                reason=REASON,
                outside_is_true=True,
            ),
        )

    @rule(who=people, pick=picks, outside=st.sampled_from(("", "", "hardness")))
    def measure(self, who: str, pick: int, outside: str) -> None:
        batch, plant = self.batch(pick, "awaiting_qc"), self.plant
        if batch:
            self.act(
                "sample measured", lambda: factories.measured_sample(plant, batch, who=who, outside=outside)
            )

    @rule(who=people, signer=people, pick=picks, verdict=st.sampled_from(("pass", "fail")))
    def judge(self, who: str, signer: str, pick: int, verdict: str) -> None:
        """Sign a verdict, now and then with the password of another person."""
        batch = self.batch(pick)
        if batch:
            self.act(f"judged {verdict}", lambda: self.decide(batch, who, verdict, signer))

    def decide(self, batch: Batch, who: str, verdict: str, signer: str = "") -> Outcome:
        meaning = PASS_MEANING if verdict == "pass" else FAIL_MEANING
        return quality_services.decide_batch(
            by=self.plant.by(who), batch_id=batch.pk, verdict=verdict, reason=REASON,
            permit=factories.permit(self.plant, signer or who, meaning),
        )  # fmt: skip

    @rule(who=people, pick=picks)
    def fill(self, who: str, pick: int) -> None:
        batch = self.batch(pick, "passed")
        if batch:
            self.fill_up(batch, who)

    def fill_up(self, batch: Batch, who: str) -> None:
        acts: list[Callable[[], Any]] = []
        by = self.plant.by(who)
        for link in batch.tank_links.filter(is_current=True, is_filled=False):
            acts += [
                lambda link=link: tank_services.record_shell(by=by, visit_id=link.visit_id, is_sound=True),
                lambda link=link: batch_services.fill_tank(
                    by=by, batch_id=batch.pk, visit_id=link.visit_id, volume_m3=0.1
                ),
            ]
        self.act("batch filled", *acts, lambda: batch_services.finish_filling(by=by, batch_id=batch.pk))

    @rule(who=people, signer=people, pick=picks)
    def release(self, who: str, signer: str, pick: int) -> None:
        batch = self.batch(pick)
        if batch:
            self.act("released by anybody", lambda: self.let_go(batch, who, signer))

    def let_go(self, batch: Batch, who: str, signer: str = "") -> Outcome:
        permit = factories.permit(self.plant, signer or who, RELEASE_MEANING)
        return quality_services.release_batch(by=self.plant.by(who), batch_id=batch.pk, permit=permit)

    @rule(who=people, pick=picks, itself=st.booleans())
    def hold(self, who: str, pick: int, itself: bool) -> None:
        batch, by = self.batch(pick), self.plant.by(who)
        stop = batch_services.interrupt_batch if itself else batch_services.hold_batch
        if batch and pick % 2 == 0:
            self.act("held", lambda: stop(by=by, batch_id=batch.pk, reason=REASON))

    @rule(who=people, pick=picks)
    def resume(self, who: str, pick: int) -> None:
        batch, by = self.batch(pick, "held"), self.plant.by(who)
        if batch:
            self.act("resumed", lambda: batch_services.resume_batch(by=by, batch_id=batch.pk, note=REASON))

    @rule(who=people, pick=picks)
    def skip(self, who: str, pick: int) -> None:
        batch, by = self.batch(pick, "running", "rinsing"), self.plant.by(who)
        step = batch.steps.filter(state="waiting").order_by("number").first() if batch else None
        if step and pick % 3 == 0:
            self.act("step skipped", lambda: batch_services.skip_step(by=by, step_id=step.pk, reason=REASON))

    @rule(who=people, pick=picks, end=st.sampled_from(("abort", "scrap", "rework")))
    def end(self, who: str, pick: int, end: str) -> None:
        batch, by = self.batch(pick), self.plant.by(who)
        if batch is None or (end != "rework" and pick % 5):
            return
        act = {
            "abort": lambda: batch_services.abort_batch(by=by, batch_id=batch.pk, reason=REASON),
            "scrap": lambda: batch_services.scrap_batch(by=by, batch_id=batch.pk, reason=REASON),
            "rework": lambda: batch_services.plan_rework(
                by=by, batch_id=batch.pk, recipe_version_id=batch.recipe_version_id, cause=REASON
            ),
        }[end]
        self.act(f"{end} of a batch", act)

    @rule(who=people, pick=picks, severity=st.sampled_from(("minor", "major", "critical")))
    def open_a_deviation(self, who: str, pick: int, severity: str) -> None:
        batch, by = self.batch(pick), self.plant.by(who)
        if batch:
            self.act(
                "deviation opened",
                lambda: batch_services.open_deviation(
                    by=by, batch_id=batch.pk, what=REASON, severity=severity
                ),
            )

    @rule(who=people, pick=picks)
    def decide_a_deviation(self, who: str, pick: int) -> None:
        rows = list(Deviation.objects.order_by("id"))
        if rows:
            row = rows[pick % len(rows)]
            self.act("deviation decided", lambda: factories.decided(self.plant, row, who=who, words=REASON))

    @rule(who=people, pick=picks)
    def review(self, who: str, pick: int) -> None:
        batch = self.batch(pick)
        if batch:
            self.act("record reviewed", lambda: factories.reviewed(self.plant, batch, who=who))

    @rule(who=people, pick=picks)
    def check_what_is_critical(self, who: str, pick: int) -> None:
        """The second person at the critical entries, or the first one trying to be the second."""
        batch = self.batch(pick)
        if batch:
            self.act(
                "critical entries checked",
                lambda: factories.check_what_is_critical(self.plant, batch, who=who),
            )

    # --- after each -----------------------------------------------------------------------------------------------------
    @invariant()
    def everything_holds(self) -> None:
        self.watch.everything_holds()


def version_of(visit: TankVisit) -> int:
    return TankVisit.objects.get(pk=visit.pk).version
