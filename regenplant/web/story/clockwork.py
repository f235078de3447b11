"""Playing many stories at once in the order of time.

A script is a generator that yields the moment at which it wants to go on and acts in between. The clockwork always wakes the
script whose moment is earliest, so acts are recorded in the order in which they happened.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Generator, Sequence
from datetime import datetime

Script = Generator[datetime, None, None]


def side_by_side(
    scripts: Sequence[Generator[datetime, None, datetime]],
) -> Generator[datetime, None, datetime]:
    """Scripts of one story that go on at once, woken in the order of time; returns when the last of them ended."""
    queue: list[tuple[datetime, int]] = []
    ends: list[datetime] = []

    def wake(index: int) -> None:
        try:
            heapq.heappush(queue, (next(scripts[index]), index))
        except StopIteration as ended:
            ends.append(ended.value)

    for index in range(len(scripts)):
        wake(index)
    while queue:
        moment, index = heapq.heappop(queue)
        yield moment
        wake(index)
    return max(ends)


class Clockwork:
    def __init__(self) -> None:
        self._queue: list[tuple[datetime, int, Script]] = []
        self._order = itertools.count()

    def add(self, start: datetime, script: Script) -> None:
        """Let a script begin at ``start``."""
        heapq.heappush(self._queue, (start, next(self._order), script))

    def play(self, until: datetime) -> None:
        """Play everything that happens before ``until``; what would come later never happens."""
        while self._queue and self._queue[0][0] < until:
            _, _, script = heapq.heappop(self._queue)
            wake = next(script, None)
            if wake is not None:
                heapq.heappush(self._queue, (wake, next(self._order), script))
