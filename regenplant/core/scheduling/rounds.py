"""What a vessel can unload in one spell: every row of batches that fits, with the earliest times there are.

The first batch of a round may have been made ready before the spell. Each further one is loaded when the one before it is out and the
vessel is cleaned up, and goes through the empty plant as quickly as its smallest batch can; no plan is earlier anywhere.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice
from typing import NamedTuple

from regenplant.core.scheduling.spells import Spells, Window

MOST_ROUNDS = 2_000
"""Rounds of a vessel in one spell beyond which there are too many for a program."""


class Part(NamedTuple):
    """Batches of a key whose last tank is received in this slot; those that are there early enough for the spell are one part."""

    key: int
    received: int


@dataclass(frozen=True, slots=True)
class Round:
    """What a vessel unloads in a spell, in its order; one batch at least."""

    parts: tuple[Part, ...]
    unloads: tuple[int, ...]
    """The slot in which each begins to be unloaded at the earliest."""
    free: int
    """The slot in which the last can be out."""
    changes: tuple[int, ...]
    """Slots of the clean-down before each but the first."""


class Rounds:
    """The rounds of a vessel in a spell."""

    def __init__(self, spells: Spells, vessel: int, window: Window) -> None:
        self._spells = spells
        self._vessel = vessel
        self._window = window
        self._tanks = {
            key: Counter(self.part(key, spells.compiled.received[tank]) for tank in spells.tanks_of[key])
            for key in spells.own[vessel]
        }
        self.all: list[Round] = []
        """One more than ``MOST_ROUNDS`` where there are too many."""
        self.earliest: dict[tuple[int, Part], int] = {}
        """By place and part the slot in which it can begin to be unloaded there; without what is never there."""
        for found in islice(self._from_first(), MOST_ROUNDS + 1):
            self.all.append(found)
            for place, (part, unload) in enumerate(zip(found.parts, found.unloads, strict=True)):
                known = self.earliest.get((place, part), unload)
                self.earliest[place, part] = min(known, unload)

    @property
    def longest(self) -> int:
        """So many batches are in a round at most."""
        return max((len(one.parts) for one in self.all), default=0)

    def part(self, key: int, received: int) -> Part:
        """The part that a batch belongs to whose last tank is received then."""
        spells = self._spells
        first = spells.received(key)
        smallest = spells.smallest[key, self._vessel]
        unload = spells.unload_of(smallest, max(received, spells.compiled.ready[self._vessel]))
        is_early = unload is not None and unload <= self._window.begin
        return Part(key, first if is_early else received)

    def _possible(self) -> Iterator[tuple[Part, int]]:
        """Every part, and how often it may be in a round."""
        for key, tanks in self._tanks.items():
            for part, count in tanks.items():
                yield part, count if part.received > self._spells.received(key) else tanks.total()

    def _from_first(self) -> Iterator[Round]:
        spells, vessel, window = self._spells, self._vessel, self._window
        possible = dict(self._possible())

        def longer(so_far: Round) -> Iterator[Round]:
            yield so_far
            for part, most in possible.items():
                if so_far.parts.count(part) == most:
                    continue
                change = spells.change(
                    vessel, spells.state_of[so_far.parts[-1].key], spells.state_of[part.key]
                )
                begin = max(so_far.free + change, part.received)
                unload = spells.unload_of(spells.smallest[part.key, vessel], begin)
                if unload is not None and unload <= window.end:
                    yield from longer(
                        Round(
                            (*so_far.parts, part),
                            (*so_far.unloads, unload),
                            unload + spells.last_step(part.key, vessel).slots,
                            (*so_far.changes, change),
                        )
                    )

        for part in possible:
            begin = max(part.received, spells.compiled.ready[vessel])
            alone = spells.unload_of(spells.smallest[part.key, vessel], begin)
            if alone is None or alone > window.end:
                continue
            unload = max(alone, window.begin)
            free = unload + spells.last_step(part.key, vessel).slots
            yield from longer(Round((part,), (unload,), free, ()))
