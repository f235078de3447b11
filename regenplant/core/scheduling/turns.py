"""How many batches of which length a vessel can unload in one spell: the rounds of rounds.py, more coarsely.

Keys that take equally long in a vessel are one **length**, and of a round only the number of batches of each length is kept: a **turn**.
That is few enough where there are too many keys for rounds. Between two lengths lies the quickest clean-down there is from any key of
the one to any key of the other; no plan is earlier anywhere.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from regenplant.core.scheduling.spells import Spells, Window

MOST_TURNS = 1_000
"""Turns of a vessel in one spell beyond which there are too many for a program."""


@dataclass(frozen=True, slots=True)
class Turn:
    """Some batches that a vessel can unload in one spell."""

    counts: tuple[int, ...]
    """Batches of each length; one at least."""
    free: int
    """The slot in which the last of them can be out, in the order that is quickest."""


class Turns:
    """The lengths of a vessel, and its turns in each spell."""

    def __init__(self, spells: Spells, vessel: int) -> None:
        self._spells = spells
        self._vessel = vessel
        by_length: dict[tuple[int, int], list[int]] = defaultdict(list)
        for key in spells.own[vessel]:
            by_length[spells.before(key, vessel), spells.last_step(key, vessel).slots].append(key)
        self.keys = list(by_length.values())
        """The keys of each length."""
        self._most = [sum(len(spells.tanks_of[key]) for key in keys) for keys in self.keys]
        self._change = [[self._quickest_change(keys, others) for others in self.keys] for keys in self.keys]

    def _quickest_change(self, keys: list[int], others: list[int]) -> int:
        if keys is others:
            return 0  # the same key again needs none
        spells = self._spells
        return min(
            spells.change(self._vessel, spells.state_of[key], spells.state_of[other])
            for key in keys
            for other in others
        )

    def _unload(self, length: int, begin: int) -> int | None:
        """The slot in which a batch of this length can be unloaded that is loaded from ``begin`` on."""
        spells = self._spells
        found = [
            spells.unload_of(spells.smallest[key, self._vessel], max(begin, spells.received(key)))
            for key in self.keys[length]
        ]
        return min((unload for unload in found if unload is not None), default=None)

    def _free(self, length: int, unload: int) -> int:
        return unload + self._spells.last_step(self.keys[length][0], self._vessel).slots

    def of(self, window: Window) -> list[Turn] | None:
        """All turns in a spell; None where they are too many."""
        quickest: dict[tuple[tuple[int, ...], int], int] = {}
        """By counts and the length of the last batch the slot in which that is out."""
        waiting: list[tuple[tuple[int, ...], int, int]] = []
        for length in range(len(self.keys)):
            alone = self._unload(length, self._spells.compiled.ready[self._vessel])
            if alone is not None and alone <= window.end:
                counts = tuple(int(other == length) for other in range(len(self.keys)))
                waiting.append((counts, length, self._free(length, max(alone, window.begin))))
        while waiting:
            counts, last, free = waiting.pop()
            if free >= quickest.get((counts, last), free + 1):
                continue
            quickest[counts, last] = free
            if len(quickest) > MOST_TURNS * len(self.keys):
                return None
            for length, count in enumerate(counts):
                if count == self._most[length]:
                    continue
                unload = self._unload(length, free + self._change[last][length])
                if unload is not None and unload <= window.end:
                    more = (*counts[:length], count + 1, *counts[length + 1 :])
                    waiting.append((more, length, self._free(length, unload)))
        best: dict[tuple[int, ...], int] = {}
        for (counts, _), free in quickest.items():
            best[counts] = min(free, best.get(counts, free))
        return [Turn(counts, free) for counts, free in best.items()] if len(best) <= MOST_TURNS else None
