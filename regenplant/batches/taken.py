"""Telling the floor above that what a batch took may have changed: a step that brings a chemical ended, or the batch itself moved on.

The app that audits the use says in ``AppConfig.ready`` what is done then::

    taken.tell(renew)
"""

from __future__ import annotations

from collections.abc import Callable

from regenplant.batches.models import Batch

_listeners: list[Callable[[Batch], None]] = []


def tell(listener: Callable[[Batch], None]) -> None:
    """Say who is told."""
    _listeners[:] = [listener]


def told(batch: Batch) -> None:
    """Inside the act that changed it."""
    for listener in _listeners:
        listener(batch)
