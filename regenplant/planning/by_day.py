"""A made plan by days: which days it spans, and which hours of a day are drawn, on the page and on paper alike."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import date, timedelta

from regenplant.core.scheduling.problem import Window
from regenplant.core.scheduling.stays import PartKind, Stay, StayKind, stays
from regenplant.planning.selectors import PlanShown
from regenplant.plant.days import plant_day, start_of_day

SHORTEST_MIN = 8 * 60
"""So much of the time is looked at, at least."""


def lanes_of(view: PlanShown) -> dict[str, tuple[Stay, ...]]:
    """Who stands in which vessel; of what runs, only what comes after the reading of the plant is told."""
    now = view.clock.now_min
    return {
        name: tuple(_from(stay, now) for stay in row) for name, row in stays(view.problem, view.plan).items()
    }


def _from(stay: Stay, now_min: int) -> Stay:
    if stay.kind is not StayKind.RUNNING:
        return stay
    parts = (replace(part, start_min=max(part.start_min, now_min)) for part in stay.parts)
    return replace(stay, parts=tuple(part for part in parts if part.start_min < part.end_min))


def plan_window(view: PlanShown, lanes: Iterable[tuple[Stay, ...]]) -> Window:
    """Whole hours from the reading of the plant to the last end of a batch."""
    start = view.clock.now_min // 60 * 60
    last = max(batch.end_min for batch in view.plan.batches)
    ends = [
        stay.end_min
        for row in lanes
        for stay in row
        if stay.kind is StayKind.RUNNING and stay.end_min < view.problem.calendar_end_min
    ]
    end = max(last, start + SHORTEST_MIN, *ends)
    return Window(start, -(-end // 60) * 60)


def days_of(view: PlanShown, shown: Window) -> Iterator[date]:
    """Every day that the window touches."""
    day = plant_day(view.clock.moment(shown.start_min))
    while view.clock.minute(start_of_day(day)) < shown.end_min:
        yield day
        day += timedelta(days=1)


def plan_days(view: PlanShown) -> tuple[date, ...]:
    """Every day from the reading of the plant to the last end of a batch; none for a plan without a batch."""
    if not view.plan.batches:
        return ()
    return tuple(days_of(view, plan_window(view, lanes_of(view).values())))


def day_window(view: PlanShown, whole: Window, day: date) -> Window:
    """As much of the day as lies in the plan."""
    start, end = (view.clock.minute(start_of_day(each)) for each in (day, day + timedelta(days=1)))
    return Window(max(whole.start_min, start), min(whole.end_min, end))


def hours_of(view: PlanShown, whole: Window, lanes: Iterable[tuple[Stay, ...]], day: date) -> Window | None:
    """The hours of a day that are drawn: those in which something is done in a vessel or somebody works. None where nothing is done:
    a bed that only stands, over a weekend, is not drawn."""
    window = day_window(view, whole, day)
    stand = [
        (start, end)
        for row in lanes
        for stay in row
        for start, end in _done(stay)
        if start < window.end_min and window.start_min < end
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


def _done(stay: Stay) -> Iterator[tuple[int, int]]:
    """From when to when something is done with what stands there."""
    if stay.kind is StayKind.CLEANING or (stay.kind is StayKind.PLANNED and not stay.parts):
        yield stay.start_min, stay.end_min
    for part in stay.parts:
        if part.kind is not PartKind.WAIT:
            yield part.start_min, part.end_min


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
