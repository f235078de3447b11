"""The step ruler: every step of a batch as long as its planned time; done striped, running solid to now, open to come.

Legs that run side by side lie above one another, from the same start; the longer one carries the time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from regenplant.drawing.scene import Item, Rect, Scene, px, share

HEIGHT = 20
LEAST_SHARE = 0.012
"""A step of a few seconds among hours is still drawn this wide, so that none disappears."""

_OPEN = ("waiting",)
_RUNNING = ("running", "rinsing", "held", "overdue", "late")


@dataclass(frozen=True, slots=True)
class RulerStep:
    """One step. ``state`` is a step state ("waiting", "running", "held", "late", "done", "skipped")."""

    name: str
    planned_s: float
    state: str = "waiting"
    done_frac: float = 0.0
    """How far a running step is, 0 to 1."""
    lane: str = ""
    """"cation" or "anion" for a leg that runs beside the other; "" for the whole bed."""


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a step lies: start and width as shares of the ruler, top and height in px."""

    start: float
    width: float
    top: float
    height: float


LANES = {"": (4.0, 12.0), "cation": (1.0, 8.0), "anion": (11.0, 8.0)}
"""Top and height of each lane."""


def step_ruler(steps: Sequence[RulerStep]) -> Scene:
    """The ruler of these steps. An empty list gives an empty ruler that says so."""
    if not steps:
        return Scene("No steps are planned.", HEIGHT, ())
    done: list[Item] = []
    running: list[Item] = []
    for step, place in zip(steps, _places(steps), strict=True):
        if step.state in _RUNNING:
            running += _running(step, place)
        else:
            role = "bar-plan" if step.state in _OPEN else "bar-done"
            done.append(Rect(role, share(place.start), px(place.top), share(place.width), px(place.height)))
    return Scene(_sentence(steps), HEIGHT, tuple(done + running), role="draw ruler")


def _places(steps: Sequence[RulerStep]) -> list[_Place]:
    """Steps of the whole bed one after the other; a run of leg steps side by side, as wide as its longer leg."""
    seconds = _seconds(steps)
    found: list[_Place] = []
    at, ends = 0.0, {"cation": 0.0, "anion": 0.0}
    was_lane = ""
    for step, width in zip(steps, seconds, strict=True):
        if step.lane and not was_lane:
            ends = dict.fromkeys(ends, at)
        if not step.lane and was_lane:
            at = max(ends.values())
        top, height = LANES[step.lane]
        found.append(_Place(ends[step.lane] if step.lane else at, width, top, height))
        if step.lane:
            ends[step.lane] += width
        else:
            at += width
        was_lane = step.lane
    total = max(place.start + place.width for place in found)
    return [_Place(one.start / total, one.width / total, one.top, one.height) for one in found]


def _seconds(steps: Sequence[RulerStep]) -> list[float]:
    """Planned times, none so short that it disappears; steps without any time share the ruler evenly."""
    times = [max(0.0, step.planned_s) for step in steps]
    total = sum(times)
    return [max(LEAST_SHARE * total, time) for time in times] if total > 0 else [1.0] * len(steps)


def _running(step: RulerStep, place: _Place) -> list[Item]:
    done = min(1.0, max(0.0, step.done_frac))
    fill = "amberf" if step.state in ("held", "overdue", "late") else "bar-runf"
    edge = 2.5 if not step.lane else 0.5
    return [
        Rect(
            "bar-run",
            share(place.start),
            px(place.top - edge),
            share(place.width),
            px(place.height + 2 * edge),
        ),
        Rect(
            fill,
            share(place.start),
            px(place.top - edge + 1.5),
            share(place.width * done),
            px(place.height + 2 * edge - 3),
        ),
    ]


def _sentence(steps: Sequence[RulerStep]) -> str:
    at_work = [(number, step) for number, step in enumerate(steps, start=1) if step.state in _RUNNING]
    if at_work:
        return " ".join(_running_sentence(number, step, len(steps)) for number, step in at_work)
    done = sum(step.state not in _OPEN for step in steps)
    if done == len(steps):
        return f"All {len(steps)} steps are done."
    following = next(step for step in steps if step.state in _OPEN)
    return f"{done} of {len(steps)} steps are done. Next: {following.name}."


def _running_sentence(number: int, step: RulerStep, count: int) -> str:
    word = {"held": ", held", "late": ", late", "overdue": ", late"}.get(step.state, "")
    percent = round(100 * min(1.0, max(0.0, step.done_frac)))
    leg = f", {step.lane} leg" if step.lane else ""
    return f"Step {number} of {count}: {step.name}{leg}{word}, {percent} per cent done."
