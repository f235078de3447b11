"""From a regeneration level to capacity, use of the regenerant and leakage.

    capacity   from points: read ones, the plant's own, or points from memory; never above what the dose can elute
               (stoichiometric) and never above the total capacity
    ratio      equivalents applied per equivalent of capacity, never below 1
    leakage    what stays on the outlet end and comes off in service; falls with the dose

Figures from memory say so and are wide; the resin's own points, given as ``points``, take their place.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import exp

from regenplant.core.engineering import leakage
from regenplant.core.engineering.capacity_data import CapacityCurve, curve, on_points, own_points
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.ranges import require_positive, require_within
from regenplant.core.engineering.regenerants import regenerant_ratio, require_stoichiometric
from regenplant.core.engineering.substances import substance
from regenplant.core.errors import OutOfRange

_OUTLET_DECAY = 1.3
"""Residual at the outlet end = exp(−1.3 · applied / total): about 22 % at 80 and 5 % at 160 kg/m³ HCl (from memory)."""


def applied_eq_per_m3(chemical: str, dose_kg_per_m3: float) -> Estimate:
    """Equivalents applied per volume of resin.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES`` that exchanges ions
    dose_kg_per_m3 : float
        Mass as 100 % per volume of resin, > 0 [kg/m^3]

    Returns
    -------
    applied : Estimate
        Equivalents per volume of resin [eq/m^3]

    Raises: OutOfRange for a dose that is not above zero or a chemical without equivalents.
    Source: equivalents. Example: 6 lb/ft³ of HCl is 2636 eq/m³.
    """
    require_positive(dose_kg_per_m3, "dose as 100 %", "kg/m³")
    material = substance(chemical)
    if material.charge_eq_per_mol == 0:
        raise OutOfRange(f"{material.name} exchanges no ions; it regenerates nothing.", code="no_equivalents")
    weight = material.equivalent_weight_kg_per_eq
    return Estimate(
        symbol="n_a",
        name=f"equivalents of {material.formula} applied per resin volume",
        value=dose_kg_per_m3 / weight,
        unit="eq/m^3",
        kind="capacity",
        formula="d / EW",
        inputs=(
            Input("d", f"dose of {material.formula} as 100 %", dose_kg_per_m3, "kg/m^3", "dose"),
            Input("EW", f"equivalent weight of {material.formula}", weight, "kg/eq"),
        ),
        method="equivalents from molar mass and charge",
        source="equivalents",
        valid="the dose is counted as 100 % substance",
    )


def operating_capacity(
    family: str,
    chemical: str,
    dose_kg_per_m3: float,
    *,
    total_capacity_eq_per_m3: float | None = None,
    points: tuple[tuple[float, float], ...] = (),
) -> Estimate:
    """Operating capacity at a regeneration level.

    Parameters
    ----------
    family : str
        Value of ``ResinFamily``, a single resin (for a mixed bed the resin of one leg) [-]
    chemical : str
        Key of ``substances.SUBSTANCES`` [-]
    dose_kg_per_m3 : float
        Mass as 100 % per volume of resin, within the range of the method [kg/m^3]
    total_capacity_eq_per_m3 : float or None
        Total capacity of the resin; None takes a usual one [eq/m^3]
    points : tuple
        The resin's own (dose [kg/m^3], capacity [eq/m^3]); they replace the method's

    Returns
    -------
    capacity : Estimate
        Operating capacity [eq/m^3]

    Raises: OutOfRange for a family and chemical without a method, a dose outside its range, or points that do not rise.
    Source: keller for softening; else handbook_memory or trade_practice, or plant_record for own points.
    """
    applied = applied_eq_per_m3(chemical, dose_kg_per_m3)
    if points:
        known: CapacityCurve | None = None
        own = own_points(points)
        require_within(
            dose_kg_per_m3,
            0.5 * own[0][0],
            2.0 * own[-1][0],
            "dose as 100 %",
            "kg/m³",
            "Beyond it the points say nothing.",
        )
        total = total_capacity_eq_per_m3 or 5000.0
        used, uncertainty, source_key, method = (
            own,
            0.15,
            "plant_record",
            "monotone curve through the resin's own points",
        )
    else:
        known = curve(family, chemical)
        low, high = known.lowest_dose_kg_per_m3, known.highest_dose_kg_per_m3
        require_within(
            dose_kg_per_m3,
            low,
            high,
            "dose as 100 %",
            "kg/m³",
            "The method holds in this range; or enter the resin's own points.",
        )
        total = total_capacity_eq_per_m3 or known.total_eq_per_m3
        used, uncertainty, source_key, method = (
            known.points,
            known.uncertainty_frac,
            known.source,
            known.method,
        )
    require_within(total, 100.0, 6000.0, "total capacity", "eq/m³")
    warnings: list[str] = [known.caution] if known is not None and known.caution else []
    if known is not None and known.stoichiometric_ratio is not None:
        return _near_stoichiometric(known, known.stoichiometric_ratio, applied, total, tuple(warnings))
    found, remark = on_points(used, dose_kg_per_m3)
    if remark:
        warnings.append(f"Dose {dose_kg_per_m3:.4g} kg/m³: {remark}.")
        uncertainty += 0.1
    value = min(found, applied.value, total)
    if value < found:
        bound = "equivalents applied" if applied.value <= total else "total capacity"
        warnings.append(f"The points give {found:.4g} eq/m³; capped by the {bound}, {value:.4g} eq/m³.")
    inputs = (
        Input("d", "dose as 100 %", dose_kg_per_m3, "kg/m^3", "dose"),
        *(
            Input(f"q_{i}", f"capacity at {dose:.4g} kg/m³", q, "eq/m^3", "capacity")
            for i, (dose, q) in enumerate(used, 1)
        ),
        applied.as_input(),
        Input("Q", "total capacity", total, "eq/m^3", "capacity"),
    )
    return Estimate(
        symbol="q",
        name="operating capacity",
        value=value,
        unit="eq/m^3",
        kind="capacity",
        formula="table of capacity points at d, at most n_a, at most Q",
        inputs=inputs,
        method=method,
        source=source_key,
        valid=_validity(known),
        warnings=tuple(warnings),
        uncertainty_frac=uncertainty,
    )  # fmt: skip


def _validity(known: CapacityCurve | None) -> str:
    if known is None:
        return "the resin and the water the points were taken on"
    return (
        f"{known.lowest_dose_kg_per_m3:g} to {known.highest_dose_kg_per_m3:g} kg/m³, co-current, clean resin; "
        "the resin's data sheet and the plant's history go before"
    )


def _near_stoichiometric(
    known: CapacityCurve, ratio: float, applied: Estimate, total: float, warnings: tuple[str, ...]
) -> Estimate:
    regenerated = applied.value / ratio
    capped = regenerated > total
    if capped:
        warnings = (
            *warnings,
            f"The dose would serve {regenerated:.4g} eq/m³; the resin holds {total:.4g} eq/m³. The rest is waste.",
        )
    return Estimate(
        symbol="q",
        name="capacity that the dose regenerates",
        value=min(regenerated, total),
        unit="eq/m^3",
        kind="capacity",
        formula="set point Q" if capped else "n_a / R",
        inputs=(
            applied.as_input(),
            Input("R", "regenerant ratio of the family", ratio, "dimensionless", "ratio"),
            Input("Q", "total capacity", total, "eq/m^3", "capacity"),
        ),
        method=known.method,
        source=known.source,
        valid=_validity(known),
        warnings=warnings,
        uncertainty_frac=known.uncertainty_frac,
    )  # fmt: skip


def residual_at_outlet(applied: Estimate, total_capacity_eq_per_m3: float) -> Estimate:
    """Foreign ions left at the outlet end of a strong resin after co-current regeneration, as a share of its capacity.

    Parameters
    ----------
    applied : Estimate
        From ``applied_eq_per_m3`` [eq/m^3]
    total_capacity_eq_per_m3 : float
        Total capacity, 500 to 3000 [eq/m^3]

    Returns
    -------
    residual : Estimate
        Share of the capacity, falling with the dose [-]

    Raises: OutOfRange for a total capacity outside the range.
    Source: handbook_memory: a shape that falls with the dose, good to a factor of two; a measured leakage goes before.
    """
    require_within(total_capacity_eq_per_m3, 500.0, 3000.0, "total capacity", "eq/m³")
    return Estimate(
        symbol="y",
        name="foreign ions left at the outlet end, co-current",
        value=exp(-_OUTLET_DECAY * applied.value / total_capacity_eq_per_m3),
        unit="dimensionless",
        kind="fraction",
        formula="2.718281828459045^(−1.3 · n_a / Q)",
        inputs=(
            applied.as_input(),
            Input("Q", "total capacity", total_capacity_eq_per_m3, "eq/m^3", "capacity"),
        ),
        method="exponential elution of the outlet end; its constant is from memory",
        source="handbook_memory",
        valid="co-current; counter-flow leaves a tenth of it and less",
        warnings=("From memory, good to a factor of two. A measured leakage goes before.",),
        uncertainty_frac=1.0,
    )


@dataclass(frozen=True, slots=True)
class RegenerationLevel:
    """What a dose gives: capacity, use of the regenerant and, where it can be said, the leakage."""

    applied: Estimate
    capacity: Estimate
    ratio: Estimate
    efficiency: Estimate
    residual: Estimate | None
    leakage: Estimate | None
    leakage_of: str
    """"sodium", "hardness" or "" where no figure can be given."""


def regeneration_level(
    family: str,
    chemical: str,
    dose_kg_per_m3: float,
    *,
    total_capacity_eq_per_m3: float | None = None,
    points: tuple[tuple[float, float], ...] = (),
    strong_anions_eq_per_m3: float | None = None,
    alkalinity_eq_per_m3: float = 0.0,
    cations_eq_per_m3: float | None = None,
) -> RegenerationLevel:
    """Dose to capacity to ratio and efficiency to leakage, in one go.

    Parameters
    ----------
    family : str
        Value of ``ResinFamily``, a single resin [-]
    chemical : str
        Key of ``substances.SUBSTANCES`` [-]
    dose_kg_per_m3 : float
        Mass as 100 % per volume of resin [kg/m^3]
    total_capacity_eq_per_m3 : float or None
        Total capacity of the resin; None takes a usual one [eq/m^3]
    points : tuple
        The resin's own (dose, capacity) points
    strong_anions_eq_per_m3 : float or None
        Of the feed, for the sodium leakage of a hydrogen-form bed [eq/m^3]
    alkalinity_eq_per_m3 : float
        Of the feed [eq/m^3]
    cations_eq_per_m3 : float or None
        Of the feed, for the hardness leakage of a softener [eq/m^3]

    Returns
    -------
    level : RegenerationLevel
        Estimates; the leakage only for sac_h and sac_na with a feed

    Raises: OutOfRange as ``operating_capacity``; never a ratio below one.
    """
    capacity = operating_capacity(
        family, chemical, dose_kg_per_m3, total_capacity_eq_per_m3=total_capacity_eq_per_m3, points=points
    )
    applied = applied_eq_per_m3(chemical, dose_kg_per_m3)
    ratio = require_stoichiometric(regenerant_ratio(applied, capacity))
    efficiency = Estimate(
        symbol="η",
        name="regenerant efficiency, capacity per equivalent applied",
        value=1.0 / ratio.value,
        unit="dimensionless",
        kind="fraction",
        formula="q / n_a",
        inputs=(capacity.as_input(), applied.as_input()),
        method="charge balance",
        source="equivalents",
        valid="never above 1",
        uncertainty_frac=capacity.uncertainty_frac,
    )
    residual = leak = None
    words = ""
    if family in ("sac_h", "sac_na"):
        # a usual strong-acid resin; the resin's own total goes before
        residual = residual_at_outlet(
            applied, total_capacity_eq_per_m3 or curve(family, chemical).total_eq_per_m3
        )
        if family == "sac_h" and strong_anions_eq_per_m3:
            leak, words = (
                leakage.sodium_leakage(
                    min(residual.value, 0.9),
                    strong_anions_eq_per_m3,
                    alkalinity_eq_per_m3=alkalinity_eq_per_m3,
                ),
                "sodium",
            )
        if family == "sac_na" and cations_eq_per_m3:
            leak, words = leakage.hardness_leakage(min(residual.value, 0.8), cations_eq_per_m3), "hardness"
        if leak is not None:
            leak = _resting_on(leak, residual)
    return RegenerationLevel(applied, capacity, ratio, efficiency, residual, leak, words)


def _resting_on(leak: Estimate, residual: Estimate) -> Estimate:
    """The leakage with what its residual is worth: from memory, a factor of two."""
    known = max(leak.uncertainty_frac or 0.0, residual.uncertainty_frac or 0.0)
    return replace(leak, warnings=(*leak.warnings, *residual.warnings), uncertainty_frac=known)


def capacity_per_regenerant(capacity: Estimate, dose_kg_per_m3: float) -> Estimate:
    """Equivalents of capacity per mass of regenerant ("salt efficiency" of a softener).

    Parameters
    ----------
    capacity : Estimate
        Operating capacity [eq/m^3]
    dose_kg_per_m3 : float
        Dose as 100 %, > 0 [kg/m^3]

    Returns
    -------
    efficiency : Estimate
        Capacity per mass; for salt at most 17.11 eq/kg (5994 grain/lb) [eq/kg]

    Raises: OutOfRange for a dose that is not above zero.
    """
    require_positive(dose_kg_per_m3, "dose as 100 %", "kg/m³")
    return Estimate(
        symbol="q_m",
        name="capacity per mass of regenerant",
        value=capacity.value / dose_kg_per_m3,
        unit="eq/kg",
        kind="",
        formula="q / d",
        inputs=(
            Input("q", capacity.name, capacity.value, "eq/m^3", "capacity"),
            Input("d", "dose as 100 %", dose_kg_per_m3, "kg/m^3", "dose"),
        ),
        method="capacity over dose",
        source="equivalents",
        valid="at most one equivalent per equivalent",
        uncertainty_frac=capacity.uncertainty_frac,
    )
