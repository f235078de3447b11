"""The parts recipes are made of: set points in the units people think in, and steps with their usual settings."""

from __future__ import annotations

from dataclasses import replace

from regenplant.core.process.recipes import RecipeStep, SetPoint
from regenplant.core.process.vocabulary import Chemical, Leg, StepKind, WaterKind

_MINUTE = 60.0
_ZERO_CELSIUS = 273.15


def minutes(target: float, low: float, high: float) -> SetPoint:
    return SetPoint(target * _MINUTE, low * _MINUTE, high * _MINUTE)


def hours(target: float, low: float, high: float) -> SetPoint:
    return minutes(60.0 * target, 60.0 * low, 60.0 * high)


def celsius(target: float, low: float, high: float) -> SetPoint:
    return SetPoint(target + _ZERO_CELSIUS, low + _ZERO_CELSIUS, high + _ZERO_CELSIUS)


def percent(target: float, low: float, high: float) -> SetPoint:
    return SetPoint(target / 100.0, low / 100.0, high / 100.0)


def load() -> RecipeStep:
    return RecipeStep(
        StepKind.LOAD, "Load the vessel", {"duration_s": minutes(30, 15, 60)}, is_safe_hold_after=True
    )


def backwash(water: WaterKind, expansion: SetPoint, duration: SetPoint) -> RecipeStep:
    return RecipeStep(
        StepKind.BACKWASH,
        "Backwash",
        {"expansion_frac": expansion, "duration_s": duration},
        water=water,
        is_safe_hold_after=True,
    )


def settle() -> RecipeStep:
    return RecipeStep(StepKind.SETTLE, "Settle", {"duration_s": minutes(5, 3, 15)}, is_safe_hold_after=True)


def beginning(water: WaterKind, expansion: SetPoint, duration: SetPoint) -> tuple[RecipeStep, ...]:
    """Load, backwash, settle."""
    return (load(), backwash(water, expansion, duration), settle())


def cation_beginning(water: WaterKind = WaterKind.RAW) -> tuple[RecipeStep, ...]:
    return beginning(water, SetPoint(0.50, 0.30, 0.75), minutes(12, 10, 20))


def anion_beginning() -> tuple[RecipeStep, ...]:
    return beginning(WaterKind.SOFTENED, SetPoint(0.60, 0.40, 0.90), minutes(15, 10, 20))


def inject(
    name: str,
    chemical: Chemical,
    *,
    dose: SetPoint,
    strength: SetPoint,
    flow: SetPoint,
    temperature: SetPoint,
    contact: SetPoint,
    water: WaterKind = WaterKind.DEIONIZED,
    leg: Leg = Leg.WHOLE,
) -> RecipeStep:
    """An injection. Dose [kg/m³ as 100 %], flow [BV/h]; the rest by the makers of set points above."""
    return RecipeStep(
        StepKind.INJECT,
        name,
        {
            "dose_kg_per_m3": dose,
            "strength_frac": strength,
            "flow_bv_per_h": flow,
            "temperature_kelvin": temperature,
            "contact_time_s": contact,
        },
        water=water,
        chemical=chemical,
        leg=leg,
    )


def soak(name: str, duration: SetPoint) -> RecipeStep:
    return RecipeStep(StepKind.SOAK, name, {"duration_s": duration})


def _downflow(
    kind: StepKind, name: str, water: WaterKind, flow: SetPoint, volume: SetPoint, leg: Leg = Leg.WHOLE
) -> RecipeStep:
    return RecipeStep(
        kind,
        name,
        {"flow_bv_per_h": flow, "volume_bv": volume},
        water=water,
        is_safe_hold_after=True,
        leg=leg,
    )


def displace(
    water: WaterKind,
    flow: SetPoint,
    volume: SetPoint,
    *,
    leg: Leg = Leg.WHOLE,
    name: str = "Displacement rinse",
) -> RecipeStep:
    return _downflow(StepKind.DISPLACE, name, water, flow, volume, leg)


def rinse(
    water: WaterKind,
    flow: SetPoint,
    volume: SetPoint,
    *,
    leg: Leg = Leg.WHOLE,
    name: str = "Intermediate rinse",
) -> RecipeStep:
    return _downflow(StepKind.RINSE, name, water, flow, volume, leg)


def fast_rinse(water: WaterKind, flow: SetPoint, volume: SetPoint, ends_when: str = "") -> RecipeStep:
    return replace(_downflow(StepKind.FAST_RINSE, "Fast rinse", water, flow, volume), ends_when=ends_when)


def recirculate(flow: SetPoint, volume: SetPoint) -> RecipeStep:
    return _downflow(StepKind.RECIRCULATE, "Recirculating rinse", WaterKind.DEIONIZED, flow, volume)


def sanitize(
    name: str,
    chemical: Chemical,
    *,
    strength: SetPoint,
    volume: SetPoint,
    contact: SetPoint,
    water: WaterKind,
) -> RecipeStep:
    return RecipeStep(
        StepKind.SANITIZE,
        name,
        {"strength_frac": strength, "volume_bv": volume, "contact_time_s": contact},
        water=water,
        chemical=chemical,
    )


def float_in(
    name: str,
    chemical: Chemical,
    *,
    strength: SetPoint,
    volume: SetPoint,
    flow: SetPoint,
    temperature: SetPoint,
    stands: SetPoint,
    water: WaterKind = WaterKind.DEIONIZED,
) -> RecipeStep:
    """A float separation. Volume [BV], flow [BV/h]; the rest by the makers of set points above."""
    return RecipeStep(
        StepKind.FLOAT,
        name,
        {
            "strength_frac": strength,
            "volume_bv": volume,
            "flow_bv_per_h": flow,
            "temperature_kelvin": temperature,
            "contact_time_s": stands,
        },
        water=water,
        chemical=chemical,
    )


def sample() -> RecipeStep:
    return RecipeStep(
        StepKind.SAMPLE, "Sample for QC", {"duration_s": minutes(15, 10, 30)}, is_safe_hold_after=True
    )
