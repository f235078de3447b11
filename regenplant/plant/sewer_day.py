"""What went to the sewer today and what stands in the waste tanks, told from above to the rooms that plan.

Planning asks whether the day still takes a batch; the discharges stand on a floor that planning does not know. That floor says
so in ``AppConfig.ready``: ``sewer_day.tell(day_at)``. Before anybody tells, nothing went and nothing stands.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime

from regenplant.core.process.sewer_budget import Loads


@dataclass(frozen=True, slots=True)
class SewerDay:
    """One plant day as it stands."""

    gone: Loads = field(default_factory=Loads)
    """Discharged on this day."""
    gone_m3: float = 0.0
    standing: Loads = field(default_factory=Loads)
    """What stands in the waste tanks."""
    drained_frac: Mapping[int, float] = field(default_factory=dict)
    """How much of its planned waste a batch has sent to the tank already, by the batch's key; one that is not named: nothing."""


Teller = Callable[[datetime], SewerDay]
_TELLERS: list[Teller] = []


def tell(teller: Teller) -> None:
    """From now on ``teller`` knows; the later one holds."""
    _TELLERS[:] = [teller]


def day_at(now: datetime) -> SewerDay:
    """The plant day of this moment."""
    return _TELLERS[0](now) if _TELLERS else SewerDay()
