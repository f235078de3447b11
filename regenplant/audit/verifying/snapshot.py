"""One state of the database for a whole run: acts that are written meanwhile are not seen, and nobody waits for the reader."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connection, transaction


@contextmanager
def snapshot() -> Iterator[None]:
    """Read as of now. Inside a transaction that is open already, its own view serves."""
    if connection.in_atomic_block:
        yield
    elif connection.vendor == "sqlite":
        with connection.cursor() as cursor:
            cursor.execute("BEGIN DEFERRED")  # the framework would take the writer's turn
        try:
            yield
        finally:
            with connection.cursor() as cursor:
                cursor.execute("ROLLBACK")
    else:
        with transaction.atomic():
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ")
            yield
