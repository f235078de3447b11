"""The acts: chain, columns, subjects, operations, the clock; and on the way what they say about rows."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from django.db import connection

from regenplant.audit import limits
from regenplant.audit.acts import Act, read
from regenplant.audit.appending import subjects_of
from regenplant.audit.models import AuditEvent
from regenplant.audit.verifying.registry import TICK, Finding, Look, Said

PAGE = 10_000
MOST_SAID = 20


def check_acts(look: Look) -> Iterator[Said]:
    """One pass over all acts."""
    look.total = AuditEvent.objects.count()
    listed, clock = _Listed(), _Clock()
    before: Act | None = None
    for act in read():
        for found in act.breaks:
            yield Finding("chain", found.sentence)
        yield from listed.compare(act)
        if act.clock or (before is not None and act.at < before.at):
            clock.notice(act, before)
        look.replay.take(act)
        if look.saw():
            yield TICK
        before = act
    look.replay.is_read = True
    yield from listed.rest()
    yield from clock.told()
    yield from _torn_operations()


# --- subjects -----------------------------------------------------------------------------------------------------------
class _Listed:
    """The table of subjects, read beside the acts: both are in the order of the acts."""

    def __init__(self) -> None:
        self._groups = _subjects()
        self._next = next(self._groups, None)

    def compare(self, act: Act) -> Iterator[Finding]:
        while self._next is not None and self._next[0] < act.number:
            yield Finding(
                "subject", f"Subjects of event {self._next[0]} are listed out of their place, or without it."
            )
            self._next = next(self._groups, None)
        expected = subjects_of(act.subject, act.related) if act.related else [act.subject]
        if self._next is None or self._next[0] != act.number:
            yield Finding("subject", f"Event {act.number} is not listed under what it is about.")
            return
        if self._next[1] != expected:
            yield Finding("subject", f"Event {act.number} is listed under other subjects than it recorded.")
        self._next = next(self._groups, None)

    def rest(self) -> Iterator[Finding]:
        while self._next is not None:
            yield Finding(
                "subject", f"Subjects of event {self._next[0]} are listed, and there is no such event."
            )
            self._next = next(self._groups, None)


def _subjects() -> Iterator[tuple[int, list[tuple[str, str]]]]:
    """(event, its subjects) in the order in which they were written."""
    last, event = -(2**62), None
    group: list[tuple[str, str]] = []
    while True:
        with connection.cursor() as cursor:
            cursor.execute(
                f"SELECT id, event, kind, key FROM audit_eventsubject WHERE id > %s ORDER BY id LIMIT {PAGE}",
                [last],
            )
            rows = cursor.fetchall()
        for _, number, kind, key in rows:
            if number != event:
                if event is not None:
                    yield event, group
                event, group = number, []
            group.append((kind, key))
        if len(rows) < PAGE:
            break
        last = rows[-1][0]
    if event is not None:
        yield event, group


# --- clock --------------------------------------------------------------------------------------------------------------
class _Clock:
    """What acts recorded about the server's clock, or show without having recorded it; told at the end, in a sentence each."""

    def __init__(self) -> None:
        self._limit_s = limits.current().clock_step_s
        self._set: list[str] = []
        self._behind: list[str] = []

    def notice(self, act: Act, before: Act | None) -> None:
        if step := act.clock.get("step_s"):
            self._set.append(
                f"before event {act.number} {'forward' if step > 0 else 'back'} by {abs(step):.0f} s"
            )
        if before is None:
            return
        behind = (datetime.fromisoformat(before.at) - datetime.fromisoformat(act.at)).total_seconds()
        if behind > self._limit_s or "behind_s" in act.clock:
            self._behind.append(f"{act.number} ({behind:.0f} s)")

    def told(self) -> Iterator[Finding]:
        if self._set:
            yield Finding("clock", f"The server's clock was set {_some(self._set)}.", is_notice=True)
        if self._behind:
            one = len(self._behind) == 1
            yield Finding(
                "clock",
                f"{'One event bears' if one else f'{len(self._behind)} events bear'} a time more than {self._limit_s:.0f} s before that of "
                f"the event before {'it' if one else 'them'}: {_some(self._behind)}. The order of events is that of their numbers.",
                is_notice=True,
            )


def _some(said: list[str]) -> str:
    more = len(said) - MOST_SAID
    return ", ".join(said[:MOST_SAID]) + (f" and {more} more" if more > 0 else "")


# --- operations -----------------------------------------------------------------------------------------------------------
def _torn_operations() -> Iterator[Finding]:
    """Acts of one operation follow one another. One that comes again later was copied there."""
    with connection.cursor() as cursor:
        cursor.execute(
            "SELECT MIN(number), MAX(number) FROM audit_auditevent GROUP BY operation "
            "HAVING MAX(number) - MIN(number) + 1 <> COUNT(*) ORDER BY 1"
        )
        torn = cursor.fetchall()
    for first, last in torn:
        yield Finding(
            "chain",
            f"Event {last} belongs to the operation of event {first}, and other events lie between: one was copied or moved.",
        )
