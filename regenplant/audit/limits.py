"""Two limits of the record that a plant sets itself: when an entry counts as late, and when the server's clock as set.

The app that keeps the plant's limits says in ``AppConfig.ready`` where they stand::

    limits.ask(lambda: limits.RecordLimits(late_after_s=profile().late_after_s))
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class RecordLimits:
    """``late_after_s``: an act written down longer than this after it happened is a late entry [s]. ``clock_step_s``: a clock
    that moved more than this against running time, or stands this far behind the act before, is recorded [s].

    Both defaults are this program's own; a plant may choose others.
    """

    late_after_s: float = 900.0
    clock_step_s: float = 60.0


DEFAULT = RecordLimits()
_where: list[Callable[[], RecordLimits]] = []


def ask(finder: Callable[[], RecordLimits]) -> None:
    """Say where the plant's limits stand."""
    _where[:] = [finder]


def current() -> RecordLimits:
    """The limits in force."""
    return _where[0]() if _where else DEFAULT
