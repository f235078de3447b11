"""Which rows, acts and people belong to one batch: found from the declared parts, without knowing any table by name."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any

from django.contrib.auth import get_user_model
from django.db.models import Model, Q

from regenplant.audit import extracts
from regenplant.audit.extracts import Act, Place, RowSeal
from regenplant.batches.models import Batch
from regenplant.core.process.canonical import canonical_text
from regenplant.keeping.parts import Acts, Part, Subject, part_of, parts

AT_ONCE = 400
"""Keys asked for in one query; SQLite allows 999 values in it."""


@dataclass
class Rows:
    """The rows of a copy as objects, by part and key, while they are collected."""

    root: Batch
    found: dict[str, dict[Any, Model]] = field(default_factory=dict)
    people: set[int] = field(default_factory=set)

    def of(self, part: Part) -> list[Model]:
        """The rows of a part in order of their keys."""
        return [row for _, row in sorted(self.found.get(part.label, {}).items())]


def rows_about(root: Batch) -> Rows:
    """Every row that belongs to the batch: what hangs on it, what belongs to that, and what these point to."""
    rows = Rows(root)
    fresh = _take(rows, [root])
    for part in parts():
        condition = Q()
        for lookup in part.hangs_on:
            condition |= Q(**{lookup: root})
        if part.also is not None:
            condition |= part.also(root)
        if condition:
            fresh += _take(rows, part.model._default_manager.filter(condition).distinct())
    while fresh:
        fresh = [*_pointed_at(rows, fresh), *_belonging(rows, fresh)]
    return rows


def _take(rows: Rows, some: Iterable[Model]) -> list[Model]:
    """Add rows; those that were not in yet."""
    added = []
    for row in some:
        own = rows.found.setdefault(row._meta.label, {})
        if row.pk not in own:
            own[row.pk] = row
            added.append(row)
    return added


def _pointed_at(rows: Rows, fresh: Iterable[Model]) -> list[Model]:
    """Rows that these rows point to."""
    person = get_user_model()
    wanted: dict[type[Model], set[Any]] = {}
    for row in fresh:
        for model, key in _links(row):
            if model is person:
                rows.people.add(key)
            elif part_of(model) is not None and key not in rows.found.get(model._meta.label, {}):
                wanted.setdefault(model, set()).add(key)
    return [row for model, keys in wanted.items() for row in _take(rows, _with(model, "pk", keys))]


def _links(row: Model) -> Iterator[tuple[type[Model], Any]]:
    for column in row._meta.concrete_fields:
        if column.is_relation and column.related_model is not None:
            key = getattr(row, column.attname)
            if key is not None:
                yield column.related_model, key


def _belonging(rows: Rows, fresh: Iterable[Model]) -> list[Model]:
    """Rows of other parts that belong to these rows."""
    by_model: dict[type[Model], set[Any]] = {}
    for row in fresh:
        by_model.setdefault(type(row), set()).add(row.pk)
    added: list[Model] = []
    for part in parts():
        for name in part.belongs_to:
            owner = part.model._meta.get_field(name).related_model
            if owner in by_model:
                added += _take(rows, _with(part.model, name, by_model[owner]))
    return added


def _with(model: type[Model], name: str, keys: set[Any]) -> Iterator[Model]:
    ordered = sorted(keys)
    for start in range(0, len(ordered), AT_ONCE):
        yield from model._default_manager.filter(**{f"{name}__in": ordered[start : start + AT_ONCE]})


# --- rows as sealed ---------------------------------------------------------------------------------------------
@dataclass
class Sealed:
    """The rows as their seals cover them, and the acts that wrote them."""

    columns: dict[Place, dict[str, Any]]
    acts: list[Act]
    seals: dict[Place, list[RowSeal]]

    def has_whole_history(self, place: Place) -> bool:
        """Whether every act that ever wrote this row is in the copy."""
        before = ""
        for seal in self.seals.get(place, []):
            if seal.before != before[: len(seal.before)] or bool(seal.before) != bool(before):
                return False
            before = seal.after
        return before == digest_of(place, self.columns[place])


def sealed_rows(rows: Rows) -> Sealed:
    """Columns, acts and seals. For a row that no act in hand wrote last, the act that did is looked for."""
    columns: dict[Place, dict[str, Any]] = {}
    subjects: dict[Place, list[Subject]] = {}
    wanted: dict[Acts, list[Subject]] = {Acts.ALL: [("batch", rows.root.number)], Acts.OWN: [], Acts.LAST: []}
    for part in parts():
        own = rows.of(part)
        found = extracts.rows_of(part.table, (str(row.pk) for row in own))
        for row in own:
            place = (part.table, str(row.pk))
            columns[place] = found[str(row.pk)]
            subjects[place] = [part.subject(row)] if part.subject else []
            wanted[part.acts] += subjects[place]
    acts = extracts.with_outermost(
        [*extracts.acts_about(wanted[Acts.ALL]), *extracts.acts_on(wanted[Acts.OWN])]
    )
    acts = _with_last_writers(acts, columns, subjects)
    return Sealed(columns, acts, _by_place(acts))


def _with_last_writers(
    acts: list[Act], columns: dict[Place, dict[str, Any]], subjects: dict[Place, list[Subject]]
) -> list[Act]:
    """Also the acts that wrote those rows last which the acts in hand did not."""
    found, seals = {act.number: act for act in acts}, _by_place(acts)
    for place, row in columns.items():
        digest = digest_of(place, row)
        if place in seals and seals[place][-1].after == digest:
            continue
        last = extracts.last_act_that_wrote(place, digest, subjects[place])
        if last is not None and last.number not in found:
            found[last.number] = last
            seals = _by_place(found[number] for number in sorted(found))
    return [found[number] for number in sorted(found)]


def _by_place(acts: Iterable[Act]) -> dict[Place, list[RowSeal]]:
    seals: dict[Place, list[RowSeal]] = {}
    for place, seal in extracts.seals_in(acts):
        seals.setdefault(place, []).append(seal)
    return seals


def digest_of(place: Place, columns: dict[str, Any]) -> str:
    """The digest of a row, as its seal writes it."""
    text = canonical_text({"table": place[0], "key": place[1], "columns": columns})
    return hashlib.sha256(text.encode()).hexdigest()
