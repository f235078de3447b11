"""The one recorder: every change is a named act of a named person in one transaction, recorded once.

    @use_case("batch.step_started", permission="batch.run")
    def start_step(*, by: By, step_id: int) -> Outcome: ...

The decorator opens the transaction, checks the permission, runs the body and writes exactly one event from the
returned ``Outcome``. Body or event failing undoes both. A use case called inside another shares its operation
id, is numbered after it in the order of completion and rolls back with it. Names are registered once.
"""

from __future__ import annotations

import functools
from collections.abc import Callable
from contextvars import ContextVar
from dataclasses import dataclass, field
from typing import Any, ParamSpec, TypeVar
from uuid import UUID, uuid4

from django.db import transaction

from regenplant.audit import chain
from regenplant.audit.by import By
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


def use_case(name: str, *, permission: str) -> Callable[[Callable[..., Outcome]], Callable[..., Outcome]]:
    """Register a function as the use case ``name``; permission "" means: any signed-in person."""

    def decorate(function: Callable[..., Outcome]) -> Callable[..., Outcome]:
        where = f"{function.__module__}.{function.__qualname__}"
        if name in REGISTRY and REGISTRY[name].function != where:
            raise RuntimeError(f"The use case name {name!r} is taken by {REGISTRY[name].function}.")
        REGISTRY[name] = UseCase(name, permission, where)

        @functools.wraps(function)
        def act(*, by: By, **arguments: Any) -> Outcome:
            require(by, permission)
            outer = _operation.get()
            token = _operation.set(outer or uuid4())
            try:
                with transaction.atomic():
                    if outer is None:
                        chain.take_turn()
                    outcome = function(by=by, **arguments)
                    _record(name, by, outcome)
                    return outcome
            finally:
                _operation.reset(token)

        act.use_case_name = name  # type: ignore[attr-defined]
        return act

    return decorate


def require(by: By, permission: str) -> None:
    """Raise NotAllowed unless the acting person is active and holds the permission."""
    if permission and not by.user.may(permission):
        roles = ", ".join(by.user.role_names()) or "no role"
        raise NotAllowed(
            f"{by.user.full_name} ({roles}) may not do this ({permission}). Ask a person who may.",
            permission=permission,
        )


def _record(name: str, by: By, outcome: Outcome) -> None:
    operation = _operation.get()
    if operation is None:
        raise RuntimeError("An act is recorded inside a use case only.")
    facts: dict[str, Any] = {
        "before": outcome.before,
        "after": outcome.after,
        "facts": outcome.facts,
        "reason": outcome.reason,
    }
    if outcome.signature is not None:
        facts["signature"] = outcome.signature
    chain.append(
        operation=operation,
        event=name,
        actor=by.user,
        at=by.at,
        occurred_at=by.happened_at,
        terminal=by.terminal,
        subject=outcome.subject,
        related=outcome.related,
        facts=facts,
    )
