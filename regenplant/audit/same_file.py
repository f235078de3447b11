"""A connection that is kept from one request to the next is to the file that has the name of the database now.

On a system that allows it, a SQLite file can be moved away, and another put in its place, while a server has it open. What the server wrote from then on
would stand in a file without a name, and be lost with it.
"""

from __future__ import annotations

import os
from typing import Any

from django.core.signals import request_started
from django.db import connection
from django.db.backends.signals import connection_created


def _identity(name: object) -> tuple[int, int] | None:
    """Which file has the name now; None where it is none (a database in memory, a file that was moved away)."""
    try:
        found = os.stat(str(name))
    except OSError:
        return None
    return found.st_dev, found.st_ino


def note_file(*, connection: Any, **kwargs: Any) -> None:
    """Remember to which file a new connection goes."""
    if connection.vendor == "sqlite":
        connection._opened_file = _identity(connection.settings_dict["NAME"])


def close_if_replaced(kept: Any) -> None:
    """Close a kept connection whose file was replaced; the next question opens what stands there now."""
    opened = getattr(kept, "_opened_file", None)
    if kept.connection is None or kept.in_atomic_block or opened is None:
        return
    if _identity(kept.settings_dict["NAME"]) != opened:
        kept.close()


def at_a_request(**kwargs: Any) -> None:
    """Before a request asks the database anything."""
    close_if_replaced(connection)


connection_created.connect(note_file, dispatch_uid="same-file-noted")
request_started.connect(at_a_request, dispatch_uid="same-file-asked")
