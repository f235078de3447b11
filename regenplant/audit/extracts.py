"""Parts of the log and of the sealed rows, as they go into a copy of a record: plain data, nothing of the database.

A copy holds acts by number with the payload that their digest covers, and rows with every column that their seal covers, so that
whoever has the copy can work out all digests again.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import islice
from json.encoder import encode_basestring as quoted
from typing import Any

from django.db import connection

from regenplant.audit import sealed, seals
from regenplant.audit.digests import columns_of, selected, values_of
from regenplant.audit.models import AuditEvent, EventSubject, RowShape
from regenplant.audit.selectors import Line, line_of

AT_ONCE = 400
"""Keys asked for in one query; SQLite allows 999 values in it."""
_COLUMNS = ("number", "operation", "actor_id", "previous_digest", "digest", "payload")
SOME = 8
"""Acts read at a time while one is looked for."""
Place = tuple[str, str]
"""(table, key) of a row."""


@dataclass(frozen=True, slots=True)
class Act:
    """One act as the chain holds it."""

    number: int
    operation: str
    actor: str
    """Key of the person; "" for the system."""
    previous: str
    digest: str
    payload: str
    rows: Mapping[str, Mapping[str, str]]
    """What it sealed: "table@shape" to key to "before>after"; empty for an act inside another."""


@dataclass(frozen=True, slots=True)
class RowSeal:
    """How a row stood in one act; ``before`` and ``after`` are "" where there was no row."""

    number: int
    shape: str
    before: str
    after: str


# --- acts -------------------------------------------------------------------------------------------------------
def acts_on(subjects: Iterable[tuple[str, str]]) -> list[Act]:
    """Acts whose own subject is one of these."""
    return _acts(
        AuditEvent.objects.filter(subject_kind=kind, subject_key__in=keys)
        for kind, keys in _by_kind(subjects)
    )


def acts_about(subjects: Iterable[tuple[str, str]]) -> list[Act]:
    """Acts whose own or related subject is one of these."""
    return _acts(
        AuditEvent.objects.filter(
            number__in=EventSubject.objects.filter(kind=kind, key__in=keys).order_by().values("event")
        )
        for kind, keys in _by_kind(subjects)
    )


def with_outermost(acts: Iterable[Act]) -> list[Act]:
    """These acts, and for each that was done inside another the acts around it: the outermost holds the seals.

    The acts of one operation follow one another without a gap, the outermost last.
    """
    found = {act.number: act for act in acts}
    frontier = {act.number: act.operation for act in found.values() if not act.rows}
    while frontier:
        wanted = {number + 1: operation for number, operation in frontier.items()}
        following = {act.number: act for act in _numbered(number for number in wanted if number not in found)}
        frontier = {}
        for number, operation in wanted.items():
            act = following.get(number) or found.get(number)
            if act is not None and act.operation == operation and number not in found:
                found[number] = act
                if not act.rows:
                    frontier[number] = operation
    return [found[number] for number in sorted(found)]


def last_act_that_wrote(place: Place, digest: str, subjects: Iterable[tuple[str, str]]) -> Act | None:
    """The newest act that sealed a row, now of this digest: looked for among the acts about its subjects, then in the whole log.

    None when no act left the row as it is now: then it was altered behind the record, or never sealed.
    """
    for kind, key in subjects:
        numbers = EventSubject.objects.filter(kind=kind, key=key).order_by().values("event")
        newest = AuditEvent.objects.filter(number__in=numbers).order_by("-number")
        found = _first_that_wrote(place, newest)
        if found is not None and _left(found, place) == digest:
            return found
    anywhere = AuditEvent.objects.filter(payload__contains=f'>{digest}"').order_by("-number")
    return _first_that_wrote(place, anywhere)


def _first_that_wrote(place: Place, events: Any) -> Act | None:
    """The newest of these acts, or of those around them, that sealed a row."""
    rows = events.values_list(*_COLUMNS).iterator(SOME)
    while some := list(islice(rows, SOME)):
        for act in reversed(with_outermost(_act(row) for row in some)):
            if _left(act, place) is not None:
                return act
    return None


def _left(act: Act, place: Place) -> str | None:
    """The digest in which an act left a row; None for an act that did not write it."""
    return next((seal.after for at, seal in seals_in([act]) if at == place), None)


def seals_in(acts: Iterable[Act]) -> Iterator[tuple[Place, RowSeal]]:
    """Every seal in these acts, in the order of the acts."""
    for act in acts:
        for name, rows in act.rows.items():
            table, shape = seals.parts_of(name)
            for key, value in rows.items():
                before, after = seals.before_and_after(value)
                yield (table, key), RowSeal(act.number, shape, before, after)


def line_with(event: str, name: str, value: str) -> Line | None:
    """The newest act of one kind among whose facts ``name`` is ``value`` (plain text without quotes); None if there is none."""
    written = f'"{name}":{quoted(value)}'
    found = AuditEvent.objects.filter(event=event, payload__contains=written).order_by("-number").first()
    return line_of(found) if found else None


def _by_kind(subjects: Iterable[tuple[str, str]]) -> Iterator[tuple[str, list[str]]]:
    kinds: dict[str, list[str]] = {}
    for kind, key in dict.fromkeys(subjects):
        kinds.setdefault(kind, []).append(str(key))
    for kind, keys in kinds.items():
        for start in range(0, len(keys), AT_ONCE):
            yield kind, keys[start : start + AT_ONCE]


def _numbered(numbers: Iterable[int]) -> list[Act]:
    remaining, queries = iter(numbers), []
    while some := list(islice(remaining, AT_ONCE)):
        queries.append(AuditEvent.objects.filter(number__in=some))
    return _acts(queries)


def _acts(queries: Iterable[Any]) -> list[Act]:
    """The acts of several queries, each once, in order."""
    found: dict[int, Act] = {}
    for query in queries:
        found |= {row[0]: _act(row) for row in query.order_by().values_list(*_COLUMNS)}
    return [found[number] for number in sorted(found)]


def _act(row: tuple[int, Any, Any, str, str, str]) -> Act:
    number, operation, actor, previous, digest, payload = row
    rows = json.loads(payload).get("rows", {}) if '"rows":' in payload else {}
    return Act(number, str(operation), str(actor or ""), previous, digest, payload, rows)


# --- rows -------------------------------------------------------------------------------------------------------
def rows_of(table: str, keys: Iterable[str]) -> dict[str, dict[str, Any]]:
    """The sealed columns of these rows as they stand, by key; values as the canonical text of a seal writes them.

    Raises: KeyError for a table that is not sealed.
    """
    known = sealed.tables()[table]
    plain, quoted = columns_of(known.shape, connection.vendor), connection.ops.quote_name
    what = (
        f"SELECT {quoted(known.key)}, {selected(known.shape)} FROM {quoted(table)} WHERE {quoted(known.key)}"
    )
    found: dict[str, dict[str, Any]] = {}
    remaining = iter(keys)
    with connection.cursor() as cursor:
        while some := list(islice(remaining, AT_ONCE)):
            stored = [int(key) if known.key_kind == "int" else key for key in some]
            cursor.execute(f"{what} IN ({', '.join(['%s'] * len(some))})", stored)
            found |= {str(row[0]): plain(values_of(row[1:])) for row in cursor.fetchall()}
    return found


def left_out_of(table: str) -> tuple[str, ...]:
    """Columns of a sealed table that its seals do not cover, because something else does (``sealed.left_out`` says what)."""
    return sealed.tables()[table].left_out


def shape_of(name: str) -> dict[str, Any] | None:
    """The columns that seals of a shape cover; None for a shape that nobody used."""
    content = RowShape.objects.filter(pk=name).values_list("content", flat=True).first()
    found: dict[str, Any] | None = json.loads(content) if content else None
    return found
