"""Air mix of a mixed bed: how much air, at what pressure, and how far to drain before it.

Air is counted at standard conditions, 60 °F (15.56 °C) and 101 325 Pa, as standard cubic feet are.
"""

from __future__ import annotations

from regenplant.core.engineering.beds import cross_section_m2
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.ranges import require_positive, require_within
from regenplant.core.engineering.water import (
    ATMOSPHERE_PASCAL,
    SIXTY_FAHRENHEIT_KELVIN,
    STANDARD_GRAVITY,
    density_kg_per_m3,
)

LOW_VELOCITY_M_PER_S, HIGH_VELOCITY_M_PER_S = 0.03048, 0.0508
"""Common practice, standard air over the cross-section: 6 to 10 scfm/ft², 110 to 183 m/h."""
LOW_COVER_M, HIGH_COVER_M = 0.10, 0.25
"""Common practice, water left above the settled bed: 10 to 25 cm (4 to 10 in)."""
STANDARD_AIR = "at 60 °F (15.56 °C) and 101 325 Pa"
"""The conditions standard air is counted at. A normal cubic metre is counted at 0 °C: 1 Nm³ is 1.057 m³ here."""


def air_flow(velocity_m_per_s: float, internal_diameter_m: float) -> Estimate:
    """Air flow for a superficial air velocity, both at standard conditions.

    Parameters
    ----------
    velocity_m_per_s : float
        Standard air over the empty cross-section, > 0 to 0.2 [m/s]
    internal_diameter_m : float
        Internal diameter of the vessel, > 0 [m]

    Returns
    -------
    flow : Estimate
        Air flow at standard conditions [m^3/s]

    Raises: OutOfRange for a diameter not above zero or a velocity outside its range.
    Source: air_mix (common practice 110 to 180 m/h).
    """
    require_within(velocity_m_per_s, 1e-4, 0.2, "air flow on the bed", "m/s")
    is_usual = LOW_VELOCITY_M_PER_S * (1.0 - 1e-6) <= velocity_m_per_s <= HIGH_VELOCITY_M_PER_S * (1.0 + 1e-6)
    warning = (
        f"Air at {velocity_m_per_s * 3600:.0f} m/h; common practice is 110 to 180 m/h (6 to 10 scfm/ft²). "
        "Less does not mix, more throws resin out."
    )
    return Estimate(
        symbol="Q_a",
        name=f"air flow {STANDARD_AIR}",
        value=velocity_m_per_s * cross_section_m2(internal_diameter_m),
        unit="m^3/s",
        kind="air_flow",
        formula="u_a · π · D^2 / 4",
        inputs=(
            Input(
                "u_a", f"air over the cross-section, {STANDARD_AIR}", velocity_m_per_s, "m/s", "air_velocity"
            ),
            Input("D", "internal diameter of the vessel", internal_diameter_m, "m", "length"),
        ),
        method="velocity times cross-section",
        source="air_mix",
        valid="clean, oil-free air from a blower or a regulated, relieved supply; vent open",
        warnings=() if is_usual else (warning,),
    )


def air_flow_in_vessel(flow: Estimate, temperature_kelvin: float, gauge_pressure_pascal: float) -> Estimate:
    """The same air at the temperature and pressure where it enters the bed.

    Parameters
    ----------
    flow : Estimate
        Air flow at standard conditions [m^3/s]
    temperature_kelvin : float
        Temperature in the vessel, 273.15 to 333.15 [K]
    gauge_pressure_pascal : float
        Pressure over the surroundings where the air enters, 0 to 1e6 [Pa]

    Returns
    -------
    flow : Estimate
        Air flow at vessel conditions [m^3/s]

    Raises: OutOfRange outside the ranges.
    Source: ideal_gas; dry air at sea level.
    """
    require_within(temperature_kelvin, 273.15, 333.15, "temperature in the vessel", "K")
    require_within(gauge_pressure_pascal, 0.0, 1e6, "pressure in the vessel", "Pa")
    factor = temperature_kelvin / SIXTY_FAHRENHEIT_KELVIN
    value = flow.value * factor * ATMOSPHERE_PASCAL / (ATMOSPHERE_PASCAL + gauge_pressure_pascal)
    return Estimate(
        symbol="Q_v",
        name="air flow at the temperature and pressure in the vessel",
        value=value,
        unit="m^3/s",
        kind="air_flow",
        formula=f"{flow.symbol} · T / T_s · p_s / (p_s + p)",
        inputs=(
            flow.as_input(),
            Input("T", "temperature in the vessel", temperature_kelvin, "kelvin", "temperature"),
            Input("T_s", "standard temperature, 60 °F", SIXTY_FAHRENHEIT_KELVIN, "kelvin", "temperature"),
            Input("p_s", "standard pressure", ATMOSPHERE_PASCAL, "pascal", "pressure"),
            Input("p", "pressure over the surroundings", gauge_pressure_pascal, "pascal", "pressure"),
        ),
        method="ideal gas",
        source="ideal_gas",
        valid="dry air at sea level; humid air or height change it by a few percent",
        uncertainty_frac=0.03,
    )


def air_volume(flow: Estimate, duration_s: float) -> Estimate:
    """Air used by the whole mix, at the conditions of the flow.

    Parameters
    ----------
    flow : Estimate
        Air flow [m^3/s]
    duration_s : float
        Time, > 0 [s]

    Returns
    -------
    volume : Estimate
        Volume of air [m^3]

    Raises: OutOfRange for a time that is not above zero.
    Source: air_mix (10 to 15 min is common practice).
    """
    require_positive(duration_s, "time of the air mix", "s")
    return Estimate(
        symbol="V_a",
        name="air used",
        value=flow.value * duration_s,
        unit="m^3",
        kind="air_volume",
        formula=f"{flow.symbol} · t",
        inputs=(flow.as_input(), Input("t", "time of the air mix", duration_s, "s", "duration")),
        method="flow times time",
        source="air_mix",
    )


def drain_down_level(depth_m: float, cover_m: float, straight_height_m: float) -> Estimate:
    """Water level to drain to before the air: a little above the settled bed.

    Parameters
    ----------
    depth_m : float
        Settled depth of the bed, > 0 [m]
    cover_m : float
        Water left above it, 0 to 1 [m]
    straight_height_m : float
        Straight height of the vessel, > 0 [m]

    Returns
    -------
    level : Estimate
        Height of the water over the bottom of the bed [m]

    Raises: OutOfRange for a level above the straight height, or numbers outside their range.
    Source: air_mix (10 to 25 cm is common practice).
    """
    require_positive(depth_m, "bed depth", "m")
    require_positive(straight_height_m, "straight height of the vessel", "m")
    require_within(cover_m, 0.0, 1.0, "water above the bed", "m")
    require_within(
        depth_m + cover_m,
        0.0,
        straight_height_m,
        "water level for the air mix",
        "m",
        "The vessel ends there.",
    )
    warning = (
        f"Water {cover_m * 100:.0f} cm above the bed; common practice is 10 to 25 cm (4 to 10 in). "
        "More water lets the resins part again, less leaves the top unmixed."
    )
    return Estimate(
        symbol="h_w",
        name="water level to drain to before the air mix",
        value=depth_m + cover_m,
        unit="m",
        kind="length",
        formula="h_0 + c",
        inputs=(
            Input("h_0", "settled bed depth", depth_m, "m", "length"),
            Input("c", "water above the bed", cover_m, "m", "length"),
        ),
        method="bed and cover",
        source="air_mix",
        valid="counted from the bottom of the bed",
        warnings=() if LOW_COVER_M <= cover_m <= HIGH_COVER_M else (warning,),
    )


def drain_volume(level: Estimate, from_level_m: float, internal_diameter_m: float) -> Estimate:
    """Water to drain from a level down to the one for the air mix, all of it above the bed.

    Parameters
    ----------
    level : Estimate
        Level to drain to, above the bed [m]
    from_level_m : float
        Level before, counted alike [m]
    internal_diameter_m : float
        Internal diameter of the vessel, > 0 [m]

    Returns
    -------
    volume : Estimate
        Water drained [m^3]

    Raises: OutOfRange where the level before is the lower one.
    Source: geometry.
    """
    require_within(from_level_m, level.value, 20.0, "water level before draining", "m")
    return Estimate(
        symbol="V_d",
        name="water to drain before the air mix",
        value=(from_level_m - level.value) * cross_section_m2(internal_diameter_m),
        unit="m^3",
        kind="liquid_volume",
        formula=f"(h_1 − {level.symbol}) · π · D^2 / 4",
        inputs=(
            Input("h_1", "water level before draining", from_level_m, "m", "length"),
            level.as_input(),
            Input("D", "internal diameter of the vessel", internal_diameter_m, "m", "length"),
        ),
        method="geometry of a cylinder",
        source="geometry",
    )


def air_pressure(level: Estimate, temperature_kelvin: float) -> Estimate:
    """Pressure the air must overcome to enter at the bottom: the water column alone.

    Parameters
    ----------
    level : Estimate
        Height of the water over the air inlet [m]
    temperature_kelvin : float
        Water temperature [K]

    Returns
    -------
    pressure : Estimate
        Least pressure over the surroundings [Pa]

    Raises: OutOfRange outside liquid water.
    Source: mass_balance (weight of the column).
    """
    rho = density_kg_per_m3(temperature_kelvin)
    return Estimate(
        symbol="p_a",
        name="pressure of the water column over the air inlet",
        value=rho * STANDARD_GRAVITY * level.value,
        unit="pascal",
        kind="pressure",
        formula=f"ρ_w · g · {level.symbol}",
        inputs=(
            Input("ρ_w", "density of the water", rho, "kg/m^3", "density"),
            Input("g", "standard gravity", STANDARD_GRAVITY, "m/s^2"),
            level.as_input(),
        ),
        method="weight of the water column",
        source="mass_balance",
        valid="the bed adds up to a fifth, pipe and distributor their own; the vessel stays vented and below its rating",
        uncertainty_frac=0.25,
    )
