"""The story of a record page by page: what narrows it, and that a long one is read fast."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from regenplant.audit import locks
from regenplant.audit.by import By
from regenplant.audit.models import AuditEvent, EventSubject
from regenplant.audit.stories import StoryPage, Wanted, story_page
from regenplant.audit.use_case import Outcome
from regenplant.people.authority import Role
from tests import factories
from tests.audit.acts import act

pytestmark = pytest.mark.django_db
LONG = 5000


def told(subject: str = "B-1", **facts: object) -> Callable[..., Outcome]:
    return lambda by: Outcome(
        subject=("batch", subject, f"Batch {subject}"), facts=dict(facts), reason="because it was so"
    )


@pytest.fixture
def story(by: Callable[..., By]) -> Iterator[None]:
    """Acts of two people in two steps, one of them a correction, and one on another batch; their wordings stay for the test."""
    first, second = factories.person(Role.OPERATOR), factories.person(Role.OPERATOR)
    acts = (
        ("step.begun_here", first, told(name="Backwash"), "{subject}: {name} began"),
        ("entry.written_here", first, told(step="Backwash", value="66 L/min"), "{subject}: {step}, {value}"),
        (
            "entry.was_corrected",
            second,
            told(step="Backwash", value="67 L/min"),
            "{subject}: {step}, now {value}",
        ),
        ("entry.seen_here", second, told(step="Acid injection", value="5 %"), "{subject}: {step}, {value}"),
        ("entry.other_here", second, told("B-2", step="Settle", value="1"), "{subject}: {step}"),
    )
    with ExitStack() as stack:
        for name, person, body, says in acts:
            stack.enter_context(act(name, body, says=says))(by=by(person))
        yield


def page(**wanted: str) -> StoryPage:
    return story_page([("batch", "B-1")], Wanted(**wanted))


def test_a_story_is_newest_first_and_about_its_subject_only(story: None) -> None:
    found = page()
    assert (found.total, found.fitting, found.pages) == (4, 4, 1)
    assert [line.event for line in found.lines] == [
        "entry.seen_here", "entry.was_corrected", "entry.written_here", "step.begun_here",
    ]  # fmt: skip
    assert found.people == ("Operator 1", "Operator 2") and found.steps == ("Backwash", "Acid injection")
    assert set(found.kinds) == {"step", "entry"} and (found.corrections, found.late) == (1, 0)


@pytest.mark.parametrize(
    ("wanted", "events"),
    [
        ({"who": "Operator 1"}, ["entry.written_here", "step.begun_here"]),
        ({"kind": "step"}, ["step.begun_here"]),
        ({"step": "Backwash"}, ["entry.was_corrected", "entry.written_here", "step.begun_here"]),
        ({"only": "corrections"}, ["entry.was_corrected"]),
        ({"only": "late"}, []),
        ({"words": "66 l/MIN"}, ["entry.written_here"]),
        (
            {"words": "because it was"},
            ["entry.seen_here", "entry.was_corrected", "entry.written_here", "step.begun_here"],
        ),
        ({"step": "Backwash", "who": "Operator 2"}, ["entry.was_corrected"]),
        ({"who": "Nobody"}, []),
    ],
)
def test_a_story_is_narrowed(story: None, wanted: dict[str, str], events: list[str]) -> None:
    found = page(**wanted)
    assert (
        [line.event for line in found.lines] == events and found.fitting == len(events) and found.total == 4
    )


def test_pages_hold_every_act_once_and_past_the_end_is_the_last(story: None) -> None:
    pages = [story_page([("batch", "B-1")], Wanted(), page=number, per_page=3) for number in (1, 2)]
    numbers = [line.number for one in pages for line in one.lines]
    assert len(set(numbers)) == 4 and numbers == sorted(numbers, reverse=True)
    assert story_page([("batch", "B-1")], Wanted(), page=99, per_page=3) == pages[1]
    assert story_page([("batch", "B-1")], Wanted(), page=-1, per_page=3) == pages[0]
    assert story_page([("batch", "none")], Wanted()).lines == ()


def test_five_thousand_acts_are_read_and_searched_in_a_moment(story: None) -> None:
    """As rows, since only reading is timed: in processor time, the best of three, since the machine has others to serve."""
    locks.remove()
    model = AuditEvent.objects.filter(subject_key="B-1").latest("number")
    begin = AuditEvent.objects.latest("number").number + 1
    fields = {field.attname: getattr(model, field.attname) for field in AuditEvent._meta.concrete_fields}
    numbers = range(begin, begin + LONG)
    AuditEvent.objects.bulk_create(
        [AuditEvent(**fields | {"number": number, "digest": f"{number:064}"}) for number in numbers],
        batch_size=50,
    )
    EventSubject.objects.bulk_create(
        [EventSubject(event=number, kind="batch", key="B-1") for number in numbers], batch_size=200
    )
    for wanted in (Wanted(), Wanted(words="acid"), Wanted(who="Operator 1")):
        took = []
        for _ in range(3):
            with CaptureQueriesContext(connection) as queries:
                begun = time.process_time()
                found = story_page([("batch", "B-1")], wanted, page=60, per_page=40)
                took.append(time.process_time() - begun)
            assert len(queries) == 2
        assert found.total == LONG + 4
        assert min(took) < 0.40, (wanted, took)
