"""Deviations: opened by themselves, given to somebody, described, and decided for good by another person's signature."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.db import DatabaseError, transaction

from regenplant.batches import services
from regenplant.batches.models import Batch, Deviation, StepRun
from regenplant.batches.selectors.deviations import Wanted, counts, deviation_list, who_may_decide
from regenplant.batches.services import Decision
from regenplant.core.errors import NotAllowed, RecordRefused, SignatureRefused, StaleRecord
from regenplant.core.process.vocabulary import StepKind
from regenplant.people.binding import holds
from tests import factories
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db
ACCEPT = Decision("accept", "no effect on the resin, accepted", "equipment", "the hose was worn at its end")


@pytest.fixture
def acid(plant: SmallPlant) -> StepRun:
    return factories.run_to(plant, factories.frozen_batch(plant, "sac_h"), StepKind.INJECT)


def opened(plant: SmallPlant, batch: Batch, who: str = "operator", **more: Any) -> Deviation:
    values = {"what": "a hose dripped on the floor", "severity": "minor", **more}
    return services.open_deviation(by=plant.by(who), batch_id=batch.pk, **values).result


def decide(
    plant: SmallPlant, row: Deviation, decision: Decision = ACCEPT, who: str = "supervisor", **more: Any
) -> Deviation:
    proof = factories.permit(plant, who, services.DECIDED_MEANING)
    return services.close_deviation(
        by=plant.by(who), deviation_id=row.pk, decision=decision, permit=proof, **more
    ).result


# --- by themselves ----------------------------------------------------------------------------------------------------
def test_a_value_outside_opens_one_and_says_where_it_came_from(plant: SmallPlant, acid: StepRun) -> None:
    services.write_entry(
        by=plant.by(), step_id=acid.pk, key="strength", text="6.4 %", again="6.4 %", outside_is_true=True
    )
    row = Deviation.objects.get(batch=acid.batch)
    assert (row.source, row.severity, row.step) == ("limit", "major", acid)


def test_an_overdue_instrument_opens_one_for_each_instrument_and_step(plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sba_1")
    factories.run_to(plant, batch, StepKind.FAST_RINSE)
    for _ in range(3):
        plant.forward(minutes=4)
        factories.reading(plant, batch, "400 µS/cm", cell="OLD-CELL")
    row = Deviation.objects.get(batch=batch)
    assert row.source == "instrument" and row.what.startswith("OLD-CELL: not in calibration")


def test_a_reading_better_than_water_opens_one(plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sba_1")
    factories.run_to(plant, batch, StepKind.FAST_RINSE)
    plant.forward(minutes=30)
    factories.reading(plant, batch, "18.9 Mohm-cm")
    assert Deviation.objects.get(batch=batch).source == "reading"


def test_a_stop_where_none_is_safe_is_critical(plant: SmallPlant, acid: StepRun) -> None:
    services.interrupt_batch(by=plant.by(), batch_id=acid.batch_id, reason="the power went off for a minute")
    row = Deviation.objects.get(batch=acid.batch)
    assert (row.source, row.severity) == ("interrupted", "critical")


# --- looked into ------------------------------------------------------------------------------------------------------
def test_it_is_given_to_a_person_and_described(plant: SmallPlant, acid: StepRun) -> None:
    row = opened(plant, acid.batch)
    day = plant.now.date() + timedelta(days=2)
    services.assign_deviation(
        by=plant.by("supervisor"), deviation_id=row.pk, owner_id=plant.people["qc"].pk, due_on=day
    )
    services.describe_deviation(
        by=plant.by("operator"),
        deviation_id=row.pk,
        measure="hose changed, floor rinsed",
        cause_category="equipment",
    )
    row.refresh_from_db()
    assert (row.owner, row.due_on, row.measure) == (plant.people["qc"], day, "hose changed, floor rinsed")
    assert row.is_open and row.version == 3


def test_a_day_that_is_past_and_a_stranger_are_refused(plant: SmallPlant, acid: StepRun) -> None:
    row = opened(plant, acid.batch)
    give = {"by": plant.by("supervisor"), "deviation_id": row.pk}
    with pytest.raises(RecordRefused, match="is past"):
        services.assign_deviation(
            **give, owner_id=plant.people["qc"].pk, due_on=plant.now.date() - timedelta(days=1)
        )
    with pytest.raises(RecordRefused, match="Choose a person"):
        services.assign_deviation(**give, owner_id=0)
    with pytest.raises(NotAllowed):
        services.assign_deviation(by=plant.by(), deviation_id=row.pk, owner_id=plant.people["qc"].pk)
    with pytest.raises(RecordRefused, match="kind of cause"):
        services.describe_deviation(by=plant.by(), deviation_id=row.pk, cause="the hose was worn")


def test_the_second_of_two_writers_is_refused(plant: SmallPlant, acid: StepRun) -> None:
    row = opened(plant, acid.batch)
    services.describe_deviation(
        by=plant.by(), deviation_id=row.pk, measure="hose changed, floor rinsed", version=1
    )
    with pytest.raises(StaleRecord) as refusal:
        services.describe_deviation(
            by=plant.by("qc"), deviation_id=row.pk, measure="bucket put under it", version=1
        )
    assert refusal.value.context["table"] == "batches_deviation" and refusal.value.context["present"] == 2


# --- decided ----------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-17")
def test_a_decision_is_signed_and_for_good(plant: SmallPlant, acid: StepRun) -> None:
    row = decide(plant, opened(plant, acid.batch))
    assert (row.decision_kind, row.cause_category, row.decided_by) == (
        "accept",
        "equipment",
        plant.people["supervisor"],
    )
    assert row.signature is not None and holds(row.signature)
    assert row.signature.record_key == row.number and row.signature.record_version == row.version
    assert ACCEPT.words in row.signature.content and row.what in row.signature.content
    with pytest.raises(RecordRefused, match="already decided"):
        decide(plant, row)
    for change in (
        lambda: Deviation.objects.filter(pk=row.pk).update(decision="on second thought"),
        lambda: Deviation.objects.filter(pk=row.pk).update(decided_at=None),
        lambda: Deviation.objects.filter(pk=row.pk).delete(),
    ):
        with pytest.raises(DatabaseError), transaction.atomic():
            change()


@pytest.mark.requirement("ER-15", "ER-17")
def test_nobody_decides_what_they_opened_or_worked(plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.BACKWASH, who="supervisor")
    worked = opened(plant, batch, "operator")
    with pytest.raises(RecordRefused, match="worked on backwash, the step of") as refusal:
        decide(plant, worked)
    assert refusal.value.code == "own_work"
    own = opened(plant, batch, "supervisor 2")
    with pytest.raises(RecordRefused, match="opened D-"):
        decide(plant, own, who="supervisor 2")
    assert [person.full_name for person in who_may_decide(worked)] == [plant.people["supervisor 2"].full_name]
    decide(plant, worked, who="supervisor 2")


@pytest.mark.requirement("ER-17")
def test_nothing_is_decided_without_cause_kind_words_and_signature(plant: SmallPlant, acid: StepRun) -> None:
    row = opened(plant, acid.batch, severity="major")
    for decision, field in (
        (Decision("", ACCEPT.words, "equipment", ACCEPT.cause), "kind"),
        (Decision("accept", "fine", "equipment", ACCEPT.cause), "decision"),
        (Decision("accept", ACCEPT.words), "cause_category"),
        (Decision("accept", ACCEPT.words, "equipment"), "cause"),
    ):
        with pytest.raises(RecordRefused) as refusal:
            decide(plant, row, decision)
        assert refusal.value.field == field
    other = factories.permit(plant, "supervisor 2", services.DECIDED_MEANING)
    with pytest.raises(SignatureRefused):
        services.close_deviation(
            by=plant.by("supervisor"), deviation_id=row.pk, decision=ACCEPT, permit=other
        )
    row.refresh_from_db()
    assert row.is_open


def test_what_comes_up_later_is_a_new_one_that_follows(plant: SmallPlant, acid: StepRun) -> None:
    row = opened(plant, acid.batch)
    with pytest.raises(RecordRefused, match="is open still"):
        opened(plant, acid.batch, follows_id=row.pk)
    decide(plant, row)
    again = opened(plant, acid.batch, "qc", follows_id=row.pk, what="the new hose drips as well")
    assert again.follows == row and again.step == row.step
    row.refresh_from_db()
    assert not row.is_open and again.is_open


# --- the list ---------------------------------------------------------------------------------------------------------
def test_the_list_shows_open_ones_first_the_gravest_on_top_and_is_narrowed(
    plant: SmallPlant, acid: StepRun, django_assert_num_queries: Any
) -> None:
    batch = acid.batch
    minor, major = (
        opened(plant, batch),
        opened(plant, batch, severity="major", what="a valve was found half shut"),
    )
    done = decide(plant, opened(plant, batch, what="a label came off the drum"))
    services.assign_deviation(
        by=plant.by("supervisor"),
        deviation_id=minor.pk,
        owner_id=plant.people["qc"].pk,
        due_on=plant.now.date(),
    )
    qc, now = plant.people["qc"], plant.now

    def found(**wanted: str) -> list[Deviation]:
        return list(deviation_list(Wanted(**wanted), qc, now))

    with django_assert_num_queries(1):
        assert [row.number for row in found()] == [major.number, minor.number, done.number]
    assert found(owner="mine") == [minor] and found(owner="nobody", state="open") == [major]
    assert found(state="decided") == [done] and found(severity="major") == [major]
    assert found(text="half shut") == [major] and found(state="overdue") == []
    later = now + timedelta(days=8)
    assert list(deviation_list(Wanted("overdue"), qc, later)) == [minor]
    assert list(deviation_list(Wanted("old"), qc, later)) == [major, minor]
    assert counts(later) == {"open": 2, "overdue": 1, "old": 2, "decided": 1}
