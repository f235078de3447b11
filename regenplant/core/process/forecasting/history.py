"""What earlier rinses of the same pool say before the first reading."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import median

from regenplant.core.process.forecasting.rinse_so_far import PastRinse, RinsedBed

_USUAL_ENDPOINT_BV = {
    RinsedBed.CATION_AFTER_ACID: 7.0, RinsedBed.ANION_AFTER_CAUSTIC: 9.0, RinsedBed.MIXED_BED: 6.0,
    RinsedBed.SOFTENER_AFTER_BRINE: 4.0,
}  # fmt: skip
"""Without any history; common practice, good to a factor of two."""
_LONE_SPREAD = 0.70
_USUAL_SPREAD = 0.20
_SPREAD_WORTH = 3.0
"""So many rinses' worth of belief in the usual spread."""
_USUAL_NEVER = 0.15
_NEVER_WORTH = 8.0
_USUAL_SCALE = math.log(0.22)
_USUAL_SCALE_SPREAD = 0.55


@dataclass(frozen=True, slots=True)
class PoolHistory:
    """Natural logarithms of bed volumes throughout."""

    count: int
    """Earlier rinses that reached their end point."""
    centre: float
    spread: float
    """Standard deviation to expect of the next rinse, robust."""
    last: float
    lowest: float
    highest: float
    rough_spread: float
    """Plain standard deviation of the earlier rinses; 0 for fewer than two."""
    trend: float
    """Later half less earlier half."""
    never_frac: float
    given_up_frac: float
    scale_centre: float
    """ln of the tail's last scale (volume for a fall by e) over the end point."""
    scale_spread: float
    decade_ratio: float
    """ln of (volume for the last tenfold fall / end point), median; a usual one without history."""


def of_pool(bed: RinsedBed, history: Sequence[PastRinse]) -> PoolHistory:
    """What is to be expected after these rinses, the oldest first."""
    ends = [math.log(past.endpoint_bv) for past in history if past.endpoint_bv]
    given_up = sum(past.endpoint_bv is None for past in history)
    never = (_USUAL_NEVER * _NEVER_WORTH + given_up) / (_NEVER_WORTH + len(history))
    ratios = [
        math.log(min(past.decade_bv / past.endpoint_bv, 1.2))
        for past in history
        if past.endpoint_bv and past.decade_bv
    ]
    ratio = median(ratios) if ratios else _USUAL_SCALE + math.log(2.3)
    # one more decade-long fall is part of the floor's bend, so that the scale is a little shorter than the ratio says
    scale_centre = ratio - math.log(2.7) if ratios else _USUAL_SCALE
    scale_spread = 0.35 if ratios else _USUAL_SCALE_SPREAD
    given_up_frac = given_up / len(history) if history else 0.0
    if not ends:
        usual = math.log(_USUAL_ENDPOINT_BV[bed])
        return PoolHistory(
            0,
            usual,
            _LONE_SPREAD,
            usual,
            usual,
            usual,
            0.0,
            0.0,
            never,
            given_up_frac,
            scale_centre,
            scale_spread,
            ratio,
        )
    centre = median(ends)
    away = [abs(end - centre) for end in ends]
    robust = 1.4826 * median(away) if len(ends) > 2 else 0.0
    worth = len(ends) - 1
    spread = math.sqrt((worth * robust**2 + _SPREAD_WORTH * _USUAL_SPREAD**2) / (worth + _SPREAD_WORTH))
    spread *= math.sqrt(1.0 + 1.0 / len(ends))
    mean = sum(ends) / len(ends)
    rough = math.sqrt(sum((end - mean) ** 2 for end in ends) / worth) if worth else 0.0
    half = len(ends) // 2
    trend = median(ends[-half:]) - median(ends[:half]) if half >= 2 else 0.0
    return PoolHistory(
        len(ends),
        centre,
        spread,
        ends[-1],
        min(ends),
        max(ends),
        rough,
        trend,
        never,
        given_up_frac,
        scale_centre,
        scale_spread,
        ratio,
    )
