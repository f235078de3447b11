"""The step ruler: every step of a batch as long as its planned time; done striped, running solid to now, open to come."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from regenplant.web.drawing.scene import Item, Rect, Scene, px, share

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


def step_ruler(steps: Sequence[RulerStep]) -> Scene:
    """The ruler of these steps. An empty list gives an empty ruler that says so."""
    if not steps:
        return Scene("No steps are planned.", HEIGHT, ())
    widths = _widths(steps)
    done: list[Item] = []
    running: list[Item] = []
    start = 0.0
    for step, width in zip(steps, widths, strict=True):
        if step.state in _RUNNING:
            running += _running(step, start, width)
        else:
            role = "bar-plan" if step.state in _OPEN else "bar-done"
            done.append(Rect(role, share(start), px(4), share(width), px(12)))
        start += width
    return Scene(_sentence(steps), HEIGHT, tuple(done + running), role="draw ruler")


def _widths(steps: Sequence[RulerStep]) -> list[float]:
    total = sum(max(0.0, step.planned_s) for step in steps)
    if total <= 0:
        return [1 / len(steps)] * len(steps)
    raw = [max(LEAST_SHARE, step.planned_s / total) for step in steps]
    return [width / sum(raw) for width in raw]


def _running(step: RulerStep, start: float, width: float) -> list[Item]:
    done = min(1.0, max(0.0, step.done_frac))
    fill = "amberf" if step.state in ("held", "overdue", "late") else "bar-runf"
    return [
        Rect("bar-run", share(start), px(1.5), share(width), px(17)),
        Rect(fill, share(start), px(3), share(width * done), px(14)),
    ]


def _sentence(steps: Sequence[RulerStep]) -> str:
    for number, step in enumerate(steps, start=1):
        if step.state in _RUNNING:
            word = {"held": ", held", "late": ", late", "overdue": ", late"}.get(step.state, "")
            percent = round(100 * min(1.0, max(0.0, step.done_frac)))
            return f"Step {number} of {len(steps)}: {step.name}{word}, {percent} per cent done."
    done = sum(step.state not in _OPEN for step in steps)
    if done == len(steps):
        return f"All {len(steps)} steps are done."
    return f"{done} of {len(steps)} steps are done. Next: {steps[done].name}."
