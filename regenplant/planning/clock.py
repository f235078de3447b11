"""Minutes of the day plan: from the beginning of today at the plant, on a grid."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from regenplant.core.scheduling.problem import Shift, Window
from regenplant.planning.figures import WorkingTime
from regenplant.plant.days import profile

DAY_MIN = 1440


@dataclass(frozen=True, slots=True)
class PlanClock:
    """Turns moments into minutes and back. A day with a change of the clock is as long as it is."""

    now: datetime
    slot_min: int
    days: int
    zone: ZoneInfo = field(init=False, compare=False)
    """Of the plant, read once."""
    zero: datetime = field(init=False, compare=False)
    """Minute 0: today's beginning at the plant."""

    def __post_init__(self) -> None:
        object.__setattr__(self, "zone", ZoneInfo(profile().time_zone))
        object.__setattr__(self, "zero", self._begins(self._today).astimezone(UTC))

    @property
    def _today(self) -> date:
        return self.now.astimezone(self.zone).date()

    def _begins(self, day: date) -> datetime:
        """The moment at which this day begins at the plant, in its zone: hours that are added to it are those of its clock."""
        return datetime.combine(day, time(), self.zone)

    @property
    def end_min(self) -> int:
        """The last minute that is planned, on the grid."""
        return self.minute(self._begins(self._today + timedelta(days=self.days)))

    @property
    def now_min(self) -> int:
        """Now, on the grid, never earlier than it is."""
        return self.minute(self.now)

    def minute(self, moment: datetime) -> int:
        """A moment on the grid, rounded up; below 0 before today."""
        minutes = (moment.astimezone(UTC) - self.zero).total_seconds() / 60
        return -(-int(-(-minutes // 1)) // self.slot_min) * self.slot_min

    def moment(self, minute: int) -> datetime:
        """The moment of a minute."""
        return self.zero + timedelta(minutes=minute)

    def words(self, minute: float) -> str:
        """The moment of a minute by the clock at the plant, with its day: "Fri 2026-11-27 14:05"."""
        return f"{self.moment(round(minute)).astimezone(self.zone):%a %Y-%m-%d %H:%M}"

    def shifts(self, times: tuple[WorkingTime, ...], what: str) -> tuple[Shift, ...]:
        """People of one kind (a field of WorkingTime) in the days that are planned, from now on."""
        found = []
        for start, end, one in self._worked(times):
            people = getattr(one, what)
            if people and end > self.now_min:
                found.append(Shift(max(start, self.now_min), end, people))
        return tuple(found)

    def openings(self, times: tuple[WorkingTime, ...]) -> tuple[Window, ...]:
        """When an operator is there, neighbouring times as one, from now on."""
        joined: list[Window] = []
        for start, end, one in self._worked(times):
            if not one.operators or end <= self.now_min:
                continue
            start = max(start, self.now_min)
            if joined and start <= joined[-1].end_min:
                joined[-1] = Window(joined[-1].start_min, max(end, joined[-1].end_min))
            else:
                joined.append(Window(start, end))
        return tuple(joined)

    def _worked(self, times: tuple[WorkingTime, ...]) -> Iterator[tuple[int, int, WorkingTime]]:
        """Every working time of every day, from the day before on, in order of time; one past midnight ends on the next day."""
        today = self._today
        found = []
        for offset in range(-1, self.days):
            day = today + timedelta(days=offset)
            begins = self._begins(day)
            for one in times:
                if day.weekday() not in one.weekdays:
                    continue
                length = (one.end_min - one.start_min) % DAY_MIN or DAY_MIN
                start = self.minute(begins + timedelta(minutes=one.start_min))
                found.append((start, min(start + length, self.end_min), one))
        yield from sorted(
            ((start, end, one) for start, end, one in found if end > start), key=lambda item: item[:2]
        )
