"""Which waiting tanks go into a vessel together, and why each is in or out.

Plain first-due-first filling: tanks in order of promise, oldest first among equals, as long as the bed stays within the
vessel's largest rated volume. A tank that no longer fits is passed over and a later, smaller one may still go in.
The day plan (a later page) decides across vessels and hours; this is the suggestion for one vessel now.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class WaitingTank:
    key: int
    serial: str
    volume_m3: float
    received_at: datetime
    due_at: datetime | None


@dataclass(frozen=True, slots=True)
class Choice:
    key: int
    is_in: bool
    reason_code: str
    """"due", "oldest", "room", "over" (does not fit any more)."""
    room_left_m3: float
    """Room left in the vessel when this tank was looked at."""


@dataclass(frozen=True, slots=True)
class Selection:
    choices: tuple[Choice, ...]
    volume_m3: float
    short_of_minimum_m3: float
    """What is missing to the vessel's smallest rated bed; 0 when it may start."""


def select_tanks(tanks: Sequence[WaitingTank], *, bed_min_m3: float, bed_max_m3: float) -> Selection:
    """Fill one vessel, first promise first.

    Parameters
    ----------
    tanks : sequence of WaitingTank
        Waiting tanks of one pooling key.
    bed_min_m3 : float
        Smallest rated bed of the vessel, > 0 [m^3]
    bed_max_m3 : float
        Largest rated bed of the vessel, >= bed_min_m3 [m^3]
    """
    ordered = sorted(
        tanks,
        key=lambda tank: (
            tank.due_at is None,
            tank.due_at or tank.received_at,
            tank.received_at,
            tank.serial,
        ),
    )
    choices, volume = [], 0.0
    for tank in ordered:
        room = bed_max_m3 - volume
        fits = tank.volume_m3 <= room + 1e-9
        reason = "over" if not fits else "due" if tank.due_at else "oldest"
        choices.append(Choice(tank.key, fits, reason, room))
        volume += tank.volume_m3 if fits else 0.0
    return Selection(tuple(choices), volume, max(0.0, bed_min_m3 - volume))
