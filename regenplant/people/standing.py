"""Guard rails: somebody must stay able to keep people and the authority matrix.

The matrix needs two: one who may write it and another who may approve it: no version is written or approved that leaves the
plant without them. People need one who may edit them: neither a version nor a closed account takes the last one away.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime

from regenplant.core.errors import RecordRefused
from regenplant.people.authority import Matrix, Role
from regenplant.people.models import AuthorityVersion, Person

Roles = Mapping[int, frozenset[Role]]


def roles_of_everybody() -> dict[int, frozenset[Role]]:
    """Roles of all who can act: active people with an account of their own. Two queries."""
    people = Person.objects.filter(is_active=True, is_shared=False, is_device=False).prefetch_related(
        "groups"
    )
    known = {role.value: role for role in Role}
    return {
        person.pk: frozenset(known[group.name] for group in person.groups.all() if group.name in known)
        for person in people
    }


def _holders(matrix: Matrix, people: Roles, permission: str) -> set[int]:
    return {pk for pk, roles in people.items() if matrix.may(roles, permission)}


def nobody_keeps_people(matrix: Matrix, people: Roles) -> bool:
    """Whether nobody could add people or give roles any more: a plant could not get out of that through the program."""
    return not _holders(matrix, people, "people.edit")


def missing_keepers(matrix: Matrix, people: Roles) -> tuple[str, ...]:
    """What nobody could do any more under this matrix, as sentences."""
    found = []
    if nobody_keeps_people(matrix, people):
        found.append("Nobody who is active could add people or give roles any more.")
    editors = _holders(matrix, people, "authority.edit")
    approvers = _holders(matrix, people, "authority.approve")
    if not editors:
        found.append("Nobody who is active could write the authority matrix any more.")
    elif not approvers or len(editors | approvers) < 2:
        found.append("Nobody else who is active could approve the authority matrix any more.")
    return tuple(found)


def matrices_ahead(at: datetime) -> list[Matrix]:
    """The matrix in force, and those approved that take force later."""
    later = AuthorityVersion.objects.filter(state=AuthorityVersion.State.APPROVED, effective_from__gt=at)
    return [AuthorityVersion.in_force(at), *(version.matrix for version in later)]


def refuse_orphaned(at: datetime, *, changed: Mapping[int, Iterable[Role] | None]) -> None:
    """Raise RecordRefused when these roles (None: the account closes) take away the last who can give roles.

    Whoever leaves is closed at once, even the only one who could approve a matrix: roles can be given to another after it.
    """
    before = roles_of_everybody()
    after = {pk: roles for pk, roles in before.items() if pk not in changed}
    after |= {pk: frozenset(roles) for pk, roles in changed.items() if roles is not None and pk in before}
    if any(nobody_keeps_people(matrix, after) for matrix in matrices_ahead(at)):
        raise RecordRefused(
            "Nobody who is active could add people or give roles any more. Give that role to another person first.",
            code="no_keeper_left",
        )
