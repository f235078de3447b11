"""How long records are kept (ER-25): by class, the longest wins, a legal hold beats every period, nothing goes early."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.db import DatabaseError, IntegrityError, transaction

from regenplant.audit import chain
from regenplant.audit.selectors import story
from regenplant.batches.models import Batch
from regenplant.core.errors import DomainError, NotAllowed, RecordRefused, StaleRecord
from regenplant.keeping import retention, services
from regenplant.keeping.models import LegalHold, RetentionVersion
from tests import factories

pytestmark = [pytest.mark.django_db, pytest.mark.requirement("ER-25")]
YEAR = timedelta(days=366)


def rules(plant: factories.SmallPlant, **change: int) -> RetentionVersion:
    """Approved rules: the proposals with these changes."""
    version = services.draft_retention(
        by=plant.by("supervisor"), years={**retention.newest_years(), **change}, reason="Decided by the plant"
    ).result
    return services.approve_retention(
        by=plant.by("supervisor 2"),
        version_id=version.pk,
        permit=factories.approval(plant.by("supervisor 2"), version),
    ).result


def hold(plant: factories.SmallPlant, kind: str, key: str) -> LegalHold:
    return services.place_hold(
        by=plant.by("supervisor"), subject_kind=kind, subject_key=key, reason="A customer’s claim is open."
    ).result


def refused(number: str, plant: factories.SmallPlant) -> str:
    with pytest.raises(RecordRefused) as error:
        retention.refuse_purge(number, plant.now)
    return error.value.code


def kept(number: str, plant: factories.SmallPlant) -> retention.Kept:
    return next(row for row in retention.kept_batches(plant.now) if row.number == number)


# --- periods ----------------------------------------------------------------------------------------------------------
def test_nothing_goes_before_its_period_and_then_it_could(plant: factories.SmallPlant, batch: Batch) -> None:
    assert refused(batch.number, plant) == "not_decided"
    rules(plant)
    assert refused(batch.number, plant) == "kept"
    finished = batch.finished_at
    assert finished is not None
    until = kept(batch.number, plant).until
    assert until == date(finished.year + 5, finished.month, finished.day)
    plant.now = finished.replace(year=finished.year + 5)
    assert refused(batch.number, plant) == "kept"  # the last day still counts
    plant.now += timedelta(days=1)
    retention.refuse_purge(batch.number, plant.now)


def test_a_batch_that_is_not_at_its_end_is_kept_whatever_its_age(
    plant: factories.SmallPlant, ready: Batch
) -> None:
    rules(plant)
    plant.now += 50 * YEAR
    assert kept(ready.number, plant).until is None
    assert refused(ready.number, plant) == "not_ended"


def test_the_longest_of_a_family_wins(plant: factories.SmallPlant, batch: Batch) -> None:
    """A parent of class D and a child of class B: both are kept as long as the child."""
    child = Batch.objects.get(pk=batch.pk)
    child.pk, child.number, child.parent, child.segregation_class = None, "B-19999", batch, "B"
    child.finished_at = batch.finished_at + timedelta(days=40)
    child.save()
    rules(plant, batch_B=12, batch_D=3)
    ends = {
        row.until for row in retention.kept_batches(plant.now) if row.number in (batch.number, child.number)
    }
    assert ends == {retention.after_years(child.finished_at.date(), 12)}


@pytest.mark.parametrize(
    ("day", "years", "later"),
    [
        (date(2024, 2, 29), 4, date(2028, 2, 29)),
        (date(2024, 2, 29), 5, date(2029, 3, 1)),
        (date(2026, 12, 31), 1, date(2027, 12, 31)),
    ],
)
def test_years_are_counted_by_the_calendar(day: date, years: int, later: date) -> None:
    assert retention.after_years(day, years) == later


def test_the_proposals_say_that_they_are_proposals_and_cover_every_class() -> None:
    assert {f"batch_{letter}" for letter in "ABCDEFX"} <= set(retention.PROPOSALS)
    assert all(item.basis.startswith("proposal") for item in retention.RECORD_CLASSES)
    assert (
        retention.PROPOSALS["data_sheet"] == 30
    )  # STANDARDS: exposure records, from memory; the plant decides


# --- holds ------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("kind", LegalHold.Subject.values)
def test_a_hold_on_anything_of_the_batch_wins_over_a_period_that_is_past(
    plant: factories.SmallPlant, batch: Batch, kind: str
) -> None:
    rules(plant)
    key = next(key for found, key in sorted(retention.subjects_of(batch)) if found == kind)
    plant.now += 20 * YEAR
    retention.refuse_purge(batch.number, plant.now)
    placed = hold(plant, kind, key.lower())
    assert placed.subject_key == key
    assert refused(batch.number, plant) == "legal_hold"
    assert placed.number in kept(batch.number, plant).holds[0]
    services.lift_hold(by=plant.by("supervisor 2"), hold_id=placed.pk, reason="The claim is settled.")
    retention.refuse_purge(batch.number, plant.now)
    assert list(chain.verify()) == []


def test_who_placed_a_hold_does_not_lift_it_and_it_is_lifted_once(
    plant: factories.SmallPlant, ready: Batch
) -> None:
    placed = hold(plant, "batch", ready.number)
    with pytest.raises(NotAllowed, match="another person"):
        services.lift_hold(by=plant.by("supervisor"), hold_id=placed.pk, reason="Not needed any more.")
    services.lift_hold(by=plant.by("supervisor 2"), hold_id=placed.pk, reason="The claim is settled.")
    with pytest.raises(StaleRecord):
        services.lift_hold(by=plant.by("supervisor 2"), hold_id=placed.pk, reason="The claim is settled.")
    told = [line.sentence for line in story([("legal_hold", placed.number)])]
    assert len(told) == 2 and all(f"batch {ready.number}" in line for line in told)


def test_a_hold_names_something_that_is_known_once_and_why(plant: factories.SmallPlant, ready: Batch) -> None:
    for change, words in (
        ({"subject_key": "B-99999"}, "No batch B-99999 is known"),
        ({"subject_kind": "person"}, "not known"),
        ({"reason": "short"}, "at least 10"),
    ):
        arguments = {
            "subject_kind": "batch",
            "subject_key": ready.number,
            "reason": "A customer’s claim is open.",
            **change,
        }
        with pytest.raises(RecordRefused, match=words):
            services.place_hold(by=plant.by("supervisor"), **arguments)
    hold(plant, "batch", ready.number)
    with pytest.raises(RecordRefused, match="stands already"):
        hold(plant, "batch", ready.number)


@pytest.mark.parametrize("who", ["operator", "qc", "planner"])
def test_who_may_not_is_refused(plant: factories.SmallPlant, ready: Batch, who: str) -> None:
    with pytest.raises(NotAllowed):
        services.place_hold(
            by=plant.by(who), subject_kind="batch", subject_key=ready.number, reason="A claim is open."
        )
    with pytest.raises(NotAllowed):
        services.draft_retention(by=plant.by(who), years=retention.PROPOSALS, reason="Decided by the plant")


def test_the_database_keeps_a_hold(plant: factories.SmallPlant, ready: Batch) -> None:
    placed = hold(plant, "batch", ready.number)
    for act in (
        lambda: LegalHold.objects.filter(pk=placed.pk).update(subject_key="B-1"),
        lambda: LegalHold.objects.filter(pk=placed.pk).delete(),
    ):
        with pytest.raises((DatabaseError, IntegrityError)), transaction.atomic():
            act()


# --- the rules --------------------------------------------------------------------------------------------------------
def test_the_rules_take_two_persons_and_a_date(plant: factories.SmallPlant) -> None:
    version = services.draft_retention(
        by=plant.by("supervisor"), years={**retention.PROPOSALS, "batch_A": 15}, reason="By contract"
    ).result
    with pytest.raises(NotAllowed, match="another person"):
        services.approve_retention(
            by=plant.by("supervisor"),
            version_id=version.pk,
            permit=factories.approval(plant.by("supervisor"), version),
        )
    starts = plant.now + timedelta(days=10)
    services.approve_retention(
        by=plant.by("supervisor 2"),
        version_id=version.pk,
        permit=factories.approval(plant.by("supervisor 2"), version),
        effective_from=starts,
    )
    assert retention.years_in_force(plant.now)["batch_A"] == 5
    assert retention.years_in_force(starts)["batch_A"] == 15
    with pytest.raises((DatabaseError, IntegrityError)), transaction.atomic():
        RetentionVersion.objects.filter(pk=version.pk).update(content="{}")


def test_the_proposals_can_be_approved_as_they_are(plant: factories.SmallPlant) -> None:
    rules(plant)
    with pytest.raises(RecordRefused, match="the same as version 1"):
        services.draft_retention(
            by=plant.by("supervisor"), years=retention.PROPOSALS, reason="Once more the same"
        )


@pytest.mark.parametrize("change", [{"batch_D": 0}, {"batch_D": 101}, {"batch_Q": 5}])
def test_periods_that_cannot_be_are_refused(plant: factories.SmallPlant, change: dict[str, int]) -> None:
    with pytest.raises(DomainError):
        services.draft_retention(
            by=plant.by("supervisor"), years={**retention.PROPOSALS, **change}, reason="For a test"
        )
