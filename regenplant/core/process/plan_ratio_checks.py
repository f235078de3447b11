"""Checks of the dose against what the resin holds, for each bed that is regenerated, and of the balance of two legs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.plan import Check, Severity
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.plan_bed import Bed
from regenplant.core.process.plan_mixed_checks import balance_checks
from regenplant.core.process.vocabulary import Chemical, Leg, ResinFamily
from regenplant.core.process.wording import say, say_range

_BLOCKER, _WARNING = Severity.BLOCKER, Severity.WARNING


def ratio_checks(basis: PlanBasis, totals: Mapping[str, Estimate]) -> list[Check]:
    """Ratio and load of each bed, then the balance of the legs."""
    found: list[Check] = []
    for bed in basis.beds:
        end = "" if bed.leg is Leg.WHOLE else f":{bed.leg.value}"
        ratio = totals.get(f"regenerant_ratio_frac{end}")
        if ratio is not None:
            found.extend(_ratio(basis, bed, ratio, totals))
    found.extend(balance_checks(basis, totals))
    return found


def _ratio(basis: PlanBasis, bed: Bed, ratio: Estimate, totals: Mapping[str, Estimate]) -> Iterator[Check]:
    which = "" if bed.leg is Leg.WHOLE else f"{bed.leg.label[:1].upper()}{bed.leg.label[1:]}: "
    start = f"{which}The dose" if which else "The dose"
    enough = ratio.value >= 1.0
    yield Check(
        "regenerant_ratio",
        enough,
        _BLOCKER,
        f"{start} brings {say(ratio.value, 'fraction')} of the equivalents on the resin, at least 100 %."
        + ("" if enough else " Raise the dose or correct the load."),
        None, ratio.value, 1.0, None, "dimensionless", "ratio",
    )  # fmt: skip
    most = basis.request.limits.excess_ratio_warn
    yield Check(
        "regenerant_excess",
        ratio.value <= most,
        _WARNING,
        f"{start} brings {say(ratio.value, 'ratio')} times what the resin holds; above {say(most, 'ratio')} is more likely a slip.",
        None, ratio.value, None, most, "dimensionless", "ratio",
    )  # fmt: skip
    if enough:
        yield from _weak(basis, bed, ratio)
    if is_brined(basis):
        yield _covers_all_sites(bed, which, totals)
    total = bed.resin.total_capacity_eq_per_m3 * bed.volume_m3
    within = bed.load.value <= total
    yield Check(
        "load_within_capacity",
        within,
        _WARNING,
        f"{which}The load is {say(bed.load.value, 'equivalents')}; the resin can hold {say(total, 'equivalents')} in all."
        + ("" if within else " Check the load."),
        None, bed.load.value, None, total, "eq", "equivalents",
    )  # fmt: skip


def is_brined(basis: PlanBasis) -> bool:
    """Whether brine exhausts a mixed bed before its resins part."""
    steps = basis.request.recipe.steps
    return basis.request.resin.family.is_mixed and any(
        step.chemical is Chemical.SODIUM_CHLORIDE and step.leg is Leg.WHOLE for step in steps
    )


def _covers_all_sites(bed: Bed, which: str, totals: Mapping[str, Estimate]) -> Check:
    """After brine every site is in the sodium or chloride form, not only those that the service used up."""
    applied = totals[f"applied_eq:{bed.leg.value}"].value
    sites = bed.resin.total_capacity_eq_per_m3 * bed.volume_m3
    ratio = applied / sites
    met = ratio >= 1.0
    return Check(
        "ratio_after_brine",
        met,
        _WARNING,
        f"{which}After the brine all {say(sites, 'equivalents')} of the resin are exhausted; the dose brings "
        f"{say(ratio, 'fraction')} of them, at least 100 %."
        + ("" if met else " Raise the dose, or part of the resin stays exhausted."),
        None, ratio, 1.0, None, "dimensionless", "ratio",
    )  # fmt: skip


def _weak(basis: PlanBasis, bed: Bed, ratio: Estimate) -> Iterator[Check]:
    """Weak resins take their regenerant almost whole: too little leaves load, much more is only waste."""
    limits = basis.request.limits
    window = {
        ResinFamily.WAC_HYDROGEN: (limits.weak_ratio_low, limits.weak_ratio_high),
        ResinFamily.WBA: (limits.weak_ratio_low, limits.weak_base_ratio_high),
    }.get(bed.resin.family)
    if window is None:
        return
    low, high = window
    inside = low <= ratio.value <= high
    advice = (
        ""
        if inside
        else " Raise the dose."
        if ratio.value < low
        else " Lower the dose; the rest only goes to waste."
    )
    yield Check(
        "weak_ratio",
        inside,
        _WARNING,
        f"{bed.resin.family.abbreviation} takes its regenerant almost whole: {say(ratio.value, 'fraction')} of the load, usual is "
        f"{say_range(low, high, 'fraction')}.{advice}",
        None, ratio.value, low, high, "dimensionless", "ratio",
    )  # fmt: skip
