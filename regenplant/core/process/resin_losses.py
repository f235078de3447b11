"""How much resin a cycle loses: what came in and what was topped up, less what went out, for each batch; the rate with its spread.

A single cycle says little, because two counts of settled resin may lie 5 % apart (common practice). The rate is therefore a mean over
cycles, weighted by the volumes (sum over sum), with the standard deviation of the single cycles and a band of the mean from 5 to 95 %
by Student's t. A pooled lot comes from several batches side by side: what is short since the last top-up is followed step by step, each
step the mean over its batches by share. Losses of 1 to 3 % a cycle are usual: common practice of the trade, no limit.

Sources: sample mean, sample standard deviation (n − 1) and band of a mean by Student's t are textbook statistics; the quantiles are
those of NIST/SEMATECH e-Handbook of Statistical Methods, table 1.3.6.7.2 (held against an open library in the tests).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from regenplant.core.engineering.ranges import require_positive, require_within
from regenplant.core.errors import OutOfRange
from regenplant.core.process.resin_lots import COUNT_BAND_FRAC, LOSS_WATCH_FRAC

LEAST_CYCLES = 3
"""A rate of fewer cycles is shown and advises nothing by itself; this program's choice."""
MOST_M3 = 1000.0
"""More is a slip of the unit."""
MOST_CYCLES = 12
"""So many of the newest cycles make the rate; this program's choice."""
ROUNDING = 1e-9
"""A level itself is not past it."""
KNOWN_FRAC = 0.5
"""A step back of which less than this share of the lot is on record ends the count of what is short; this program's choice."""
SHORT_FRAC = COUNT_BAND_FRAC
"""A bed short by so much since its last top-up is short by more than a count can err; this program's choice."""
T95 = (6.314, 2.920, 2.353, 2.132, 2.015, 1.943, 1.895, 1.860, 1.833, 1.812, 1.796)
"""95 % quantile of Student's t for 1 to 11 degrees of freedom."""


@dataclass(frozen=True, slots=True)
class Cycle:
    """The resin of one batch in one form, from its tanks in to its tanks out [m^3]."""

    came_in_m3: float
    topped_up_m3: float
    out_m3: float
    """Filled into tanks, kept in the store, and of a mixed bed cut at the interface."""
    share_frac: float = 1.0
    """Share of the lot that went through it, above 0 to 1 [-]."""
    steps_back: int = 0
    """0 for the batch that made the lot, 1 for those that made what went into it, and so on."""

    @property
    def lost_m3(self) -> float:
        """Below zero where more was counted out than in [m^3]."""
        return self.came_in_m3 + self.topped_up_m3 - self.out_m3

    @property
    def lost_frac(self) -> float:
        """Of what came in [-]."""
        return self.lost_m3 / self.came_in_m3


@dataclass(frozen=True, slots=True)
class LossRate:
    """What cycles lose, shares of what came in [-]."""

    count: int
    mean_frac: float
    sd_frac: float | None
    """Of single cycles; None for one cycle."""
    low_frac: float | None
    """Band of the mean, 5 %; None for one cycle."""
    high_frac: float | None
    """95 %."""
    last_frac: float
    """Of the newest cycle."""
    short_frac: float
    """Lost together since the last top-up, or since it is on record; below zero where counts say more."""
    steps_since: int
    """Regenerations that is."""


def loss_rate(cycles: Sequence[Cycle]) -> LossRate | None:
    """The rate of the newest cycles.

    Parameters
    ----------
    cycles : Sequence[Cycle]
        Oldest first; each with resin that came in, and nothing below zero

    Returns
    -------
    rate : LossRate | None
        None where there is no cycle

    Raises: OutOfRange for volumes that cannot be.
    """
    for one in cycles:
        require_positive(one.came_in_m3, "resin that came in", "m^3")
        require_within(one.topped_up_m3, 0.0, one.came_in_m3 * 2.0, "resin that was added", "m^3")
        require_within(one.out_m3, 0.0, MOST_M3, "resin that went out", "m^3")
        require_within(one.share_frac, 1e-9, 1.000001, "share of the lot")
        if one.lost_frac < -1.0:
            raise OutOfRange(
                f"{one.out_m3 * 1000:.0f} L went out of a batch into which {one.came_in_m3 * 1000:.0f} L came; at most twice that is possible.",
                code="more_out_than_in",
            )
    rows = list(cycles[-MOST_CYCLES:])
    if not rows:
        return None
    mean = sum(one.lost_m3 for one in rows) / sum(one.came_in_m3 for one in rows)
    count = len(rows)
    sd = low = high = None
    if count > 1:
        plain = sum(one.lost_frac for one in rows) / count
        sd = math.sqrt(sum((one.lost_frac - plain) ** 2 for one in rows) / (count - 1))
        half = T95[count - 2] * sd / math.sqrt(count)
        low, high = mean - half, mean + half
    short, steps = _short_since_top_up(cycles)
    return LossRate(count, mean, sd, low, high, rows[-1].lost_frac, short, steps)


def _short_since_top_up(cycles: Sequence[Cycle]) -> tuple[float, int]:
    """What is missing since the last step with a top-up, and over how many steps."""
    by_step: dict[int, list[Cycle]] = {}
    for one in cycles:
        by_step.setdefault(one.steps_back, []).append(one)
    left, steps = 1.0, 0
    for step in range(len(by_step)):
        rows = by_step.get(step, [])
        known = sum(one.share_frac for one in rows)
        if known < KNOWN_FRAC or any(one.topped_up_m3 > 0.0 for one in rows):
            break
        left *= 1.0 - sum(one.share_frac * one.lost_frac for one in rows) / known
        steps += 1
    return 1.0 - left, steps


def reasons_to_top_up(rate: LossRate | None) -> tuple[str, ...]:
    """Why resin is to be added, each a sentence with its figures; none where losses are usual or nobody counted."""
    if rate is None:
        return ()
    watch, found = f"1 to {100 * LOSS_WATCH_FRAC:.0f} % are usual", []
    if rate.short_frac > SHORT_FRAC + ROUNDING and rate.steps_since > 1:
        found.append(
            f"{100 * rate.short_frac:.1f} % of it was lost in the last {rate.steps_since} cycles, and nothing was added."
        )
    if (
        rate.count >= LEAST_CYCLES
        and rate.mean_frac > LOSS_WATCH_FRAC + ROUNDING
        and rate.low_frac is not None
    ):
        band = f"{100 * rate.low_frac:.1f} to {100 * (rate.high_frac or 0.0):.1f} %"
        sure = (
            ""
            if rate.low_frac > LOSS_WATCH_FRAC
            else " So few counts do not prove it: count the bed after the next backwash."
        )
        found.append(
            f"{rate.count} cycles lost {100 * rate.mean_frac:.1f} % each on the average ({band} in nine of ten cases); {watch}.{sure}"
        )
    elif rate.last_frac > LOSS_WATCH_FRAC + ROUNDING:
        found.append(
            f"{100 * rate.last_frac:.1f} % of it was lost in the last cycle; {watch}. One count may be {100 * COUNT_BAND_FRAC:.0f} % off."
        )
    return tuple(found)
