"""The authority matrix as rows of a table: one right per row, roles as columns, classes as exceptions."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from regenplant.core.process.vocabulary import SegregationClass
from regenplant.people.authority import CLASSES, EVERY_CLASS, RIGHTS, Matrix, Role, is_classed
from regenplant.people.rights_in_words import thing_of, title_of


@dataclass(frozen=True, slots=True)
class Cell:
    """One role's part of a right. ``words`` reads "yes", "B, C" or is empty."""

    role: str
    words: str
    is_held: bool
    value: str = ""
    exceptions: tuple[tuple[str, str, bool], ...] = ()
    """Class, value of its tick, whether it is taken out."""


@dataclass(frozen=True, slots=True)
class Row:
    """One right."""

    permission: str
    title: str
    cells: tuple[Cell, ...]
    is_classed: bool
    has_exceptions: bool
    is_unsaid: bool
    """The version in force does not know this right; the program's own table holds."""


@dataclass(frozen=True, slots=True)
class Group:
    """The rights about one kind of thing."""

    thing: str
    rows: tuple[Row, ...]


ROLES: tuple[str, ...] = tuple(role.value for role in Role)
CLASS_WORDS: tuple[tuple[str, str], ...] = tuple((item.value, item.label) for item in SegregationClass)


def groups_of(matrix: Matrix) -> tuple[Group, ...]:
    """All rights in the order of the table, grouped by what they are about."""
    things: dict[str, list[Row]] = {}
    for permission in RIGHTS:
        things.setdefault(thing_of(permission), []).append(_row(matrix, permission))
    return tuple(Group(thing, tuple(rows)) for thing, rows in things.items())


def _row(matrix: Matrix, permission: str) -> Row:
    cells = tuple(_cell(matrix, permission, role) for role in Role)
    return Row(
        permission,
        title_of(permission),
        cells,
        is_classed(permission),
        matrix.depends_on_class(permission),
        permission in matrix.unsaid,
    )


def _cell(matrix: Matrix, permission: str, role: Role) -> Cell:
    held = matrix.classes(permission, role)
    words = "yes" if EVERY_CLASS in held else ", ".join(sorted(held))
    out = {item for item in CLASSES if held and not held & {EVERY_CLASS, item}}
    ticks = (
        tuple((item, f"{role.value}|{item}", item in out) for item in CLASSES)
        if is_classed(permission)
        else ()
    )
    return Cell(role.value, words, bool(held), role.value, ticks)


def rights_from(
    roles: Mapping[str, list[str]], taken_out: Mapping[str, list[str]]
) -> dict[str, dict[str, list[str]]]:
    """What the ticks of the editor say: {right: {role: ["*"] or the classes left}}."""
    return {
        permission: {
            role: _classes_left(role, taken_out.get(permission, [])) for role in roles.get(permission, [])
        }
        for permission in RIGHTS
    }


def _classes_left(role: str, taken_out: list[str]) -> list[str]:
    out = {value.rpartition("|")[2] for value in taken_out if value.rpartition("|")[0] == role}
    return [EVERY_CLASS] if not out else [item for item in CLASSES if item not in out]


def held_by_nobody(matrix: Matrix) -> tuple[str, ...]:
    """Titles of the rights that no role holds at all."""
    return tuple(title_of(permission) for permission in RIGHTS if not matrix.holders(permission))
