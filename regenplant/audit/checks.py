"""System check: the locks that freeze rows and note what acts write stand in the database, and do what they must."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any

from django.core.checks import CheckMessage, Error, Tags, register
from django.db import connection

from regenplant.audit import locks

_made_anew: ContextVar[bool] = ContextVar("made_anew", default=False)


@contextmanager
def locks_are_made_anew() -> Iterator[None]:
    """For the command that makes the locks: what is missing before it is no reason to stop it."""
    token = _made_anew.set(True)
    try:
        yield
    finally:
        _made_anew.reset(token)


@register(Tags.database)
def locks_are_in_place(*, databases: Sequence[str] | None = None, **kwargs: Any) -> list[CheckMessage]:
    """With ``check --database default``: name each lock that is missing or altered, and each trigger of others."""
    if not databases or "default" not in databases or _made_anew.get():
        return []
    if "audit_auditevent" not in connection.introspection.table_names():
        return []
    hint = "Run migrate; it makes them anew."
    return [
        *(
            Error(f"The lock {name} is missing in the database.", hint=hint, id="audit.E001")
            for name in locks.missing()
        ),
        *(
            Error(f"The lock {name} was altered in the database.", hint=hint, id="audit.E002")
            for name in locks.altered()
        ),
        *(
            Error(
                f"The trigger {name} on {table} was made by somebody else.",
                hint="Ask who made it, and take it off.",
                id="audit.E003",
            )
            for name, table in locks.strange()
        ),
    ]
