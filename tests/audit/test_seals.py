"""Each act keeps the digest of every row it wrote, however it wrote it; what no act writes is refused."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from typing import Any

import pytest
from django.contrib.auth.models import Group
from django.db import IntegrityError, connection, transaction
from django.test import Client

from regenplant.audit import chain, sealed, seals
from regenplant.audit.by import By
from regenplant.audit.models import AuditEvent
from regenplant.audit.use_case import Outcome
from regenplant.audit.verifying import registry
from regenplant.core.errors import RecordRefused
from regenplant.people.models import Person
from regenplant.people.services import set_preferences
from regenplant.people.signing import SignaturePermit, bind
from regenplant.plant.models import Instrument
from tests import factories
from tests.audit.acts import act

Make = Callable[..., By]
TABLE = "plant_instrument"


def rows_of(number: int | None = None) -> dict[str, dict[str, str]]:
    """The rows an act sealed, by table without the shape; of the newest act."""
    event = (
        AuditEvent.objects.order_by("-number").first()
        if number is None
        else AuditEvent.objects.get(number=number)
    )
    assert event is not None
    found = json.loads(event.payload).get("rows", {})
    return {name.partition("@")[0]: rows for name, rows in found.items()}


def instrument(code: str) -> Instrument:
    return Instrument.objects.create(code=code, name=code, kind="ph")


def done(by: By, work: Callable[[], Any], name: str = "test.done") -> Any:
    """Do ``work`` as an act."""

    def body(*, by: By) -> Outcome:
        return Outcome(subject=("test", "1", "1"), result=work())

    with act(name, body) as run:
        return run(by=by).result


def digest_of(row: Any) -> str:
    table = sealed.tables()[row._meta.db_table]
    return seals.digests_of(table, [str(row.pk)])[str(row.pk)]


# --- what an act wrote --------------------------------------------------------------------------------------------------
def test_a_new_row_is_sealed_as_it_stands(operator: Person, by: Make) -> None:
    row = done(by(operator), lambda: instrument("A"))
    assert rows_of() == {TABLE: {str(row.pk): f">{digest_of(row)}"}}


def test_a_changed_row_is_sealed_with_what_it_was(operator: Person, by: Make) -> None:
    row = done(by(operator), lambda: instrument("A"))
    was = digest_of(row)
    done(by(operator), lambda: Instrument.objects.filter(pk=row.pk).update(name="another"))
    assert rows_of() == {TABLE: {str(row.pk): f"{was[:32]}>{digest_of(row)}"}}


def test_a_removed_row_is_sealed_as_gone(operator: Person, by: Make) -> None:
    row = done(by(operator), lambda: instrument("A"))
    key, was = str(row.pk), digest_of(row)
    done(by(operator), row.delete)
    assert rows_of() == {TABLE: {key: f"{was[:32]}>"}}


@pytest.mark.parametrize("how", ["bulk_create", "bulk_update", "queryset", "raw"])
def test_whatever_way_rows_are_written_each_is_sealed(how: str, operator: Person, by: Make) -> None:
    rows = done(by(operator), lambda: [instrument(f"I-{n}") for n in range(1, 4)])

    def write() -> None:
        if how == "bulk_create":
            Instrument.objects.bulk_create(Instrument(code=f"J-{n}", name="x", kind="ph") for n in range(3))
        elif how == "bulk_update":
            for row in rows:
                row.name = "changed"
            Instrument.objects.bulk_update(rows, ["name"])
        elif how == "queryset":
            Instrument.objects.update(name="changed")
        else:
            with connection.cursor() as cursor:
                cursor.execute(f"UPDATE {TABLE} SET name = 'changed'")

    done(by(operator), write)
    assert len(rows_of()[TABLE]) == 3
    assert registry.findings() == []


def test_members_of_a_role_are_rows_too(operator: Person, by: Make) -> None:
    done(by(operator), lambda: operator.groups.add(Group.objects.get(name="supervisor")))
    assert list(rows_of()) == ["people_person_groups"]


def test_what_came_back_to_what_it_was_is_not_listed(operator: Person, by: Make) -> None:
    row = done(by(operator), lambda: instrument("A"))

    def there_and_back() -> None:
        Instrument.objects.filter(pk=row.pk).update(name="B")
        Instrument.objects.filter(pk=row.pk).update(name="A")
        instrument("gone").delete()

    done(by(operator), there_and_back)
    assert rows_of() == {}


def test_rows_of_acts_inside_an_act_stand_in_the_outermost(operator: Person, by: Make) -> None:
    def both() -> None:
        set_preferences(by=by(operator), unit_system="us", theme="dark")
        instrument("A")

    done(by(operator), both)
    number = chain.head()[0]
    assert set(rows_of(number)) == {TABLE, "people_person"}
    assert rows_of(number - 1) == {}


def test_rows_of_an_inner_act_that_was_undone_are_not_sealed(operator: Person, by: Make) -> None:
    def inner() -> None:
        instrument("A")
        raise RecordRefused("No.")

    def outer() -> None:
        try:
            with transaction.atomic():
                done(by(operator), inner, "test.inner")
        except RecordRefused:
            instrument("B")

    done(by(operator), outer)
    assert [Instrument.objects.get(pk=key).code for key in rows_of()[TABLE]] == ["B"]
    assert registry.findings() == []


def test_an_act_that_failed_leaves_nothing_to_the_next(operator: Person, by: Make) -> None:
    def fails() -> None:
        instrument("A")
        raise RecordRefused("No.")

    with pytest.raises(RecordRefused):
        done(by(operator), fails)
    done(by(operator), lambda: None)
    assert rows_of() == {}


def test_the_first_act_seals_what_migrations_wrote(administrator: Person) -> None:
    assert set(rows_of(1)) == {"auth_group", "people_person", "people_person_groups"}
    assert len(rows_of(1)["auth_group"]) == Group.objects.count()


def test_columns_left_out_are_not_sealed_and_need_no_act(operator: Person, by: Make, client: Client) -> None:
    was = digest_of(operator)
    client.force_login(operator, backend="django.contrib.auth.backends.ModelBackend")
    operator.refresh_from_db()
    assert operator.last_login is not None
    assert digest_of(operator) == was
    assert registry.findings() == []


# --- what no act writes --------------------------------------------------------------------------------------------------
@pytest.mark.acts_only
@pytest.mark.django_db
@pytest.mark.parametrize("statement", ["INSERT", "UPDATE", "DELETE"])
def test_outside_an_act_the_database_refuses(statement: str) -> None:
    operator = factories.first_administrator()
    statements = {
        "INSERT": "INSERT INTO auth_group (name) VALUES ('bowling club')",
        "UPDATE": f"UPDATE people_person SET full_name = 'x' WHERE id = {operator.pk}",
        "DELETE": "DELETE FROM auth_group WHERE name = 'planner'",
    }
    with (
        pytest.raises(IntegrityError, match="a row of the record is written by an act"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute(statements[statement])


@pytest.mark.acts_only
@pytest.mark.django_db
def test_after_an_act_its_turn_is_over() -> None:
    factories.person()
    with pytest.raises(IntegrityError, match="written by an act"), transaction.atomic():
        Group.objects.create(name="afterwards")


@pytest.mark.acts_only
@pytest.mark.django_db
def test_after_an_act_that_failed_its_turn_is_over() -> None:
    with pytest.raises(RecordRefused):
        factories.person()
        done(By(None, factories.START), lambda: (_ for _ in ()).throw(RecordRefused("No.")))
    with pytest.raises(IntegrityError, match="written by an act"), transaction.atomic():
        Group.objects.create(name="afterwards")


@pytest.mark.acts_only
@pytest.mark.django_db
def test_signing_in_is_no_act_and_still_works(client: Client) -> None:
    person = factories.person()
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    person.refresh_from_db()
    assert person.last_login is not None


@pytest.mark.acts_only
@pytest.mark.django_db
def test_a_table_of_the_record_is_not_emptied_on_postgresql() -> None:
    if connection.vendor != "postgresql":
        assert connection.vendor == "sqlite"  # no TRUNCATE there
        return
    with (
        pytest.raises(IntegrityError, match="is not emptied"),
        transaction.atomic(),
        connection.cursor() as cursor,
    ):
        cursor.execute("TRUNCATE plant_instrument CASCADE")


@pytest.mark.django_db(transaction=True)
def test_a_foreign_program_on_the_same_file_cannot_write_rows() -> None:
    if connection.vendor != "sqlite":
        assert connection.vendor == "postgresql"  # refused there by the triggers, as above
        return
    factories.first_administrator()
    foreign = sqlite3.connect(connection.settings_dict["NAME"], timeout=5)
    try:
        with pytest.raises(sqlite3.OperationalError, match="record_note"):
            foreign.execute("INSERT INTO auth_group (name) VALUES ('bowling club')")
    finally:
        foreign.close()


@pytest.mark.django_db
def test_a_row_put_there_by_hand_is_named(operator: Person) -> None:
    Group.objects.create(name="bowling club")
    assert registry.findings() == [
        registry.Finding("row", "The group bowling club stands in the record and no act wrote it.")
    ]


def test_the_program_itself_never_writes_rows_outside_an_act_not_even_in_a_test(operator: Person) -> None:
    """A test may put rows there by hand; a file of the program that tries is refused, so that no test hides such a hole."""
    if connection.vendor != "sqlite":
        assert connection.vendor == "postgresql"  # which file writes is known to the function of SQLite only
        return
    with pytest.raises(IntegrityError, match="written by an act"), transaction.atomic():
        bind(
            SignaturePermit(operator.pk, "a test", factories.START), by=By(operator, factories.START), meaning="a test",
            record_kind="batch", record_key="B-1", record_version=1, content="as shown",
        )  # fmt: skip
