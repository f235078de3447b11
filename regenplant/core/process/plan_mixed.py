"""The figures of what only a mixed bed goes through: separation, interface cut, joining, air mix, recirculation."""

from __future__ import annotations

from dataclasses import replace

from regenplant.core.engineering import air_mix, beds, regenerants, separation
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.separation import AfterCut, FluidState, Separation, SeparationCase
from regenplant.core.process.plan import VesselData
from regenplant.core.process.plan_backwash import bead_population
from regenplant.core.process.plan_basis import PlanBasis, recorded, set_point
from regenplant.core.process.plan_bed import Bed
from regenplant.core.process.plan_float import float_figures, predicted_float
from regenplant.core.process.plan_flow import flow_as_bed_volumes, passed, rinse_figures, time_set
from regenplant.core.process.recipes import CHEMICAL_STEPS, RecipeStep
from regenplant.core.process.vocabulary import EXHAUSTED_FORM, Chemical, Leg, StepKind, WaterKind


def separation_figures(basis: PlanBasis, step: RecipeStep) -> dict[str, Estimate]:
    """Flow that lifts the anion resin off the cation, and how well the two are expected to part."""
    bed = basis.bed(Leg.WHOLE)
    expansion = set_point(
        "E", "expansion of the anion resin wanted", step.settings["expansion_frac"].target, "dimensionless", "fraction"
    )  # fmt: skip
    found = predicted_separation(basis, step)
    time = time_set(step)
    flow = beds.flow_at_velocity(found.velocity, bed.vessel.internal_diameter_m)
    volume = passed(flow, time, "volume of separation water")
    return {
        "duration_s": time,
        "expansion_frac": expansion,
        "linear_velocity_m_per_s": found.velocity,
        "flow_m3_per_s": flow,
        "flow_bv_per_h": flow_as_bed_volumes(bed, flow),
        "volume_m3": volume,
        "volume_bv": regenerants.bed_volumes(volume, bed.volume_m3),
        "expanded_height_m": found.expanded_height,
        "settling_time_s": found.settling_time,
        **_parting(found, separation.after_cut(found, cut_frac(basis))),
    }


def _parting(found: Separation, after: AfterCut) -> dict[str, Estimate]:
    warnings = tuple(dict.fromkeys((*found.velocity_ratio.warnings, *found.warnings)))
    if found.state is FluidState.FLOATS:  # a bead that rises has no place in the ratio
        return _layers(replace(found.overlap_frac, warnings=warnings), found, after)
    return {
        "separation_velocity_ratio": replace(found.velocity_ratio, warnings=warnings),
        **_layers(found.overlap_frac, found, after),
    }


def _layers(overlap: Estimate, found: Separation, after: AfterCut) -> dict[str, Estimate]:
    return {
        "interface_height_m": found.interface_height,
        "overlap_frac": overlap,
        "cation_in_anion_frac": after.cation_in_anion_frac,
        "anion_in_cation_frac": after.anion_in_cation_frac,
    }


def predicted_separation(basis: PlanBasis, step: RecipeStep) -> Separation:
    """The separation that a backwash separation step is expected to give, at the real water temperature.

    Raises: OutOfRange where nothing parts.
    """
    mixed = basis.request.mixed
    assert mixed is not None
    return separation.predict(
        SeparationCase(
            cation=bead_population(mixed.cation),
            anion=bead_population(mixed.anion),
            cation_m3=basis.bed(Leg.CATION).volume_m3,
            anion_m3=basis.bed(Leg.ANION).volume_m3,
            internal_diameter_m=basis.request.vessel.internal_diameter_m,
            temperature_kelvin=basis.water_kelvin(step.water),
            expansion_frac=step.settings["expansion_frac"].target,
            is_exhausted=_is_exhausted(basis, step),
        )
    )


def _is_exhausted(basis: PlanBasis, separating: RecipeStep) -> bool:
    """Whether both resins come exhausted to the separation: as returned, or by an injection before it."""
    request = basis.request
    if request.resin_volume_form is EXHAUSTED_FORM[request.resin.family]:
        return True
    before = request.recipe.steps[: request.recipe.steps.index(separating)]
    return any(step.kind in CHEMICAL_STEPS for step in before)


def separation_before_cut(basis: PlanBasis) -> Separation | None:
    """The separation that the interface cut finds: the last one of the recipe, in water or in a dense solution.

    None where the recipe has none, or where a float separation cannot be predicted and no other stands before it.
    """
    for step in reversed(basis.request.recipe.steps):
        if step.kind is StepKind.SEPARATE:
            return predicted_separation(basis, step)
        if step.kind is StepKind.FLOAT and (found := predicted_float(basis, step)) is not None:
            return found
    return None


def float_separation_figures(basis: PlanBasis, step: RecipeStep) -> dict[str, Estimate]:
    """The dense solution, and how well the two resins are expected to part in it after the recipe's cut."""
    figures = float_figures(basis, step)
    found = predicted_float(basis, step, figures["temperature_kelvin"].value)
    if found is not None:
        figures.update(_parting(found, separation.after_cut(found, cut_frac(basis))))
    return figures


def cut_frac(basis: PlanBasis) -> float:
    """Share of the whole bed that the recipe draws off at the interface; 0 without a cut."""
    cuts = [step for step in basis.request.recipe.steps if step.kind is StepKind.CUT]
    return cuts[0].settings["cut_frac"].target if cuts else 0.0


# --- the cut --------------------------------------------------------------------------------------------------------
def cut_figures(basis: PlanBasis, step: RecipeStep) -> dict[str, Estimate]:
    """What is drawn off at the interface, what stands below and above it, and where it lies."""
    whole = basis.bed(Leg.WHOLE)
    share = set_point(
        "c", "share of the bed drawn off at the interface", step.settings["cut_frac"].target, "dimensionless", "fraction"
    )  # fmt: skip
    cut = Estimate(
        symbol="V_x",
        name="resin drawn off at the interface",
        value=share.value * whole.volume_m3,
        unit="m^3",
        kind="resin_volume",
        formula=f"{share.symbol} · {whole.reference_volume.symbol}",
        inputs=(share.as_input(), whole.reference_volume.as_input()),
        method="share of the whole bed",
        source="trade_practice",
        valid="half from each side of the interface; kept for the next separation",
    )
    figures = {
        "duration_s": time_set(step),
        "cut_frac": share,
        "cut_m3": cut,
        "lower_layer_m3": _layer(basis, Leg.CATION, cut),
        "upper_layer_m3": _layer(basis, Leg.ANION, cut),
    }
    found = separation_before_cut(basis)
    if found is not None:
        figures.update(_parting(found, separation.after_cut(found, share.value)))
        figures.update(_side_outlet(basis.request.vessel, found.interface_height))
    return figures


def _layer(basis: PlanBasis, leg: Leg, cut: Estimate) -> Estimate:
    bed = basis.bed(leg)
    lower = leg is Leg.CATION
    if not lower and floats_in_caustic(basis):
        return _swollen_layer(bed, cut)
    return Estimate(
        symbol="V_l" if lower else "V_u",
        name=f"{'cation resin below' if lower else 'anion resin above'} the cut, exhausted form",
        value=bed.volume_m3 - cut.value / 2.0,
        unit="m^3",
        kind="resin_volume",
        formula=f"{bed.reference_volume.symbol} − {cut.symbol} / 2",
        inputs=(bed.reference_volume.as_input(), cut.as_input()),
        method="half of the cut from each side",
        source="mass_balance",
    )


def floats_in_caustic(basis: PlanBasis) -> bool:
    """Whether the anion resin comes to the cut in hydroxide form: floated in caustic."""
    return any(
        step.kind is StepKind.FLOAT and step.chemical is Chemical.SODIUM_HYDROXIDE
        for step in basis.request.recipe.steps
    )


def _swollen_layer(bed: Bed, cut: Estimate) -> Estimate:
    """The anion resin as it lies after a float in caustic."""
    swelling = bed.resin.swelling_frac
    return Estimate(
        symbol="V_u",
        name="anion resin above the cut, hydroxide form",
        value=(bed.volume_m3 - cut.value / 2.0) * (1.0 + swelling),
        unit="m^3",
        kind="resin_volume",
        formula=f"({bed.reference_volume.symbol} − {cut.symbol} / 2) · (1 + s)",
        inputs=(
            bed.reference_volume.as_input(),
            cut.as_input(),
            Input("s", "growth from exhausted to regenerated form", swelling, "dimensionless", "fraction"),
        ),
        method="half of the cut from each side, then swollen by the caustic it floated in",
        source="supplier_sheet",
        valid="all of it in hydroxide form; what is not yet is smaller",
    )


def _side_outlet(vessel: VesselData, interface: Estimate) -> dict[str, Estimate]:
    if vessel.side_outlet_height_m is None:
        return {}
    outlet = recorded(
        "h_o", "height of the side outlet above the bed support", vessel.side_outlet_height_m, "m", "length"
    )
    return {
        "side_outlet_height_m": outlet,
        "interface_offset_m": Estimate(
            symbol="Δh",
            name="interface above (+) or below (−) the side outlet",
            value=interface.value - outlet.value,
            unit="m",
            kind="length",
            formula=f"{interface.symbol} − {outlet.symbol}",
            inputs=(interface.as_input(), outlet.as_input()),
            method="geometry",
            source="geometry",
            uncertainty_frac=interface.uncertainty_frac,
        ),
    }


# --- joined again ---------------------------------------------------------------------------------------------------
def finished_volume(basis: PlanBasis) -> Estimate:
    """Volume of the regenerated bed; of a mixed bed both resins less what was cut."""
    mixed = basis.request.mixed
    if mixed is None or not basis.request.resin.family.is_mixed:
        return basis.bed(Leg.WHOLE).regenerated_volume
    cation, anion = basis.bed(Leg.CATION).reference_volume, basis.bed(Leg.ANION).reference_volume
    half = cut_frac(basis) * basis.volume_m3 / 2.0
    return Estimate(
        symbol="V_j",
        name="volume of the joined bed, regenerated forms",
        value=(cation.value - half) * (1.0 + mixed.cation.swelling_frac)
        + (anion.value - half) * (1.0 + mixed.anion.swelling_frac),
        unit="m^3",
        kind="resin_volume",
        formula="(V_c − V_h) · (1 + s_c) + (V_a − V_h) · (1 + s_a)",
        inputs=(
            cation.as_input(),
            Input("V_h", "half of the interface cut", half, "m^3", "resin_volume"),
            Input("s_c", "growth of the cation resin on regeneration", mixed.cation.swelling_frac, "dimensionless", "fraction"),
            anion.as_input(),
            Input("s_a", "growth of the anion resin on regeneration", mixed.anion.swelling_frac, "dimensionless", "fraction"),
        ),
        method="swelling of the two resins, without the cut",
        source="supplier_sheet",
        valid="volumes of the two resins are taken as adding",
    )  # fmt: skip


def join_figures(basis: PlanBasis, step: RecipeStep) -> dict[str, Estimate]:
    """The joined bed: its volume and its depth."""
    volume = finished_volume(basis)
    return {
        "duration_s": time_set(step),
        "joined_m3": volume,
        "bed_depth_m": _finished_depth(basis, volume),
    }


def _finished_depth(basis: PlanBasis, volume: Estimate) -> Estimate:
    depth = beds.bed_depth(volume.value, basis.request.vessel.internal_diameter_m)
    return depth.named("h_j", "depth of the regenerated bed")


# --- air mix and recirculation --------------------------------------------------------------------------------------
def air_mix_figures(basis: PlanBasis, step: RecipeStep) -> dict[str, Estimate]:
    """Air as standard air and at vessel conditions, the water level it needs, and the water drained to reach it."""
    vessel, settings = basis.request.vessel, step.settings
    time = time_set(step)
    velocity = set_point(
        "u_a", f"air on the bed, {air_mix.STANDARD_AIR}", settings["air_velocity_m_per_s"].target, "m/s", "air_velocity"
    )  # fmt: skip
    above = set_point("c", "water above the bed", settings["water_above_bed_m"].target, "m", "length")
    depth = _finished_depth(basis, finished_volume(basis))
    is_room = depth.value + above.value <= vessel.straight_height_m
    level = (
        air_mix.drain_down_level(depth.value, above.value, vessel.straight_height_m)
        if is_room
        else _level_too_high(depth, above)
    )
    standard = air_mix.air_flow(velocity.value, vessel.internal_diameter_m)
    kelvin = basis.water_kelvin(_rinse_water(basis))
    pressure = air_mix.air_pressure(level, kelvin)
    figures = {
        "duration_s": time,
        "air_velocity_m_per_s": velocity,
        "air_standard_flow_m3_per_s": standard,
        "air_pressure_pascal": pressure,
        "air_flow_m3_per_s": air_mix.air_flow_in_vessel(standard, kelvin, pressure.value),
        "air_m3": air_mix.air_volume(standard, time.value),
        "water_above_bed_m": above,
        "water_level_m": level,
    }
    if is_room:
        figures["water_drained_m3"] = air_mix.drain_volume(
            level, vessel.straight_height_m, vessel.internal_diameter_m
        )
    return figures


def _level_too_high(depth: Estimate, above: Estimate) -> Estimate:
    return Estimate(
        symbol="h_w",
        name="water level to drain to before the air mix",
        value=depth.value + above.value,
        unit="m",
        kind="length",
        formula=f"{depth.symbol} + {above.symbol}",
        inputs=(depth.as_input(), above.as_input()),
        method="bed and cover",
        source="air_mix",
        warnings=("The water level for the air mix lies above the straight height of the vessel.",),
    )


def _rinse_water(basis: PlanBasis) -> WaterKind | None:
    """The water that stands in the bed when it is mixed: that of the last rinse of the recipe."""
    last = basis.request.recipe.last_rinse()
    return last.water if last is not None else None


def recirculation_figures(basis: PlanBasis, step: RecipeStep) -> dict[str, Estimate]:
    """A rinse in a loop: what the pump moves, and the water that fills the loop once."""
    figures = rinse_figures(basis, step)
    figures["volume_m3"] = replace(figures["volume_m3"], name="volume pumped round the loop")
    figures["duration_s"] = regenerants.duration(figures["volume_m3"], figures["flow_m3_per_s"])
    figures["loop_fill_m3"] = _loop_fill(basis)
    return figures


def _loop_fill(basis: PlanBasis) -> Estimate:
    vessel, volume = basis.request.vessel, finished_volume(basis)
    void = basis.bed(Leg.WHOLE).resin.settled_void_frac
    area = beds.cross_section_m2(vessel.internal_diameter_m)
    return Estimate(
        symbol="V_f",
        name="water that fills the loop once",
        value=area * vessel.straight_height_m - (1.0 - void) * volume.value,
        unit="m^3",
        kind="liquid_volume",
        formula=f"π · D^2 / 4 · H − (1 − ε_0) · {volume.symbol}",
        inputs=(
            Input("D", "internal diameter of the vessel", vessel.internal_diameter_m, "m", "length"),
            Input("H", "straight height of the vessel", vessel.straight_height_m, "m", "length"),
            Input("ε_0", "void fraction of the settled bed", void, "dimensionless", "fraction"),
            volume.as_input(),
        ),
        method="the vessel full of water above and between the beads; the same water goes round",
        source="geometry",
        valid="straight part of the vessel; domes, pipes and a loop tank are not counted",
    )
