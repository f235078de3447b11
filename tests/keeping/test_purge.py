"""Purging (ER-25): after its time, by two people, with the copy read back; early, held or in use it is refused; and it is seen."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.core.management.color import no_style
from django.db import DatabaseError, IntegrityError, connection, transaction

from regenplant.audit import chain, locks, seals, turn
from regenplant.audit.numbering import next_number
from regenplant.audit.selectors import story
from regenplant.audit.verifying import registry
from regenplant.batches.models import Batch, Deviation, StepEntry
from regenplant.core.errors import DomainError, NotAllowed, RecordRefused, SignatureRefused, StaleRecord
from regenplant.keeping import purging, restoring, retention, services
from regenplant.keeping.models import Purge, PurgedRow
from regenplant.people.binding import TwoPeople
from regenplant.people.models import Signature
from regenplant.tanks.models import TankVisit
from regenplant.tanks.services import ship_tank
from tests import factories
from tests.keeping import scene
from tests.keeping.test_retention import rules

pytestmark = [pytest.mark.django_db, pytest.mark.requirement("ER-25")]
YEARS = timedelta(days=366 * 6)
WHY = "Its period is over, and nobody asked for longer."


def shipped(plant: factories.SmallPlant, batch: Batch) -> None:
    for visit in TankVisit.objects.filter(batch_links__batch=batch):
        ship_tank(by=plant.by("supervisor"), visit_id=visit.pk, version=visit.version)


@pytest.fixture
def other(plant: factories.SmallPlant) -> Batch:
    """A batch under way beside it."""
    return factories.frozen_batch(plant, "sac_na")


@pytest.fixture
def past(plant: factories.SmallPlant, batch: Batch) -> Batch:
    """The eventful batch, its tanks gone, six years later."""
    rules(plant)
    shipped(plant, batch)
    plant.now += YEARS
    batch.refresh_from_db()
    return batch


def two(plant: factories.SmallPlant, first: str = "supervisor", second: str = "safety") -> TwoPeople:
    meaning = services.PURGE_MEANING
    return TwoPeople(
        factories.permit(plant, first, meaning), plant.by(second), factories.permit(plant, second, meaning)
    )


def purge(plant: factories.SmallPlant, batch: Batch, copy: bytes, **change: Any) -> Purge:
    arguments = {
        "by": plant.by("supervisor"),
        "batch_id": batch.pk,
        "reason": WHY,
        "copy": copy,
        "together": two(plant),
        "version": batch.version,
        **change,
    }
    found: Purge = services.purge(**arguments).result
    return found


def refusal(act: Callable[[], object], kind: type[DomainError] = RecordRefused) -> DomainError:
    before = (Batch.objects.count(), StepEntry.objects.count(), Signature.objects.count())
    with pytest.raises(kind) as error:
        act()
    assert (Batch.objects.count(), StepEntry.objects.count(), Signature.objects.count()) == before
    assert not Purge.objects.exists() and not PurgedRow.objects.exists()
    return error.value


def sentences() -> list[str]:
    return [finding.sentence for finding in registry.findings()]


# --- done -------------------------------------------------------------------------------------------------------------
def test_two_people_purge_a_batch_and_the_record_holds(plant: factories.SmallPlant, past: Batch) -> None:
    copy = scene.copied(plant, past).content
    rows = purging.own_rows(past)
    shared = {
        model: model._default_manager.count()
        for model in (TankVisit, *(type(row) for row in (past.recipe_version, past.vessel, past.lot)))
    }
    assert all(rows[label] for label in ("batches.StepEntry", "quality.Release", "people.Signature"))
    head = chain.head()[0]
    done = purge(plant, past, copy)

    for label, own in rows.items():
        left = next(iter(own.values()))._meta.model if own else None
        assert left is None or not left._default_manager.filter(pk__in=own).exists(), label
    assert not Batch.objects.filter(number=past.number).exists()
    assert {model: model._default_manager.count() for model in shared} == shared
    assert {row.digest for row in done.rows.all()} and done.rows.count() == sum(map(len, rows.values()))
    assert done.copy_sha256 == hashlib.sha256(copy).hexdigest()

    last = story([("batch", past.number)])[-1]
    assert last.number == head + 1 and last.event == purging.PURGED and past.number in last.sentence
    assert last.facts["facts"]["copy_sha256"] == done.copy_sha256
    assert last.facts["facts"]["rows"]["batches_stepentry"] == len(rows["batches.StepEntry"])
    signed = Signature.objects.filter(record_kind="purge", record_key=done.number)
    assert {one.person for one in signed} == {plant.people["supervisor"], plant.people["safety"]}
    assert {one.content for one in signed} == {done.content}
    assert json.loads(done.content)["copy_sha256"] == done.copy_sha256

    connection.check_constraints()
    assert list(chain.verify()) == [] and sentences() == []
    assert registry.run().seen("purge") == 1
    with pytest.raises(RecordRefused) as refused:
        purge(plant, past, copy)
    assert refused.value.code == "unknown"


def test_a_number_that_is_gone_is_not_given_out_again(plant: factories.SmallPlant, past: Batch) -> None:
    numbers = {past.number, *past.deviations.values_list("number", flat=True)}
    purge(plant, past, scene.copied(plant, past).content)
    assert set(PurgedRow.objects.exclude(number="").values_list("number", flat=True)) == numbers
    assert not Batch.objects.exists()
    assert int(next_number(Batch, "number", "B", 10001)[2:]) == int(past.number[2:]) + 1
    newest = max(int(number[2:]) for number in numbers if number.startswith("D-"))
    assert next_number(Deviation, "number", "D", 1001) == f"D-{newest + 1}"


# --- refused ----------------------------------------------------------------------------------------------------------
def test_early_it_is_refused_and_told_from_when(plant: factories.SmallPlant, batch: Batch) -> None:
    shipped(plant, batch)
    copy = scene.copied(plant, batch).content
    batch.refresh_from_db()
    assert refusal(lambda: purge(plant, batch, copy)).code == "not_decided"
    rules(plant)
    said = refusal(lambda: purge(plant, batch, copy))
    until = retention.kept_batches(plant.now)[0].until
    assert until is not None
    assert said.code == "kept" and f"It may go from {until + timedelta(days=1)} on" in said.message
    assert sentences() == []


def test_a_legal_hold_wins(plant: factories.SmallPlant, past: Batch) -> None:
    copy = scene.copied(plant, past).content
    customer = past.tank_links.first().visit.customer.code
    placed = services.place_hold(
        by=plant.by("supervisor"), subject_kind="customer", subject_key=customer, reason="A claim is open."
    ).result
    said = refusal(lambda: purge(plant, past, copy))
    assert said.code == "legal_hold" and placed.number in said.message


def test_what_is_in_use_stays(plant: factories.SmallPlant, batch: Batch) -> None:
    rules(plant)
    copy = scene.copied(plant, batch).content
    plant.now += YEARS
    batch.refresh_from_db()
    said = refusal(lambda: purge(plant, batch, copy))
    serial = batch.tank_links.first().visit.tank.serial
    assert said.code == "in_use" and f"Tank {serial} is still here" in said.message


@pytest.mark.parametrize(
    ("change", "kind", "code"),
    [
        (lambda plant: {"together": two(plant, second="supervisor")}, RecordRefused, "own_work"),
        (lambda plant: {"together": two(plant, second="qc")}, NotAllowed, None),
        (lambda plant: {"by": plant.by("operator"), "together": two(plant, "operator")}, NotAllowed, None),
        (lambda plant: {"together": two(plant, "supervisor 2")}, SignatureRefused, None),
        (lambda plant: {"reason": "short"}, RecordRefused, None),
        (lambda plant: {"version": 1}, StaleRecord, None),
    ],
    ids=["alone", "second without the right", "first without the right", "the permit of another", "no reason", "stale"],
)  # fmt: skip
def test_who_may_not_or_says_too_little_is_refused(
    plant: factories.SmallPlant, past: Batch, change: Any, kind: type[DomainError], code: str | None
) -> None:
    copy = scene.copied(plant, past).content
    said = refusal(lambda: purge(plant, past, copy, **change(plant)), kind)
    assert code is None or said.code == code


def test_only_its_own_copy_as_it_was_made_here_will_do(plant: factories.SmallPlant, past: Batch) -> None:
    made = scene.copied(plant, past).content
    altered = scene.opened(made)
    altered.columns("entries")["value_as_typed"] = "1"
    for data in (b"", b"nothing", altered.packed(), made + b" "):
        assert refusal(lambda data=data: purge(plant, past, data)).code == "not_this_copy"


def test_a_copy_from_before_the_last_words_will_not_do(plant: factories.SmallPlant, batch: Batch) -> None:
    rules(plant)
    copy = scene.copied(plant, batch).content
    shipped(plant, batch)
    plant.now += YEARS
    batch.refresh_from_db()
    stones = purging.tombstones(purging.own_rows(batch))
    stones[0].digest = "0" * 64  # as a row has it that was written on after the copy
    with pytest.raises(RecordRefused) as error:
        purging.read_back(copy, stones)
    assert error.value.code == "copy_old"


# --- behind its back --------------------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-09")
def test_without_a_tombstone_the_database_lets_no_row_go(plant: factories.SmallPlant, past: Batch) -> None:
    """Neither from outside nor inside an act."""
    key = StepEntry.objects.order_by("pk")[0].pk
    statement = f"DELETE FROM batches_stepentry WHERE id = {key}"
    with pytest.raises((DatabaseError, IntegrityError)), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement)
    with pytest.raises(IntegrityError, match="this row is frozen"), transaction.atomic():
        turn.take()
        with connection.cursor() as cursor:
            cursor.execute(statement)
    turn.drop()
    assert StepEntry.objects.filter(pk=key).exists()


@pytest.mark.requirement("ER-09")
def test_a_tombstone_never_changes_and_one_that_no_act_wrote_is_found(
    plant: factories.SmallPlant, past: Batch
) -> None:
    purge(plant, past, scene.copied(plant, past).content)
    stone = PurgedRow.objects.order_by("pk")[0]
    for statement in (
        f"UPDATE keeping_purgedrow SET row_key = '999' WHERE id = {stone.pk}",
        f"DELETE FROM keeping_purgedrow WHERE id = {stone.pk}",
    ):
        with (
            pytest.raises((DatabaseError, IntegrityError)),
            transaction.atomic(),
            connection.cursor() as cursor,
        ):
            cursor.execute(statement)
    with (
        connection.cursor() as cursor
    ):  # a test may write outside an act; tests of the seals show that nobody else may
        cursor.execute(
            "INSERT INTO keeping_purgedrow (purge_id, table_name, row_key, number, digest) "
            f"VALUES ({stone.purge_id}, 'batches_stepentry', '9999', '', '{stone.digest}')"
        )
    said = sentences()
    assert any("purged row" in one and "no act wrote it" in one for one in said)
    assert any("no longer says what was signed" in one for one in said)


@pytest.mark.requirement("ER-09")
def test_what_was_deleted_without_a_purge_is_found_beside_one(
    plant: factories.SmallPlant, other: Batch, past: Batch
) -> None:
    purge(plant, past, scene.copied(plant, past).content)
    assert sentences() == []
    locks.remove()
    with connection.cursor() as cursor:
        cursor.execute("DELETE FROM batches_batchtank WHERE batch_id = %s AND position = 1", [other.pk])
        cursor.execute("DELETE FROM keeping_purgedrow WHERE table_name = 'batches_batch'")
    locks.install()
    said = sentences()
    assert any("batch tank" in one and "was removed without an act" in one for one in said)
    assert any("purged row" in one and "was removed without an act" in one for one in said)
    assert any("no longer says what was signed" in one for one in said)
    assert any("was removed by event" in one and "no purge names it" in one for one in said)


@pytest.mark.requirement("ER-09")
def test_an_act_that_is_no_purge_does_not_pass_for_one(plant: factories.SmallPlant, past: Batch) -> None:
    """Triggers off, a row deleted inside another act, sealed like any other: its removal is told."""
    entry = StepEntry.objects.order_by("-pk")[0]
    locks.remove()
    place = ("batches_stepentry", str(entry.pk))
    real = turn.end

    def with_removal() -> dict[tuple[str, str], str]:
        own = seals.digests_of(seals.sealed.tables()[place[0]], [place[1]])
        with connection.cursor() as cursor:
            cursor.execute("DELETE FROM batches_stepentry WHERE id = %s", [entry.pk])
        return real() | {place: own[place[1]]}

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(turn, "end", with_removal)
        services.place_hold(
            by=plant.by("supervisor"),
            subject_kind="batch",
            subject_key=past.number,
            reason="A claim is open.",
        )
    locks.install()
    assert any(f"step entry {entry.pk} was removed by event" in one for one in sentences())


def test_after_a_restore_a_purged_key_is_not_given_out_again(
    plant: factories.SmallPlant, past: Batch
) -> None:
    """The rows are gone and the counter stands where it would in a restored database: at the newest row that is left."""
    purge(plant, past, scene.copied(plant, past).content)
    with connection.cursor() as cursor:
        for statement in connection.ops.sequence_reset_sql(no_style(), [Batch]):
            cursor.execute(statement)
        if connection.vendor == "sqlite":
            cursor.execute("DELETE FROM sqlite_sequence WHERE name = 'batches_batch'")
    restoring._count_on()
    plant.now -= YEARS  # when the stock was still fit to be planned with
    later = factories.frozen_batch(plant, "sac_na")
    assert later.pk > past.pk
