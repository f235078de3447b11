"""Where resin of a lot is besides the store, and what speaks against using a lot, as rooms above know it.

A room that has resin in its hands says so in ``AppConfig.ready``::

    elsewhere.register("tanks", in_tanks)
    elsewhere.register_stop("batches", of_failed_batches)
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from regenplant.resins.models import ResinLot


@dataclass(frozen=True, slots=True)
class Standing:
    """Resin of a lot somewhere: ``kind`` is "tank" or "batch", ``code`` its serial or number."""

    lot_id: int
    kind: str
    code: str
    where: str
    """In words: "with MOON", "in the plant", "in vessel C1"."""
    exhausted_m3: float
    """In the exhausted form [m^3]."""
    is_in_plant: bool


Finder = Callable[[Sequence[int]], Iterable[Standing]]
Stop = Callable[[ResinLot], Iterable[str]]
_FINDERS: dict[str, Finder] = {}
_STOPS: dict[str, Stop] = {}


def register(name: str, finder: Finder) -> None:
    """Add a finder; a name is registered once, the later one holds."""
    _FINDERS[name] = finder


def register_stop(name: str, stop: Stop) -> None:
    """Add what may speak against using a lot; a name is registered once, the later one holds."""
    _STOPS[name] = stop


def found(lot_ids: Sequence[int]) -> tuple[Standing, ...]:
    """Everywhere outside the store that resin of these lots stands."""
    return tuple(one for name in sorted(_FINDERS) for one in _FINDERS[name](lot_ids))


def against_use(lot: ResinLot) -> tuple[str, ...]:
    """The sentences of all stops; empty when nothing speaks against using it."""
    return tuple(sentence for name in sorted(_STOPS) for sentence in _STOPS[name](lot))
