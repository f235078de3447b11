"""Taking rows over as they stand: after an upgrade from before seals, after a migration, after a repair; always openly."""

from __future__ import annotations

import io
from collections.abc import Callable

import pytest
from django.contrib.auth.models import Group
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import connection

from regenplant.audit import chain, locks
from regenplant.audit.acts import Act
from regenplant.audit.by import By
from regenplant.audit.models import AuditEvent
from regenplant.audit.selectors import story
from regenplant.audit.services import seal_rows
from regenplant.audit.verifying import registry
from regenplant.audit.verifying.replay import Replay
from regenplant.core.errors import NotAllowed, RecordRefused
from regenplant.people.models import Person
from regenplant.people.services import set_preferences
from tests import factories

Make = Callable[..., By]
REASON = "a migration has changed them"


@pytest.fixture
def old_plant(operator: Person, administrator: Person) -> None:
    """A record from before rows were sealed: its acts say nothing of rows."""
    import json

    locks.remove()
    previous = chain.GENESIS
    for row in AuditEvent.objects.order_by("number"):
        plain = {key: value for key, value in json.loads(row.payload).items() if key != "rows"} | {
            "schema": 1
        }
        payload = json.dumps(plain, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
        digest = chain.link(previous, payload)
        AuditEvent.objects.filter(pk=row.pk).update(payload=payload, previous_digest=previous, digest=digest)
        previous = digest
    locks.install()


def test_an_old_plant_is_told_what_to_do_and_holds_afterwards(
    old_plant: None, administrator: Person, by: Make
) -> None:
    (found,) = registry.findings()
    assert "rows from before rows were sealed can be held against no act" in found.sentence
    taken = seal_rows(by=by(administrator), reason="upgrade to sealed rows").result
    assert taken.from_before == Group.objects.count() + 2 * Person.objects.count() and taken.otherwise == 0
    assert registry.findings() == []


def test_an_act_before_the_upgrade_is_finished_breaks_nothing(
    old_plant: None, administrator: Person, operator: Person, by: Make
) -> None:
    set_preferences(by=by(operator), unit_system="us", theme="dark")
    seal_rows(by=by(administrator), reason="upgrade to sealed rows")
    set_preferences(by=by(operator), unit_system="metric", theme="dark")
    assert registry.findings() == []


def test_after_the_baseline_a_row_without_a_seal_is_a_finding(
    old_plant: None, administrator: Person, by: Make
) -> None:
    seal_rows(by=by(administrator), reason="upgrade to sealed rows")
    Group.objects.create(name="bowling club")
    assert [found.sentence for found in registry.findings()] == [
        "The group bowling club stands in the record and no act wrote it."
    ]


def test_rows_altered_by_hand_are_taken_over_by_name(
    administrator: Person, operator: Person, by: Make
) -> None:
    with connection.cursor() as cursor:
        cursor.execute("UPDATE people_person SET initials = 'XX' WHERE id = %s", [operator.pk])
    Group.objects.create(name="bowling club")
    Group.objects.get(name="planner").delete()
    assert len(registry.findings()) == 3
    taken = seal_rows(by=by(administrator), reason=REASON).result
    assert (taken.from_before, taken.otherwise) == (0, 3)
    assert registry.findings() == []
    line = story([("record", "1")])[-1]
    assert line.sentence == "The record: 3 rows were taken over otherwise than an act had left them"
    assert line.reason == REASON
    assert set(line.facts["facts"]["rows"]) >= {"person operator-1", "group bowling club"}


def test_a_row_that_an_act_found_altered_stays_known_as_a_notice(
    administrator: Person, operator: Person, by: Make
) -> None:
    with connection.cursor() as cursor:
        cursor.execute("UPDATE people_person SET initials = 'XX' WHERE id = %s", [operator.pk])
    set_preferences(by=by(operator), unit_system="us", theme="dark")
    number = chain.head()[0]
    (found,) = registry.findings()
    assert (
        found.sentence == f"The person operator-1 was altered without an act before event {number} wrote it."
    )
    seal_rows(by=by(administrator), reason=REASON)
    report = registry.run()
    assert report.holds
    (notice,) = report.notices
    assert notice.sentence.endswith(f"wrote it; event {number + 1} took it over as it stood.")


def test_nothing_is_sealed_on_a_chain_that_does_not_hold(
    administrator: Person, operator: Person, by: Make
) -> None:
    locks.remove()
    AuditEvent.objects.filter(number=2).update(actor_name="Somebody")
    locks.install()
    with pytest.raises(RecordRefused, match="The chain of acts does not hold"):
        seal_rows(by=by(administrator), reason=REASON)


def test_where_all_is_sealed_there_is_nothing_to_do(administrator: Person, by: Make) -> None:
    with pytest.raises(RecordRefused, match="There is nothing to seal"):
        seal_rows(by=by(administrator), reason=REASON)


def test_only_an_administrator_seals_and_says_why(
    administrator: Person, supervisor: Person, by: Make
) -> None:
    with pytest.raises(NotAllowed):
        seal_rows(by=by(supervisor), reason=REASON)
    with pytest.raises(RecordRefused, match="at least 10"):
        seal_rows(by=by(administrator), reason="because")


def test_the_command_asks_for_the_administrators_password(
    administrator: Person, monkeypatch: pytest.MonkeyPatch
) -> None:
    Group.objects.create(name="bowling club")

    def run(password: str) -> str:
        monkeypatch.setattr("sys.stdin", io.StringIO(f"{password}\n"))
        out = io.StringIO()
        call_command("seal_rows", by=administrator.username, reason=REASON, stdout=out)
        return out.getvalue()

    with pytest.raises(CommandError, match="do not fit together"):
        run("wrong")
    assert "and 1 that stood otherwise" in run(factories.PASSWORD)
    with pytest.raises(CommandError, match="nothing to seal"):
        run(factories.PASSWORD)


# --- shapes ---------------------------------------------------------------------------------------------------------------
def one_act(number: int, **rows: dict[str, str]) -> Act:
    named = {name.replace("__", "@"): seals for name, seals in rows.items()}
    return Act(number, "test.done", "", "", ("test", "1"), [], named, "", [])


def test_a_row_sealed_in_an_older_shape_goes_over_to_the_new_one_quietly() -> None:
    replay = Replay()
    replay.take(one_act(1, t__old={"7": ">aaa", "8": ">bbb"}))
    replay.take(one_act(2, t__new={"7": "ccc>ddd"}))
    assert replay.foreign == []
    assert replay.last == {"t@old": {"8": "bbb"}, "t@new": {"7": "ddd"}}


def test_a_row_found_otherwise_than_it_was_left_is_kept_in_mind() -> None:
    replay = Replay()
    replay.take(one_act(1, t__a={"7": ">aaa"}))
    replay.take(one_act(2, t__a={"7": "bbb>ccc", "9": "ddd>eee"}))
    assert [(found.number, found.key, found.had_seal) for found in replay.foreign] == [
        (2, "7", True),
        (2, "9", False),
    ]


def test_an_old_seal_holds_after_a_column_was_added(
    operator: Person, administrator: Person, by: Make
) -> None:
    """The seals of before are worked out again with the columns of before, which the database keeps."""
    import json

    from regenplant.audit import sealed, seals
    from regenplant.audit.models import RowShape
    from regenplant.audit.sealed import Shape

    table = sealed.tables()["auth_group"]
    older = Shape("auth_group", tuple(pair for pair in table.shape.columns if pair[0] != "name"))
    RowShape.objects.create(id=older.id, table_name=older.table, content=older.text)
    digests = dict(seals.rows_in(older, "id"))
    locks.remove()
    event = AuditEvent.objects.get(number=1)
    plain = json.loads(event.payload)
    del plain["rows"][table.name]
    plain["rows"][f"auth_group@{older.id}"] = {key: f">{digest}" for key, digest in digests.items()}
    previous = chain.GENESIS
    for row in AuditEvent.objects.order_by("number"):
        payload = (
            json.dumps(plain, sort_keys=True, ensure_ascii=False, separators=(",", ":"))
            if row.number == 1
            else row.payload
        )
        digest = chain.link(previous, payload)
        AuditEvent.objects.filter(pk=row.pk).update(payload=payload, previous_digest=previous, digest=digest)
        previous = digest
    locks.install()
    assert registry.findings() == []
    Group.objects.filter(name="planner").delete()
    (found,) = registry.findings()
    assert "was removed without an act" in found.sentence
