"""Checks of single steps: freeboard, velocity, contact, strength, temperature."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from regenplant.core.engineering.hydraulics import MODEL_UNCERTAINTY_FRAC
from regenplant.core.engineering.ions import calcium_carbonate_from_eq_per_m3
from regenplant.core.process.plan import Check, PlannedStep, Severity
from regenplant.core.process.plan_basis import CHEMICALS_BY_FAMILY, PlanBasis
from regenplant.core.process.recipes import RecipeStep
from regenplant.core.process.vocabulary import Chemical, ResinFamily, StepKind, WaterKind
from regenplant.core.process.wording import listed, say, say_range

_BLOCKER, _WARNING = Severity.BLOCKER, Severity.WARNING

STRENGTH_WINDOW_FRAC = {
    Chemical.HYDROCHLORIC_ACID: (0.04, 0.10),
    Chemical.SULFURIC_ACID: (0.01, 0.08),
    Chemical.SODIUM_HYDROXIDE: (0.03, 0.06),
    Chemical.SODIUM_CHLORIDE: (0.08, 0.15),
}
"""Usual strength at the bed: HCl 5 to 10 and NaOH 4 to 6 read, the wider ends common practice. A warning, no blocker."""


def step_checks(basis: PlanBasis, steps: Sequence[PlannedStep]) -> list[Check]:
    """All checks that belong to one step."""
    found: list[Check] = []
    last: Chemical | None = None
    for step, setting in zip(steps, basis.request.recipe.steps, strict=True):
        if step.kind is StepKind.BACKWASH:
            found.extend(_freeboard(basis, step, setting))
        if step.kind is StepKind.INJECT:
            found.extend(_injection(basis, step, setting))
            last = step.chemical
        if step.kind in (StepKind.INJECT, StepKind.DISPLACE, StepKind.FAST_RINSE):
            found.extend(_downflow(basis, step))
        if step.kind in (StepKind.DISPLACE, StepKind.FAST_RINSE):
            found.extend(_rinse_water(basis, step, last))
        if "flow_m3_per_s" in step.figures:
            found.extend(_vessel_flow(basis, step))
    return found


def _freeboard(basis: PlanBasis, step: PlannedStep, setting: RecipeStep) -> Iterator[Check]:
    height = basis.request.vessel.straight_height_m
    expanded = step.value("expanded_height_m")
    worst = basis.depth.value * (1.0 + step.value("expansion_frac") * (1.0 + MODEL_UNCERTAINTY_FRAC))
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


def _injection(basis: PlanBasis, step: PlannedStep, setting: RecipeStep) -> Iterator[Check]:
    assert step.chemical is not None
    family = basis.request.resin.family
    suited = CHEMICALS_BY_FAMILY[family.value]
    yield Check(
        "chemical_for_family",
        step.chemical in suited,
        _BLOCKER,
        f"{step.chemical.label} regenerates no {family.label}; {listed(entry.label for entry in suited)} does."
        if step.chemical not in suited
        else f"{step.chemical.label} regenerates {family.label}.",
        step.number,
    )
    contact, least = step.value("contact_time_s"), setting.settings["contact_time_s"].low
    yield Check(
        "contact_time",
        contact >= least,
        _BLOCKER,
        f"The regenerant flows for {say(contact, 'duration')}, at least {say(least, 'duration')}."
        + ("" if contact >= least else f" Lower the flow to {say(step.value('flow_m3_per_s') * contact / least, 'flow')} or less."),
        step.number, contact, least, None, "s", "duration",
    )  # fmt: skip
    yield _strength(step)
    yield from _temperature(basis, step, setting)
    if step.chemical is Chemical.SODIUM_HYDROXIDE:
        yield _hardness(basis, step, step.water)
    if step.chemical is Chemical.SULFURIC_ACID:
        yield Check(
            "calcium_sulfate",
            step.value("strength_frac") <= 0.02,
            _WARNING,
            f"Sulfuric acid of {say(step.value('strength_frac'), 'strength')} on calcium-loaded resin drops gypsum in the bed; "
            "begin at 2 % or less, with high flow and no pause.",
            step.number, step.value("strength_frac"), None, 0.02, "dimensionless", "strength",
        )  # fmt: skip


def _strength(step: PlannedStep) -> Check:
    assert step.chemical is not None
    low, high = STRENGTH_WINDOW_FRAC[step.chemical]
    seen = step.value("strength_frac")
    return Check(
        "strength_window",
        low <= seen <= high,
        _WARNING,
        f"{step.chemical.formula} of {say(seen, 'strength')} at the bed; usual is {say_range(low, high, 'strength')}.",
        step.number, seen, low, high, "dimensionless", "strength",
    )  # fmt: skip


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
    most = basis.request.resin.max_temperature_kelvin
    yield Check(
        "resin_temperature",
        seen <= most,
        _BLOCKER,
        f"{step.name} comes at {say(seen, 'temperature')}; resin {basis.request.resin.type_code} bears at most {say(most, 'temperature')}.",
        step.number, seen, None, most, "kelvin", "temperature",
    )  # fmt: skip
    yield Check(
        "recipe_temperature",
        allowed.high <= most,
        _WARNING,
        f"The recipe lets the feed reach {say(allowed.high, 'temperature')}; resin {basis.request.resin.type_code} bears "
        f"at most {say(most, 'temperature')}.",
        step.number, allowed.high, None, most, "kelvin", "temperature",
    )  # fmt: skip
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


def _hardness(basis: PlanBasis, step: PlannedStep, kind: WaterKind | None) -> Check:
    limits = basis.request.limits
    supply = basis.water(kind)
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
        + ("" if met else " Hardness drops out as chalk and magnesia in caustic: take softened or deionized water."),
        step.number, seen, None, allowed, "kg/m^3", "hardness",
    )  # fmt: skip


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
    if last is Chemical.SODIUM_HYDROXIDE and step.kind is StepKind.DISPLACE:
        yield _hardness(basis, step, step.water)
    deionizes = basis.request.resin.family is not ResinFamily.SAC_SODIUM
    if step.kind is StepKind.FAST_RINSE and deionizes:
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
    most = basis.request.vessel.max_flow_m3_per_s
    if most is None:
        return
    seen = step.value("flow_m3_per_s")
    yield Check(
        "vessel_flow",
        seen <= most,
        _BLOCKER,
        f"{step.name} flows at {say(seen, 'flow')}; vessel {basis.request.vessel.code} takes at most {say(most, 'flow')}.",
        step.number, seen, None, most, "m^3/s", "flow",
    )  # fmt: skip
