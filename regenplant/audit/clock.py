"""The server's clock: whether it was set since the last act, and whether it stands behind the act before.

Wall time is held against running time (which goes on while a machine sleeps, where the system tells it). A step is recorded
in the next act of each process; the order of acts is the order of their numbers and never that of a clock.
"""

from __future__ import annotations

import time
from datetime import datetime

from django.db import transaction

from regenplant.audit import limits

_RUNNING = getattr(time, "CLOCK_BOOTTIME", getattr(time, "CLOCK_MONOTONIC", None))
_settled: list[float] = []
"""Wall time minus running time at the last act of this process [s]; empty before the first."""
_NOISE_S = 0.5


def offset_s() -> float:
    """Wall time minus running time [s]: constant while nobody sets the clock."""
    return time.time() - (time.clock_gettime(_RUNNING) if _RUNNING is not None else time.monotonic())


def noticed(at: datetime, previous_at: datetime | None) -> dict[str, float]:
    """What an act must record about the clock: ``step_s`` it was set by, ``behind_s`` it stands before the act before; or nothing."""
    found = {}
    now = offset_s()
    step = now - _settled[0] if _settled else 0.0
    behind = (previous_at - at).total_seconds() if previous_at else 0.0
    if abs(step) > _NOISE_S or behind > _NOISE_S:
        limit = limits.current().clock_step_s
        if abs(step) > limit:
            found["step_s"] = round(step, 3)
        if behind > limit:
            found["behind_s"] = round(behind, 3)
    transaction.on_commit(lambda: _settle(now))
    return found


def _settle(offset: float) -> None:
    _settled[:] = [offset]
