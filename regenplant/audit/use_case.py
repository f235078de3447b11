"""The one recorder: every change is a named act of a named person in one transaction, recorded once.

    @use_case("batch.step_started", permission="batch.run")
    def start_step(*, by: By, step_id: int) -> Outcome: ...

The decorator opens the transaction, checks the permission, runs the body and writes exactly one event from the
returned ``Outcome``. Body or event failing undoes both. A use case called inside another shares its operation
id, is numbered after it in the order of completion and rolls back with it. Names are registered once.
"""

from __future__ import annotations

import functools
from collections.abc import Callable, Mapping
from contextvars import ContextVar
from dataclasses import dataclass, field
from typing import Any, ParamSpec, TypeVar
from uuid import UUID, uuid4

from django.db import OperationalError, transaction

from regenplant.audit import appending, paper, seals, turn
from regenplant.audit.by import By
from regenplant.audit.classes import EVERY_CLASS, classes_of
from regenplant.core.errors import NotAllowed

P = ParamSpec("P")
R = TypeVar("R")


@dataclass(frozen=True, slots=True)
class Outcome:
    """What an act did.

    ``subject`` is (kind, key, label as it reads now). ``before`` and ``after`` hold the declared fields that changed,
    ``facts`` whatever the sentence about the act needs, ``reason`` the person's own words. ``result`` is handed to
    the caller and not stored. Values are plain (text, numbers, truth values, lists, dictionaries).
    """

    subject: tuple[str, str, str]
    before: dict[str, Any] = field(default_factory=dict)
    after: dict[str, Any] = field(default_factory=dict)
    facts: dict[str, Any] = field(default_factory=dict)
    reason: str = ""
    signature: dict[str, Any] | None = None
    related: tuple[tuple[str, str], ...] = ()
    result: Any = None


@dataclass(frozen=True, slots=True)
class UseCase:
    """A registered act."""

    name: str
    permission: str
    function: str


REGISTRY: dict[str, UseCase] = {}
_operation: ContextVar[UUID | None] = ContextVar("operation", default=None)


def use_case(
    name: str, *, permission: str, by_shared: bool = False, by_device: bool = False
) -> Callable[[Callable[..., Outcome]], Callable[..., Outcome]]:
    """Register a function as the use case ``name``; permission "" means: any signed-in person.

    The right is asked for in the segregation class of what the act is about (``audit.classes``). A shared account does
    nothing at all, except what says ``by_shared``: to sign in, and to choose how its screen looks. A device does only what says
    ``by_device``; it has no rights, so such an act finds out by itself whether this device may.
    """

    def decorate(function: Callable[..., Outcome]) -> Callable[..., Outcome]:
        where = f"{function.__module__}.{function.__qualname__}"
        if name in REGISTRY and REGISTRY[name].function != where:
            raise RuntimeError(f"The use case name {name!r} is taken by {REGISTRY[name].function}.")
        REGISTRY[name] = UseCase(name, permission, where)

        @functools.wraps(function)
        def act(*, by: By, **arguments: Any) -> Outcome:
            refuse_shared(by, by_shared=by_shared)
            if not is_device(by):
                require_for(by, permission, arguments)
            elif not by_device:
                raise NotAllowed(f"{by.user.full_name} is a device. It sends readings and does nothing else.")
            if _operation.get() is None:
                return _operate(lambda: _carry_out(name, by, function, arguments, is_outermost=True))
            return _carry_out(name, by, function, arguments, is_outermost=False)

        act.use_case_name = name  # type: ignore[attr-defined]
        return act

    return decorate


def refuse_shared(by: By, *, by_shared: bool = False) -> None:
    """Raise NotAllowed for a post's shared account: what nobody in person did is no record; and for a closed account."""
    if by_shared or by.user is None:
        return
    if getattr(by.user, "is_shared", False):
        raise NotAllowed(
            f"{by.user.full_name} is a shared account. It looks and does nothing. Sign in with your own name."
        )
    if not getattr(by.user, "is_active", True):
        raise NotAllowed(f"The account of {by.user.full_name} is closed, so nothing is done in that name.")


def is_device(by: By) -> bool:
    """Whether a device acts, and no person."""
    return bool(getattr(by.user, "is_device", False))


def require_for(by: By, permission: str, arguments: Mapping[str, Any]) -> None:
    """Raise NotAllowed unless the acting person holds the permission in every class these arguments concern.

    Whoever holds it in every class is not asked further, so that the class is looked up only where it decides.
    """
    if not permission or by.user.may(permission, EVERY_CLASS):
        return
    for segregation_class in sorted(classes_of(arguments)) or [""]:
        require(by, permission, segregation_class)


def require(by: By, permission: str, segregation_class: str = "") -> None:
    """Raise NotAllowed unless the acting person is active and holds the permission, in this class if one is concerned."""
    if permission and not by.user.may(permission, segregation_class):
        roles = ", ".join(by.user.role_names()) or "no role"
        where = f" in class {segregation_class}" if segregation_class else ""
        raise NotAllowed(
            f"{by.user.full_name} ({roles}) may not do this{where} ({permission}). Ask a person who may.",
            permission=permission,
            segregation_class=segregation_class,
        )


def _operate(work: Callable[[], Outcome]) -> Outcome:
    """Carry out an outermost act: one operation, one turn. A database that lets it wait too long is a refusal."""
    token = _operation.set(uuid4())
    try:
        with turn.in_line():
            return work()
    except OperationalError as error:
        if refusal := turn.refusal_of(error):
            raise refusal from error
        raise
    finally:
        turn.drop()
        _operation.reset(token)


def _carry_out(
    name: str, by: By, function: Callable[..., Outcome], arguments: Mapping[str, Any], *, is_outermost: bool
) -> Outcome:
    with transaction.atomic():
        if is_outermost:
            turn.take()
        outcome = function(by=by, **arguments)
        _record(name, by, outcome, is_outermost=is_outermost)
        return outcome


def _record(name: str, by: By, outcome: Outcome, *, is_outermost: bool) -> None:
    operation = _operation.get()
    if operation is None:
        raise RuntimeError("An act is recorded inside a use case only.")
    from_paper = paper.form_of(name, by, outcome.subject)
    facts: dict[str, Any] = {
        "before": outcome.before,
        "after": outcome.after,
        "facts": {**outcome.facts, "paper_form": from_paper} if from_paper else outcome.facts,
        "reason": outcome.reason,
    }
    if outcome.signature is not None:
        facts["signature"] = outcome.signature
    appending.append(
        operation=operation,
        event=name,
        actor=by.user,
        at=by.at,
        occurred_at=by.happened_at,
        terminal=by.terminal,
        subject=outcome.subject,
        related=(*outcome.related, (paper.KIND, from_paper)) if from_paper else outcome.related,
        facts=facts,
        rows=(lambda is_first: seals.collect(is_first=is_first)) if is_outermost else None,
    )
