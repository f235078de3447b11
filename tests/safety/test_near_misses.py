"""A near miss: anybody tells it, another person answers it, what follows is closed with words."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.db import DatabaseError, IntegrityError, transaction

from regenplant.audit.by import By
from regenplant.audit.selectors import story
from regenplant.audit.verifying.registry import Look
from regenplant.core.errors import DomainError, NotAllowed, RecordRefused, StaleRecord
from regenplant.people.services import add_person
from regenplant.plant.handed_on import sections
from regenplant.safety.models import NearMiss
from regenplant.safety.selectors import near_miss_numbered, open_near_misses
from regenplant.safety.services import answer_near_miss, close_near_miss, report_near_miss
from regenplant.safety.verification import check_near_misses
from tests import factories
from tests.factories import SmallPlant

CAUSE = "The clamp was for a thicker hose."
TO_DO = "Clamps by hose size, hung at the door."


def answered(plant: SmallPlant, row: NearMiss, **more: object) -> NearMiss:
    found: NearMiss = answer_near_miss(by=plant.by("safety"), near_miss_id=row.pk, cause=CAUSE, **more).result
    return found


def test_it_is_kept_as_told_with_when_it_happened(plant: SmallPlant) -> None:
    before = plant.now - timedelta(hours=3)
    by = By(plant.people["operator"], plant.now, "tests", before)
    row = report_near_miss(
        by=by, kind="contact", what="A glove had a hole; water ran in.", spot="Skid 1"
    ).result
    row.refresh_from_db()
    assert (row.number, row.happened_at, row.reported_at, row.about) == ("N-10001", before, plant.now, "")
    (line,) = story([("near_miss", row.number)])
    assert (
        line.sentence
        == "Near miss N-10001, chemical on somebody, or nearly, at Skid 1: A glove had a hole; water ran in."
    )
    assert line.occurred_at == before


def test_whoever_has_no_role_at_all_may_tell_one_and_may_not_answer(plant: SmallPlant) -> None:
    visitor = factories.person()
    by = By(visitor, plant.now, "tests")
    row = report_near_miss(by=by, kind="other", what="The gate was open all night.", spot="Yard").result
    assert list(open_near_misses()) == [row]
    for who in ("operator", "qc", "planner"):
        with pytest.raises(NotAllowed, match="may not do this"):
            answer_near_miss(by=plant.by(who), near_miss_id=row.pk, cause=CAUSE)
    assert answered(plant, row).answered_by == plant.people["safety"]


def test_a_shared_account_tells_nothing(plant: SmallPlant) -> None:
    by = By(factories.first_administrator(), plant.now, "tests")
    post = add_person(
        by=by, username="dock", full_name="Dock post", initials="DP", roles=[], password=factories.PASSWORD, is_shared=True
    ).result  # fmt: skip
    with pytest.raises(NotAllowed, match="shared account"):
        report_near_miss(
            by=By(post, plant.now, "tests"), kind="other", what="Something fell down.", spot="Yard"
        )
    assert not NearMiss.objects.exists()


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"kind": "fire"}, "not known"),
        ({"what": "Leak"}, "Write at least 10"),
        ({"what": "x" * 601}, "at most 600"),
        ({"spot": ""}, "is empty"),
        ({"told_by": "a\x07b"}, "no paper can show"),
    ],
)
def test_what_it_must_say(plant: SmallPlant, wrong: dict[str, str], says: str) -> None:
    right = {"kind": "release", "what": "A valve dripped on the floor.", "spot": "C1"}
    with pytest.raises(RecordRefused, match=says):
        report_near_miss(by=plant.by("operator"), **{**right, **wrong})
    assert not NearMiss.objects.exists()


def test_the_answer_says_the_cause_and_what_follows_until_it_is_done(
    plant: SmallPlant, told: NearMiss
) -> None:
    assert told.is_open and told.about == "B-HCL"
    row = answered(plant, told, follow_up=TO_DO, due_on=date(2026, 3, 20))
    assert row.is_open and list(open_near_misses()) == [row]
    row = close_near_miss(by=plant.by("supervisor"), near_miss_id=row.pk, words="Hung up on a board.").result
    assert not row.is_open and not open_near_misses().exists()
    assert near_miss_numbered(f" {row.number.lower()} ") == row
    said = [line.sentence for line in story([("near_miss", row.number)])]
    assert said[1:] == [
        f"Near miss {row.number} was answered: {TO_DO}, by 2026-03-20",
        f"The follow-up of near miss {row.number} is done: {TO_DO}",
    ]
    assert list(check_near_misses(Look())) == []


def test_nothing_more_to_do_is_an_answer_and_leaves_nothing_to_close(
    plant: SmallPlant, told: NearMiss
) -> None:
    row = answered(plant, told)
    assert not row.is_open
    with pytest.raises(RecordRefused, match="nothing left to do"):
        close_near_miss(by=plant.by("safety"), near_miss_id=row.pk, words="It is all done now.")


def test_nobody_answers_what_they_told(plant: SmallPlant) -> None:
    row = report_near_miss(
        by=plant.by("safety"), kind="guard", what="The interlock was bridged.", spot="Skid 1"
    ).result
    with pytest.raises(NotAllowed, match="You reported N-10001"):
        answer_near_miss(by=plant.by("safety"), near_miss_id=row.pk, cause=CAUSE)
    assert answer_near_miss(by=plant.by("supervisor"), near_miss_id=row.pk, cause=CAUSE).result.cause == CAUSE
    with pytest.raises(IntegrityError), transaction.atomic():
        NearMiss.objects.filter(pk=row.pk).update(answered_by=plant.people["safety"])


@pytest.mark.parametrize(
    ("more", "says"),
    [
        ({"follow_up": TO_DO}, "no day says by when"),
        ({"due_on": date(2026, 3, 20)}, "not what is to be done"),
        ({"follow_up": "soon", "due_on": date(2026, 3, 20)}, "Write at least 10"),
        ({"follow_up": TO_DO, "due_on": date(2026, 3, 1)}, "possible is 2026-03-02"),
        ({"follow_up": TO_DO, "due_on": date(2028, 3, 2)}, "to 2028-03-01"),
        ({"cause": "bad"}, "The cause has 3 characters"),
    ],
)
def test_what_an_answer_must_say(
    plant: SmallPlant, told: NearMiss, more: dict[str, object], says: str
) -> None:
    with pytest.raises(RecordRefused, match=says):
        answer_near_miss(by=plant.by("safety"), near_miss_id=told.pk, **{"cause": CAUSE, **more})
    told.refresh_from_db()
    assert told.answered_at is None


def test_it_is_answered_once_and_closed_once_and_a_stale_page_is_told(
    plant: SmallPlant, told: NearMiss
) -> None:
    with pytest.raises(RecordRefused, match="waits for its answer"):
        close_near_miss(by=plant.by("safety"), near_miss_id=told.pk, words="It is all done now.")
    answered(plant, told, follow_up=TO_DO, due_on=date(2026, 3, 20), version=1)
    with pytest.raises(RecordRefused, match="answered already"):
        answer_near_miss(by=plant.by("supervisor"), near_miss_id=told.pk, cause=CAUSE, version=1)
    with pytest.raises(StaleRecord, match="you had version 1"):
        close_near_miss(by=plant.by("safety"), near_miss_id=told.pk, words="It is all done now.", version=1)
    close_near_miss(by=plant.by("safety"), near_miss_id=told.pk, words="It is all done now.", version=2)
    with pytest.raises(DomainError, match="closed already"):
        close_near_miss(by=plant.by("safety"), near_miss_id=told.pk, words="It is all done now.")


@pytest.mark.parametrize("column", ["what", "told_by", "happened_at", "reported_by"])
def test_what_was_told_never_changes(plant: SmallPlant, told: NearMiss, column: str) -> None:
    other = {"happened_at": plant.now - timedelta(days=1), "reported_by": plant.people["qc"]}
    with pytest.raises(DatabaseError), transaction.atomic():
        NearMiss.objects.filter(pk=told.pk).update(**{column: other.get(column, "Nothing happened at all.")})


def test_the_coming_shift_reads_it_until_it_is_done(plant: SmallPlant, told: NearMiss) -> None:
    def lines() -> tuple[str, ...]:
        (section,) = [one for one in sections(plant.now) if one.key == "near_misses"]
        return tuple(f"{line.what} {line.words} {line.needs_person}" for line in section.lines)

    assert lines()[0].endswith("Waits for an answer. True") and "at Unloading door" in lines()[0]
    answered(plant, told, follow_up=TO_DO, due_on=date(2026, 3, 3))
    assert lines()[0].endswith(f"{TO_DO} By 2026-03-03. False")
    plant.forward(days=2)
    assert lines()[0].endswith("True")
    close_near_miss(by=plant.by("safety"), near_miss_id=told.pk, words="It is all done now.")
    assert lines() == ()


def test_one_that_was_answered_before_it_was_told_is_found(plant: SmallPlant, told: NearMiss) -> None:
    row = answered(plant, told)
    NearMiss.objects.filter(pk=row.pk).update(answered_at=plant.now - timedelta(days=9))
    (found,) = check_near_misses(Look())
    assert found.sentence == f"Near miss {row.number} was answered or closed before it was told."
