"""A made plan by days: which days it spans, and which hours of a day are drawn, on the page and on paper alike."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import date, timedelta

from regenplant.core.scheduling.problem import Window
from regenplant.core.scheduling.stays import Stay, StayKind
from regenplant.planning.selectors import PlanShown
from regenplant.plant.days import plant_day, start_of_day

SHORTEST_MIN = 8 * 60
"""So much of the time is looked at, at least."""


def plan_window(view: PlanShown, lanes: Iterable[tuple[Stay, ...]]) -> Window:
    """Whole hours from the reading of the plant to the last end of a batch."""
    start = view.clock.now_min // 60 * 60
    last = max(batch.end_min for batch in view.plan.batches)
    ends = [stay.end_min for row in lanes for stay in row if stay.kind is StayKind.RUNNING]
    end = max(last, start + SHORTEST_MIN, *ends)
    return Window(start, -(-end // 60) * 60)


def days_of(view: PlanShown, shown: Window) -> Iterator[date]:
    """Every day that the window touches."""
    day = plant_day(view.clock.moment(shown.start_min))
    while view.clock.minute(start_of_day(day)) < shown.end_min:
        yield day
        day += timedelta(days=1)


def day_window(view: PlanShown, whole: Window, day: date) -> Window:
    """As much of the day as lies in the plan."""
    start, end = (view.clock.minute(start_of_day(each)) for each in (day, day + timedelta(days=1)))
    return Window(max(whole.start_min, start), min(whole.end_min, end))


def hours_of(view: PlanShown, whole: Window, lanes: Iterable[tuple[Stay, ...]], day: date) -> Window | None:
    """The hours of a day that are drawn: those in which something stands in a vessel or somebody works. None where nothing stands."""
    window = day_window(view, whole, day)
    stand = [
        (stay.start_min, stay.end_min)
        for row in lanes
        for stay in row
        if stay.kind is not StayKind.CLOSED
        and stay.start_min < window.end_min
        and window.start_min < stay.end_min
    ]
    if not stand:
        return None
    work = [
        (shift.start_min, shift.end_min)
        for shift in view.problem.operator_shifts
        if shift.start_min < window.end_min and window.start_min < shift.end_min
    ]
    start = max(window.start_min, min(first for first, _ in (*stand, *work)) // 60 * 60)
    end = min(window.end_min, -(-max(last for _, last in (*stand, *work)) // 60) * 60)
    return Window(start, end)


def unstaffed(view: PlanShown, shown: Window) -> Iterator[Window]:
    """When no operator works."""
    free_from = shown.start_min
    for shift in sorted(view.problem.operator_shifts, key=lambda shift: shift.start_min):
        if shift.start_min > free_from:
            yield Window(free_from, min(shift.start_min, shown.end_min))
        free_from = max(free_from, shift.end_min)
        if free_from >= shown.end_min:
            return
    yield Window(free_from, shown.end_min)
