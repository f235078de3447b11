"""Reading all acts in order, fast: the link to the act before, and whether the columns say what the payload says.

A million acts are read in one pass. So the payload, which is canonical text, is compared with what the columns would have
given, piece by piece, and parsed only where a piece differs.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from json.encoder import encode_basestring
from typing import Any

from django.db import connection

from regenplant.audit.links import GENESIS, LONGEST_LABEL, Break, related_text

PAGE = 4000
MOST_KEPT = 20_000
_QUOTED: dict[str, str] = {}
_WHO: dict[tuple[Any, str, str], str] = {}
_ENDS: dict[tuple[str, str, str, str], str] = {}
_RELATED: dict[str, str] = {}
_DECODER = json.JSONDecoder()


def _quoted(text: str) -> str:
    """JSON of a text; names, roles and terminals come again and again."""
    return _QUOTED.get(text) or _kept(_QUOTED, text, encode_basestring(text))


@dataclass(slots=True)
class Act:
    """One act as read: what other checks go by."""

    number: int
    event: str
    operation: str
    at: str
    subject: tuple[str, str]
    related: list[tuple[str, str]]
    rows: dict[str, dict[str, str]]
    payload: str
    breaks: list[Break]
    """Where it does not hold; empty for nearly all."""
    clock: dict[str, float] = field(default_factory=dict)
    """What it recorded about the server's clock."""

    @property
    def recorded(self) -> dict[str, Any]:
        """The whole payload, parsed."""
        found: dict[str, Any] = json.loads(self.payload)
        return found


def read(*, with_rows: bool = True) -> Iterator[Act]:
    """Every act in order, each held against its digest, the act before and its columns."""
    for row, own, breaks in _held():
        number, event, payload = row[0], row[2], row[13]
        rest, clock = own if own is not None else ("", {})
        rows: dict[str, dict[str, str]] = {}
        if with_rows and rest.startswith(',"rows":{'):
            rows = _DECODER.raw_decode(rest, 8)[0]
        related = _pairs(row[12]) if row[12] else []
        yield Act(
            number,
            event,
            _operation(row[1]),
            _iso(row[6]),
            (row[9], row[10]),
            related,
            rows,
            payload,
            breaks,
            clock,
        )


def _held() -> Iterator[tuple[tuple[Any, ...], tuple[str, dict[str, float]] | None, list[Break]]]:
    """Each row of the log with what its payload says behind the columns (None: altered) and where it does not hold."""
    previous, expected = GENESIS, 1
    sha256, compare = hashlib.sha256, _compare
    for page in _pages():
        for row in page:
            number, payload, before, digest = row[0], row[13], row[14], row[15]
            breaks: list[Break] = []
            own: tuple[str, dict[str, float]] | None = None
            if number != expected:
                breaks.append(Break(number, _missing(expected, number)))
            if before != previous:
                breaks.append(Break(number, f"Event {number} does not follow the event before it."))
            if sha256(f"{before}\n{payload}".encode("utf-8", "surrogateescape")).hexdigest() == digest:
                own = compare(row, breaks)
            else:
                breaks.append(Break(number, f"The content of event {number} was altered."))
            yield row, own, breaks
            previous, expected = digest, number + 1


def verify() -> Iterator[Break]:
    """Every place where the chain does not hold, in order; none if all is well.

    What was cut off at the end leaves no trace in the chain itself: compare ``chain.head`` with one printed earlier
    (``chain.stands``).
    """
    for _, _, breaks in _held():
        yield from breaks


def _missing(expected: int, number: int) -> str:
    if number - expected == 1:
        return f"Event {expected} is missing before event {number}."
    if number > expected:
        return f"Events {expected} to {number - 1} are missing before event {number}."
    return f"Event {number} stands where event {expected} must stand."


# --- reading ----------------------------------------------------------------------------------------------------------
_COLUMNS = (
    "number, {}, event, actor_id, actor_name, actor_roles, {}, {}, terminal, subject_kind, subject_key, subject_label, related, "
    "payload, previous_digest, digest"
)


def _pages() -> Iterator[list[tuple[Any, ...]]]:
    """The rows of the log as stored, in order of their numbers, many at a time; times and operations as text."""
    return _pages_postgres() if connection.vendor == "postgresql" else _pages_sqlite()


def _pages_sqlite() -> Iterator[list[tuple[Any, ...]]]:
    columns = _COLUMNS.format(
        "operation", '+"at"', "+occurred_at"
    )  # the plus keeps a time from being converted
    with connection.cursor() as cursor:
        cursor.execute(f"SELECT {columns} FROM audit_auditevent ORDER BY number")
        while rows := cursor.fetchmany(PAGE):
            yield rows


def _pages_postgres() -> Iterator[list[tuple[Any, ...]]]:
    columns = _COLUMNS.format(
        "operation::text",
        *(
            f"to_char({name} AT TIME ZONE 'UTC', 'YYYY-MM-DD\"T\"HH24:MI:SS.US\"+00:00\"')"
            for name in ('"at"', "occurred_at")
        ),
    )
    last = -(2**62)
    while True:
        with connection.cursor() as cursor:
            cursor.execute(
                f"SELECT {columns} FROM audit_auditevent WHERE number > %s ORDER BY number LIMIT {PAGE}",
                [last],
            )
            rows = cursor.fetchall()
        yield rows
        if len(rows) < PAGE:
            return
        last = rows[-1][0]


def _compare(row: tuple[Any, ...], breaks: list[Break]) -> tuple[str, dict[str, float]]:
    """Compare the columns with the payload; gives what stands in it behind them: the rows, and what was said of the clock."""
    (
        number,
        operation,
        event,
        actor,
        name,
        roles,
        at,
        occurred,
        terminal,
        kind,
        key,
        label,
        related,
        payload,
        _,
        _,
    ) = row
    own_at = _iso(at)
    own_occurred = own_at if occurred == at else _iso(occurred)
    who = (actor, name, roles)
    head = _WHO.get(who) or _who(who)
    middle = f',"number":{number},"occurred_at":"{own_occurred}","operation":"{_operation(operation)}","related":{_RELATED.get(related) or _related(related)}'
    what = (key, kind, label, terminal)
    end = _ENDS.get(what) or _end(what)
    start = payload.rfind(middle)
    if start > 0 and payload.startswith(
        f'{head}"{own_at}","event":{_QUOTED.get(event) or _quoted(event)},"facts":{{'
    ):
        rest: str = payload[start + len(middle) :]
        if rest == end or (rest.startswith(',"rows":{') and rest.endswith(end)) or rest == _of_schema_1(end):
            return rest, {}
    return _compare_parsed(row, breaks)


def _compare_parsed(row: tuple[Any, ...], breaks: list[Break]) -> tuple[str, dict[str, float]]:
    """The same, column by column, for a payload of another form or a column that differs."""
    recorded = json.loads(row[13])
    if differing := columns_that_differ(row, recorded, _operation(row[1])):
        breaks.append(
            Break(row[0], f"Event {row[0]} shows another {', '.join(differing)} than was recorded.")
        )
    rows = f',"rows":{json.dumps(recorded["rows"])}' if "rows" in recorded else ""
    return rows, recorded.get("server_clock", {})


def columns_that_differ(row: tuple[Any, ...], recorded: dict[str, Any], operation: str) -> tuple[str, ...]:
    """Columns for searching and showing that no longer say what the hashed payload says."""
    number, _, event, actor, name, roles, at, occurred, terminal, kind, key, label, related = row[:13]
    subject = recorded["subject"]
    pairs = {
        "number": (number, recorded["number"]),
        "operation": (operation, recorded["operation"]),
        "event": (event, recorded["event"]),
        "actor": ("" if actor is None else str(actor), recorded["actor"]),
        "name": (name, recorded["actor_name"]),
        "roles": (roles, ", ".join(recorded["actor_roles"])),
        "time": (_moment(at), datetime.fromisoformat(recorded["at"])),
        "time of happening": (_moment(occurred), datetime.fromisoformat(recorded["occurred_at"])),
        "terminal": (terminal, recorded["terminal"]),
        "subject": (
            (kind, key, label),
            (subject["kind"], subject["key"], subject["label"][:LONGEST_LABEL]),
        ),
        "related subjects": (related, related_text(recorded["related"])),
    }
    return tuple(name for name, (shown, was) in pairs.items() if shown != was)


def _moment(text: Any) -> datetime | None:
    try:
        return datetime.fromisoformat(_iso(text))
    except (TypeError, ValueError):
        return None


# --- pieces of the payload -----------------------------------------------------------------------------------------------
def _who(who: tuple[Any, str, str]) -> str:
    """The beginning of a payload up to its time: the same for all acts of a person."""
    actor, name, roles = who
    held = ",".join(_quoted(role) for role in roles.split(", ")) if roles else ""
    own = "" if actor is None else actor
    text = f'{{"actor":"{own}","actor_name":{_quoted(name)},"actor_roles":[{held}],"at":'
    return _kept(_WHO, who, text)


def _end(what: tuple[str, str, str, str]) -> str:
    """The end of a payload from its schema on: the same for all acts on a subject from a terminal."""
    key, kind, label, terminal = what
    text = (
        f',"schema":2,"subject":{{"key":{_quoted(key)},"kind":{_quoted(kind)},"label":{_quoted(label)}}},'
        f'"terminal":{_quoted(terminal)}}}'
    )
    return _kept(_ENDS, what, text)


def _of_schema_1(end: str) -> str:
    return end.replace('"schema":2', '"schema":1', 1)


def _kept(kept: dict[Any, str], key: Any, text: str) -> str:
    if len(kept) > MOST_KEPT:
        kept.clear()
    kept[key] = text
    return text


def _iso(text: Any) -> str:
    """A stored time as the payload writes it: SQLite has a space before the clock and no zone, PostgreSQL is asked for a fraction at
    whole seconds too."""
    text = str(text)
    if text[10:11] != "T":
        return f"{text[:10]}T{text[11:]}+00:00"
    return text.replace(".000000", "") if text[19:26] == ".000000" else text


def _operation(text: Any) -> str:
    text = str(text)
    if len(text) != 32:
        return text
    return f"{text[:8]}-{text[8:12]}-{text[12:16]}-{text[16:20]}-{text[20:]}"


def _pairs(related: str) -> list[tuple[str, str]]:
    found = []
    for pair in related[1:-1].split("  "):
        kind, _, key = pair.partition(":")
        found.append((kind, key))
    return found


def _related(related: str) -> str:
    """The related subjects of a column as the payload writes them."""
    pairs = _pairs(related) if related else []
    text = f"[{','.join([f'[{_quoted(kind)},{_quoted(key)}]' for kind, key in pairs])}]"
    return _kept(_RELATED, related, text)
