"""Telling the floor above what a step sent down its drain: at the end of the step, when its batch is given up under way, and when an
entry that says it is corrected.

The app that keeps the waste tanks says in ``AppConfig.ready`` what is done then::

    drained.tell(keep_drain)
    drained.tell_corrected(follow_entry)
"""

from __future__ import annotations

from collections.abc import Callable

from regenplant.audit.by import By
from regenplant.batches.models import Batch, StepEntry, StepRun

_listeners: list[Callable[[By, Batch, StepRun], None]] = []
_of_corrections: list[Callable[[By, Batch, StepRun, StepEntry], None]] = []


def tell(listener: Callable[[By, Batch, StepRun], None]) -> None:
    """Say who is told; the later one holds."""
    _listeners[:] = [listener]


def told(by: By, batch: Batch, step: StepRun) -> None:
    """Inside the act that ended the step."""
    for listener in _listeners:
        listener(by, batch, step)


def tell_corrected(listener: Callable[[By, Batch, StepRun, StepEntry], None]) -> None:
    """Say who is told of corrected entries; the later one holds."""
    _of_corrections[:] = [listener]


def corrected(by: By, batch: Batch, step: StepRun, entry: StepEntry) -> None:
    """Inside the act that corrected an entry; ``entry`` is the new one."""
    for listener in _of_corrections:
        listener(by, batch, step, entry)
