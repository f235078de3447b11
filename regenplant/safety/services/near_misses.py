"""Near misses: told by anybody, answered by another person who may, followed up until it is done."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from regenplant.audit.by import By
from regenplant.audit.numbering import next_number
from regenplant.audit.records import one_of, words_of, write_changed
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import NotAllowed, RecordRefused
from regenplant.plant.selectors import plant_day
from regenplant.safety.models import NearMiss

LEAST_WORDS = 10
MOST_WHAT, MOST_WHERE, MOST_DONE = 600, 80, 400
FARTHEST_DAYS = 730
"""How far ahead a follow-up may be due."""


def _subject(row: NearMiss) -> tuple[str, str, str]:
    return ("near_miss", row.number, row.number)


@use_case("near_miss.reported", permission="")
def report_near_miss(
    *, by: By, kind: str, what: str, spot: str, about: str = "", done_at_once: str = "", told_by: str = ""
) -> Outcome:
    """Write down what nearly went wrong. Anybody signed in by name may: a report asks for no right. ``by.happened_at`` says when.

    Raises: RecordRefused.
    """
    row = NearMiss.objects.create(
        number=next_number(NearMiss, "number", "N", 10001),
        kind=one_of(kind, NearMiss.Kind.values, "The kind", field="kind"),
        what=words_of(what, "What happened", field="what", most=MOST_WHAT, least=LEAST_WORDS),
        spot=words_of(spot, "Where it happened", field="spot", most=MOST_WHERE, least=2),
        about=words_of(about, "The code", field="about", most=40).upper(),
        done_at_once=words_of(done_at_once, "What was done at once", field="done_at_once", most=MOST_DONE),
        told_by=words_of(told_by, "Who saw it", field="told_by", most=80),
        happened_at=by.happened_at,
        reported_by=by.user,
        reported_at=by.at,
    )
    return Outcome(
        subject=_subject(row),
        after={"kind": row.get_kind_display(), "what": row.what, "spot": row.spot},
        facts={"near_miss": True, "about": row.about, "told_by": row.told_by},
        result=row,
    )


@use_case("near_miss.answered", permission="near_miss.answer")
def answer_near_miss(
    *,
    by: By,
    near_miss_id: int,
    cause: str,
    follow_up: str = "",
    due_on: date | None = None,
    version: int | None = None,
) -> Outcome:
    """Say what the cause was and what follows: something to do by a day, or nothing more.

    Raises: NotAllowed for who reported it, RecordRefused (answered already, a day without words or words without a day, a day
    that is past or too far), StaleRecord.
    """
    row = _known(near_miss_id)
    if row.answered_at is not None:
        raise RecordRefused(f"{row.number} is answered already: {row.cause}", code="answered")
    if row.reported_by_id == by.user.pk:
        raise NotAllowed(
            f"You reported {row.number}. Another person looks into it and answers.", code="own_work"
        )
    todo = words_of(follow_up, "What is to be done", field="follow_up", most=MOST_DONE)
    if todo:
        words_of(todo, "What is to be done", field="follow_up", most=MOST_DONE, least=LEAST_WORDS)
    _refuse_day(todo, due_on, plant_day(by.at))
    values: dict[str, Any] = {
        "answered_by": by.user,
        "answered_at": by.at,
        "cause": words_of(cause, "The cause", field="cause", most=600, least=LEAST_WORDS),
        "follow_up": todo,
        "due_on": due_on,
    }
    write_changed(row, values, version=version, label=row.number)
    return Outcome(
        subject=_subject(row),
        before={"answered": False},
        after={"answered": True, "follow_up": todo, "due_on": due_on.isoformat() if due_on else ""},
        facts={"what": row.what, "follows": f"{todo}, by {due_on}" if todo else "nothing more to do"},
        reason=row.cause,
        result=row,
    )


@use_case("near_miss.closed", permission="near_miss.answer")
def close_near_miss(*, by: By, near_miss_id: int, words: str, version: int | None = None) -> Outcome:
    """Say what was done of the follow-up. Raises: RecordRefused when nothing is left to close, StaleRecord."""
    row = _known(near_miss_id)
    if row.closed_at is not None:
        raise RecordRefused(f"{row.number} is closed already: {row.closing_words}", code="closed_already")
    if not row.follow_up:
        state = "waits for its answer" if row.answered_at is None else "was answered with nothing left to do"
        raise RecordRefused(f"{row.number} {state}, so there is nothing to close.", code="nothing_to_close")
    said = words_of(words, "What was done", field="words", most=MOST_DONE, least=LEAST_WORDS)
    write_changed(
        row, {"closed_by": by.user, "closed_at": by.at, "closing_words": said}, version=version, label=row.number
    )  # fmt: skip
    return Outcome(
        subject=_subject(row),
        after={"closed": True},
        facts={"follow_up": row.follow_up},
        reason=said,
        result=row,
    )


def _known(near_miss_id: int) -> NearMiss:
    row = NearMiss.objects.select_for_update().filter(pk=near_miss_id).first()
    if row is None:
        raise RecordRefused("This near miss is not known here.", code="unknown")
    return row


def _refuse_day(todo: str, due_on: date | None, today: date) -> None:
    if todo and due_on is None:
        raise RecordRefused(
            "Something is to be done, and no day says by when. Write the day.", field="due_on"
        )
    if due_on is None:
        return
    if not todo:
        raise RecordRefused("A day is written and not what is to be done by then. Write it, or leave the day out.", field="follow_up")  # fmt: skip
    latest = today + timedelta(days=FARTHEST_DAYS)
    if not today <= due_on <= latest:
        raise RecordRefused(f"{due_on} cannot be: possible is {today} (today) to {latest}.", field="due_on")


say("near_miss.reported", "Near miss {subject}, {kind}, at {spot}: {what}")
say("near_miss.answered", "Near miss {subject} was answered: {follows}")
say("near_miss.closed", "The follow-up of near miss {subject} is done: {follow_up}")
