"""What must hold in a plant after every act, whoever did it. Looks at what is new since it last looked, where it can."""

from __future__ import annotations

import io
from collections import Counter
from typing import Any

from django.core.management import CommandError, call_command
from django.db.models import Sum

from regenplant.audit import chain
from regenplant.audit.models import AuditEvent
from regenplant.batches.frozen import is_untouched, plan_of
from regenplant.batches.legs import standing_chemicals
from regenplant.batches.models import (
    Batch,
    BatchTank,
    Deviation,
    EntryCheck,
    RinseReading,
    StepEntry,
    StepRun,
)
from regenplant.chemicals.models import Movement, Place
from regenplant.people.models import Signature
from regenplant.people.signing import holds
from regenplant.quality.models import QcDecision, QcMeasurement, RecordReview, Release
from regenplant.quality.selectors import participants
from regenplant.tanks.models import Tank, TankVisit

SIGNED = (Signature, QcDecision, RecordReview, Release)
"""Rows that never change once they stand."""
APPENDED = (StepEntry, EntryCheck, RinseReading, QcMeasurement, Movement)
"""Rows that are only ever added."""


class Watch:
    """The record as it was seen last, and what it must be now."""

    def __init__(self) -> None:
        self.number, self.digest = chain.head()
        self.seen: dict[tuple[str, Any], tuple[Any, ...]] = {}
        self.counts: Counter[str] = Counter()
        self.plans: dict[int, tuple[str, str, int]] = {}
        self.released: set[int] = set()

    @staticmethod
    def head() -> tuple[int, str]:
        return chain.head()

    def everything_holds(self) -> None:
        self.chain_goes_on()
        self.signed_rows_stand()
        self.plans_stand()
        self.releases_are_earned()
        self.tanks_are_in_one_place()
        self.ledger_balances()
        self.numbers_have_no_gaps()
        self.beds_are_safe()

    def chain_goes_on(self) -> None:
        """Every new act follows the one before it, and its digest fits its content."""
        for event in AuditEvent.objects.filter(number__gt=self.number).order_by("number"):
            assert event.number == self.number + 1 and event.previous_digest == self.digest, event
            assert chain.link(event.previous_digest, event.payload) == event.digest, event
            self.number, self.digest = event.number, event.digest
        assert chain.head() == (self.number, self.digest)

    def signed_rows_stand(self) -> None:
        for model in SIGNED:
            for row in model._default_manager.order_by("pk").values_list():
                key = (model.__name__, row[0])
                assert self.seen.setdefault(key, row) == row, f"{key} was changed after it was signed"
        for model in APPENDED:
            count = model._default_manager.count()
            assert count >= self.counts[model.__name__], f"rows of {model.__name__} are gone"
            self.counts[model.__name__] = count
        assert Signature.objects.count() == len([key for key in self.seen if key[0] == "Signature"])
        assert all(holds(signature) for signature in Signature.objects.order_by("-pk")[:3])

    def plans_stand(self) -> None:
        """A frozen plan stays as it is, and a batch keeps the versions it began with."""
        for batch in Batch.objects.all():
            now = (batch.plan_text, batch.plan_digest, batch.recipe_version_id)
            if batch.pk not in self.plans:
                assert is_untouched(batch)
            assert self.plans.setdefault(batch.pk, now) == now, f"the plan of {batch.number} was touched"

    def releases_are_earned(self) -> None:
        """No release without QC, without an independent person, without a review by another, with an open deviation."""
        for batch in Batch.objects.filter(state="released").exclude(pk__in=self.released):
            release = Release.objects.filter(batch=batch).order_by("-version")[0]
            took_part = participants(batch)
            assert release.decision is not None and release.decision.verdict == "pass"
            assert release.released_by_id not in took_part
            assert release.review is not None and release.review.reviewed_by_id not in took_part
            assert not batch.deviations.filter(decided_at__isnull=True).exists()
            for signature, person in (
                (release.signature, release.released_by_id),
                (release.review.signature, release.review.reviewed_by_id),
            ):
                assert holds(signature) and signature.person_id == person
            self.released.add(batch.pk)
        assert set(Release.objects.values_list("batch__state", flat=True)) <= {"released"}
        for visit in TankVisit.objects.filter(state__in=["released", "shipped"]):
            assert visit.refilled_lot is not None
            assert Batch.objects.get(lot=visit.refilled_lot).state == "released"

    def tanks_are_in_one_place(self) -> None:
        """A tank has one open visit, and a visit is in one batch; who is in a vessel is in no other."""
        open_visits = list(
            TankVisit.objects.exclude(state__in=["shipped", "refused"]).values_list("tank_id", flat=True)
        )
        assert len(open_visits) == len(set(open_visits))
        current = list(
            BatchTank.objects.filter(is_current=True).values_list("visit_id", "visit__state", "batch__state")
        )
        visits = [visit for visit, _, _ in current]
        assert len(visits) == len(set(visits))
        for visit, state, batch in current:
            # a tank may still be held or refused while its batch waits; the batch then does not start
            is_waiting = batch in ("planned", "ready")
            allowed = ("accepted", "held", "refused") if is_waiting else ("emptied", "refilled")
            assert state in allowed, (visit, state, batch)
        here = set(visits)
        for visit in TankVisit.objects.filter(state__in=["emptied", "refilled"]).values_list("pk", flat=True):
            in_one = visit in here or BatchTank.objects.filter(visit_id=visit).exists()
            assert in_one, f"visit {visit} is emptied and in no batch"
        in_use = ["running", "rinsing", "awaiting_qc", "passed", "held", "ready"]
        vessels = list(Batch.objects.filter(state__in=in_use).values_list("vessel_id", flat=True))
        assert len(vessels) == len(set(vessels))

    def ledger_balances(self) -> None:
        """Nothing is in two tanks or in less than none; what batches used belongs to batches that were started."""
        moved_in = dict(Movement.objects.values_list("to_place").annotate(Sum("grams_100")))
        moved_out = dict(Movement.objects.values_list("from_place").annotate(Sum("grams_100")))
        held = {
            key: moved_in.get(key, 0) - moved_out.get(key, 0) for key in moved_in.keys() | moved_out.keys()
        }
        assert sum(held.values()) == 0
        for tank in Place.objects.filter(kind="bulk_tank"):
            assert held.get(tank.pk, 0) >= 0, f"{tank.code} holds less than nothing"
        used = set(Movement.objects.filter(reference__startswith="B-").values_list("reference", flat=True))
        started = set(Batch.objects.exclude(started_at=None).values_list("number", flat=True))
        assert used <= started

    def numbers_have_no_gaps(self) -> None:
        for model, field in (
            (Batch, "number"),
            (TankVisit, "number"),
            (Tank, "serial"),
            (Deviation, "number"),
        ):
            numbers = sorted(
                int(one.rsplit("-", 1)[1]) for one in model._default_manager.values_list(field, flat=True)
            )
            assert not numbers or numbers == list(range(numbers[0], numbers[0] + len(numbers))), (
                model.__name__
            )
        numbers = list(Movement.objects.order_by("number").values_list("number", flat=True))
        assert numbers == list(range(1, len(numbers) + 1))

    def beds_are_safe(self) -> None:
        """Nothing is held with a chemical in the bed, and one step runs in a leg."""
        for batch in Batch.objects.filter(state="held", holds__is_interruption=False, holds__resumed_at=None):
            assert standing_chemicals(batch.steps.all(), plan_of(batch)) == {}
        running = list(StepRun.objects.filter(state="running").values_list("batch_id", "leg"))
        assert len(running) == len(set(running))

    def at_the_end(self) -> None:
        """Everything, once more and from the beginning."""
        self.everything_holds()
        said = io.StringIO()
        try:
            call_command("verify_records", stdout=said)
        except CommandError as refusal:
            raise AssertionError(f"{refusal}\n{said.getvalue()}") from refusal
