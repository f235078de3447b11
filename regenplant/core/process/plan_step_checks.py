"""Checks of single steps: freeboard, carry-over, velocity, pressure, rinse water."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from regenplant.core.engineering.hydraulics import MODEL_UNCERTAINTY_FRAC
from regenplant.core.process.plan import Check, PlannedStep, Severity
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.plan_inject_checks import (
    float_feed_checks,
    hardness_check,
    injection_checks,
    sanitizing_checks,
)
from regenplant.core.process.recipes import CHEMICAL_STEPS, RecipeStep
from regenplant.core.process.vocabulary import Chemical, Leg, ResinFamily, StepKind, WaterKind
from regenplant.core.process.wording import say

_BLOCKER, _WARNING = Severity.BLOCKER, Severity.WARNING

CARRY_OVER_WARN_FRAC = 0.01
"""Share of the beads that a backwash may be expected to carry to the catcher; the trade's usual limit of loss (practice)."""

_DOWNFLOW = (
    StepKind.INJECT,
    StepKind.DISPLACE,
    StepKind.RINSE,
    StepKind.FAST_RINSE,
    StepKind.RECIRCULATE,
)


def step_checks(basis: PlanBasis, steps: Sequence[PlannedStep]) -> list[Check]:
    """All checks that belong to one step."""
    found: list[Check] = []
    last: dict[Leg, Chemical] = {}
    for step, setting in zip(steps, basis.request.recipe.steps, strict=True):
        if step.kind in (StepKind.BACKWASH, StepKind.SEPARATE):
            found.extend(_freeboard(basis, step, setting))
        if step.kind is StepKind.INJECT:
            found.extend(injection_checks(basis, step, setting))
        if step.kind is StepKind.SANITIZE:
            found.extend(sanitizing_checks(step))
        if step.kind is StepKind.FLOAT:
            found.extend(float_feed_checks(basis, step, setting))
        if step.kind in _DOWNFLOW and not basis.request.resin.family.is_exchanged:
            found.extend(_downflow(basis, step))
        found.extend(_rinse_water(basis, step, last.get(step.leg)))
        if "flow_m3_per_s" in step.figures:
            found.extend(_vessel_flow(basis, step))
        if step.kind in CHEMICAL_STEPS and step.chemical is not None:
            legs = (step.leg, Leg.WHOLE) if step.leg is not Leg.WHOLE else tuple(Leg)
            last.update(dict.fromkeys(legs, step.chemical))
    return found


# --- upflow ---------------------------------------------------------------------------------------------------------
def _freeboard(basis: PlanBasis, step: PlannedStep, setting: RecipeStep) -> Iterator[Check]:
    bed = basis.bed(step.leg)
    height, depth = bed.vessel.straight_height_m, bed.depth.value
    expanded = step.value("expanded_height_m")
    worst = depth + (expanded - depth) * (1.0 + MODEL_UNCERTAINTY_FRAC)
    celsius = say(basis.water_kelvin(step.water), "temperature")
    yield Check(
        "freeboard",
        expanded <= height,
        _BLOCKER,
        f"At {celsius} the bed expands to {say(expanded, 'length')}; the vessel has {say(height, 'length')}."
        + ("" if expanded <= height else " Load less resin or take a taller vessel."),
        step.number, expanded, None, height, "m", "length",
    )  # fmt: skip
    yield Check(
        "freeboard_margin",
        worst <= height,
        _WARNING,
        f"If the model is {say(MODEL_UNCERTAINTY_FRAC, 'fraction')} off, the bed reaches {say(worst, 'length')} "
        f"of {say(height, 'length')}.",
        step.number, worst, None, height, "m", "length",
    )  # fmt: skip
    wanted = setting.settings["expansion_frac"]
    seen = step.value("expansion_frac")
    yield Check(
        "expansion",
        seen >= wanted.target,
        _WARNING,
        f"The bed is expanded by {say(seen, 'fraction')}, as the recipe aims."
        if seen >= wanted.target
        else f"The vessel leaves room for {say(seen, 'fraction')} expansion; the recipe aims at {say(wanted.target, 'fraction')}, "
        f"at least {say(wanted.low, 'fraction')}. Backwash longer, or load less.",
        step.number, seen, wanted.target, wanted.high, "dimensionless", "fraction",
    )  # fmt: skip
    yield from _carry_over(step)


def _carry_over(step: PlannedStep) -> Iterator[Check]:
    share, most = step.figures.get("carry_over_frac"), step.figures.get("carry_over_velocity_m_per_s")
    if share is None:
        return
    seen = step.value("linear_velocity_m_per_s")
    met = share.value <= CARRY_OVER_WARN_FRAC
    advice = f" Stay below {say(most.value, 'velocity')}." if not met and most is not None else ""
    yield Check(
        "carry_over",
        met,
        _WARNING,
        f"At {say(seen, 'velocity')} about {say(share.value, 'fraction')} of the beads, the finest and lightest, rise with the "
        f"water, at most {say(CARRY_OVER_WARN_FRAC, 'fraction')}.{advice}",
        step.number, share.value, None, CARRY_OVER_WARN_FRAC, "dimensionless", "fraction",
    )  # fmt: skip


# --- downflow -------------------------------------------------------------------------------------------------------
def _downflow(basis: PlanBasis, step: PlannedStep) -> Iterator[Check]:
    limits = basis.request.limits
    seen = step.value("linear_velocity_m_per_s")
    severity = _BLOCKER if seen > limits.velocity_limit_m_per_s else _WARNING
    allowed = limits.velocity_limit_m_per_s if severity is _BLOCKER else limits.velocity_warn_m_per_s
    yield Check(
        "linear_velocity",
        seen <= limits.velocity_warn_m_per_s,
        severity,
        f"{step.name} flows at {say(seen, 'velocity')} on the bed, at most {say(allowed, 'velocity')}.",
        step.number, seen, None, allowed, "m/s", "velocity",
    )  # fmt: skip
    drop = step.figures.get("pressure_drop_pascal")
    if drop is not None:
        yield Check(
            "pressure_drop",
            drop.value <= limits.pressure_drop_limit_pascal,
            _WARNING,
            f"{step.name} takes {say(drop.value, 'pressure')} over the clean bed, at most {say(limits.pressure_drop_limit_pascal, 'pressure')}.",
            step.number, drop.value, None, limits.pressure_drop_limit_pascal, "pascal", "pressure",
        )  # fmt: skip


def _rinse_water(basis: PlanBasis, step: PlannedStep, last: Chemical | None) -> Iterator[Check]:
    hardens = last in (Chemical.SODIUM_HYDROXIDE, Chemical.SODIUM_CARBONATE)
    if hardens and step.kind is StepKind.DISPLACE:
        yield hardness_check(basis, step)
    family = basis.request.resin.family
    deionizes = family is not ResinFamily.SAC_SODIUM and not family.is_exchanged
    on_regenerated = step.kind.is_judged_rinse or (step.kind is StepKind.RINSE and step.leg is not Leg.WHOLE)
    if on_regenerated and deionizes:
        yield Check(
            "rinse_water",
            step.water is WaterKind.DEIONIZED,
            _WARNING,
            f"{step.name} uses {step.water.label if step.water else 'no water on record'}."
            + (
                ""
                if step.water is WaterKind.DEIONIZED
                else " Anything but deionized water uses up capacity that was just made."
            ),
            step.number,
        )


def _vessel_flow(basis: PlanBasis, step: PlannedStep) -> Iterator[Check]:
    vessel = basis.bed(step.leg).vessel
    most = vessel.max_flow_m3_per_s
    if most is None:
        return
    seen = step.value("flow_m3_per_s")
    yield Check(
        "vessel_flow",
        seen <= most,
        _BLOCKER,
        f"{step.name} flows at {say(seen, 'flow')}; vessel {vessel.code} takes at most {say(most, 'flow')}.",
        step.number, seen, None, most, "m^3/s", "flow",
    )  # fmt: skip
