"""What rooms above tanks hold against a tank's leaving.

A room that knows more about what is in a tank says so in ``AppConfig.ready``::

    guards.register("quality", held_by_quality)

The sentences stand beside the button that ships it, and the shipping is refused with them.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

from regenplant.tanks.models import TankVisit

Guard = Callable[[TankVisit], Iterable[str]]
_GUARDS: dict[str, Guard] = {}


def register(name: str, guard: Guard) -> None:
    """Add a guard; a name is registered once, the later one holds."""
    _GUARDS[name] = guard


def against_shipping(visit: TankVisit) -> tuple[str, ...]:
    """The sentences of all guards; empty when nothing is held against its leaving."""
    return tuple(sentence for name in sorted(_GUARDS) for sentence in _GUARDS[name](visit))
