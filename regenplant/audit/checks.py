"""System check: the locks that freeze signed rows stand in the database."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.core.checks import CheckMessage, Error, Tags, register
from django.db import connection

from regenplant.audit import locks


@register(Tags.database)
def locks_are_in_place(*, databases: Sequence[str] | None = None, **kwargs: Any) -> list[CheckMessage]:
    """With ``check --database default``: name each lock that is missing."""
    if not databases or "default" not in databases:
        return []
    if "audit_auditevent" not in connection.introspection.table_names():
        return []
    return [
        Error(
            f"The lock {name} is missing in the database.",
            hint="Run migrate; it makes them anew.",
            id="audit.E001",
        )
        for name in locks.missing()
    ]
