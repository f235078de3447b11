"""A plan for metal-bearing resin: nothing of it goes to the waste tank, so no word of the plan says so (EV-02)."""

from __future__ import annotations

from dataclasses import replace

from regenplant.core.process.plan import BatchPlan, Check, EntrySpec, PlannedStep, Severity
from regenplant.core.process.wording import say

METAL_DRAIN = "metal drum or reclaim, never the waste tank or a drain"
_BEFORE_ONLY = ("waste_room", "waste_ph")
"""Checks of the waste tank, which gets nothing of this."""


def for_metal(plan: BatchPlan) -> BatchPlan:
    """The plan with every drain to the metal drum, and without checks of the waste tank."""
    coming = sum(
        step.value("volume_m3") for step in plan.steps if step.drain_to and "volume_m3" in step.figures
    )
    note = Check(
        "metal_drum",
        True,
        Severity.NOTE,
        f"Metal-bearing: all that drains, {say(coming, 'liquid_volume')} as planned, goes to the metal drum or to reclaim, nothing "
        "to the waste tank. See that there is room before the start.",
    )
    kept = tuple(check for check in plan.checks if check.code not in _BEFORE_ONLY)
    return replace(plan, steps=tuple(_step(step) for step in plan.steps), checks=(*kept, note))


def _step(step: PlannedStep) -> PlannedStep:
    return replace(
        step,
        drain_to=METAL_DRAIN if step.drain_to else "",
        instruction=_words(step.instruction),
        entries=tuple(_entry(entry) for entry in step.entries),
    )


def _entry(entry: EntrySpec) -> EntrySpec:
    return replace(entry, name=_words(entry.name), help=_words(entry.help))


def _words(text: str) -> str:
    for said in ("drain or waste tank", "waste tank"):
        text = text.replace(said, "metal drum")
    return text
