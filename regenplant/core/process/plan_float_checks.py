"""Checks of a float separation: who floats and who sinks, room and time for it, and whether its solution leaves again.

What the recorded densities say stops the batch; what the model of soaked beads says only warns, for the hydrometer in the
standing solution decides.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from regenplant.core.engineering.float_separation import SOAKED_UNCERTAINTY_KG_PER_M3
from regenplant.core.process.plan import Check, PlannedStep, Severity
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.vocabulary import Chemical, StepKind
from regenplant.core.process.wording import say

_BLOCKER, _WARNING = Severity.BLOCKER, Severity.WARNING
_END_FRAC = 0.001


def float_checks(basis: PlanBasis, steps: Sequence[PlannedStep]) -> list[Check]:
    """Everything that only a float separation is asked."""
    found: list[Check] = []
    for step in steps:
        if step.kind is not StepKind.FLOAT or "anion_floats_frac" not in step.figures:
            continue
        found.extend(_who_floats(basis, step))
        found.extend(_soaked(basis, step))
        found.extend(_room(basis, step))
        found.extend(_time(step))
        found.extend(_displaced(basis, steps, step))
        if step.chemical is Chemical.SODIUM_HYDROXIDE:
            found.append(_hardness_held(basis, step))
    return found


def _share(frac: float) -> str:
    """A share of beads: the ends of the distribution are no figures."""
    if frac < _END_FRAC:
        return f"less than {say(_END_FRAC, 'fraction')}"
    return (
        f"more than {say(1.0 - _END_FRAC, 'fraction')}" if frac > 1.0 - _END_FRAC else say(frac, "fraction")
    )


# --- densities ------------------------------------------------------------------------------------------------------
def _who_floats(basis: PlanBasis, step: PlannedStep) -> Iterator[Check]:
    limits, fed = basis.request.limits, say(step.value("density_kg_per_m3"), "density")
    floats, least = step.value("anion_floats_frac"), limits.float_anion_share_limit_frac
    met = floats >= least
    yield Check(
        "anion_floats",
        met,
        _BLOCKER,
        f"In the solution of {fed} {_share(floats)} of the anion beads float by their density in water, at least "
        f"{say(least, 'fraction')}." + ("" if met else " Most of them sink: take a stronger solution."),
        step.number, floats, least, None, "dimensionless", "fraction",
    )  # fmt: skip
    sinks, least = step.value("cation_sinks_frac"), limits.float_cation_share_limit_frac
    met = sinks >= least
    yield Check(
        "cation_sinks",
        met,
        _BLOCKER,
        f"In the solution of {fed} {_share(sinks)} of the cation beads sink, at least {say(least, 'fraction')}."
        + ("" if met else " What floats ends in the anion resin: take a weaker solution."),
        step.number, sinks, least, None, "dimensionless", "fraction",
    )  # fmt: skip


def _soaked(basis: PlanBasis, step: PlannedStep) -> Iterator[Check]:
    standing, bead = step.value("standing_density_kg_per_m3"), step.value("soaked_anion_density_kg_per_m3")
    share, least = step.value("soaked_anion_floats_frac"), basis.request.limits.float_anion_share_warn_frac
    met = share >= least
    yield Check(
        "soaked_anion_floats",
        met,
        _WARNING,
        f"Once the beads are soaked the solution stands at about {say(standing, 'density')} and the anion beads come to "
        f"{say(bead, 'density')}, give or take {say(SOAKED_UNCERTAINTY_KG_PER_M3, 'density_difference')}: "
        f"{_share(share)} of them float, at least {say(least, 'fraction')}."
        + ("" if met else " Take a stronger solution or more of it; the hydrometer in the vessel decides."),
        step.number, share, least, None, "dimensionless", "fraction",
    )  # fmt: skip


# --- room and time --------------------------------------------------------------------------------------------------
def _room(basis: PlanBasis, step: PlannedStep) -> Iterator[Check]:
    limits, vessel = basis.request.limits, basis.bed(step.leg).vessel
    height = step.value("solution_height_m")
    most = vessel.straight_height_m * (1.0 - limits.height_kept_free_frac)
    met = height <= most
    yield Check(
        "float_height",
        met,
        _BLOCKER,
        f"The solution stands at {say(height, 'length')} with the anion resin at its top; vessel {vessel.code} leaves room to "
        f"{say(most, 'length')}." + ("" if met else " Feed less of it, or load less resin: the anion resin leaves at the top."),
        step.number, height, None, most, "m", "length",
    )  # fmt: skip
    clear, least = step.value("clear_height_m"), limits.float_clear_height_warn_m
    met = clear >= least
    shown = f"{say(clear, 'length')} of clear solution stand" if clear > 0.0 else "No clear solution stands"
    yield Check(
        "float_clear_height",
        met,
        _WARNING,
        f"{shown} between the floating and the sunken resin, at least {say(least, 'length')}."
        + ("" if met else " Feed more of it."),
        step.number, clear, least, None, "m", "length",
    )  # fmt: skip
    lifted = step.figures.get("lifted_cation_height_m")
    if lifted is not None:
        room = height - (basis.bed(step.leg).depth.value - step.value("interface_height_m"))
        met = lifted.value <= room
        yield Check(
            "float_feed",
            met,
            _WARNING,
            f"The flow of {step.name[:1].lower()}{step.name[1:]} lifts the cation resin to {say(lifted.value, 'length')}; the "
            f"floating anion resin begins at {say(room, 'length')}." + ("" if met else " Feed it more slowly."),
            step.number, lifted.value, None, room, "m", "length",
        )  # fmt: skip


def _time(step: PlannedStep) -> Iterator[Check]:
    needed = step.figures.get("parting_time_s")
    if needed is None:
        return
    given = step.value("duration_s")
    met = given >= needed.value
    yield Check(
        "float_time",
        met,
        _WARNING,
        f"Soaked beads need about {say(needed.value, 'duration')} to part in the solution; feeding and standing give them "
        f"{say(given, 'duration')}." + ("" if met else " Let it stand longer, or take a stronger solution."),
        step.number, given, needed.value, None, "s", "duration",
    )  # fmt: skip


# --- what leaves, and what may drop ---------------------------------------------------------------------------------
def _displaced(basis: PlanBasis, steps: Sequence[PlannedStep], step: PlannedStep) -> Iterator[Check]:
    later = next((one for one in steps if one.number > step.number and one.kind is StepKind.DISPLACE), None)
    if later is None:
        return
    seen, least = later.value("volume_m3"), step.value("volume_m3")
    met = seen >= least
    yield Check(
        "float_displaced",
        met,
        _WARNING,
        f"{later.name} pushes {say(seen, 'liquid_volume')} of water behind {say(least, 'liquid_volume')} of solution."
        + ("" if met else " Part of the solution stays in the bed: displace with at least as much."),
        later.number, seen, least, None, "m^3", "liquid_volume",
    )  # fmt: skip


def _hardness_held(basis: PlanBasis, step: PlannedStep) -> Check:
    """Hardness that the brine left on the cation resin comes off in strong caustic and drops."""
    feed, most = basis.request.feed, basis.request.limits.float_hardness_share_warn_frac
    if feed is None or feed.cations_eq_per_m3 <= 0.0:
        return Check(
            "float_hardness",
            False,
            _WARNING,
            "How much hardness the cation resin holds is not known; in caustic it drops as chalk and magnesia. Write down the "
            "feed analysis, or float in brine.",
            step.number,
        )
    share = (feed.calcium_eq_per_m3 + feed.magnesium_eq_per_m3) / feed.cations_eq_per_m3
    met = share <= most
    return Check(
        "float_hardness",
        met,
        _WARNING,
        f"{say(share, 'fraction')} of what the cation resin took up is hardness, at most {say(most, 'fraction')} for a float in "
        "caustic." + ("" if met else " What the brine left of it drops as chalk and magnesia: float in brine."),
        step.number, share, None, most, "dimensionless", "fraction",
    )  # fmt: skip
