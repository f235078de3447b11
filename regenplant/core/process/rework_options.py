"""Ways to rework a batch that misses its specification: which make sense, what each would cost, and what to test first.

Proposals, never verdicts. What each costs is an estimate from the batch's own plan. Which way fits which fault is common practice of the
trade; the test named beside it comes first, because the same figure has several causes.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from regenplant.core.process.plan import BatchPlan, PlannedStep
from regenplant.core.process.recipes import CHEMICAL_STEPS
from regenplant.core.process.specification import CONDUCTIVITY
from regenplant.core.process.vocabulary import Chemical, ResinFamily, StepKind

HALF = 0.5
"""Share of the dose that a half injection takes."""


class ReworkKind(StrEnum):
    """What is done to the resin once more."""

    RINSE = "rinse"
    INJECT_HALF = "inject_half"
    INJECT_FULL = "inject_full"
    SEPARATE = "separate"
    CLEAN = "clean"

    @property
    def label(self) -> str:
        """On a button."""
        return _LABELS[self]


_LABELS = {
    ReworkKind.RINSE: "Rinse again",
    ReworkKind.INJECT_HALF: "Inject half the dose again",
    ReworkKind.INJECT_FULL: "Regenerate with the full dose again",
    ReworkKind.SEPARATE: "Separate and regenerate again",
    ReworkKind.CLEAN: "Clean, then regenerate",
}


@dataclass(frozen=True, slots=True)
class Cost:
    """What a way takes, by the plan of the batch. ``chemicals`` in kg as 100 %, water in m³."""

    chemicals: tuple[tuple[Chemical, float], ...]
    water_m3: float
    duration_s: float
    is_beside: str = ""
    """What comes on top and is not in these figures; "" for nothing."""


@dataclass(frozen=True, slots=True)
class ReworkOption:
    """One way, why it is offered, what it would cost and which test to do before it."""

    kind: ReworkKind
    why: str
    cost: Cost
    next_test: str


LEAKS = frozenset(
    {CONDUCTIVITY, "resistivity", "hardness", "silica", "sodium", "chloride", "ph", "alkalinity"}
)
"""Measurements that a resin regenerated too little, or fouled, misses."""
RINSED_OUT = frozenset({CONDUCTIVITY, "resistivity", "chloride", "ph", "rinse_volume"})
"""Measurements that more rinse water mends, as long as the bed gives off what was left of the regenerant."""


def rework_options(
    plan: BatchPlan, missed: Collection[str], *, water_used_up: bool = False
) -> tuple[ReworkOption, ...]:
    """The ways that make sense for this family and what it misses, gentlest first; empty when nothing is missed.

    ``missed``: measurements outside or not met, "rinse_volume" among them. ``water_used_up``: the specification's longest rinse is
    over, so a plain rinse is not offered.
    """
    return tuple(_options(plan, frozenset(missed), water_used_up))


def _options(plan: BatchPlan, missed: frozenset[str], water_used_up: bool) -> Iterator[ReworkOption]:
    family = plan.request.resin.family
    if not missed:
        return
    if missed <= RINSED_OUT and not water_used_up:
        yield ReworkOption(ReworkKind.RINSE, _why_rinse(), _rinse_cost(plan), _RINSE_TEST)
    if family.is_exchanged:
        return
    if missed & LEAKS and _injections(plan):
        yield ReworkOption(
            ReworkKind.INJECT_HALF,
            "The figure is near its limit, and the load was fresh or the dose ran short.",
            _inject_cost(plan, HALF),
            _INJECT_TEST,
        )
        yield ReworkOption(
            ReworkKind.INJECT_FULL,
            "The figure is far from its limit, or a chemical was weak, cold or drawn short.",
            _whole_cost(plan),
            _INJECT_TEST,
        )
    if family.is_mixed and missed & LEAKS:
        yield ReworkOption(
            ReworkKind.SEPARATE,
            "Beads of one resin met the chemical of the other, or the mix came apart at the refill.",
            _whole_cost(plan),
            _SEPARATE_TEST,
        )
    if missed & LEAKS:
        yield ReworkOption(
            ReworkKind.CLEAN,
            "The rinse stands on a plateau, or each regeneration of this lot gives less than the one before.",
            _whole_cost(plan, is_beside="the cleaning itself, by its own recipe"),
            _clean_test(family),
        )


def _why_rinse() -> str:
    return "The reading still falls, and nothing but rinse is missing."


_RINSE_TEST = (
    "Read a second cell in calibration at the same tap, with its temperature, before more water is spent."
)
_INJECT_TEST = "Check the strength of the stock by density and compare the volume drawn with the tank level."
_SEPARATE_TEST = "Take a core sample over the whole depth and count beads of the other resin."


def _clean_test(family: ResinFamily) -> str:
    if family.is_mixed:
        return "Extract the anion resin with brine and look for tea color; test the cation resin for iron."
    if family.is_anion:
        return "Extract a spoon of resin with brine: tea color means organics. Then test for silica in warm caustic."
    return "Soak a pinch of resin in dilute acid: yellow means iron."


# --- what it costs ------------------------------------------------------------------------------------------------------
def _injections(plan: BatchPlan) -> tuple[PlannedStep, ...]:
    return tuple(
        step for step in plan.steps if step.kind in CHEMICAL_STEPS and "chemical_kg_100" in step.figures
    )


def _last_rinse(plan: BatchPlan) -> Sequence[PlannedStep]:
    rinses = [step for step in plan.steps if step.kind.is_judged_rinse]
    return (*rinses[-1:], *(step for step in plan.steps if step.kind is StepKind.SAMPLE))


def _rinse_cost(plan: BatchPlan) -> Cost:
    return _sum(_last_rinse(plan), 1.0)


def _inject_cost(plan: BatchPlan, share: float) -> Cost:
    """From the first chemical on, with this share of it; what stands before, backwash and separation, is not done again."""
    first = min(step.number for step in _injections(plan))
    return _sum([step for step in plan.steps if step.number >= first], share)


def _whole_cost(plan: BatchPlan, *, is_beside: str = "") -> Cost:
    """The plan once more, as it was worked out."""
    totals = plan.totals
    chemicals = tuple(
        (chemical, totals[key].value)
        for chemical in Chemical
        if (key := f"chemical_kg_100:{chemical.value}") in totals
    )
    water = sum(total.value for key, total in totals.items() if key.startswith("water_m3:"))
    return Cost(chemicals, water, totals["duration_s"].value, is_beside)


def _sum(steps: Sequence[PlannedStep], share: float) -> Cost:
    kilograms: dict[Chemical, float] = {}
    water, seconds = 0.0, 0.0
    for step in steps:
        is_dose = step.kind in CHEMICAL_STEPS and step.chemical is not None
        part = share if is_dose else 1.0
        seconds += part * step.value("duration_s")
        if is_dose and step.chemical is not None and "chemical_kg_100" in step.figures:
            kilograms[step.chemical] = kilograms.get(step.chemical, 0.0) + part * step.value(
                "chemical_kg_100"
            )
        key = (
            "dilution_water_m3"
            if is_dose
            else "loop_fill_m3"
            if step.kind is StepKind.RECIRCULATE
            else "volume_m3"
        )
        if step.water is not None and key in step.figures:
            water += part * step.value(key)
    return Cost(tuple(kilograms.items()), water, seconds)
