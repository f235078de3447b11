"""Telling the floor above what a step sent down its drain: at the end of the step, or when its batch is given up under way.

The app that keeps the waste tanks says in ``AppConfig.ready`` what is done then::

    drained.tell(keep_drain)
"""

from __future__ import annotations

from collections.abc import Callable

from regenplant.audit.by import By
from regenplant.batches.models import Batch, StepRun

_listeners: list[Callable[[By, Batch, StepRun], None]] = []


def tell(listener: Callable[[By, Batch, StepRun], None]) -> None:
    """Say who is told; the later one holds."""
    _listeners[:] = [listener]


def told(by: By, batch: Batch, step: StepRun) -> None:
    """Inside the act that ended the step."""
    for listener in _listeners:
        listener(by, batch, step)
