"""Displacement of a warm regenerant: with water about as warm, or the bed meets cold water at once.

Common practice, not a number that was read: the displacement of warm caustic runs with the heater of the dilution water
left on, so that silica stays dissolved until it has left the bed, and beads do not crack from the sudden change.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from regenplant.core.process.plan import Check, PlannedStep, Severity
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.recipes import RecipeStep
from regenplant.core.process.vocabulary import Chemical, Leg, StepKind
from regenplant.core.process.wording import say

_FED = (StepKind.INJECT, StepKind.FLOAT)


def _has_heater(basis: PlanBasis, chemical: Chemical) -> bool:
    skid = basis.skid(chemical)
    return skid is not None and skid.heater_max_temperature_kelvin is not None


def leaves_heater_on(basis: PlanBasis, step: RecipeStep, last: RecipeStep | None) -> bool:
    """Whether the heater that warmed the last chemical stays on for this displacement."""
    if (
        last is None
        or last.chemical is None
        or last.kind not in _FED
        or not _has_heater(basis, last.chemical)
    ):
        return False
    wanted = last.settings["temperature_kelvin"].target
    return wanted - basis.water_kelvin(step.water) > basis.request.limits.displacement_cooler_warn_kelvin


def displacement_checks(basis: PlanBasis, steps: Sequence[PlannedStep]) -> Iterator[Check]:
    """How much cooler than what it pushes out the water of each displacement comes [K]."""
    warm: dict[Leg, PlannedStep] = {}
    for step in steps:
        if step.kind in _FED:
            legs = (step.leg, Leg.WHOLE) if step.leg is not Leg.WHOLE else tuple(Leg)
            warm.update(dict.fromkeys(legs, step))
        fed = warm.pop(step.leg, None) if step.kind is StepKind.DISPLACE else None
        if fed is not None and fed.chemical is not None:
            yield _check(basis, step, fed, fed.chemical)


def _check(basis: PlanBasis, step: PlannedStep, fed: PlannedStep, chemical: Chemical) -> Check:
    water, most = basis.water_kelvin(step.water), basis.request.limits.displacement_cooler_warn_kelvin
    cooler = fed.value("temperature_kelvin") - water
    met, heater = cooler <= most, _has_heater(basis, chemical)
    sentence = (
        f"{step.name}: water of {say(water, 'temperature')} follows {chemical.label.lower()} of "
        f"{say(fed.value('temperature_kelvin'), 'temperature')}"
    )
    silica = "silica stays dissolved and " if chemical is Chemical.SODIUM_HYDROXIDE else ""
    if met:
        advice = f"; up to {say(most, 'temperature_rise')} cooler is usual (common practice)."
    elif heater:
        advice = (
            f". Leave the heater on, so that it comes at most {say(most, 'temperature_rise')} cooler: {silica}the beads are "
            "spared a sudden change (common practice)."
        )
    else:
        advice = (
            f", more than {say(most, 'temperature_rise')} cooler, and no heater is on record. Begin slowly: with water about "
            f"as warm {silica}the beads are spared a sudden change (common practice)."
        )
    return Check(
        "displacement_temperature",
        met,
        Severity.NOTE if heater else Severity.WARNING,
        sentence + advice,
        step.number, cooler, None, most, "kelvin", "temperature_rise",
    )  # fmt: skip
