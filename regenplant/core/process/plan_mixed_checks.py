"""Checks of a mixed bed: whether the resins part, where the interface lies, whether the legs balance, the air.

The prediction of a separation is a model of clean beads; the separation record of the cut is the proof.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence

from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.plan import Check, PlannedStep, Severity
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.vocabulary import Leg, LegArrangement, ResinFamily, StepKind
from regenplant.core.process.wording import say

_BLOCKER, _WARNING = Severity.BLOCKER, Severity.WARNING

LEGS_END_APART_FRAC = 0.10
"""How much longer one leg may run than the other where both run in one vessel; common practice."""


def mixed_checks(basis: PlanBasis, steps: Sequence[PlannedStep]) -> list[Check]:
    """Everything that only a mixed bed is asked."""
    if not basis.request.resin.family.is_mixed:
        return []
    found: list[Check] = []
    parted = next((step for step in reversed(steps) if step.kind is StepKind.SEPARATE), None)
    cut = next((step for step in steps if step.kind is StepKind.CUT), None)
    if parted is not None:
        found.extend(_velocity_ratio(basis, steps, parted))
        found.extend(_settling(basis, steps, parted))
    if cut is not None:
        found.extend(_crossing(basis, cut))
    found.extend(_collector(basis, cut))
    if basis.request.recipe.arrangement is LegArrangement.TOGETHER:
        found.extend(_ending_together(steps))
    for step in steps:
        if step.kind is StepKind.AIR_MIX:
            found.extend(_air(basis, step))
    return found


# --- parting --------------------------------------------------------------------------------------------------------
def _velocity_ratio(basis: PlanBasis, steps: Sequence[PlannedStep], step: PlannedStep) -> Iterator[Check]:
    found = step.figures.get("separation_velocity_ratio")
    if found is None:
        return
    own = basis.request.recipe.limits.get("velocity_ratio_min")
    usual = basis.request.limits.velocity_ratio_warn
    floats_later = any(one.kind is StepKind.FLOAT and one.number > step.number for one in steps)
    blocks = own is not None and found.value < own and not floats_later
    least = own if blocks and own is not None else max(usual, own or 0.0)
    met = found.value >= least
    advice = (
        ""
        if met
        else " The float separation after it must part them."
        if floats_later
        else " Exhaust with brine, float the anion resin in a dense solution, or take resins that differ more in size and density."
    )
    yield Check(
        "velocity_ratio",
        met,
        _BLOCKER if blocks else _WARNING,
        f"The cation resin settles {say(found.value, 'ratio')} times as fast as the anion resin, at least {say(least, 'ratio')} for "
        f"layers to part.{advice}",
        step.number, found.value, least, None, "dimensionless", "ratio",
    )  # fmt: skip


def _settling(basis: PlanBasis, steps: Sequence[PlannedStep], parted: PlannedStep) -> Iterator[Check]:
    needed = parted.figures.get("settling_time_s")
    settle = next(
        (step for step in steps if step.kind is StepKind.SETTLE and step.number > parted.number), None
    )
    if needed is None or settle is None:
        return
    planned = settle.value("duration_s")
    yield Check(
        "settling_time",
        planned >= needed.value,
        _WARNING,
        f"The layers settle in about {say(needed.value, 'duration')}; the recipe gives them {say(planned, 'duration')}.",
        settle.number, planned, needed.value, None, "s", "duration",
    )  # fmt: skip


def _crossing(basis: PlanBasis, cut: PlannedStep) -> Iterator[Check]:
    most = basis.request.recipe.limits.get("cross_contamination_max_frac")
    polishing = basis.request.resin.family is ResinFamily.MIXED_BED_POLISHING
    for key, words in (
        ("cation_in_anion_frac", "cation beads in the anion resin, which leak sodium"),
        ("anion_in_cation_frac", "anion beads in the cation resin, which leak chloride"),
    ):
        found = cut.figures.get(key)
        if found is None or most is None:
            continue
        met = found.value <= most
        yield Check(
            "cross_contamination",
            met,
            _BLOCKER if polishing else _WARNING,
            f"After the cut about {say(found.value, 'fraction')} {words}, are to be expected, at most {say(most, 'fraction')}."
            + ("" if met else " Draw off a larger cut, or separate again; the samples at the cut decide."),
            cut.number, found.value, None, most, "dimensionless", "fraction",
        )  # fmt: skip


# --- the collector and the legs -------------------------------------------------------------------------------------
def _collector(basis: PlanBasis, cut: PlannedStep | None) -> Iterator[Check]:
    """Both legs in one vessel leave at the interface collector: it must be there, and at the interface."""
    vessel, limits = basis.request.vessel, basis.request.limits
    together = basis.request.recipe.arrangement is LegArrangement.TOGETHER
    if together:
        has_one = vessel.side_outlet_height_m is not None
        yield Check(
            "interface_collector",
            has_one,
            _BLOCKER,
            f"Vessel {vessel.code} has an interface collector."
            if has_one
            else f"Both legs run at once and vessel {vessel.code} has no interface collector on record. Take a vessel that has one, "
            "or regenerate the legs apart.",
        )
    offset = cut.figures.get("interface_offset_m") if cut is not None else None
    if offset is None or cut is None:
        return
    off = abs(offset.value)
    blocks = together and off > limits.interface_band_limit_m
    allowed = limits.interface_band_limit_m if blocks else limits.interface_band_warn_m
    met = off <= limits.interface_band_warn_m
    where = "above" if offset.value > 0.0 else "below"
    yield Check(
        "interface_height",
        met,
        _BLOCKER if blocks else _WARNING,
        f"The interface is expected {say(off, 'length')} {where} the collector, at most {say(allowed, 'length')}."
        + ("" if met else " Change the resin volumes, or one regenerant reaches the other resin."),
        cut.number, off, None, allowed, "m", "length",
    )  # fmt: skip


def balance_checks(basis: PlanBasis, totals: Mapping[str, Estimate]) -> Iterator[Check]:
    """Acid against caustic: in one vessel a hazard, in two a matter of the drain."""
    found = totals.get("leg_balance_frac")
    if found is None:
        return
    together = basis.request.recipe.arrangement is LegArrangement.TOGETHER
    limits, own = basis.request.limits, basis.request.recipe.limits.get("leg_balance_max_frac")
    most = (
        own
        if own is not None
        else limits.leg_imbalance_limit_frac
        if together
        else limits.leg_imbalance_warn_frac
    )
    met = found.value <= most
    shown = f"Acid and caustic are {say(found.value, 'fraction')} out of balance, at most {say(most, 'fraction')}."
    if met:
        advice = ""
    elif together:
        advice = (
            " Unbalanced acid and caustic heat and can steam in the vessel. Set flows and strengths anew."
        )
    else:
        advice = " Keep their drains apart until both are in the waste tank: they heat where they meet."
    yield Check(
        "leg_balance",
        met,
        _BLOCKER if together else _WARNING,
        shown + advice,
        None, found.value, None, most, "dimensionless", "fraction",
    )  # fmt: skip


def _ending_together(steps: Sequence[PlannedStep]) -> Iterator[Check]:
    """Legs that run at once should end at once: what runs alone pushes the other's resin."""
    for kind in (StepKind.INJECT, StepKind.DISPLACE, StepKind.RINSE):
        times = {
            leg: sum(step.value("duration_s") for step in steps if step.leg is leg and step.kind is kind)
            for leg in (Leg.CATION, Leg.ANION)
        }
        longer, shorter = max(times.values()), min(times.values())
        if longer <= 0.0:
            continue
        apart = (longer - shorter) / longer
        met = apart <= LEGS_END_APART_FRAC
        yield Check(
            "legs_end_together",
            met,
            _WARNING,
            f"{kind.label}: the legs take {say(times[Leg.CATION], 'duration')} and {say(times[Leg.ANION], 'duration')}."
            + ("" if met else " Where one runs alone, keep water flowing in the other to hold the interface."),
            None, apart, None, LEGS_END_APART_FRAC, "dimensionless", "fraction",
        )  # fmt: skip


# --- air ------------------------------------------------------------------------------------------------------------
def _air(basis: PlanBasis, step: PlannedStep) -> Iterator[Check]:
    vessel = basis.request.vessel
    seen, most = step.value("air_flow_m3_per_s"), vessel.air_max_m3_per_s
    if most is None:
        yield Check(
            "air_supply",
            False,
            _BLOCKER,
            f"{step.name} takes {say(seen, 'air_flow')} of air at the pressure in the vessel; no clean air is on record for vessel {vessel.code}. Write it down.",
            step.number,
        )
    else:
        yield Check(
            "air_supply",
            seen <= most,
            _BLOCKER,
            f"{step.name} takes {say(seen, 'air_flow')} of air at the pressure in the vessel; vessel {vessel.code} has {say(most, 'air_flow')}.",
            step.number, seen, None, most, "m^3/s", "air_flow",
        )  # fmt: skip
    level = step.figures.get("water_level_m")
    if level is not None:
        height = vessel.straight_height_m
        yield Check(
            "air_mix_room",
            level.value <= height,
            _BLOCKER,
            f"The water stands at {say(level.value, 'length')} for the air mix; the vessel has {say(height, 'length')}.",
            step.number, level.value, None, height, "m", "length",
        )  # fmt: skip
