"""The process of the operating system in which a plan is searched: begun after the act that asked for it, bounded, never waited for.

A process that is gone leaves its row behind; ``clear_stale`` says so, at the next start and whenever somebody looks. So does ``end_deaf``
with one that was asked to stop and is too busy to hear it.
"""

from __future__ import annotations

import os
import resource
import socket
import subprocess
import sys
from datetime import datetime, timedelta

from django.conf import settings

from regenplant.planning import moves
from regenplant.planning.models import DayPlan

SILENT_FOR = timedelta(seconds=60)
"""A search that told nothing for so long is taken for gone; it tells something every second."""
DEAF_FOR = timedelta(seconds=2)
"""A search that is asked to stop and tells nothing for so long is busy with something that cannot be broken off, such as its bound: its
row ends without it, and it ends itself as soon as it sees that the row is no longer its own."""
MOST_MEMORY_BYTES = 2 * 1024**3
SPARE_CPU_S = 60
"""Processor time beyond its seconds: reading the plant, the bound, the last check."""
GONE = "The search ended without a word: its process is gone, or the machine was started again. Plan again."
LOG = "search_plan.log"

_begun: list[subprocess.Popen[bytes]] = []
"""Processes that this one began, until they are known to have ended; asking each leaves none behind as a dead entry."""


def begin_process(number: str) -> None:
    """Start the search of a plan that waits for it; nothing happens where it was searched already."""
    reap()
    row = DayPlan.objects.filter(number=number, state=DayPlan.State.RUNNING, process__isnull=True).first()
    if row is None:
        return
    environment = {
        **os.environ,
        "DJANGO_SETTINGS_MODULE": settings.SETTINGS_MODULE,
        "OPENBLAS_NUM_THREADS": "1",
    }
    with (settings.DATA_DIR / LOG).open("ab") as log:
        _begun.append(
            subprocess.Popen(
                [sys.executable, "-m", "django", "search_plan", number],
                cwd=settings.BASE_DIR,
                env=environment,
                stdin=subprocess.DEVNULL,
                stdout=log,
                stderr=log,
                start_new_session=True,
            )
        )


def keep_within(seconds: int) -> None:
    """Bound the process that searches: it gives way to others, and takes no more time or memory than it may."""
    os.nice(10)
    cpu_s = seconds + SPARE_CPU_S
    resource.setrlimit(resource.RLIMIT_CPU, (cpu_s, cpu_s))
    resource.setrlimit(resource.RLIMIT_DATA, (MOST_MEMORY_BYTES, MOST_MEMORY_BYTES))


def reap() -> None:
    """Forget the processes that have ended."""
    _begun[:] = [process for process in _begun if process.poll() is None]


def clear_stale(now: datetime) -> tuple[str, ...]:
    """End the row of a search that is gone, with what it had found; numbers of those. One that is deaf to a stop ends too."""
    end_deaf(now)
    cleared = []
    for row in DayPlan.objects.filter(state=DayPlan.State.RUNNING):
        if not is_gone(row, now):
            continue
        if moves.clear(row, at=now, why=GONE):
            cleared.append(row.number)
    return tuple(cleared)


def end_deaf(now: datetime) -> None:
    """End the row of a search that was asked to stop and does not hear it, with the best plan so far."""
    for row in DayPlan.objects.filter(state=DayPlan.State.RUNNING, is_stop_wanted=True, plan__isnull=False):
        if row.told_at is not None and now - row.told_at > DEAF_FOR:
            moves.clear(row, at=now, why="")


def is_gone(row: DayPlan, now: datetime) -> bool:
    """Whether nobody searches this plan any more."""
    if row.told_at is None or now - row.told_at > SILENT_FOR:
        return True
    if row.process is None or row.host != socket.gethostname()[:80]:
        return False
    reap()
    try:
        os.kill(row.process, 0)
    except ProcessLookupError:
        return True
    except PermissionError:  # somebody else's process has its number
        return True
    return False
