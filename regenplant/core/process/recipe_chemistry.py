"""What may meet what: the chemicals of each resin family, and the prohibitions over a recipe's chemicals.

Each rule follows one body of resin through the recipe. Oxidizers attack resin and set chlorine free where acid is left;
reductants give off sulfur dioxide with acid; acid and caustic react with heat; sulfuric acid left standing on calcium
drops gypsum. The strengths and temperatures are the plant's own limits (``PlantLimits``).
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

from regenplant.core.process.limits import PlantLimits
from regenplant.core.process.recipe_paths import FULL_RINSES, NumberedStep, Offence, between
from regenplant.core.process.recipes import CHEMICAL_STEPS, RecipeDefinition
from regenplant.core.process.vocabulary import Chemical, Leg, Purpose, ResinFamily, StepKind
from regenplant.core.process.wording import listed, say

_ACIDS = (Chemical.HYDROCHLORIC_ACID, Chemical.SULFURIC_ACID)
_OXIDIZERS = (Chemical.SODIUM_HYPOCHLORITE, Chemical.PERACETIC_ACID)

REGENERANTS_BY_FAMILY: dict[str, tuple[Chemical, ...]] = {
    "sac_h": _ACIDS,
    "sac_na": (Chemical.SODIUM_CHLORIDE,),
    "wac_h": _ACIDS,
    "sba_1": (Chemical.SODIUM_HYDROXIDE,),
    "sba_2": (Chemical.SODIUM_HYDROXIDE,),
    "sba_a": (Chemical.SODIUM_HYDROXIDE,),
    "wba": (Chemical.SODIUM_HYDROXIDE, Chemical.SODIUM_CARBONATE, Chemical.AMMONIA),
    "mb": (*_ACIDS, Chemical.SODIUM_HYDROXIDE),
    "mb_p": (*_ACIDS, Chemical.SODIUM_HYDROXIDE),
    "gac": (),
}
"""What brings a family into its regenerated form; by ``ResinFamily`` value. A mixed bed: by leg, see ``LEG_REGENERANTS``."""

CLEANERS_BY_FAMILY: dict[str, tuple[Chemical, ...]] = {
    "sac_h": (Chemical.SODIUM_CHLORIDE, Chemical.SODIUM_DITHIONITE, *_OXIDIZERS),
    "sac_na": (Chemical.HYDROCHLORIC_ACID, Chemical.SODIUM_DITHIONITE, *_OXIDIZERS),
    "wac_h": (),
    "sba_1": (Chemical.SODIUM_CHLORIDE, Chemical.HYDROCHLORIC_ACID, *_OXIDIZERS),
    "sba_2": (Chemical.SODIUM_CHLORIDE, Chemical.HYDROCHLORIC_ACID, *_OXIDIZERS),
    "sba_a": (Chemical.SODIUM_CHLORIDE, Chemical.HYDROCHLORIC_ACID, *_OXIDIZERS),
    "wba": (Chemical.SODIUM_CHLORIDE, Chemical.HYDROCHLORIC_ACID),
    "mb": (Chemical.SODIUM_CHLORIDE,),
    "mb_p": (Chemical.SODIUM_CHLORIDE,),
    "gac": _OXIDIZERS,
}
"""What else may meet a family in cleaning and conditioning; carbon: what may sanitize its emptied tanks."""

CHEMICALS_BY_FAMILY: dict[str, tuple[Chemical, ...]] = {
    family: tuple(dict.fromkeys((*regenerants, *CLEANERS_BY_FAMILY[family])))
    for family, regenerants in REGENERANTS_BY_FAMILY.items()
}
"""Everything that may stand in a recipe of a family, regenerants first; by ``ResinFamily`` value."""

LEG_REGENERANTS: dict[Leg, tuple[Chemical, ...]] = {
    Leg.CATION: _ACIDS,
    Leg.ANION: (Chemical.SODIUM_HYDROXIDE,),
}
"""What regenerates each resin of a mixed bed."""

BEFORE_THE_CUT = (Chemical.SODIUM_CHLORIDE, Chemical.SODIUM_HYDROXIDE)
"""What may exhaust a mixed bed or help it part before the cut."""


def regenerants_of(family: ResinFamily, leg: Leg) -> tuple[Chemical, ...]:
    """What regenerates the resin of this leg."""
    return LEG_REGENERANTS.get(leg) or REGENERANTS_BY_FAMILY[family.value]


def allowed_chemicals(definition: RecipeDefinition, leg: Leg) -> tuple[Chemical, ...]:
    """What a step on this leg may bring, by the purpose of the recipe."""
    if definition.family.is_mixed:
        return LEG_REGENERANTS.get(leg) or BEFORE_THE_CUT
    if definition.purpose is Purpose.REGENERATION:
        return REGENERANTS_BY_FAMILY[definition.family.value]
    return CHEMICALS_BY_FAMILY[definition.family.value]


def needs_rinse_between(first: Chemical, second: Chemical) -> str:
    """Why a displacement and a full rinse must stand between two chemicals; "" where none is needed."""
    pair = (first, second)
    has_acid = any(entry.is_acid for entry in pair)
    has_base = any(entry.is_base for entry in pair)
    has_oxidizer = any(entry.is_oxidizer for entry in pair)
    has_reductant = any(entry.is_reductant for entry in pair)
    if has_acid and has_base:
        return (
            "acid sets carbon dioxide free from soda ash"
            if Chemical.SODIUM_CARBONATE in pair
            else "acid and caustic react with heat"
        )
    if has_acid and has_oxidizer:
        return "an oxidizer sets chlorine or oxygen free in acid"
    if has_acid and has_reductant:
        return "acid sets sulfur dioxide free from a reductant"
    if has_oxidizer and has_reductant:
        return "an oxidizer and a reductant react with heat"
    if has_oxidizer and has_base:
        return "peracetic acid breaks down in caustic, and a sanitizer needs its residual gone"
    return ""


def may_follow_undisplaced(first: Chemical, second: Chemical) -> bool:
    """Whether the second may follow the first in the bed without displacement: the same, or brine and caustic."""
    return first is second or {first, second} == {Chemical.SODIUM_CHLORIDE, Chemical.SODIUM_HYDROXIDE}


# --- rules over one body of resin -----------------------------------------------------------------------------------
def chemistry_offences(
    definition: RecipeDefinition, leg: Leg, path: Sequence[NumberedStep], limits: PlantLimits
) -> Iterator[Offence]:
    """Every rule of chemistry that one body of resin sees broken."""
    chemicals = [entry for entry in path if entry.step.kind in CHEMICAL_STEPS]
    yield from _kinds(definition, leg, chemicals)
    yield from _neighbors(path, chemicals)
    yield from _oxidizers(definition, leg, path, chemicals)
    yield from _reductants(definition, path, chemicals)
    yield from _ammonia(chemicals)
    yield from _sulfuric(definition, chemicals, limits)
    yield from _standing(definition, path)
    yield from _strengths(chemicals, limits)
    yield from _temperatures(definition, chemicals, limits)


def _of(entry: NumberedStep) -> Chemical:
    assert entry.step.chemical is not None
    return entry.step.chemical


def _lower(chemical: Chemical) -> str:
    return chemical.label.lower()


def _kinds(definition: RecipeDefinition, leg: Leg, chemicals: Sequence[NumberedStep]) -> Iterator[Offence]:
    for entry in chemicals:
        chemical, own = _of(entry), entry.step.leg
        allowed = allowed_chemicals(definition, own)
        if chemical not in allowed:
            where = (
                f"in the {own.label} of a mixed bed"
                if definition.family.is_mixed
                else f"on {definition.family.label}"
            )
            purpose = "" if definition.family.is_mixed else f" for {definition.purpose.label}"
            names = listed(_lower(item) for item in allowed) or "nothing"
            yield Offence(
                "chemical_for_family",
                f"{entry.words} brings {_lower(chemical)} {where}{purpose}. Possible: {names}.",
                entry.number,
            )
        if (entry.step.kind is StepKind.SANITIZE) != chemical.is_oxidizer:
            yield Offence(
                "oxidizer_step",
                f"{entry.words} brings {_lower(chemical)}. Oxidizers come by a sanitizing step, all else by injection.",
                entry.number,
            )


def _neighbors(path: Sequence[NumberedStep], chemicals: Sequence[NumberedStep]) -> Iterator[Offence]:
    for earlier, later in pairwise(chemicals):
        first, second = _of(earlier), _of(later)
        displaced = between(path, (StepKind.DISPLACE, *FULL_RINSES), earlier, later)
        rinsed = between(path, FULL_RINSES, earlier, later)
        reason = needs_rinse_between(first, second)
        pushed = between(path, (StepKind.DISPLACE,), earlier, later) or earlier.step.kind is StepKind.SANITIZE
        if reason and not (pushed and rinsed):
            yield Offence(
                "no_rinse_between",
                f"{later.words} brings {_lower(second)} after {_lower(first)} of step {earlier.number} without displacement and "
                f"a full rinse between: {reason}.",
                later.number,
            )
        elif not reason and not displaced and not may_follow_undisplaced(first, second):
            yield Offence(
                "no_displacement_between",
                f"{later.words} follows step {earlier.number} with another chemical. Put a displacement between.",
                later.number,
            )


def _is_salt_before(definition: RecipeDefinition, chemicals: Sequence[NumberedStep], index: int) -> bool:
    """Whether the resin is wholly in a salt form when the chemical step at ``index`` begins."""
    is_salt = definition.family is ResinFamily.SAC_SODIUM
    for entry in chemicals[:index]:
        chemical = _of(entry)
        if chemical is Chemical.SODIUM_CHLORIDE:
            is_salt = True
        elif chemical.is_acid or chemical.is_base:
            is_salt = False
    return is_salt


def _oxidizers(
    definition: RecipeDefinition, leg: Leg, path: Sequence[NumberedStep], chemicals: Sequence[NumberedStep]
) -> Iterator[Offence]:
    if definition.family.is_exchanged:
        return  # there the sanitizer meets the emptied vessel; recipe_order looks after it
    for index, entry in enumerate(chemicals):
        if not _of(entry).is_oxidizer:
            continue
        name = _lower(_of(entry))
        before = [_of(item) for item in chemicals[:index]]
        if any(item.is_acid or item.is_base for item in before):
            yield Offence(
                "oxidizer_after_acid_or_caustic",
                f"{entry.words} brings {name} after acid or caustic in the same recipe: never on hydrogen, hydroxide or "
                "free-base form. Sanitize first, regenerate afterwards.",
                entry.number,
            )
        elif not _is_salt_before(definition, chemicals, index):
            yield Offence(
                "oxidizer_not_on_salt_form",
                f"{entry.words} brings {name} on resin that may still hold hydrogen, hydroxide or free base. Bring it to the "
                "salt form with brine first.",
                entry.number,
            )
        if not any(_of(item) in regenerants_of(definition.family, leg) for item in chemicals[index + 1 :]):
            yield Offence(
                "no_regeneration_after_oxidizer",
                f"{entry.words} brings {name} and no regeneration follows. Regenerate the resin afterwards.",
                entry.number,
            )
        yield from sanitizer_left(definition, path, entry)


def sanitizer_left(
    definition: RecipeDefinition, path: Sequence[NumberedStep], entry: NumberedStep
) -> Iterator[Offence]:
    """A sanitizer is flushed out at once, and the recipe says how much may be left of it."""
    following = next((item.step.kind for item in path if item.number > entry.number), None)
    if following not in (StepKind.DISPLACE, StepKind.RINSE):
        yield Offence(
            "sanitizer_not_rinsed",
            f"{entry.words} is not followed by a rinse. Flush the sanitizer out before anything else.",
            entry.number,
        )
    if "residual_sanitizer_max_kg_per_m3" not in definition.limits:
        yield Offence(
            "no_residual_limit",
            f"{entry.words} sanitizes, and the recipe sets no limit for what is left of the sanitizer. Set one.",
            entry.number,
        )


def _reductants(
    definition: RecipeDefinition, path: Sequence[NumberedStep], chemicals: Sequence[NumberedStep]
) -> Iterator[Offence]:
    for index, entry in enumerate(chemicals):
        if _of(entry).is_reductant and not _is_salt_before(definition, chemicals, index):
            yield Offence(
                "reductant_on_hydrogen_form",
                f"{entry.words} brings {_lower(_of(entry))} on resin that may hold acid: it gives off sulfur dioxide. Bring the "
                "resin to the salt form with brine first.",
                entry.number,
            )


def _ammonia(chemicals: Sequence[NumberedStep]) -> Iterator[Offence]:
    held = {_of(entry) for entry in chemicals}
    if {Chemical.AMMONIA, Chemical.SODIUM_HYPOCHLORITE} <= held:
        entry = next(item for item in reversed(chemicals) if _of(item) is Chemical.SODIUM_HYPOCHLORITE)
        yield Offence(
            "ammonia_with_hypochlorite",
            "Ammonia and hypochlorite never stand in one recipe: together they form toxic chloramine gas.",
            entry.number,
        )


def _sulfuric(
    definition: RecipeDefinition, chemicals: Sequence[NumberedStep], limits: PlantLimits
) -> Iterator[Offence]:
    steps = [entry for entry in chemicals if _of(entry) is Chemical.SULFURIC_ACID]
    weak = definition.family is ResinFamily.WAC_HYDROGEN
    most = limits.sulfuric_weak_acid_strength_max_frac if weak else limits.sulfuric_first_strength_max_frac
    for index, entry in enumerate(steps):
        strength = entry.step.settings["strength_frac"].target
        if strength > most and (weak or index == 0):
            yield Offence(
                "sulfuric_weak_acid" if weak else "sulfuric_first_step",
                f"{entry.words} brings sulfuric acid of {say(strength, 'strength')}; "
                + ("on weak-acid cation at most " if weak else "the first step takes at most ")
                + f"{say(most, 'strength')}, or gypsum drops in the bed.",
                entry.number,
            )
        if index and strength < steps[index - 1].step.settings["strength_frac"].target:
            yield Offence(
                "sulfuric_order",
                f"{entry.words} is weaker than the acid before it. Sulfuric acid rises step by step.",
                entry.number,
            )


def _standing(definition: RecipeDefinition, path: Sequence[NumberedStep]) -> Iterator[Offence]:
    """Where chemical stands in the bed: no hold point, and a soak only where the recipe may have one."""
    standing: Chemical | None = None
    for entry in path:
        step = entry.step
        if step.kind in CHEMICAL_STEPS:
            standing = step.chemical
        if step.kind in (*CHEMICAL_STEPS, StepKind.SOAK) and step.is_safe_hold_after:
            sulfuric = standing is Chemical.SULFURIC_ACID
            yield Offence(
                "sulfuric_hold" if sulfuric else "hold_with_chemical",
                f"{entry.words} is no hold point: "
                + (
                    "sulfuric acid never stands in the bed."
                    if sulfuric
                    else f"chemical stands in {definition.family.stands_in}."
                ),
                entry.number,
            )
        if step.kind is StepKind.SOAK:
            yield from _soak(definition, entry, standing)
        if step.kind in (StepKind.DISPLACE, *FULL_RINSES):
            standing = None


def _soak(definition: RecipeDefinition, entry: NumberedStep, standing: Chemical | None) -> Iterator[Offence]:
    if standing is None:
        yield Offence(
            "soak_without_chemical",
            f"{entry.words} soaks in nothing: no injection stands before it.",
            entry.number,
        )
    elif standing is Chemical.SULFURIC_ACID:
        yield Offence(
            "sulfuric_soak",
            f"{entry.words} lets sulfuric acid stand in the bed; it never pauses, or gypsum drops. Go straight to displacement.",
            entry.number,
        )
    elif definition.purpose not in (Purpose.CLEANING, Purpose.CONDITIONING):
        yield Offence(
            "soak_in_regeneration",
            f"{entry.words} lets {_lower(standing)} stand in the bed. Only a cleaning or a conditioning soaks.",
            entry.number,
        )


def _most_strength(entry: NumberedStep, limits: PlantLimits) -> float | None:
    chemical = _of(entry)
    if entry.step.kind is StepKind.FLOAT and chemical is Chemical.SODIUM_HYDROXIDE:
        return limits.float_caustic_strength_max_frac
    if chemical.is_oxidizer:
        return limits.oxidizer_strength_max_frac
    return {
        Chemical.HYDROCHLORIC_ACID: limits.hydrochloric_strength_max_frac,
        Chemical.SULFURIC_ACID: limits.sulfuric_strength_max_frac,
        Chemical.SODIUM_HYDROXIDE: limits.caustic_strength_max_frac,
    }.get(chemical)


def _strengths(chemicals: Sequence[NumberedStep], limits: PlantLimits) -> Iterator[Offence]:
    for entry in chemicals:
        most, high = _most_strength(entry, limits), entry.step.settings["strength_frac"].high
        if most is not None and high > most * (1.0 + 1e-9):
            why = " Lining, seals and resin set it." if _of(entry) is Chemical.HYDROCHLORIC_ACID else ""
            yield Offence(
                "strength_too_high",
                f"{entry.words} lets {_of(entry).formula} reach {say(high, 'strength')}, at most {say(most, 'strength')} by the "
                f"plant's limits.{why}",
                entry.number,
            )


def _temperatures(
    definition: RecipeDefinition, chemicals: Sequence[NumberedStep], limits: PlantLimits
) -> Iterator[Offence]:
    most = caustic_max_kelvin(definition.family, limits)
    if most is None:
        return
    for entry in chemicals:
        if not _of(entry).is_base or entry.step.kind not in (StepKind.INJECT, StepKind.FLOAT):
            continue
        high = entry.step.settings["temperature_kelvin"].high
        if high > most + 1e-6:
            yield Offence(
                "caustic_too_warm",
                f"{entry.words} lets caustic reach {say(high, 'temperature')}; {definition.family.label} takes at most "
                f"{say(most, 'temperature')} by the plant's limits.",
                entry.number,
            )


def caustic_max_kelvin(family: ResinFamily, limits: PlantLimits) -> float | None:
    """Warmest caustic on a family by the plant's limits [K]; None where only the resin's own limit counts."""
    return {
        ResinFamily.SBA_TYPE_1: limits.caustic_type_1_max_kelvin,
        ResinFamily.SBA_TYPE_2: limits.caustic_type_2_max_kelvin,
        ResinFamily.SBA_ACRYLIC: limits.caustic_acrylic_max_kelvin,
        ResinFamily.MIXED_BED: limits.caustic_type_1_max_kelvin,
        ResinFamily.MIXED_BED_POLISHING: limits.caustic_type_1_max_kelvin,
    }.get(family)
