"""What builds the same records in every test does so once; the next test that asks for them is given the same rows.

A function marked ``@remembered`` (``factories.small_plant``, ``factories.pass_batch`` ...) is carried out through the services the
first time. What it wrote is kept, statement by statement, and so is what it gave back and how it left its arguments. When it is called
again on the same database with the same arguments, the statements are written again instead. "The same database" is
known, not guessed: it is as migrated, or was made by nothing but remembered functions since. The first write of a test that comes from
anywhere else ends it for the rest of that test, and everything is carried out again as it is written.

Left out: tests with real transactions and tests marked ``acts_only``.
``REGENPLANT_TEST_ACTS=every`` carries out every act of every test. ``tests/test_remembered.py`` holds both ways against each other.
"""

from __future__ import annotations

import functools
import hashlib
import io
import os
import pickle
import re
from collections import OrderedDict
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass, field, fields, is_dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from enum import Enum
from typing import Any, ParamSpec, TypeVar
from uuid import UUID

from django.db import connection, models

from regenplant.audit.models import AuditEvent
from regenplant.people.models import Person

P = ParamSpec("P")
R = TypeVar("R")
Statement = tuple[str, Any, bool]
"""SQL, its parameters, whether it is done for each of several. On PostgreSQL the parameters already stand in the SQL."""

MOST_KEPT = 400
_WRITES = re.compile(r"\s*(INSERT|UPDATE|DELETE|REPLACE)\b", re.IGNORECASE)
_HARMLESS = re.compile(
    r"\s*(SELECT|SAVEPOINT|RELEASE|SHOW|PRAGMA|EXPLAIN|SET CONSTRAINTS|WITH notes AS \(DELETE FROM audit_touchedrow)\b",
    re.IGNORECASE,
)
"""The last are an act's own notes, which it takes away again at its end."""
_BESIDE = re.compile(
    r'\s*(INSERT INTO|UPDATE|DELETE FROM) "(django_session|axes_\w+|people_person" SET "last_login" = \S+ WHERE)'
)
"""Who is signed in where: no act looks at it."""
_EVENT = re.compile(r'\s*INSERT INTO "audit_auditevent"')
"""An act: its number is drawn at random, so that nobody comes to this database a second time."""


@dataclass
class Kept:
    """What one call did: its statements, ready for the database, and its result and arguments as it left them."""

    statements: list[Statement]
    left: bytes


@dataclass
class Recording:
    statements: list[Statement] = field(default_factory=list)
    is_spoilt: bool = False


@dataclass
class Memory:
    """Of one worker. ``state`` names what stands in the database; None when something unknown was written."""

    state: str | None = None
    kept: OrderedDict[str, Kept] = field(default_factory=OrderedDict)
    open: list[Recording] = field(default_factory=list)
    numbers: list[tuple[str, int]] = field(default_factory=list)
    """Where the tables' own numbers stand in the database as migrated."""
    may_skip_triggers: bool = False
    hits: int = 0
    misses: int = 0


MEMORY = Memory()
AS_MIGRATED = "as migrated"


# --- marks ------------------------------------------------------------------------------------------------------------
def remembered(build: Callable[P, R]) -> Callable[P, R]:
    """Carry this function out once for each database and arguments it is called with."""
    name = f"{build.__module__}.{build.__qualname__}"

    @functools.wraps(build)
    def call(*args: P.args, **kwargs: P.kwargs) -> R:
        if MEMORY.state is None or not connection.in_atomic_block:
            return build(*args, **kwargs)
        if MEMORY.state == AS_MIGRATED and not _is_as_migrated():
            stop()
            return build(*args, **kwargs)
        known: list[Any] = []
        try:
            key = _hashed(name, MEMORY.state, _plain(args, known), _plain(kwargs, known))
        except _Unknown:
            return build(*args, **kwargs)
        if MEMORY.state == AS_MIGRATED:
            _number_as_migrated()
        kept = MEMORY.kept.get(key)
        if kept is not None:
            MEMORY.kept.move_to_end(key)
            MEMORY.hits += 1
            result: R = _again(kept, key, known)
        elif MEMORY.open:
            result = build(*args, **kwargs)  # part of one that is kept as a whole
        else:
            MEMORY.misses += 1
            result = _first(lambda: build(*args, **kwargs), key, known)
        return result

    return call


def _is_as_migrated() -> bool:
    """Whether nobody has acted yet: a fixture of a whole module may have, before this test began."""
    return not AuditEvent.objects.exists() and not Person.objects.exists()


def begin(*, is_allowed: bool) -> None:
    """A test begins; its database is as migrated."""
    MEMORY.state = AS_MIGRATED if is_allowed and os.environ.get("REGENPLANT_TEST_ACTS") != "every" else None
    MEMORY.open.clear()


def stop() -> None:
    """Carry out everything for the rest of this test."""
    MEMORY.state = None


def watch() -> None:
    """Called once, when the database of the tests stands as migrated: see every statement from now on."""
    connection.execute_wrappers.append(_seen)
    MEMORY.numbers = _numbers()
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT rolsuper FROM pg_roles WHERE rolname = current_user")
            MEMORY.may_skip_triggers = bool(cursor.fetchone()[0])


def _seen(execute: Callable[..., Any], sql: Any, params: Any, many: bool, context: Any) -> Any:
    text = str(sql)
    if _WRITES.match(text):
        params = list(params) if many else params
        if MEMORY.open:
            MEMORY.state = None  # until the function that is being carried out has come to its end
            MEMORY.open[-1].statements += _ready(text, params, many, context["cursor"])
        elif MEMORY.state is not None and not _BESIDE.match(text):
            is_act = _EVENT.match(text)
            MEMORY.state = None if is_act else _hashed(MEMORY.state, text, params)
    elif not _HARMLESS.match(text):
        MEMORY.state = None
        for recording in MEMORY.open:
            recording.is_spoilt = True
    return execute(sql, params, many, context)


SEEN = _seen.__code__
"""It stands between every statement and the database, and writes nothing itself."""


def _ready(text: str, params: Any, many: bool, cursor: Any) -> list[Statement]:
    if connection.vendor != "postgresql":
        return [(text, params, many)]
    return [(cursor.cursor.mogrify(text, each), None, False) for each in (params if many else [params])]


# --- the first time ---------------------------------------------------------------------------------------------------
def _first(build: Callable[[], R], key: str, known: list[Any]) -> R:
    recording, is_done = Recording(), False
    MEMORY.open.append(recording)
    try:
        result = build()
        is_done = True
    finally:
        MEMORY.open.pop()
        MEMORY.state = None
        for outer in MEMORY.open[-1:]:
            outer.statements += recording.statements
            outer.is_spoilt |= recording.is_spoilt or not is_done
    if recording.is_spoilt:
        return result
    try:
        left = _dumped(result, known)
    except (pickle.PicklingError, TypeError, AttributeError):
        return result  # something that cannot be kept: the test goes on with what was done
    MEMORY.kept[key] = Kept(recording.statements, left)
    while len(MEMORY.kept) > MOST_KEPT:
        MEMORY.kept.popitem(last=False)
    MEMORY.state = key
    return result


class _Pickler(pickle.Pickler):
    """Leaves out what the caller holds already, and says which of it that is."""

    def __init__(self, file: io.BytesIO, known: list[Any]) -> None:
        super().__init__(file, protocol=pickle.HIGHEST_PROTOCOL)
        self._known = {id(one): index for index, one in enumerate(known)}

    def persistent_id(self, obj: Any) -> int | None:
        return self._known.get(id(obj))


class _Unpickler(pickle.Unpickler):
    def __init__(self, file: io.BytesIO, known: list[Any]) -> None:
        super().__init__(file)
        self._known = known

    def persistent_load(self, pid: Any) -> Any:
        return self._known[pid]


def _dumped(result: Any, known: list[Any]) -> bytes:
    file = io.BytesIO()
    _Pickler(file, known).dump((result, [dict(one.__dict__) for one in known]))
    return file.getvalue()


# --- every further time -----------------------------------------------------------------------------------------------
def _again(kept: Kept, key: str, known: list[Any]) -> Any:
    """Write what was written, give the arguments the content they had afterwards, hand back what was handed back."""
    if connection.vendor == "postgresql":
        _write_text(";\n".join(text for text, _, _ in kept.statements))
    else:
        _write(kept.statements)
    result, contents = _Unpickler(io.BytesIO(kept.left), known).load()
    for one, content in zip(known, contents, strict=True):
        one.__dict__.clear()
        one.__dict__.update(content)
    for outer in MEMORY.open[-1:]:
        outer.statements += kept.statements
    MEMORY.state = key
    return result


def _write(statements: list[Statement]) -> None:
    with closing(connection.create_cursor()) as cursor:
        for text, params, is_many in statements:
            (cursor.executemany if is_many else cursor.execute)(text, params)
            if "RETURNING" in text:
                cursor.fetchall()


def _write_text(text: str) -> None:
    """All in one go. The triggers have seen these rows when they were written first; they are left out where that is allowed."""
    if not text:
        return
    if MEMORY.may_skip_triggers:
        text = f"SET LOCAL session_replication_role = replica;\n{text};\nSET LOCAL session_replication_role = origin"
    with closing(connection.create_cursor()) as cursor:
        cursor.execute(text)


# --- what stands in the database, and in the arguments ----------------------------------------------------------------
class _Unknown(Exception):
    """An argument of a kind that is not known well enough to be compared."""


def _hashed(*parts: Any) -> str:
    return hashlib.sha256(repr(parts).encode()).hexdigest()


def _plain(value: Any, known: list[Any]) -> Any:
    """What an argument says, comparable; what can be changed by the call is added to ``known``."""
    if isinstance(value, Enum):
        return (type(value).__name__, value.name)
    if value is None or isinstance(
        value, (bool, int, float, str, bytes, datetime, date, timedelta, Decimal, UUID)
    ):
        return value
    if isinstance(value, (list, tuple)):
        return [_plain(one, known) for one in value]
    if isinstance(value, dict):
        return [(_plain(key, known), _plain(one, known)) for key, one in value.items()]
    for index, one in enumerate(known):
        if one is value:
            return ("the same as", index)
    if isinstance(value, models.Model):
        known.append(value)
        content = value.__dict__
        return (
            value._meta.label,
            [(it.attname, repr(content.get(it.attname))) for it in value._meta.concrete_fields],
        )
    if is_dataclass(value) and not isinstance(value, type):
        if not value.__dataclass_params__.frozen:  # type: ignore[attr-defined]
            known.append(value)
        return (
            type(value).__name__,
            [(it.name, _plain(getattr(value, it.name), known)) for it in fields(value)],
        )
    raise _Unknown


# --- the numbers that tables give their rows --------------------------------------------------------------------------
def _numbers() -> list[tuple[str, int]]:
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "SELECT quote_ident(schemaname) || '.' || quote_ident(sequencename), coalesce(last_value, 0) FROM pg_sequences"
            )
        else:
            cursor.execute("SELECT name, seq FROM sqlite_sequence")
        return [(name, int(last)) for name, last in cursor.fetchall()]


def _number_as_migrated() -> None:
    """Rows of a test are undone, the numbers they took are not; kept statements count on the same ones."""
    with closing(connection.create_cursor()) as cursor:
        if connection.vendor == "postgresql":
            said = ", ".join(
                f"setval('{name}', {max(last, 1)}, {'true' if last else 'false'})"
                for name, last in MEMORY.numbers
            )
            cursor.execute(f"SELECT {said}")
        else:
            cursor.execute("DELETE FROM sqlite_sequence")
            cursor.executemany("INSERT INTO sqlite_sequence (name, seq) VALUES (%s, %s)", MEMORY.numbers)
