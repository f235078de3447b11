"""Every cell of the authority matrix: right x role x segregation class, asked where the services ask.

Each cell is decided in two matrices: the program's own, and one in which every cell is set by a rule of the test that has
nothing to do with the program's. What the test expects is read from that rule, never from the code that decides.
"""

from __future__ import annotations

import hashlib
import inspect
from collections.abc import Callable
from typing import Any

import pytest
from django.db import transaction

import regenplant.batches.services
import regenplant.chemicals.services
import regenplant.documents.services
import regenplant.people.services
import regenplant.plant.services
import regenplant.quality.services
import regenplant.recipes.services
import regenplant.resins.services
import regenplant.tanks.services  # noqa: F401
from regenplant.audit import classes
from regenplant.audit.by import By
from regenplant.audit.use_case import REGISTRY, require, require_for
from regenplant.core.errors import DomainError, NotAllowed
from regenplant.people.authority import BUILT_IN, CLASSES, EVERY_CLASS, RIGHTS, Matrix, Role, is_classed
from regenplant.people.models import Person
from tests.factories import START
from tests.house.test_use_cases import PUBLIC

pytestmark = pytest.mark.requirement("ER-14")

ACTS = {name: function for _, function in PUBLIC if (name := getattr(function, "use_case_name", ""))}


def drawn(permission: str, role: Role, item: str) -> bool:
    """A cell of the drawn matrix: about half of them hold, fixed by a digest of their own name."""
    return hashlib.sha256(f"{permission}/{role.value}/{item}".encode()).digest()[0] < 128


DRAWN = Matrix(
    {
        permission: {
            role: frozenset(item for item in CLASSES if drawn(permission, role, item))
            if is_classed(permission)
            else frozenset({EVERY_CLASS})
            if drawn(permission, role, "")
            else frozenset()
            for role in Role
        }
        for permission in RIGHTS
    },
    number=1,
)


def one_with(roles: frozenset[Role], matrix: Matrix) -> Person:
    """A person who exists in this test only, with these roles under this matrix."""
    person = Person(pk=1, username="x", full_name="X", is_active=True)
    person.__dict__["_roles"], person.__dict__["_matrix"] = roles, matrix
    return person


def is_refused(act: Callable[..., Any], *arguments: Any) -> bool:
    try:
        act(*arguments)
    except NotAllowed:
        return True
    return False


@pytest.mark.parametrize("role", Role)
def test_every_cell_of_the_programs_own_table(role: Role) -> None:
    by = By(one_with(frozenset({role}), BUILT_IN), START)
    wrong = [
        (permission, item)
        for permission, holders in RIGHTS.items()
        for item in ("", *CLASSES)
        if is_refused(require, by, permission, item) is (role in holders)
    ]
    assert wrong == []


@pytest.mark.parametrize("role", Role)
def test_every_cell_of_a_drawn_matrix(role: Role) -> None:
    by = By(one_with(frozenset({role}), DRAWN), START)
    wrong = [
        (permission, item)
        for permission in RIGHTS
        for item in (CLASSES if is_classed(permission) else ("",))
        if is_refused(require, by, permission, item) is drawn(permission, role, item)
    ]
    assert wrong == []
    held = sum(drawn(permission, role, item) for permission in RIGHTS for item in CLASSES)
    assert 0.3 < held / (len(RIGHTS) * len(CLASSES)) < 0.7, "the drawn matrix holds and denies about as often"


def test_two_roles_hold_what_either_holds() -> None:
    by = By(one_with(frozenset({Role.OPERATOR, Role.PLANNER}), DRAWN), START)
    wrong = [
        (permission, item)
        for permission in RIGHTS
        if is_classed(permission)
        for item in CLASSES
        if is_refused(require, by, permission, item)
        is (drawn(permission, Role.OPERATOR, item) or drawn(permission, Role.PLANNER, item))
    ]
    assert wrong == []


def test_an_act_on_things_of_two_classes_takes_the_right_in_both(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(classes._FINDERS, "visit_ids", lambda found: found)
    both = Matrix({"batch.plan": {Role.OPERATOR: frozenset({"C", "D"})}})
    by = By(one_with(frozenset({Role.OPERATOR}), both), START)
    assert not is_refused(require_for, by, "batch.plan", {"visit_ids": ("C", "D")})
    assert is_refused(require_for, by, "batch.plan", {"visit_ids": ("B", "C")})
    assert not is_refused(require_for, by, "batch.plan", {"visit_ids": ()}), (
        "the service says that nothing was chosen"
    )


def test_nobody_without_an_account_of_their_own_holds_anything() -> None:
    for changed in ({"is_active": False}, {"is_shared": True}):
        person = one_with(frozenset(Role), BUILT_IN)
        for name, value in changed.items():
            setattr(person, name, value)
        assert not any(
            person.may(permission, item) for permission in RIGHTS for item in ("", *CLASSES, EVERY_CLASS)
        )


# --- through every act ------------------------------------------------------------------------------------------------
CLASSED_WITHOUT_CLASS = {
    "tank.unknown_received": "The tank is not known yet; its class is decided at the intake.",
    "tank_size.added": "A size has no class.",
    "vessel.cleaned_down": "A vessel serves several classes.",
    "chemical.drawn": "Stock has no class; the batch that draws asked for the right already.",
    "chemical.draw_adjusted": "Stock has no class; the correction of the entry asked for the right already.",
}
"""Acts with a right that has classes, on things that have none."""

GUARDED = sorted(name for name, case in REGISTRY.items() if case.permission and name in ACTS)


def class_arguments(name: str) -> list[str]:
    """The arguments of an act whose class can be found."""
    return [
        item for item in inspect.signature(inspect.unwrap(ACTS[name])).parameters if item in classes.names()
    ]


@pytest.mark.parametrize("name", [n for n in GUARDED if is_classed(REGISTRY[n].permission)])
def test_an_act_whose_right_has_classes_is_about_something_whose_class_is_found(name: str) -> None:
    """A new act on something with a class registers how it is found, in its app's classes.py."""
    assert bool(class_arguments(name)) is (name not in CLASSED_WITHOUT_CLASS)


def carried_out(name: str, by: By, arguments: dict[str, Any]) -> bool:
    """Whether the act was begun. Most arguments are missing on purpose, so it gets no further than its first line."""
    try:
        with transaction.atomic():
            ACTS[name](by=by, **arguments)
    except NotAllowed:
        return False
    except (TypeError, DomainError, ValueError, LookupError):
        return True
    return True


def wanted(permission: str, role: Role, item: str) -> bool:
    """Whether the drawn matrix lets the act begin; about nothing with a class, some class is enough."""
    if item or not is_classed(permission):
        return drawn(permission, role, item)
    return any(drawn(permission, role, each) for each in CLASSES)


@pytest.mark.parametrize("name", GUARDED)
def test_every_act_in_every_role_and_class(name: str, db: None, monkeypatch: pytest.MonkeyPatch) -> None:
    permission, found = REGISTRY[name].permission, class_arguments(name)
    for argument in found:
        monkeypatch.setitem(classes._FINDERS, argument, lambda item: [item])
    wrong = [
        (role, item)
        for role in Role
        for item in (CLASSES if found and is_classed(permission) else ("",))
        if carried_out(name, By(one_with(frozenset({role}), DRAWN), START), dict.fromkeys(found, item))
        is not wanted(permission, role, item)
    ]
    assert wrong == []


def test_the_right_of_every_act_is_a_row_of_the_matrix() -> None:
    assert {REGISTRY[name].permission for name in GUARDED} <= set(RIGHTS)
    assert len(GUARDED) > 60
