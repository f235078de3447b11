"""Whoever came first writes first: the line in which the threads of this process wait for SQLite.

SQLite lets a waiting writer look again after ever longer pauses, so that under load one who came late goes first and one who
came early may wait until refused. PostgreSQL keeps its own line. Other processes are not in this line; SQLite orders those.
"""

from __future__ import annotations

import threading
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager


class Line:
    """A lock that is handed on in the order in which it was asked for."""

    def __init__(self) -> None:
        self._guard = threading.Lock()
        self._waiting: deque[threading.Event] = deque()
        self._is_taken = False

    @contextmanager
    def stand(self, longest_wait_s: float) -> Iterator[None]:
        """Wait for the turn and keep it for the block. Raises TimeoutError after ``longest_wait_s`` (seconds, above 0)."""
        self._wait(longest_wait_s)
        try:
            yield
        finally:
            with self._guard:
                if self._waiting:
                    self._waiting.popleft().set()  # stays taken: it is the next one's now
                else:
                    self._is_taken = False

    def _wait(self, longest_wait_s: float) -> None:
        with self._guard:
            if not self._is_taken:
                self._is_taken = True
                return
            called = threading.Event()
            self._waiting.append(called)
        if called.wait(longest_wait_s):
            return
        with self._guard:
            if called.is_set():  # called at the last moment
                return
            self._waiting.remove(called)
        raise TimeoutError(f"Nobody left the line for {longest_wait_s} s.")
