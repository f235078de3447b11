"""Telling the floor above that a batch was given up after its start: nobody judges it any more, and its rinse still says something.

The app that keeps outcomes says in ``AppConfig.ready`` what is done then::

    given_up.tell(keep_given_up)
"""

from __future__ import annotations

from collections.abc import Callable

from regenplant.audit.by import By
from regenplant.batches.models import Batch

_listeners: list[Callable[[By, Batch, str], None]] = []


def tell(listener: Callable[[By, Batch, str], None]) -> None:
    """Say who is told, with the reason in the person's words."""
    _listeners[:] = [listener]


def told(by: By, batch: Batch, reason: str) -> None:
    """Inside the act that gave it up."""
    for listener in _listeners:
        listener(by, batch, reason)
