"""What one matrix changes against another: by right, and by person."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from regenplant.people.authority import BUILT_IN, CLASSES, EVERY_CLASS, RIGHTS, Matrix, Role, is_classed
from regenplant.people.models import AuthorityVersion, Person
from regenplant.people.rights_in_words import thing_of, title_of

NOBODY = "nobody"


@dataclass(frozen=True, slots=True)
class RightChange:
    """One right that differs, each side in words."""

    permission: str
    thing: str
    title: str
    old: str
    new: str


@dataclass(frozen=True, slots=True)
class PersonChange:
    """What one person would gain and lose, each as a title with its classes."""

    name: str
    roles: str
    gains: tuple[str, ...]
    losses: tuple[str, ...]


def current_matrix() -> Matrix:
    """The newest approved matrix, also before it takes force; else the program's table: what the next draft begins with."""
    newest = (
        AuthorityVersion.objects.filter(state=AuthorityVersion.State.APPROVED).order_by("-number").first()
    )
    return newest.matrix if newest is not None else BUILT_IN


def holders_in_words(matrix: Matrix, permission: str) -> str:
    """ "operator; supervisor in B, C"; "nobody"."""
    parts = []
    for role in Role:
        held = matrix.classes(permission, role)
        if EVERY_CLASS in held:
            parts.append(role.value)
        elif held:
            parts.append(f"{role.value} in class {', '.join(sorted(held))}")
    return "; ".join(parts) or NOBODY


def changes_between(old: Matrix, new: Matrix) -> tuple[RightChange, ...]:
    """The rights that differ, in the order of the table."""
    pairs = (
        (permission, holders_in_words(old, permission), holders_in_words(new, permission))
        for permission in RIGHTS
    )
    return tuple(
        RightChange(permission, thing_of(permission), title_of(permission), before, after)
        for permission, before, after in pairs
        if before != after
    )


def people_changes(old: Matrix, new: Matrix) -> tuple[PersonChange, ...]:
    """Active people who would gain or lose a right, by name. Two queries."""
    people = Person.objects.filter(is_active=True, is_shared=False, is_device=False).prefetch_related(
        "groups"
    )
    known = {role.value: role for role in Role}
    found = []
    for person in people:
        roles = frozenset(known[group.name] for group in person.groups.all() if group.name in known)
        gains = tuple(_gained(old, new, roles))
        losses = tuple(_gained(new, old, roles))
        if gains or losses:
            names = ", ".join(role.value for role in Role if role in roles)
            found.append(PersonChange(person.full_name, names, gains, losses))
    return tuple(found)


def _gained(old: Matrix, new: Matrix, roles: frozenset[Role]) -> Iterator[str]:
    """Rights that these roles have under ``new`` and not under ``old``, with the classes where it is not all."""
    for permission in RIGHTS:
        title = title_of(permission).rstrip(".")
        if not is_classed(permission):
            if new.may(roles, permission) and not old.may(roles, permission):
                yield title
            continue
        classes = [
            item
            for item in CLASSES
            if new.may(roles, permission, item) and not old.may(roles, permission, item)
        ]
        if len(classes) == len(CLASSES):
            yield title
        elif classes:
            yield f"{title} (class {', '.join(classes)})"


def rights_of(person: Person, matrix: Matrix) -> tuple[str, ...]:
    """Everything a person may do, each as a title with the classes where it is not all; nothing for a closed account."""
    if not person.is_active or person.is_shared or person.is_device:
        return ()
    return tuple(_gained(Matrix({}), matrix, person.roles))
