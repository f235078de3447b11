"""Working times as people write them, a line each: "early 06:00-14:00 Mon-Fri operators 2 technicians 1 second 1"."""

from __future__ import annotations

import re

from regenplant.core.errors import RecordRefused
from regenplant.planning.figures import WorkingTime

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
LINE = re.compile(
    r"(?P<name>[\w ]{1,20}?)\s+(?P<h1>\d{1,2}):(?P<m1>\d{2})\s*[-–]\s*(?P<h2>\d{1,2}):(?P<m2>\d{2})\s+(?P<days>[A-Za-z,\-– ]+?)\s+"
    r"operators\s+(?P<operators>\d{1,3})(?:\s+technicians\s+(?P<technicians>\d{1,3}))?(?:\s+second\s+(?P<second>\d{1,3}))?"
)
HOW = "Write for example: early 06:00-14:00 Mon-Fri operators 2 technicians 1 second 1"


def lines_of(times: tuple[WorkingTime, ...]) -> str:
    """The lines of these working times."""
    return "\n".join(
        f"{time.name} {_clock(time.start_min)}-{_clock(time.end_min)} {_days(time.weekdays)} operators {time.operators} "
        f"technicians {time.technicians} second {time.second_people}"
        for time in times
    )


def times_of(text: str) -> tuple[WorkingTime, ...]:
    """The working times of these lines; empty lines are passed over. Raises: RecordRefused naming the line."""
    found = []
    for number, line in enumerate(text.splitlines(), start=1):
        if not line.strip():
            continue
        match = LINE.fullmatch(line.strip())
        if match is None:
            raise RecordRefused(
                f"Line {number} is not understood. {HOW}", field="working_times", code="unread"
            )
        found.append(
            WorkingTime(
                name=match["name"].strip(),
                start_min=_minute(match["h1"], match["m1"], number),
                end_min=_minute(match["h2"], match["m2"], number),
                operators=int(match["operators"]),
                technicians=int(match["technicians"] or 0),
                second_people=int(match["second"] or 0),
                weekdays=_weekdays(match["days"], number),
            )
        )
    return tuple(found)


def _clock(minute: int) -> str:
    return f"{minute // 60:02d}:{minute % 60:02d}"


def _minute(hours: str, minutes: str, number: int) -> int:
    if int(hours) > 24 or int(minutes) > 59 or (int(hours) == 24 and int(minutes)):
        raise RecordRefused(
            f"Line {number}: {hours}:{minutes} is no time of day. {HOW}", field="working_times", code="unread"
        )
    return int(hours) * 60 + int(minutes)


def _days(weekdays: tuple[int, ...]) -> str:
    days = sorted(weekdays)
    if len(days) > 2 and days == list(range(days[0], days[-1] + 1)):
        return f"{DAYS[days[0]]}-{DAYS[days[-1]]}"
    return ",".join(DAYS[day] for day in days)


def _weekdays(text: str, number: int) -> tuple[int, ...]:
    found: set[int] = set()
    for part in text.replace("–", "-").replace(" ", "").split(","):
        ends = [_weekday(name, number) for name in part.split("-")]
        if len(ends) > 2 or ends[0] > ends[-1]:
            raise RecordRefused(
                f"Line {number}: the days “{part}” are not understood. {HOW}",
                field="working_times",
                code="unread",
            )
        found |= set(range(ends[0], ends[-1] + 1))
    return tuple(sorted(found))


def _weekday(name: str, number: int) -> int:
    short = name[:3].title()
    if short not in DAYS:
        raise RecordRefused(
            f"Line {number}: “{name}” is no day of the week. {HOW}", field="working_times", code="unread"
        )
    return DAYS.index(short)
