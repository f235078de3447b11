"""Playing many stories at once in the order of time.

A script is a generator that yields the moment at which it wants to go on and acts in between. The clockwork always wakes the
script whose moment is earliest, so acts are recorded in the order in which they happened.
"""

from __future__ import annotations

import heapq
import itertools
from collections.abc import Generator
from datetime import datetime

Script = Generator[datetime, None, None]


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
