"""How a row is called in a sentence: what it is, its number or code, and what it belongs to.

Read from the columns as they are stored, never through a model: what a hand has put into a row may be what no model can hold.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from django.apps import apps
from django.db import connection, models

from regenplant.audit import sealed
from regenplant.audit.acts import read
from regenplant.audit.seals import any_text

_LABELS = (
    "number",
    "code",
    "serial",
    "username",
    "full_name",
    "name",
    "key",
    "position",
    "subject_key",
    "record_key",
    "kind",
)
"""Columns that say which one it is, the best first."""
_OWNERS = (
    "batch", "visit", "tank", "step", "entry", "recipe", "specification", "lot", "customer", "vessel", "instrument", "person",
    "child", "form", "group",
)  # fmt: skip
"""Foreign keys that say what it belongs to, the nearest first."""
_DEEPEST = 3


@dataclass(frozen=True, slots=True)
class Writer:
    """The act that wrote a row last."""

    number: int
    label: str
    actor: str
    at: str


def what_is(table: str) -> str:
    """What a row of this table is: "rinse reading"."""
    model = _model(table)
    return str(model._meta.verbose_name) if model else table


def name_of(table: str, key: str, *, depth: int = 0) -> str:
    """The row as people call it: "step entry flow of step run 3 of batch B-10032"."""
    model = _model(table)
    row = _row(model, key) if model else None
    if model is None or row is None:
        return f"{what_is(table)} {key}"
    label = next((name for name in _LABELS if row.get(name) not in (None, "")), "")
    said = f"{what_is(table)} {_shown(row[label]) if label else key}"
    if depth >= _DEEPEST or (label and _is_unique(model, label)):
        return said
    owners = [
        name_of(field.related_model._meta.db_table, str(row[str(field.column)]), depth=depth + 1)
        for field in _owners(model)
        if row.get(str(field.column)) not in (None, "")
    ]
    between = " in " if model._meta.auto_created else " of "
    return f"{said} of {between.join(owners)}" if owners else said


def _is_unique(model: type[models.Model], column: str) -> bool:
    return any(field.unique for field in model._meta.concrete_fields if field.column == column)


def _shown(value: Any) -> str:
    return str(value)[:60].encode("utf-8", "replace").decode()


def _owners(model: type[models.Model]) -> list[Any]:
    """The foreign key a row is called by; of a membership, both."""
    keys = {field.name: field for field in model._meta.concrete_fields if field.remote_field}
    found = [keys[name] for name in _OWNERS if name in keys and keys[name].related_model is not model]
    return found if model._meta.auto_created else found[:1]


def _model(table: str) -> type[models.Model] | None:
    known = sealed.tables().get(table)
    if known:
        return known.model
    return next((model for model in apps.get_models() if model._meta.db_table == table), None)


def _row(model: type[models.Model], key: str) -> dict[str, Any] | None:
    quoted = connection.ops.quote_name
    columns = [str(field.column) for field in model._meta.concrete_fields]
    wanted = [
        column
        for column, field in zip(columns, model._meta.concrete_fields, strict=True)
        if field.name in _LABELS or field.remote_field
    ] or [str(model._meta.pk.column)]
    with any_text(), connection.cursor() as cursor:
        cursor.execute(
            f"SELECT {', '.join(map(quoted, wanted))} FROM {quoted(model._meta.db_table)} "
            f"WHERE CAST({quoted(str(model._meta.pk.column))} AS varchar(64)) = %s",
            [key],
        )
        row = cursor.fetchone()
    return dict(zip(wanted, row, strict=True)) if row else None


def writers_of(places: Iterable[tuple[str, str]]) -> dict[tuple[str, str], Writer]:
    """The act that wrote each of these rows last. Reads all acts once more; asked for only where something does not hold."""
    wanted: dict[str, set[str]] = {}
    for table, key in places:
        wanted.setdefault(table, set()).add(key)
    found: dict[tuple[str, str], Writer] = {}
    for act in read():
        for name, rows in act.rows.items():
            table = name.partition("@")[0]
            if table not in wanted:
                continue
            for key in wanted[table] & rows.keys():
                recorded = act.recorded
                found[table, key] = Writer(
                    act.number,
                    recorded["subject"]["label"],
                    recorded["actor_name"],
                    f"{act.at[:10]} {act.at[11:16]} UTC",
                )
    return found
