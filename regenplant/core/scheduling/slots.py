"""Sets of time slots as whole numbers: bit t stands for slot t.

A set of 10,000 slots is one number of 1.2 kB, and shifting, joining and cutting it are single operations; what a stage may use and
when it may start is found for all slots at once.
"""

from __future__ import annotations

import numpy as np


def from_flags(flags: np.ndarray) -> int:
    """The set of the slots whose flag is true."""
    return int.from_bytes(np.packbits(flags, bitorder="little").tobytes(), "little")


def whole_runs(free: int, slots: int) -> int:
    """Where ``slots`` free slots begin in a row: the possible starts of something that lasts so long."""
    have = 1
    while have < slots:
        step = min(have, slots - have)
        free &= free >> step
        have += step
    return free


def spreading(slots: int) -> tuple[int, ...]:
    """The shifts that turn each slot of a set into itself and so many slots after it, when each is joined in turn."""
    shifts, have = [], 0
    while have < slots:
        shifts.append(min(have + 1, slots - have))
        have += shifts[-1]
    return tuple(shifts)
