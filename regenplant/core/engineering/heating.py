"""What a heater must give: heat to warm water or a solution, its flow, the time it needs, what it reaches.

Losses to pipe, vessel and air are not counted: the real heater needs a little longer.
"""

from __future__ import annotations

from regenplant.core.engineering import water
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.ranges import require_positive, require_within
from regenplant.core.engineering.solution_heats import (
    WATER_HEAT_CAPACITY_J_PER_KG_K,
    heat_capacity_j_per_kg_k,
)
from regenplant.core.engineering.substances import substance
from regenplant.core.errors import OutOfRange

_VALID = "no loss to pipe and vessel"
_LOW_KELVIN, _HIGH_KELVIN = water.FREEZING_KELVIN, water.BOILING_KELVIN


def _require_liquid(temperature_kelvin: float, name: str) -> None:
    require_within(
        temperature_kelvin, _LOW_KELVIN, _HIGH_KELVIN, name, "K", "Liquid at atmospheric pressure."
    )


def heating_duty(water_kg_per_s: float, from_kelvin: float, to_kelvin: float) -> Estimate:
    """Heat flow that warms the dilution water; 0 when it is warm enough.

    Parameters
    ----------
    water_kg_per_s : float
        Mass flow of dilution water, >= 0 [kg/s]
    from_kelvin : float
        Temperature of the supply [K]
    to_kelvin : float
        Temperature needed [K]

    Returns
    -------
    duty : Estimate
        Heat flow [W]

    Raises: OutOfRange for a flow below zero or that is no number.
    Source: mass_balance.
    """
    require_within(water_kg_per_s, 0.0, 1e4, "flow of dilution water", "kg/s")
    rise = max(to_kelvin - from_kelvin, 0.0)
    return Estimate(
        symbol="P",
        name="heating duty for the dilution water",
        value=water_kg_per_s * WATER_HEAT_CAPACITY_J_PER_KG_K * rise,
        unit="watt",
        kind="power",
        formula="q_w · c_w · ΔT",
        inputs=(
            Input("q_w", "flow of dilution water by mass", water_kg_per_s, "kg/s"),
            Input("c_w", "specific heat of water", WATER_HEAT_CAPACITY_J_PER_KG_K, "J/(kg*kelvin)"),
            Input("ΔT", "rise wanted", rise, "kelvin", "temperature_rise"),
        ),
        method="heat balance of water",
        source="mass_balance",
        valid=_VALID,
    )


def heat_to_warm(
    mass_kg: float,
    from_kelvin: float,
    to_kelvin: float,
    chemical: str | None = None,
    strength_frac: float = 0.0,
) -> Estimate:
    """Heat that warms a mass of water or of a solution.

    Parameters
    ----------
    mass_kg : float
        Mass to be warmed, > 0 [kg]
    from_kelvin : float
        Temperature before [K]
    to_kelvin : float
        Temperature after, not below that before [K]
    chemical : str or None
        Key of ``substances.SUBSTANCES`` for a solution; None for water
    strength_frac : float
        Strength of the solution [-]

    Returns
    -------
    heat : Estimate
        Heat [J]

    Raises: OutOfRange for temperatures outside 0 to 100 °C, a fall instead of a rise, or a solution whose specific
    heat is not known.
    Source: mass_balance; specific heat as ``solution_heats``.
    """
    require_positive(mass_kg, "mass to be warmed", "kg")
    _require_liquid(from_kelvin, "temperature before")
    require_within(
        to_kelvin, from_kelvin, _HIGH_KELVIN, "temperature after", "K", "A heater does not cool or boil."
    )
    words, capacity = "water", WATER_HEAT_CAPACITY_J_PER_KG_K
    if chemical is not None and strength_frac > 0.0:
        words = f"{substance(chemical).formula} of {strength_frac * 100:.3g} wt%"
        capacity = heat_capacity_j_per_kg_k(chemical, strength_frac)
    rise = to_kelvin - from_kelvin
    return Estimate(
        symbol="Q",
        name=f"heat to warm {words}",
        value=mass_kg * capacity * rise,
        unit="joule",
        kind="energy",
        formula="m · c · ΔT",
        inputs=(
            Input("m", f"mass of {words}", mass_kg, "kg", "mass"),
            Input("c", f"specific heat of {words}", capacity, "J/(kg*kelvin)", "specific_heat"),
            Input("ΔT", "rise wanted", rise, "kelvin", "temperature_rise"),
        ),
        method="heat balance",
        source="mass_balance",
        valid=_VALID,
        uncertainty_frac=0.005 if words == "water" else 0.02,
    )


def heater_time(heat_joule: float, power_watt: float, efficiency_frac: float = 1.0) -> Estimate:
    """Time a heater of given power needs for an amount of heat.

    Parameters
    ----------
    heat_joule : float
        Heat wanted, >= 0 [J]
    power_watt : float
        Rated power of the heater, > 0 [W]
    efficiency_frac : float
        Share of the power that reaches the liquid, 0.1 to 1 [-]

    Returns
    -------
    time : Estimate
        Time [s]

    Raises: OutOfRange for heat below zero, power not above zero, or an efficiency outside 0.1 to 1.
    Source: mass_balance.
    """
    require_within(heat_joule, 0.0, 1e15, "heat", "J")
    require_positive(power_watt, "power of the heater", "W")
    require_within(efficiency_frac, 0.1, 1.0, "share of the power that reaches the liquid")
    return Estimate(
        symbol="t_h",
        name="time the heater needs",
        value=heat_joule / (power_watt * efficiency_frac),
        unit="s",
        kind="duration",
        formula="Q / (P · η)",
        inputs=(
            Input("Q", "heat wanted", heat_joule, "joule", "energy"),
            Input("P", "rated power of the heater", power_watt, "watt", "power"),
            Input("η", "share of the power that reaches the liquid", efficiency_frac, "dimensionless", "fraction"),
        ),
        method="heat over power",
        source="mass_balance",
        valid=_VALID,
    )  # fmt: skip


def temperature_reached(water_kg_per_s: float, from_kelvin: float, power_watt: float) -> Estimate:
    """Temperature that running water reaches in a heater of given power.

    Parameters
    ----------
    water_kg_per_s : float
        Mass flow of water, > 0 [kg/s]
    from_kelvin : float
        Temperature before the heater [K]
    power_watt : float
        Power that reaches the water, >= 0 [W]

    Returns
    -------
    temperature : Estimate
        Temperature after the heater [K]

    Raises: OutOfRange for a flow not above zero, power below zero, or water that would boil, with the temperature.
    Source: mass_balance.
    """
    require_positive(water_kg_per_s, "flow of water", "kg/s")
    require_within(power_watt, 0.0, 1e9, "power of the heater", "W")
    _require_liquid(from_kelvin, "temperature before the heater")
    value = from_kelvin + power_watt / (water_kg_per_s * WATER_HEAT_CAPACITY_J_PER_KG_K)
    if value >= _HIGH_KELVIN:
        raise OutOfRange(
            f"At this flow the water would reach {value - 273.15:.0f} °C and boil; allowed is below 100 °C. "
            "Raise the flow or turn the heater down.",
            code="water_boils",
            seen=value,
            allowed_high=_HIGH_KELVIN,
        )
    return Estimate(
        symbol="T_h",
        name="temperature of the water after the heater",
        value=value,
        unit="kelvin",
        kind="temperature",
        formula="T_1 + P / (q_w · c_w)",
        inputs=(
            Input("T_1", "temperature before the heater", from_kelvin, "kelvin", "temperature"),
            Input("P", "power that reaches the water", power_watt, "watt", "power"),
            Input("q_w", "flow of water by mass", water_kg_per_s, "kg/s"),
            Input("c_w", "specific heat of water", WATER_HEAT_CAPACITY_J_PER_KG_K, "J/(kg*kelvin)"),
        ),
        method="heat balance of water",
        source="mass_balance",
        valid=_VALID,
    )
