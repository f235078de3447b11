"""Very many keys in a question to the database: as one parameter, where a list would be one for each."""

from __future__ import annotations

import json
from collections.abc import Collection

from django.db import connection
from django.db.models.expressions import RawSQL


def among(keys: Collection[int]) -> RawSQL:
    """Keys for ``__in``, however many."""
    if connection.vendor == "sqlite":
        return RawSQL("SELECT value FROM json_each(%s)", [json.dumps(list(keys))])
    return RawSQL("SELECT unnest(%s::bigint[])", [list(keys)])
