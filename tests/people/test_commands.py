"""The commands about people: the first administrator, and the way that is closed."""

from __future__ import annotations

import io

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError

from regenplant.audit.selectors import story
from regenplant.people.models import Person


def add(monkeypatch: pytest.MonkeyPatch, password: str, *names: str) -> str:
    out = io.StringIO()
    monkeypatch.setattr("sys.stdin", io.StringIO(f"{password}\n"))
    call_command("first_administrator", *names, stdout=out)
    return out.getvalue()


def test_the_first_administrator_is_added_by_a_recorded_act(
    db: None, monkeypatch: pytest.MonkeyPatch
) -> None:
    said = add(monkeypatch, "long enough to pass", "lead", "A. Lead", "AL")
    person = Person.objects.get(username="lead")
    assert said == "A. Lead may sign in as lead and add the others.\n"
    assert (person.role_names(), person.check_password("long enough to pass")) == (("administrator",), True)
    assert [line.event for line in story([("person", str(person.pk))])] == [
        "person.first_administrator_added"
    ]


@pytest.mark.parametrize(("password", "sentence"), [("short", "too short"), ("", "too short")])
def test_a_weak_password_adds_nobody(
    db: None, monkeypatch: pytest.MonkeyPatch, password: str, sentence: str
) -> None:
    with pytest.raises(CommandError, match=sentence):
        add(monkeypatch, password, "lead", "A. Lead", "AL")
    assert not Person.objects.exists()


def test_there_is_one_first_administrator(administrator: Person, monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(CommandError, match="There are people already"):
        add(monkeypatch, "long enough to pass", "lead", "A. Lead", "AL")


def test_the_way_past_the_record_is_closed(db: None) -> None:
    with pytest.raises(CommandError, match="named act"):
        call_command("createsuperuser")
    assert not Person.objects.exists()
