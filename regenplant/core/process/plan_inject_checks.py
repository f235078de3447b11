"""Checks of a chemical at the bed: kind, contact, strength, temperature, heater, gypsum, hardness."""

from __future__ import annotations

from collections.abc import Iterator

from regenplant.core.engineering.ions import calcium_carbonate_from_eq_per_m3
from regenplant.core.process.plan import Check, PlannedStep, Severity
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.recipe_chemistry import BEFORE_THE_CUT, caustic_max_kelvin
from regenplant.core.process.recipe_rules import CHEMICALS_BY_FAMILY, LEG_REGENERANTS, REGENERANTS_BY_FAMILY
from regenplant.core.process.recipes import RecipeStep
from regenplant.core.process.vocabulary import Chemical, Leg, Purpose, ResinFamily, StepKind, WaterKind
from regenplant.core.process.wording import listed, say, say_range

_BLOCKER, _WARNING = Severity.BLOCKER, Severity.WARNING

STRENGTH_WINDOW_FRAC = {
    Chemical.HYDROCHLORIC_ACID: (0.04, 0.10),
    Chemical.SULFURIC_ACID: (0.01, 0.08),
    Chemical.SODIUM_HYDROXIDE: (0.03, 0.06),
    Chemical.SODIUM_CARBONATE: (0.04, 0.06),
    Chemical.AMMONIA: (0.01, 0.04),
    Chemical.SODIUM_CHLORIDE: (0.08, 0.15),
    Chemical.SODIUM_DITHIONITE: (0.01, 0.04),
    Chemical.SODIUM_HYPOCHLORITE: (1e-4, 0.0025),
    Chemical.PERACETIC_ACID: (5e-4, 0.002),
}
"""Usual strength at the bed: HCl 5 to 10 and NaOH 4 to 6 read, all else and the wider ends common practice or from memory.
A warning, no blocker."""

FLOAT_STRENGTH_WINDOW_FRAC = {
    Chemical.SODIUM_CHLORIDE: (0.10, 0.26),
    Chemical.SODIUM_HYDROXIDE: (0.08, 0.16),
}
"""Usual strength of the solution of a float separation; common practice. Below about 20 % of salt and 13 % of caustic soaked
anion beads may sink again; a check of its own says so for the resin at hand."""

WEAK_STRENGTH_WINDOW_FRAC = {
    (ResinFamily.WAC_HYDROGEN, Chemical.HYDROCHLORIC_ACID): (0.02, 0.05),
    (ResinFamily.WAC_HYDROGEN, Chemical.SULFURIC_ACID): (0.004, 0.008),
    (ResinFamily.WBA, Chemical.SODIUM_HYDROXIDE): (0.02, 0.05),
}
"""The same on weak resins; common practice."""


def injection_checks(basis: PlanBasis, step: PlannedStep, setting: RecipeStep) -> Iterator[Check]:
    """All checks of one injection."""
    yield _suited(basis, step)
    contact, least = step.value("contact_time_s"), setting.settings["contact_time_s"].low
    yield Check(
        "contact_time",
        contact >= least,
        _BLOCKER,
        f"The regenerant flows for {say(contact, 'duration')}, at least {say(least, 'duration')}."
        + ("" if contact >= least else f" Lower the flow to {say(step.value('flow_m3_per_s') * contact / least, 'flow')} or less."),
        step.number, contact, least, None, "s", "duration",
    )  # fmt: skip
    yield _strength(basis, step)
    yield from _temperature(basis, step, setting)
    if step.chemical in (Chemical.SODIUM_HYDROXIDE, Chemical.SODIUM_CARBONATE):
        yield hardness_check(basis, step)
        yield from _solids(basis, step)
    if step.chemical is Chemical.SULFURIC_ACID:
        yield from _gypsum(basis, step)


def float_feed_checks(basis: PlanBasis, step: PlannedStep, setting: RecipeStep) -> Iterator[Check]:
    """What a float separation shares with an injection: kind, strength, warmth, and what its water drops."""
    yield _suited(basis, step)
    window = FLOAT_STRENGTH_WINDOW_FRAC.get(step.chemical) if step.chemical is not None else None
    if window is not None:
        yield _window(step, *window)
    yield from _temperature(basis, step, setting)
    if step.chemical is Chemical.SODIUM_HYDROXIDE:
        yield hardness_check(basis, step)
        yield from _solids(basis, step)


def sanitizing_checks(step: PlannedStep) -> Iterator[Check]:
    """Strength of a sanitizer; contact and residual are written down as they are measured."""
    assert step.chemical is not None
    low, high = STRENGTH_WINDOW_FRAC[step.chemical]
    yield _window(step, low, high)


def _suited(basis: PlanBasis, step: PlannedStep) -> Check:
    """Whether the chemical has a place on this resin, by leg and by the purpose of the recipe."""
    assert step.chemical is not None
    resin, purpose = basis.bed(step.leg).resin, basis.request.recipe.purpose
    if basis.request.resin.family.is_mixed:
        suited = LEG_REGENERANTS.get(step.leg) or BEFORE_THE_CUT
    elif purpose is Purpose.REGENERATION:
        suited = REGENERANTS_BY_FAMILY[resin.family.value]
    else:
        suited = CHEMICALS_BY_FAMILY[resin.family.value]
    fits = step.chemical in suited
    names = listed(entry.label for entry in suited) or "nothing"
    if purpose is not Purpose.REGENERATION or (step.leg is Leg.WHOLE and basis.request.resin.family.is_mixed):
        sentence = f"{step.chemical.label} " + (
            f"may meet {resin.family.label}." if fits else f"never meets {resin.family.label}; {names} may."
        )
    else:
        sentence = (
            f"{step.chemical.label} regenerates {resin.family.label}."
            if fits
            else f"{step.chemical.label} regenerates no {resin.family.label}; {names} does."
        )
    return Check("chemical_for_family", fits, _BLOCKER, sentence, step.number)


def _strength(basis: PlanBasis, step: PlannedStep) -> Check:
    assert step.chemical is not None
    family = basis.bed(step.leg).resin.family
    low, high = WEAK_STRENGTH_WINDOW_FRAC.get((family, step.chemical)) or STRENGTH_WINDOW_FRAC[step.chemical]
    return _window(step, low, high)


def _window(step: PlannedStep, low: float, high: float) -> Check:
    assert step.chemical is not None
    seen = step.value("strength_frac")
    where = "as it is fed" if step.kind in (StepKind.SANITIZE, StepKind.FLOAT) else "at the bed"
    return Check(
        "strength_window",
        low <= seen <= high,
        _WARNING,
        f"{step.chemical.formula} of {say(seen, 'strength')} {where}; usual is {say_range(low, high, 'strength')}.",
        step.number, seen, low, high, "dimensionless", "strength",
    )  # fmt: skip


# --- temperature ----------------------------------------------------------------------------------------------------
def _temperature(basis: PlanBasis, step: PlannedStep, setting: RecipeStep) -> Iterator[Check]:
    seen = step.value("temperature_kelvin")
    if (
        "unheated_temperature_kelvin" in step.figures
        and "dilution_water_temperature_kelvin" not in step.figures
    ):
        # Nothing heats or cools this blend: judge what it will be, also where the density table had to stop.
        seen = step.value("unheated_temperature_kelvin")
    allowed = setting.settings["temperature_kelvin"]
    inside = allowed.low <= seen <= allowed.high
    yield Check(
        "injection_temperature",
        inside,
        _BLOCKER,
        f"{step.name} comes at {say(seen, 'temperature')} and needs {say_range(allowed.low, allowed.high, 'temperature')}."
        + ("" if inside else " Warm the dilution water." if seen < allowed.low else " Take cooler water or a weaker blend."),
        step.number, seen, allowed.low, allowed.high, "kelvin", "temperature",
    )  # fmt: skip
    yield from _bearable(basis, step, seen, allowed.high)
    blend = step.figures.get("unheated_temperature_kelvin")
    if blend is not None:
        bearable = basis.request.limits.blend_temperature_limit_kelvin
        yield Check(
            "heat_of_dilution",
            blend.value <= bearable,
            _BLOCKER,
            f"Blending alone brings {step.name.lower()} to {say(blend.value, 'temperature')}, at most {say(bearable, 'temperature')}.",
            step.number, blend.value, None, bearable, "kelvin", "temperature",
        )  # fmt: skip
    yield from _heater(basis, step)


def _bearable(basis: PlanBasis, step: PlannedStep, seen: float, recipe_high: float) -> Iterator[Check]:
    """What the resin bears, by its own sheet; for caustic also by the plant's limit of the family."""
    assert step.chemical is not None
    resin = basis.bed(step.leg).resin
    most = resin.max_temperature_kelvin
    yield Check(
        "resin_temperature",
        seen <= most,
        _BLOCKER,
        f"{step.name} comes at {say(seen, 'temperature')}; resin {resin.type_code} bears at most {say(most, 'temperature')}.",
        step.number, seen, None, most, "kelvin", "temperature",
    )  # fmt: skip
    yield Check(
        "recipe_temperature",
        recipe_high <= most,
        _WARNING,
        f"The recipe lets the feed reach {say(recipe_high, 'temperature')}; resin {resin.type_code} bears "
        f"at most {say(most, 'temperature')}.",
        step.number, recipe_high, None, most, "kelvin", "temperature",
    )  # fmt: skip
    family_most = caustic_max_kelvin(resin.family, basis.request.limits)
    if step.chemical.is_base and family_most is not None:
        yield Check(
            "caustic_temperature",
            seen <= family_most + 1e-6,
            _BLOCKER,
            f"{step.name} comes at {say(seen, 'temperature')}; {resin.family.label} takes caustic of at most "
            f"{say(family_most, 'temperature')}.",
            step.number, seen, None, family_most, "kelvin", "temperature",
        )  # fmt: skip


def _heater(basis: PlanBasis, step: PlannedStep) -> Iterator[Check]:
    assert step.chemical is not None
    skid = basis.skid(step.chemical)
    needed = step.figures.get("dilution_water_temperature_kelvin")
    if skid is None or skid.heater_max_temperature_kelvin is None or needed is None:
        return
    most = skid.heater_max_temperature_kelvin
    yield Check(
        "heater",
        needed.value <= most,
        _BLOCKER,
        f"The dilution water must come at {say(needed.value, 'temperature')}; the heater of {skid.code} gives at most {say(most, 'temperature')}.",
        step.number, needed.value, None, most, "kelvin", "temperature",
    )  # fmt: skip
    time = step.figures.get("heater_time_s")
    if time is not None:
        fed = step.value("duration_s")
        met = time.value <= fed
        yield Check(
            "heater_time",
            met,
            _WARNING,
            f"The heater of {skid.code} needs {say(time.value, 'duration')} for this water; the injection takes {say(fed, 'duration')}."
            + ("" if met else f" Warm a tank of water {say(time.value - fed, 'duration')} ahead, or feed more slowly."),
            step.number, time.value, None, fed, "s", "duration",
        )  # fmt: skip


# --- what may drop in the bed ---------------------------------------------------------------------------------------
def _gypsum(basis: PlanBasis, step: PlannedStep) -> Iterator[Check]:
    """Saturation of gypsum in the spent acid against the limits of the recipe, else of the plant."""
    if step.number == _first_sulfuric(basis):
        yield _calcium_share(basis, step)
    found = step.figures.get("gypsum_index")
    if found is None:
        return
    limits, own = basis.request.limits, basis.request.recipe.limits
    warn = own.get("gypsum_index_warn", limits.gypsum_index_warn)
    stop = own.get("gypsum_index_stop", limits.gypsum_index_stop)
    blocks = found.value > stop
    allowed = stop if blocks else warn
    met = found.value <= warn
    advice = (
        "" if met else " Weaken the acid of this step, or take hydrochloric acid; more flow does not lower the index."
        if blocks
        else " Keep the flow up and do not pause; look at the drain for crystals."
    )  # fmt: skip
    yield Check(
        "gypsum",
        met,
        _BLOCKER if blocks else _WARNING,
        f"The saturation index of gypsum in the spent acid of {step.name[:1].lower()}{step.name[1:]} is {_index(found.value)}, "
        f"at most {_index(allowed)}.{advice}",
        step.number, found.value, None, allowed, "dimensionless", "index",
    )  # fmt: skip


def _index(value: float) -> str:
    """Two decimals: a limit is missed by hundredths, and 0.5 of at most 0.5 says nothing."""
    return f"{value:.2f}".replace("-", "−")


def _first_sulfuric(basis: PlanBasis) -> int:
    """Number of the first step of sulfuric acid: what is said of the resin is said once, there."""
    return next(
        number
        for number, step in enumerate(basis.request.recipe.steps, start=1)
        if step.chemical is Chemical.SULFURIC_ACID
    )


def _calcium_share(basis: PlanBasis, step: PlannedStep) -> Check:
    feed = basis.request.feed
    known = feed is not None and feed.cations_eq_per_m3 > 0.0
    return Check(
        "calcium_share",
        known,
        _WARNING,
        "The share of calcium on the resin comes from the feed analysis."
        if known
        else "The share of calcium on the resin is not known and assumed; gypsum depends on it. Write down the feed analysis.",
        step.number,
    )


def hardness_check(basis: PlanBasis, step: PlannedStep) -> Check:
    """Hardness of the water that meets caustic or soda ash."""
    limits = basis.request.limits
    supply = basis.water(step.water)
    if supply is None:
        return Check(
            "caustic_hardness",
            False,
            _BLOCKER,
            f"No water is on record for {step.name}; its hardness is not known.",
            step.number,
        )
    seen = calcium_carbonate_from_eq_per_m3(supply.hardness_eq_per_m3)
    warn = calcium_carbonate_from_eq_per_m3(limits.caustic_hardness_warn_eq_per_m3)
    most = calcium_carbonate_from_eq_per_m3(limits.caustic_hardness_limit_eq_per_m3)
    met = supply.hardness_eq_per_m3 <= limits.caustic_hardness_warn_eq_per_m3
    severity = _BLOCKER if supply.hardness_eq_per_m3 > limits.caustic_hardness_limit_eq_per_m3 else _WARNING
    allowed = most if severity is _BLOCKER else warn
    return Check(
        "caustic_hardness",
        met,
        severity,
        f"The {supply.kind.label} for {step.name} has {say(seen, 'hardness')}, at most {say(allowed, 'hardness')}."
        + ("" if met else f" Hardness drops out as chalk and magnesia in caustic: {_softer(supply.kind)}."),
        step.number, seen, None, allowed, "kg/m^3", "hardness",
    )  # fmt: skip


def _softer(kind: WaterKind) -> str:
    if kind is WaterKind.RAW:
        return "take softened or deionized water"
    return f"find out why the {kind.label} is hard before you use it"


def _solids(basis: PlanBasis, step: PlannedStep) -> Iterator[Check]:
    """Solids that fall from the dilution water; silent where its hardness alone stops the batch."""
    found = step.figures.get("caustic_solids_kg_per_m3")
    if found is None or hardness_check(basis, step).blocks:
        return
    most = basis.request.limits.caustic_solids_warn_kg_per_m3
    met = found.value <= most
    yield Check(
        "caustic_solids",
        met,
        _WARNING,
        f"The dilution water of {step.name} drops about {say(found.value, 'concentration')} of chalk and magnesia, at most "
        f"{say(most, 'concentration')}." + ("" if met else " They stay in the bed: take softer water."),
        step.number, found.value, None, most, "kg/m^3", "concentration",
    )  # fmt: skip
