"""The hash chain: whatever is done to a row behind the program's back is found, and found at the right place."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from datetime import timedelta
from typing import Any
from uuid import uuid4

import pytest
from django.db.models import F
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from regenplant.audit import chain, locks
from regenplant.audit.by import By
from regenplant.audit.models import AuditEvent
from regenplant.audit.use_case import Outcome
from regenplant.people.models import Person
from regenplant.people.services import set_preferences
from tests.audit.acts import act


@pytest.fixture
def five_events(operator: Person, by: Callable[..., By]) -> int:
    """Some acts; gives the number of the third event from the end, in the middle of the chain."""
    for theme in ("dark", "light", "dark", "light", "dark"):
        set_preferences(by=by(operator), unit_system="", theme=theme)
    return chain.head()[0] - 2


def tamper(number: int, **fields: Any) -> None:
    """Change a row as the owner of the database could: locks off, update, locks on."""
    locks.remove()
    assert AuditEvent.objects.filter(number=number).update(**fields) == 1
    locks.install()


def broken_at() -> list[int]:
    return [found.number for found in chain.verify()]


def test_an_untouched_chain_holds(five_events: int) -> None:
    assert broken_at() == []


def test_an_empty_log_holds_and_its_head_is_zeros(db: None) -> None:
    assert broken_at() == []
    assert chain.head() == (0, "0" * 64)


def test_the_digest_is_sha256_over_the_previous_digest_and_the_payload(five_events: int) -> None:
    """Computed here with nothing but the standard library, as an outsider with an export would."""
    previous = "0" * 64
    for event in AuditEvent.objects.order_by("number"):
        previous = hashlib.sha256(previous.encode() + b"\n" + event.payload.encode("utf-8")).hexdigest()
        assert event.digest == previous


def test_an_edited_content_is_found(five_events: int) -> None:
    payload = (
        AuditEvent.objects.get(number=five_events)
        .payload.replace('"dark"', '"pale"')
        .replace('"light"', '"pale"')
    )
    tamper(five_events, payload=payload)
    assert broken_at() == [five_events]
    assert "altered" in next(chain.verify()).sentence


def test_an_edited_content_with_a_fitting_digest_is_found_one_event_later(five_events: int) -> None:
    row = AuditEvent.objects.get(number=five_events)
    payload = row.payload.replace('"actor_name":"Operator 1"', '"actor_name":"Operator 9"')
    tamper(
        five_events, payload=payload, actor_name="Operator 9", digest=chain.link(row.previous_digest, payload)
    )
    assert broken_at() == [five_events + 1]


@pytest.mark.parametrize(
    ("fields", "named"),
    [
        ({"actor_name": "Somebody Else"}, "name"),
        ({"actor_id": None}, "actor"),
        ({"actor_roles": "supervisor"}, "roles"),
        ({"event": "person.deactivated"}, "event"),
        ({"at": F("at") + timedelta(minutes=1)}, "time"),
        ({"occurred_at": F("occurred_at") - timedelta(hours=1)}, "time of happening"),
        ({"terminal": "elsewhere"}, "terminal"),
        ({"operation": uuid4()}, "operation"),
        ({"subject_label": "Operator 2"}, "subject"),
        ({"subject_key": "999"}, "subject"),
        ({"related": " tank:T-1 "}, "related subjects"),
    ],
    ids=lambda value: next(iter(value)) if isinstance(value, dict) else None,
)
def test_a_column_that_no_longer_says_what_was_recorded_is_found(
    five_events: int, fields: dict[str, Any], named: str
) -> None:
    """Screens and searches read the columns, not the payload."""
    tamper(five_events, **fields)
    found = list(chain.verify())
    assert [item.number for item in found] == [five_events]
    assert f"another {named} than was recorded" in found[0].sentence


def test_a_deleted_event_is_found(five_events: int) -> None:
    locks.remove()
    AuditEvent.objects.filter(number=five_events).delete()
    locks.install()
    assert broken_at() == [five_events + 1, five_events + 1]
    assert next(chain.verify()).sentence == f"Event {five_events} is missing before event {five_events + 1}."


def test_two_events_that_changed_places_are_found(five_events: int) -> None:
    locks.remove()
    first, second = five_events, five_events + 1
    for old, new in ((first, 10_000), (second, first), (10_000, second)):
        AuditEvent.objects.filter(number=old).update(number=new)
    locks.install()
    assert first in broken_at()
    assert second in broken_at()


def test_an_inserted_event_is_found(five_events: int) -> None:
    row = AuditEvent.objects.get(number=five_events)
    payload = json.dumps({**json.loads(row.payload), "number": chain.head()[0] + 1})
    row.number, row.payload, row.digest = (
        chain.head()[0] + 1,
        payload,
        chain.link(row.previous_digest, payload),
    )
    row.save(force_insert=True)
    assert broken_at() == [row.number]


def test_an_end_that_was_cut_off_is_known_by_a_head_printed_earlier(five_events: int) -> None:
    number, printed = chain.head()
    assert chain.stands(printed[:12]) == number
    assert chain.stands(f"{printed[:4]} {printed[4:8]}") == number
    locks.remove()
    AuditEvent.objects.filter(number__gt=five_events).delete()
    locks.install()
    assert broken_at() == []
    assert chain.stands(printed[:12]) is None


@pytest.mark.parametrize("text", ["", "abc", "0000000", "zzzzzzzzzz"])
def test_a_head_that_is_too_short_or_never_was_stands_nowhere(five_events: int, text: str) -> None:
    assert chain.stands(text) is None


# PostgreSQL text refuses NUL and no database takes a lone surrogate; forms and services let neither through.
words = st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\x00"), max_size=40)
plain = st.recursive(
    st.none()
    | st.booleans()
    | st.integers(-(2**53), 2**53)
    | st.floats(allow_nan=False, allow_infinity=False)
    | words,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(words, inner, max_size=3),
    max_leaves=8,
)


@settings(
    max_examples=60,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(
    facts=st.dictionaries(words, plain, max_size=4),
    label=words,
    reason=words,
    key=words.filter(lambda k: len(k) < 40),
)
def test_any_text_and_number_can_be_recorded_and_verifies(
    operator: Person, by: Callable[..., By], facts: dict[str, Any], label: str, reason: str, key: str
) -> None:
    def body(*, by: By) -> Outcome:
        return Outcome(subject=("test", key, label), facts=facts, reason=reason, related=(("tank", key),))

    with act("test.anything", body) as anything:
        anything(by=by(operator))
    newest = AuditEvent.objects.order_by("-number").first()
    assert newest is not None
    assert json.loads(newest.payload)["facts"]["facts"] == facts
    assert broken_at() == []
