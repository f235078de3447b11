"""Telling the floor above that a mass moved to or from what batches use, under which reference. The ledger knows no batches.

The app that audits the use says in ``AppConfig.ready`` what is done then::

    moved.tell(renew_numbered)
"""

from __future__ import annotations

from collections.abc import Callable

_listeners: list[Callable[[str], None]] = []


def tell(listener: Callable[[str], None]) -> None:
    """Say who is told."""
    _listeners[:] = [listener]


def told(reference: str) -> None:
    """Inside the act that moved it."""
    for listener in _listeners:
        listener(reference)
