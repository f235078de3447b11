"""How the water of a rinse looks in the story: the front of the displacement, a tail, a floor."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta
from random import Random

from regenplant.web.story.plot import Run

FRONT_FRAC, WIDTH_FRAC = 0.22, 0.025
"""Of the planned length: when what stood in the bed has left, and how sharply."""
REACH_FRAC = (0.72, 0.88)
"""Of the planned length: when the limit is met."""


@dataclass(frozen=True, slots=True)
class Curve:
    """Conductivity at 25 °C over the minutes of a rinse. Levels in S/m; invented, in the usual shape (front, tail, floor)."""

    begun: datetime
    plateau: float
    tail: float
    floor: float
    front_min: float
    width_min: float
    decay_min: float
    """The tail falls by a factor e in so many minutes."""

    @classmethod
    def of(
        cls, run: Run, dice: Random, at: datetime, length: timedelta, high: float, *, is_rework: bool
    ) -> Curve:
        """The curve of a run to a limit ``high``: met within its planned length, later where the lot ages, never on a plateau."""
        minutes = length.total_seconds() / 60
        stays_up = run.is_on_a_plateau and not is_rework
        floor = 2.4 if stays_up else 0.93 if run.is_close else dice.uniform(0.35, 0.6)
        reach = minutes * dice.uniform(*REACH_FRAC)
        if run.ages and not is_rework:
            floor = floor if stays_up else 0.45
            reach = minutes * (0.74 + 0.1 * dice.uniform(*REACH_FRAC)) * run.ages
        tail = dice.uniform(13.0, 18.0)
        front = FRONT_FRAC * minutes
        left = math.log(tail / max(1.0 - floor, 0.04))
        return cls(
            begun=at,
            plateau=high * dice.uniform(300, 500),
            tail=high * tail,
            floor=high * floor,
            front_min=front,
            width_min=WIDTH_FRAC * minutes,
            decay_min=(reach - front) / left,
        )

    @classmethod
    def gone_on(cls, at: datetime, high: float) -> Curve:
        """The round of a rinse that goes on: it begins just inside its limit and falls little more."""
        return cls(at, 0.0, high * 0.3, high * 0.4, 0.0, 1.0, 8.0)

    def at(self, moment: datetime) -> float:
        minutes = (moment - self.begun).total_seconds() / 60
        behind = max(minutes - self.front_min, 0.0)
        before = self.plateau / (1.0 + math.exp(min((minutes - self.front_min) / self.width_min, 60.0)))
        return self.floor + self.tail * math.exp(-behind / self.decay_min) + before

    def is_flat(self, moment: datetime) -> bool:
        """Long enough on its plateau for a person to see that it falls no further."""
        minutes = (moment - self.begun).total_seconds() / 60
        return minutes > self.front_min + 4.0 * self.decay_min + 25
