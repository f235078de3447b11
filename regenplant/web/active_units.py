"""The unit system of the person reading this page, for template filters, which cannot see the context.

Works as Django's active time zone does: a middleware activates it for the request, filters, tables and exports ask
for it. Without an activation it is metric.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

from regenplant.units import SYSTEMS, UnitSystem

_active: ContextVar[UnitSystem] = ContextVar("active_unit_system", default="metric")


def activate(system: str) -> None:
    """Show numbers in this system from now on. An unknown system is a defect: ValueError."""
    for known in SYSTEMS:
        if known == system:
            _active.set(known)
            return
    raise ValueError(f"no unit system “{system}”; known are {', '.join(SYSTEMS)}")


def deactivate() -> None:
    """Back to metric."""
    _active.set("metric")


def active() -> UnitSystem:
    """The system to show numbers in."""
    return _active.get()


@contextmanager
def shown_in(system: str) -> Iterator[None]:
    """Numbers are shown in this system inside the block, and as before after it."""
    before = _active.get()
    activate(system)
    try:
        yield
    finally:
        _active.set(before)
