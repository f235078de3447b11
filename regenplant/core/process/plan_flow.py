"""Figures of what flows through a bed: flow, velocity, volume, time, pressure drop."""

from __future__ import annotations

from collections.abc import Mapping

from regenplant.core.engineering import beds, hydraulics, regenerants
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.process.plan_basis import PlanBasis, set_point
from regenplant.core.process.plan_bed import Bed
from regenplant.core.process.recipes import RecipeStep


def time_set(step: RecipeStep) -> Estimate:
    """The time that the recipe sets for a step."""
    return set_point("t", "time", step.settings["duration_s"].target, "s", "duration")


def flow_figures(bed: Bed, flow_bv_per_h: float) -> dict[str, Estimate]:
    """Flow in bed volumes per hour, by volume, and on the bed."""
    flow = regenerants.flow_from_bed_volumes(bed.volume_m3, flow_bv_per_h)
    return {
        "flow_bv_per_h": set_point(
            "F", "flow, bed volumes per hour", flow_bv_per_h, "1/hour", "flow_bv_per_h"
        ),
        "flow_m3_per_s": flow,
        "linear_velocity_m_per_s": beds.linear_velocity(flow, bed.vessel.internal_diameter_m),
    }


def rinse_figures(basis: PlanBasis, step: RecipeStep) -> dict[str, Estimate]:
    """A number of bed volumes of water at a flow: displacement and rinses."""
    bed = basis.bed(step.leg)
    figures = flow_figures(bed, step.settings["flow_bv_per_h"].target)
    figures["volume_bv"] = set_point(
        "B", "bed volumes to pass", step.settings["volume_bv"].target, "dimensionless", "bed_volumes"
    )
    figures["volume_m3"] = bed_volumes_as_volume(bed, figures["volume_bv"], "volume of rinse water")
    figures["duration_s"] = regenerants.duration(figures["volume_m3"], figures["flow_m3_per_s"])
    if not basis.is_emptied_at(step):
        figures["pressure_drop_pascal"] = bed_pressure_drop(bed, figures, basis.water_kelvin(step.water))
    return figures


def bed_volumes_as_volume(bed: Bed, volume_bv: Estimate, name: str) -> Estimate:
    """A number of bed volumes as a volume of liquid."""
    return Estimate(
        symbol="V",
        name=name,
        value=volume_bv.value * bed.volume_m3,
        unit="m^3",
        kind="liquid_volume",
        formula=f"{volume_bv.symbol} · {bed.reference_volume.symbol}",
        inputs=(volume_bv.as_input(), bed.reference_volume.as_input()),
        method="definition of the bed volume",
        source="mass_balance",
    )


def bed_pressure_drop(bed: Bed, figures: Mapping[str, Estimate], temperature_kelvin: float) -> Estimate:
    """Pressure drop of the clean bed at a step's flow."""
    return hydraulics.pressure_drop(
        bed.bead, figures["linear_velocity_m_per_s"], bed.depth, temperature_kelvin
    )


def passed(flow: Estimate, time: Estimate, name: str) -> Estimate:
    """What flows in a time."""
    return Estimate(
        symbol="V",
        name=name,
        value=flow.value * time.value,
        unit="m^3",
        kind="liquid_volume",
        formula=f"{flow.symbol} · {time.symbol}",
        inputs=(flow.as_input(), time.as_input()),
        method="flow times time",
        source="mass_balance",
        uncertainty_frac=flow.uncertainty_frac,
    )


def flow_as_bed_volumes(bed: Bed, flow: Estimate) -> Estimate:
    """A flow in bed volumes per hour."""
    volume = bed.reference_volume
    return Estimate(
        symbol="F",
        name="flow, bed volumes per hour",
        value=flow.value * 3600.0 / bed.volume_m3,
        unit="1/hour",
        kind="flow_bv_per_h",
        formula=f"{flow.symbol} · 3600 / {volume.symbol}",
        inputs=(flow.as_input(), volume.as_input()),
        method="definition of the bed volume; 3600 s per hour",
        source="mass_balance",
        uncertainty_frac=flow.uncertainty_frac,
    )


def rate(symbol: str, name: str, amount: Estimate, time: Estimate, unit: str, kind: str) -> Estimate:
    """An amount over the time in which it flows."""
    return Estimate(
        symbol=symbol,
        name=name,
        value=amount.value / time.value,
        unit=unit,
        kind=kind,
        formula=f"{amount.symbol} / {time.symbol}",
        inputs=(amount.as_input(), Input(time.symbol, time.name, time.value, time.unit, time.kind)),
        method="amount over time",
        source="mass_balance",
    )
