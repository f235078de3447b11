"""Which rows are the record: every table of our apps, the groups that roles are, and who is in them.

What is left out stands here or is said by its app in ``AppConfig.ready``, each with its reason::

    sealed.leave_out_columns("people_person", "last_login", why="written by every sign-in, and no act of anybody")

A shape names the columns of a table that a seal covers. Shapes are kept in the database, so that a seal can be worked out again
after a later migration has added columns.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import cache
from typing import Any

from django.apps import apps
from django.db import models

from regenplant.core.process.canonical import canonical_text

OURS = "regenplant."
FROM_THE_FRAMEWORK = ("auth.Group",)
"""Models of others that are part of the record: a role is a group, and who is in it decides who may do what."""

_LEFT_OUT: dict[str, str] = {
    "audit_auditevent": "the chain covers it",
    "audit_eventsubject": "it repeats the acts for searching and is compared with them",
    "audit_rowshape": "each shape is named by the digest of itself",
}
_LEFT_OUT_COLUMNS: dict[str, dict[str, str]] = {}

KINDS = {
    "AutoField": "int",
    "BigAutoField": "int",
    "SmallAutoField": "int",
    "IntegerField": "int",
    "BigIntegerField": "int",
    "SmallIntegerField": "int",
    "PositiveIntegerField": "int",
    "PositiveBigIntegerField": "int",
    "PositiveSmallIntegerField": "int",
    "DurationField": "int",
    "BooleanField": "bool",
    "CharField": "text",
    "SlugField": "text",
    "TextField": "text",
    "FileField": "text",
    "FilePathField": "text",
    "TimeField": "text",
    "GenericIPAddressField": "text",
    "FloatField": "float",
    "DecimalField": "decimal",
    "DateTimeField": "moment",
    "DateField": "day",
    "JSONField": "json",
    "UUIDField": "uuid",
    "BinaryField": "bytes",
}
"""How the value of a field is written into the text that a digest covers."""


@dataclass(frozen=True, slots=True)
class Shape:
    """The columns of a table that a seal covers, by name, with how each is written."""

    table: str
    columns: tuple[tuple[str, str], ...]
    """(column, kind), in order of their names."""

    @property
    def text(self) -> str:
        return canonical_text({"table": self.table, "columns": self.columns})

    @property
    def id(self) -> str:
        """The first sixteen characters of the digest of what the shape says, so that no shape can pass for another."""
        return hashlib.sha256(self.text.encode()).hexdigest()[:16]


@dataclass(frozen=True, slots=True)
class Sealed:
    """A table of the record, as it is now."""

    table: str
    model: type[models.Model]
    key: str
    """Column of the primary key."""
    key_kind: str
    shape: Shape
    name: str
    """Table and shape as they stand in an act: "tanks_tank@1f0c...". """
    left_out: tuple[str, ...]

    @property
    def columns(self) -> tuple[str, ...]:
        return tuple(column for column, _ in self.shape.columns)


def leave_out(table: str, *, why: str) -> None:
    """Say that a table is no record."""
    _LEFT_OUT[table] = why
    tables.cache_clear()


def leave_out_columns(table: str, *columns: str, why: str) -> None:
    """Say that columns of a table are not sealed."""
    _LEFT_OUT_COLUMNS.setdefault(table, {}).update(dict.fromkeys(columns, why))
    tables.cache_clear()


def left_out() -> dict[str, str]:
    """What is not sealed, and why: "table" or "table.column" to the reason."""
    found = dict(_LEFT_OUT)
    for table, columns in _LEFT_OUT_COLUMNS.items():
        found |= {f"{table}.{column}": why for column, why in columns.items()}
    return found


@cache
def tables() -> dict[str, Sealed]:
    """Every sealed table by its name, in order."""
    found = {}
    for model in apps.get_models(include_auto_created=True):
        table = model._meta.db_table
        if _is_record(model) and table not in _LEFT_OUT and model._meta.managed:
            found[table] = _sealed(model)
    return dict(sorted(found.items()))


def _is_record(model: type[models.Model]) -> bool:
    through = model._meta.auto_created
    owner: Any = through if through and not isinstance(through, bool) else model
    config = apps.get_app_config(owner._meta.app_label)
    return config.name.startswith(OURS) or owner._meta.label in FROM_THE_FRAMEWORK


def _sealed(model: type[models.Model]) -> Sealed:
    table, key = model._meta.db_table, model._meta.pk
    without = _LEFT_OUT_COLUMNS.get(table, {})
    columns = sorted(
        (str(field.column), kind_of(field))
        for field in model._meta.concrete_fields
        if field.column not in without
    )
    shape = Shape(table, tuple(columns))
    return Sealed(
        table,
        model,
        str(key.column),
        kind_of(key),
        shape,
        f"{table}@{shape.id}",
        tuple(sorted(set(without) & {str(field.column) for field in model._meta.concrete_fields})),
    )


def kind_of(field: Any) -> str:
    """How the field's value is written; a foreign key is written as the key it points to."""
    while field.remote_field:
        field = field.target_field
    return KINDS[field.get_internal_type()]
