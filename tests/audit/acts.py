"""Acts that exist in these tests only: registered for one test and taken away again."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from regenplant.audit import wording
from regenplant.audit.use_case import REGISTRY, Outcome, use_case


@contextmanager
def act(
    name: str, body: Callable[..., Outcome], *, permission: str = "", says: str = ""
) -> Iterator[Callable[..., Any]]:
    """Register ``body`` as the use case ``name`` while the block runs."""
    registered = use_case(name, permission=permission)(body)
    if says:
        wording.say(name, says)
    try:
        yield registered
    finally:
        REGISTRY.pop(name)
        wording._WORDINGS.pop(name, None)
