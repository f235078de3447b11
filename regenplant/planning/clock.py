"""Minutes of the day plan: from the beginning of today at the plant, on a grid."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from regenplant.core.scheduling.problem import Shift, Window
from regenplant.planning.figures import WorkingTime
from regenplant.plant.days import plant_day, start_of_day

DAY_MIN = 1440


@dataclass(frozen=True, slots=True)
class PlanClock:
    """Turns moments into minutes and back. A day with a change of the clock is as long as it is."""

    now: datetime
    slot_min: int
    days: int

    @property
    def zero(self) -> datetime:
        """Minute 0: today's beginning at the plant."""
        return start_of_day(plant_day(self.now)).astimezone(UTC)

    @property
    def end_min(self) -> int:
        """The last minute that is planned, on the grid."""
        return self.minute(start_of_day(plant_day(self.now) + timedelta(days=self.days)))

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

    def shifts(self, times: tuple[WorkingTime, ...], what: str) -> tuple[Shift, ...]:
        """People of one kind (a field of WorkingTime) in the days that are planned, from now on."""
        found = []
        for start, end, time in self._worked(times):
            people = getattr(time, what)
            if people and end > self.now_min:
                found.append(Shift(max(start, self.now_min), end, people))
        return tuple(found)

    def openings(self, times: tuple[WorkingTime, ...]) -> tuple[Window, ...]:
        """When an operator is there, neighbouring times as one, from now on."""
        joined: list[Window] = []
        for start, end, time in self._worked(times):
            if not time.operators or end <= self.now_min:
                continue
            start = max(start, self.now_min)
            if joined and start <= joined[-1].end_min:
                joined[-1] = Window(joined[-1].start_min, max(end, joined[-1].end_min))
            else:
                joined.append(Window(start, end))
        return tuple(joined)

    def _worked(self, times: tuple[WorkingTime, ...]) -> Iterator[tuple[int, int, WorkingTime]]:
        """Every working time of every day, from the day before on, in order of time; one past midnight ends on the next day."""
        today = plant_day(self.now)
        found = []
        for offset in range(-1, self.days):
            day = today + timedelta(days=offset)
            begins = start_of_day(day)
            for time in times:
                if day.weekday() not in time.weekdays:
                    continue
                length = (time.end_min - time.start_min) % DAY_MIN or DAY_MIN
                start = self.minute(begins + timedelta(minutes=time.start_min))
                found.append((start, min(start + length, self.end_min), time))
        yield from sorted(
            ((start, end, time) for start, end, time in found if end > start), key=lambda item: item[:2]
        )
