"""Checks of vessels and beds: what a vessel may hold, what it held last, and whether the bed fits it.

A mixed bed whose legs are regenerated apart is checked in two vessels: the whole bed and its cation in the first, the
anion resin in the second.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from regenplant.core.process.plan import Check, Severity, VesselData
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.plan_bed import Bed
from regenplant.core.process.recipe_fit import (
    chemicals_fed,
    not_piped,
    not_piped_sentence,
    runs_apart,
    steps_in,
)
from regenplant.core.process.recipe_rules import needs_rinse_between
from regenplant.core.process.recipes import RecipeStep
from regenplant.core.process.vocabulary import Chemical, Leg, ResinFamily, SegregationClass
from regenplant.core.process.wording import listed, say, say_range

_BLOCKER, _WARNING = Severity.BLOCKER, Severity.WARNING


@dataclass(frozen=True, slots=True)
class _Use:
    """One vessel and what this batch puts into it."""

    vessel: VesselData
    family: ResinFamily
    chemicals: tuple[Chemical, ...]
    """What enters it, in order."""
    piped: tuple[Chemical, ...]
    """What of it comes by the skids; a sanitizer is made up by hand."""
    mixed_family: ResinFamily | None = None
    """Of an anion leg: the mixed bed it belongs to. A vessel made for such mixed beds may hold their anion resin."""


def has_own_anion_vessel(basis: PlanBasis) -> bool:
    """Whether the anion leg of a mixed bed runs in a vessel of its own."""
    return basis.request.resin.family.is_mixed and runs_apart(basis.request.recipe)


def vessel_checks(basis: PlanBasis) -> list[Check]:
    """Recipe, class and vessels against the resin."""
    request = basis.request
    family = request.resin.family
    found = [
        Check(
            "recipe_family",
            request.recipe.family is family,
            _BLOCKER,
            f"Recipe {request.recipe.code} is for {request.recipe.family.label}; the resin is {family.label}."
            if request.recipe.family is not family
            else f"Recipe {request.recipe.code} is for {family.label}.",
        ),
        _regenerable(request.segregation_class, "exchanged" if family.is_exchanged else "regenerated"),
    ]
    for use in _uses(basis):
        found.extend(_vessel(use, request.segregation_class))
    if has_own_anion_vessel(basis):
        found.append(_anion_vessel(basis))
    return found


def _uses(basis: PlanBasis) -> Iterator[_Use]:
    request = basis.request
    apart = has_own_anion_vessel(basis)
    own = steps_in(request.recipe)
    yield _Use(request.vessel, request.resin.family, _chemicals(own), chemicals_fed(own))
    if apart and request.anion_vessel is not None and request.mixed is not None:
        anion = steps_in(request.recipe, anion_vessel=True)
        yield _Use(
            request.anion_vessel,
            request.mixed.anion.family,
            _chemicals(anion),
            chemicals_fed(anion),
            request.resin.family,
        )


def _chemicals(steps: Sequence[RecipeStep]) -> tuple[Chemical, ...]:
    return tuple(step.chemical for step in steps if step.chemical is not None)


def _vessel(use: _Use, segregation_class: str) -> Iterator[Check]:
    vessel = use.vessel
    yield Check(
        "vessel_family",
        use.family in vessel.families or use.mixed_family in vessel.families,
        _BLOCKER,
        f"Vessel {vessel.code} may hold {listed(entry.abbreviation for entry in vessel.families) or 'no family'}; "
        f"the resin is {use.family.abbreviation}.",
    )
    yield Check(
        "vessel_class",
        segregation_class in vessel.segregation_classes,
        _BLOCKER,
        f"Vessel {vessel.code} may hold class {listed(vessel.segregation_classes) or 'none'}; "
        f"this batch is class {segregation_class}.",
    )
    yield Check(
        "vessel_lock_out",
        not vessel.lock_out_reason,
        _BLOCKER,
        f"Vessel {vessel.code} is locked out: {vessel.lock_out_reason}. It starts nothing until the lock-out is lifted."
        if vessel.lock_out_reason
        else f"Vessel {vessel.code} is not locked out.",
    )
    if use.family.is_mixed:
        yield _whole_bed(vessel)
    if vessel.chemicals and use.piped:
        yield _piped(use)
    yield _class_sequence(vessel, segregation_class)
    yield _last_chemical(use)


def _whole_bed(vessel: VesselData) -> Check:
    """A vessel of an anion leg has neither the collector nor the air that a whole mixed bed needs."""
    return Check(
        "vessel_whole_bed",
        not vessel.takes_anion_leg_only,
        _BLOCKER,
        f"Vessel {vessel.code} takes the anion leg of a mixed bed only. Choose a vessel for the whole bed."
        if vessel.takes_anion_leg_only
        else f"Vessel {vessel.code} may hold the whole mixed bed.",
    )


def _piped(use: _Use) -> Check:
    """The lines of the vessel bring what the recipe injects."""
    missing = not_piped(use.piped, use.vessel)
    return Check(
        "vessel_chemicals",
        not missing,
        _BLOCKER,
        f"{not_piped_sentence(missing, use.vessel)} Choose another recipe or another vessel."
        if missing
        else f"What the recipe injects is piped to vessel {use.vessel.code}.",
    )


def _anion_vessel(basis: PlanBasis) -> Check:
    """The anion leg needs a vessel, and not the one where the cation stays."""
    vessel, anion = basis.request.vessel, basis.request.anion_vessel
    if anion is None:
        return Check(
            "anion_vessel",
            False,
            _BLOCKER,
            "The legs are regenerated apart and no vessel is chosen for the anion resin. Choose one.",
        )
    if anion.code == vessel.code:
        return Check(
            "anion_vessel",
            False,
            _BLOCKER,
            f"Vessel {vessel.code} keeps the cation resin; the anion resin needs another vessel. Choose one.",
        )
    return Check("anion_vessel", True, _BLOCKER, f"The anion resin is regenerated in vessel {anion.code}.")


def _regenerable(code: str, verb: str) -> Check:
    known = code in {entry.value for entry in SegregationClass}
    allowed = known and SegregationClass(code).may_be_regenerated
    if allowed:
        sentence = f"Class {code} may be {verb}."
    elif known:
        sentence = (
            f"Class {code} ({SegregationClass(code).label}) enters no batch without a written disposition."
        )
    else:
        sentence = f"{code!r} is no segregation class. Write A, B, C or D."
    return Check("class_regenerable", allowed, _BLOCKER, sentence)


def _class_sequence(vessel: VesselData, now: str) -> Check:
    last = vessel.last_segregation_class
    clean_needed = bool(last) and last != now and now != SegregationClass.INDUSTRIAL.value
    if clean_needed:
        sentence = (
            f"Vessel {vessel.code} last held class {last}; class {now} needs a written clean-down first. "
            "Write the clean-down, or take another vessel."
        )
    elif last and last == now == SegregationClass.DEDICATED.value:
        sentence = f"Vessel {vessel.code} last held class {last}, as now; between two owners it needs a clean-down record."
    else:
        sentence = (
            f"Vessel {vessel.code} last held class {last}; class {now} may follow."
            if last
            else f"Vessel {vessel.code} is clean for class {now}."
        )
    return Check("class_sequence", not clean_needed, _BLOCKER, sentence)


def _last_chemical(use: _Use) -> Check:
    vessel, last = use.vessel, use.vessel.last_chemical
    if last is None or vessel.is_flushed or not use.chemicals:
        return Check("last_chemical", True, _BLOCKER, f"Vessel {vessel.code} is flushed.")
    first = use.chemicals[0]
    if first is last:
        return Check(
            "last_chemical", True, _BLOCKER, f"Vessel {vessel.code} last held {last.label.lower()}, as now."
        )
    reason = clash(last, first)
    return Check(
        "last_chemical",
        False,
        _BLOCKER if reason else _WARNING,
        f"Vessel {vessel.code} last held {last.label.lower()} and is not flushed; {first.label.lower()} comes next. "
        f"{reason or 'Traces carry over.'} Flush it and write the flush.",
    )


def clash(first: Chemical, second: Chemical) -> str:
    """What two chemicals do to each other, as a sentence; "" where traces only carry over."""
    if {first, second} == {Chemical.AMMONIA, Chemical.SODIUM_HYPOCHLORITE}:
        return "Together they form toxic chloramine gas."
    reason = needs_rinse_between(first, second)
    if reason == "acid and caustic react with heat":
        return "They react with heat."
    return f"{reason[:1].upper()}{reason[1:]}." if reason else ""


# --- the beds -------------------------------------------------------------------------------------------------------
def bed_checks(basis: PlanBasis) -> list[Check]:
    """Whether each bed fits its vessel, empty and swollen, and is deep enough for even flow."""
    if basis.request.resin.family.is_exchanged:
        return []  # carbon is exchanged tank by tank
    found = list(_fit(basis, basis.bed(Leg.WHOLE), ""))
    if has_own_anion_vessel(basis):
        found.extend(_fit(basis, basis.bed(Leg.CATION), "Cation leg: ", is_alone=False))
        if basis.request.anion_vessel is not None:
            found.extend(_fit(basis, basis.bed(Leg.ANION), "Anion leg: "))
    return found


def _fit(basis: PlanBasis, bed: Bed, which: str, *, is_alone: bool = True) -> Iterator[Check]:
    """``is_alone`` False: the cation left in the separation vessel, which is rated for the whole mixed bed."""
    vessel, limits = bed.vessel, basis.request.limits
    volume, low, high = bed.volume_m3, vessel.bed_volume_min_m3, vessel.bed_volume_max_m3
    if is_alone:
        if volume < low:
            sentence = f"Too few to start: {say(volume, 'resin_volume')}, vessel {vessel.code} needs {say(low, 'resin_volume')}."
        elif volume > high:
            sentence = (
                f"Too much for vessel {vessel.code}: {say(volume, 'resin_volume')}, at most {say(high, 'resin_volume')}. "
                "Take tanks out."
            )
        else:
            sentence = f"{say(volume, 'resin_volume')} fit vessel {vessel.code}, which takes {say_range(low, high, 'resin_volume')}."
        yield Check(
            "vessel_fill", low <= volume <= high, _BLOCKER, which + sentence, None, volume, low, high, "m^3", "resin_volume"
        )  # fmt: skip
    height, depth = vessel.straight_height_m, bed.depth.value
    swollen_depth = depth * bed.swollen_volume_m3 / volume
    yield Check(
        "bed_height",
        swollen_depth <= height,
        _BLOCKER,
        f"{which}Fully swollen the bed is {say(swollen_depth, 'length')} deep; the vessel has {say(height, 'length')}.",
        None, swollen_depth, None, height, "m", "length",
    )  # fmt: skip
    yield Check(
        "bed_depth",
        depth >= limits.bed_depth_warn_m,
        _WARNING,
        f"{which}The bed is {say(depth, 'length')} deep; even flow wants at least {say(limits.bed_depth_warn_m, 'length')}.",
        None, depth, limits.bed_depth_warn_m, None, "m", "length",
    )  # fmt: skip
