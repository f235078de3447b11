"""Conductivity and resistivity of very clean water, and their compensation to 25 °C.

Below about 10 µS/cm the water itself conducts, and that part rises three times faster with temperature than the
salt's. A flat 2 %/K is then wrong by up to a factor of 1.8; the right correction depends on what the trace is:
neutral salt behind a mixed bed, acid behind a cation bed, caustic behind an anion bed.

With c the trace in mol/m³ (scaled with the density of water), K = ρ²·Kw and λ_w = Λ°HCl + Λ°NaOH − Λ°NaCl:

    neutral  κ = c·Λ°NaCl + λ_w·√K
    acid     [H⁺]  = c/2 + √(c²/4 + K),  κ = c·Λ°HCl  + λ_w·[OH⁻]
    base     [OH⁻] = c/2 + √(c²/4 + K),  κ = c·Λ°NaOH + λ_w·[H⁺]

Limiting conductances and water itself: ``pure_water``.
"""

from __future__ import annotations

from enum import StrEnum
from functools import lru_cache
from math import sqrt

from regenplant.core.engineering import water
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.pure_water import limiting_conductance_s_m2_per_mol, water_parts
from regenplant.core.engineering.ranges import require_positive, require_within
from regenplant.core.errors import OutOfRange

HIGHEST_RESISTIVITY_OHM_M = 182_800.0
"""18.28 MΩ·cm at 25 °C: the most that water can show, with a trace of caustic (Otten 1981, read) [ohm m]."""
FLAT_PER_KELVIN = 0.02
FLAT_VALID_FROM_SIEMENS_PER_M = 1e-3
"""10 µS/cm: below it ASTM D5391 calls a flat correction not valid [S/m]."""


class Compensation(StrEnum):
    """How a reading was brought to 25 °C; as a stream kind: what the trace in the water is."""

    NONE = "none"
    NEUTRAL = "neutral"
    ACID = "acid"
    BASE = "base"
    FLAT = "flat_2"

    @property
    def label(self) -> str:
        return {
            "none": "not compensated",
            "neutral": "compensated, neutral salt",
            "acid": "compensated, trace of acid",
            "base": "compensated, trace of caustic",
            "flat_2": "compensated, flat 2 %/K",
        }[self]


STREAM_KINDS = (Compensation.NEUTRAL, Compensation.ACID, Compensation.BASE)
"""What the trace may be: neutral behind a mixed bed, acid behind a cation bed, caustic behind an anion bed."""


def _own_conductance(kind: Compensation, temperature_kelvin: float) -> float:
    electrolyte = {Compensation.ACID: "HCl", Compensation.BASE: "NaOH"}.get(kind, "NaCl")
    return limiting_conductance_s_m2_per_mol(electrolyte, temperature_kelvin)


def _conductivity_of_trace(trace_mol_per_m3: float, kind: Compensation, temperature_kelvin: float) -> float:
    product, conductance, _ = water_parts(temperature_kelvin)
    own = _own_conductance(kind, temperature_kelvin)
    if kind is Compensation.NEUTRAL:
        return trace_mol_per_m3 * own + conductance * sqrt(product)
    major = trace_mol_per_m3 / 2.0 + sqrt(trace_mol_per_m3 * trace_mol_per_m3 / 4.0 + product)
    return trace_mol_per_m3 * own + conductance * product / major


def conductivity_with_trace(trace_mol_per_m3: float, kind: Compensation, temperature_kelvin: float) -> float:
    """Conductivity of pure water with a trace of salt, acid or caustic.

    Parameters
    ----------
    trace_mol_per_m3 : float
        Trace at this temperature, >= 0 [mol/m^3]
    kind : Compensation
        NEUTRAL (NaCl), ACID (HCl) or BASE (NaOH)
    temperature_kelvin : float
        Water temperature, 273.15 to 373.15 [K]

    Returns
    -------
    conductivity_siemens_per_m : float
        Conductivity, not compensated [S/m]

    Raises: OutOfRange for a negative trace or a kind that is no stream kind.
    Source: mccleskey. Limiting conductances: true below about 10 µS/cm, 1 to 3 % high at 100 µS/cm.
    """
    require_within(trace_mol_per_m3, 0.0, 100.0, "trace in the water", "mol/m³")
    _require_stream(kind)
    return _conductivity_of_trace(trace_mol_per_m3, kind, temperature_kelvin)


def _require_stream(kind: Compensation) -> None:
    if kind not in STREAM_KINDS:
        raise OutOfRange(
            f"{kind.label!r} says nothing about the water. Say neutral salt, acid or caustic.",
            code="not_a_stream_kind",
        )


def _trace(conductivity_siemens_per_m: float, kind: Compensation, temperature_kelvin: float) -> float | None:
    """The trace that explains a conductivity, or None below the least that this kind of water can show.

    With h the more abundant of H⁺ and OH⁻, c = h − K/h, and κ = Λ·c + λ_w·K/h is a quadratic in h; the larger root is
    the branch of larger trace, where a rinse comes from (a small trace of caustic first lowers the conductivity).
    """
    lowest = _lowest_trace(kind, temperature_kelvin)
    if conductivity_siemens_per_m < _conductivity_of_trace(lowest, kind, temperature_kelvin):
        return None
    product, conductance, _ = water_parts(temperature_kelvin)
    own = _own_conductance(kind, temperature_kelvin)
    if kind is Compensation.NEUTRAL:
        return max((conductivity_siemens_per_m - conductance * sqrt(product)) / own, 0.0)
    inside = (
        conductivity_siemens_per_m * conductivity_siemens_per_m - 4.0 * own * (conductance - own) * product
    )
    major = (conductivity_siemens_per_m + sqrt(max(inside, 0.0))) / (2.0 * own)
    return max(major - product / major, lowest)


@lru_cache(maxsize=256)
def _lowest_trace(kind: Compensation, temperature_kelvin: float) -> float:
    """Trace at which the conductivity is least: zero, except for caustic (where OH⁻ displaces the faster H⁺)."""
    product, conductance, _ = water_parts(temperature_kelvin)
    own = _own_conductance(kind, temperature_kelvin)
    if kind is Compensation.NEUTRAL or conductance <= 2.0 * own:
        return 0.0
    major = sqrt((conductance - own) * product / own)
    return major - product / major


def at_25_celsius(
    conductivity_siemens_per_m: float, temperature_kelvin: float, kind: Compensation
) -> Estimate:
    """Conductivity brought from its own temperature to 25 °C, by the kind of water.

    Parameters
    ----------
    conductivity_siemens_per_m : float
        Reading, not compensated, > 0 [S/m]
    temperature_kelvin : float
        Temperature of the water in the cell, 273.15 to 373.15 [K]
    kind : Compensation
        NEUTRAL, ACID or BASE: what the trace is

    Returns
    -------
    conductivity : Estimate
        Conductivity at 25 °C [S/m]

    Raises: OutOfRange for a reading not above zero or a kind that is no stream kind. A reading below what pure water
    shows at its temperature is scaled by pure water and carries a warning: check the cell and the thermometer.
    Source: mccleskey; 1.5 % in the range of ultrapure water.
    """
    require_positive(conductivity_siemens_per_m, "conductivity read", "S/m")
    _require_stream(kind)
    reference = water.REFERENCE_KELVIN
    trace = _trace(conductivity_siemens_per_m, kind, temperature_kelvin)
    warnings: tuple[str, ...] = ()
    if trace is None:
        own, at_25 = _least(kind, temperature_kelvin), _least(kind, reference)
        value = conductivity_siemens_per_m / own * at_25
        warnings = (
            "The reading is below what water can show at this temperature. Check the cell, its constant and the thermometer.",
        )
    else:
        moved = trace * water_parts(reference)[2] / water_parts(temperature_kelvin)[2]
        value = _conductivity_of_trace(moved, kind, reference)
    if conductivity_siemens_per_m > 0.01:
        warnings = (
            *warnings,
            "Above about 100 µS/cm the ions hinder each other; the correction is good to about 3 %.",
        )
    return Estimate(
        symbol="κ_25",
        name=f"conductivity at 25 °C, {kind.label.removeprefix('compensated, ')}",
        value=value,
        unit="S/m",
        kind="conductivity",
        formula="solve trace from κ at T, then κ of the trace at 25 °C",
        inputs=(
            Input(
                "κ", "conductivity read, not compensated", conductivity_siemens_per_m, "S/m", "conductivity"
            ),
            Input("T", "temperature of the water in the cell", temperature_kelvin, "kelvin", "temperature"),
        ),
        method=f"{kind.label}; charge balance with the ion product of water",
        source="mccleskey",
        valid="0 to 100 °C, traces to about 100 µS/cm",
        warnings=warnings,
        uncertainty_frac=0.015,
    )


def _least(kind: Compensation, temperature_kelvin: float) -> float:
    return _conductivity_of_trace(_lowest_trace(kind, temperature_kelvin), kind, temperature_kelvin)


def from_25_celsius(
    conductivity_siemens_per_m: float, temperature_kelvin: float, kind: Compensation
) -> Estimate:
    """What a cell without compensation shows at a temperature, for water known at 25 °C.

    Parameters
    ----------
    conductivity_siemens_per_m : float
        Conductivity at 25 °C, at least that of pure water [S/m]
    temperature_kelvin : float
        Temperature of the water in the cell, 273.15 to 373.15 [K]
    kind : Compensation
        NEUTRAL, ACID or BASE

    Returns
    -------
    conductivity : Estimate
        Conductivity at the temperature [S/m]

    Raises: OutOfRange below the conductivity of pure water at 25 °C.
    Source: mccleskey; the inverse of ``at_25_celsius``.
    """
    require_positive(conductivity_siemens_per_m, "conductivity at 25 °C", "S/m")
    _require_stream(kind)
    reference = water.REFERENCE_KELVIN
    trace = _trace(conductivity_siemens_per_m, kind, reference)
    if trace is None:
        least = _least(kind, reference)
        raise OutOfRange(
            f"{conductivity_siemens_per_m * 1e4:.4g} µS/cm cannot be: water has at least {least * 1e4:.4g} µS/cm at 25 °C.",
            code="below_pure_water",
            seen=conductivity_siemens_per_m,
            allowed_low=least,
        )
    moved = trace * water_parts(temperature_kelvin)[2] / water_parts(reference)[2]
    return Estimate(
        symbol="κ",
        name="conductivity, not compensated",
        value=_conductivity_of_trace(moved, kind, temperature_kelvin),
        unit="S/m",
        kind="conductivity",
        formula="solve trace from κ_25, then κ of the trace at T",
        inputs=(
            Input("κ_25", "conductivity at 25 °C", conductivity_siemens_per_m, "S/m", "conductivity"),
            Input("T", "temperature of the water in the cell", temperature_kelvin, "kelvin", "temperature"),
        ),
        method=f"{kind.label}; charge balance with the ion product of water",
        source="mccleskey",
        valid="0 to 100 °C, traces to about 100 µS/cm",
        uncertainty_frac=0.015,
    )


def flat_at_25_celsius(conductivity_siemens_per_m: float, temperature_kelvin: float) -> Estimate:
    """Conductivity brought to 25 °C by a flat 2 %/K: the habit of simple meters, kept only as a named alternative.

    Parameters
    ----------
    conductivity_siemens_per_m : float
        Reading, not compensated, > 0 [S/m]
    temperature_kelvin : float
        Temperature of the water in the cell, 273.15 to 333.15 [K]

    Returns
    -------
    conductivity : Estimate
        Conductivity at 25 °C [S/m]

    Raises: OutOfRange for a reading not above zero or a temperature outside 0 to 60 °C.
    Source: astm_d5391 calls it not valid below 10 µS/cm; for 16.7 MΩ·cm water at 5 °C it is wrong by a factor of 1.8.
    """
    require_positive(conductivity_siemens_per_m, "conductivity read", "S/m")
    require_within(temperature_kelvin, 273.15, 333.15, "temperature of the water", "K")
    warnings = ["A flat 2 %/K does not know what is in the water. Prefer the kind of water."]
    if conductivity_siemens_per_m < FLAT_VALID_FROM_SIEMENS_PER_M:
        warnings.append(
            "Below 10 µS/cm a flat correction is not valid (ASTM D5391) and must not decide anything."
        )
    return Estimate(
        symbol="κ_25",
        name="conductivity at 25 °C, flat 2 %/K",
        value=conductivity_siemens_per_m
        / (1.0 + FLAT_PER_KELVIN * (temperature_kelvin - water.REFERENCE_KELVIN)),
        unit="S/m",
        kind="conductivity",
        formula="κ / (1 + 0.02 · (T − T_0))",
        inputs=(
            Input(
                "κ", "conductivity read, not compensated", conductivity_siemens_per_m, "S/m", "conductivity"
            ),
            Input("T", "temperature of the water in the cell", temperature_kelvin, "kelvin", "temperature"),
            Input("T_0", "25 °C", water.REFERENCE_KELVIN, "kelvin", "temperature"),
        ),
        method="flat 2 %/K",
        source="astm_d5391",
        valid="salty water above 10 µS/cm, near 25 °C",
        warnings=tuple(warnings),
    )


def compensation_methods(conductivity_siemens_per_m: float) -> tuple[Compensation, ...]:
    """The methods that apply to a reading, best first; flat only where it is valid at all.

    Parameters
    ----------
    conductivity_siemens_per_m : float
        Reading, not compensated [S/m]

    Returns
    -------
    methods : tuple
        Of ``Compensation``
    """
    if conductivity_siemens_per_m >= FLAT_VALID_FROM_SIEMENS_PER_M:
        return (*STREAM_KINDS, Compensation.FLAT)
    return STREAM_KINDS


def lowest_believable_siemens_per_m(meter_uncertainty_frac: float) -> float:
    """Least conductivity at 25 °C that a meter may show before it is the meter that needs a check.

    Parameters
    ----------
    meter_uncertainty_frac : float
        Stated uncertainty of the meter, 0 to 0.2 [-]

    Returns
    -------
    conductivity_siemens_per_m : float
        18.28 MΩ·cm times (1 + uncertainty), as conductivity [S/m]

    Raises: OutOfRange for an uncertainty outside 0 to 20 %.
    Source: otten. Example: at 1 % the most a meter may show is 18.46 MΩ·cm.
    """
    require_within(meter_uncertainty_frac, 0.0, 0.2, "uncertainty of the meter")
    return 1.0 / (HIGHEST_RESISTIVITY_OHM_M * (1.0 + meter_uncertainty_frac))
