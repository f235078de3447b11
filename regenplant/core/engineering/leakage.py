"""What a regenerated bed lets through: equilibrium at its outlet end.

The last resin the water meets sets the leakage: what foreign ions it still holds comes off in equilibrium with the water.
Equilibrium is the floor; short contact, channels and resin moved in handling add to it. Selectivities are from memory and
depend on the resin: give the plant's own, or read the answer as a factor of two. A measured leakage always goes before.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log10, sqrt

from regenplant.core.engineering import conductivity_tables, ions, pure_water, water
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.ranges import require_positive, require_within
from regenplant.core.engineering.water_conductivity import conductivity_of
from regenplant.core.engineering.waters import Water

SODIUM_OVER_HYDROGEN = 1.56
"""Selectivity of a strong-acid gel of 8 % cross-linking (from memory); 1.2 to 2 by cross-linking."""
CHLORIDE_OVER_HYDROXIDE = 15.0
"""Selectivity of a type 1 strong base (from memory, 15 to 25); type 2 about 2.5. The low end leaks more."""
CALCIUM_OVER_SODIUM = 3.0
"""Mass-action selectivity Ca/Na of a strong-acid resin, equivalent fractions (from memory, 3 to 6)."""
_CHLORIDE_KG_PER_EQ, _SODIUM_KG_PER_EQ = ions.CHLORIDE_KG_PER_EQ, ions.SODIUM_KG_PER_EQ


def sodium_leakage(
    residual_sodium_frac: float,
    strong_anions_eq_per_m3: float,
    selectivity: float = SODIUM_OVER_HYDROGEN,
    alkalinity_eq_per_m3: float = 0.0,
) -> Estimate:
    """Sodium behind a hydrogen-form strong-acid bed, in equilibrium with the resin at the outlet end.

    Parameters
    ----------
    residual_sodium_frac : float
        Sodium left on the resin at the outlet end after regeneration, 0 to 0.9 of its capacity [-]
    strong_anions_eq_per_m3 : float
        Chloride, sulfate and nitrate of the feed, > 0 [eq/m^3]
    selectivity : float
        Sodium over hydrogen, 1 to 4 [-]
    alkalinity_eq_per_m3 : float
        Alkalinity of the feed, only to judge whether the figure holds, >= 0 [eq/m^3]

    Returns
    -------
    leakage : Estimate
        Sodium in the water leaving [kg/m^3]

    Raises: OutOfRange outside these ranges.
    Source: equilibrium_leakage. Monovalent exchange only; counter-flow leaks less because its outlet end is the cleanest.
    """
    require_within(residual_sodium_frac, 0.0, 0.9, "sodium left on the resin at the outlet end")
    require_positive(strong_anions_eq_per_m3, "strong anions of the feed", "eq/m³")
    require_within(selectivity, 1.0, 4.0, "selectivity of sodium over hydrogen")
    y = residual_sodium_frac
    warnings = []
    if alkalinity_eq_per_m3 > strong_anions_eq_per_m3:
        warnings.append(
            "The feed holds more alkalinity than strong anions: little acid forms in the bed and the leakage is less than this."
        )
    if y > 0.3:
        warnings.append("More than 30 % of the outlet end is sodium: that bed is not regenerated.")
    return Estimate(
        symbol="L_Na",
        name="sodium leakage behind the cation bed, at equilibrium",
        value=_SODIUM_KG_PER_EQ * strong_anions_eq_per_m3 * y / (selectivity * (1.0 - y) + y),
        unit="kg/m^3",
        kind="concentration",
        formula="EW · c_a · y / (K · (1 − y) + y)",
        inputs=(
            Input("EW", "equivalent weight of sodium", _SODIUM_KG_PER_EQ, "kg/eq"),
            Input("c_a", "strong anions of the feed", strong_anions_eq_per_m3, "eq/m^3", "normality"),
            Input("y", "sodium left on the resin at the outlet end", y, "dimensionless", "fraction"),
            Input("K", "selectivity of sodium over hydrogen", selectivity, "dimensionless"),
        ),
        method="equilibrium of sodium and hydrogen at the outlet end",
        source="equilibrium_leakage",
        valid="monovalent exchange, strong anions above alkalinity; selectivity from memory unless the plant's own",
        warnings=tuple(warnings),
        uncertainty_frac=1.0,
    )


def hardness_leakage(
    residual_hardness_frac: float,
    cations_eq_per_m3: float,
    total_capacity_eq_per_m3: float = 2000.0,
    selectivity: float = CALCIUM_OVER_SODIUM,
) -> Estimate:
    """Hardness behind a softener, in equilibrium with the resin at the outlet end.

    Parameters
    ----------
    residual_hardness_frac : float
        Hardness left on the resin at the outlet end, 0 to 0.8 of its capacity [-]
    cations_eq_per_m3 : float
        All cations of the feed, 0.1 to 200 [eq/m^3]
    total_capacity_eq_per_m3 : float
        Total capacity of the resin, 500 to 3000 [eq/m^3]
    selectivity : float
        Mass-action selectivity of calcium over sodium, 1 to 10 [-]

    Returns
    -------
    leakage : Estimate
        Hardness in the water leaving, as CaCO3 [kg/m^3]

    Raises: OutOfRange outside these ranges.
    Source: equilibrium_leakage. It grows with the square of the salinity, as known of softeners on brackish water.
    """
    require_within(residual_hardness_frac, 0.0, 0.8, "hardness left on the resin at the outlet end")
    require_within(cations_eq_per_m3, 0.1, 200.0, "cations of the feed", "eq/m³")
    require_within(total_capacity_eq_per_m3, 500.0, 3000.0, "total capacity", "eq/m³")
    require_within(selectivity, 1.0, 10.0, "selectivity of calcium over sodium")
    y, weight = residual_hardness_frac, ions.CALCIUM_CARBONATE_KG_PER_EQ
    # x/(1 − x)² = y/(1 − y)² · c/(K·Q): the smaller root of a quadratic, never above all cations
    b = y * cations_eq_per_m3 / (selectivity * total_capacity_eq_per_m3 * (1.0 - y) ** 2)
    x = 2.0 * b / (1.0 + 2.0 * b + sqrt(1.0 + 4.0 * b))
    return Estimate(
        symbol="L_H",
        name="hardness leakage of the softener, at equilibrium, as CaCO₃",
        value=weight * cations_eq_per_m3 * x,
        unit="kg/m^3",
        kind="hardness",
        formula="EW · c · 2 · b / (1 + 2 · b + (1 + 4 · b)^0.5)",
        inputs=(
            Input("EW", "equivalent weight of CaCO3", weight, "kg/eq"),
            Input("c", "all cations of the feed", cations_eq_per_m3, "eq/m^3", "normality"),
            Input("b", "y · c / (K · Q · (1 − y)²), with y hardness left at the outlet end, K selectivity, Q total capacity",
                  b, "dimensionless"),
        ),
        method="equilibrium of calcium and sodium at the outlet end",
        source="equilibrium_leakage",
        valid="calcium and sodium; selectivity from memory unless the plant's own",
        uncertainty_frac=2.0,
    )  # fmt: skip


def caustic_conductivity(sodium_leakage_kg_per_m3: float) -> Estimate:
    """Conductivity at 25 °C of what a strong-base bed makes of leaked sodium: caustic, free of silica and carbon dioxide.

    Parameters
    ----------
    sodium_leakage_kg_per_m3 : float
        Sodium behind the cation bed, 0 to 0.01; 1 mg/L is 0.001 [kg/m^3]

    Returns
    -------
    conductivity : Estimate
        At 25 °C [S/m]

    Raises: OutOfRange above 10 mg/L: use the conductivity of the water instead.
    Source: crc_ions. Example: 0.5 mg/L sodium gives 5.39 µS/cm.
    """
    require_within(sodium_leakage_kg_per_m3, 0.0, 0.01, "sodium leakage", "kg/m³")
    table = conductivity_tables.LIMITING_IONIC_S_CM2_PER_EQ
    conductance = (table["Na+"] + table["OH-"]) * 1e-4
    return Estimate(
        symbol="κ_25",
        name="conductivity behind the strong-base bed at 25 °C, caustic of the leaked sodium",
        value=sodium_leakage_kg_per_m3 / _SODIUM_KG_PER_EQ * conductance,
        unit="S/m",
        kind="conductivity",
        formula="L_Na / EW · λ",
        inputs=(
            Input(
                "L_Na", "sodium behind the cation bed", sodium_leakage_kg_per_m3, "kg/m^3", "concentration"
            ),
            Input("EW", "equivalent weight of sodium", _SODIUM_KG_PER_EQ, "kg/eq"),
            Input(
                "λ", "limiting conductance of NaOH at 25 °C", conductance, "S*m^2/mol", "molar_conductivity"
            ),
        ),
        method="limiting conductance of caustic",
        source="crc_ions",
        valid="0.02 to 2 mg/L sodium, no carbon dioxide; below that the water itself counts",
        uncertainty_frac=0.03,
    )


@dataclass(frozen=True, slots=True)
class MixedBedLeakage:
    """What cross-contamination does to a mixed bed: forms on the resin, ions in the water, the reading at 25 °C."""

    sodium_frac: Estimate
    chloride_frac: Estimate
    sodium: Estimate
    chloride: Estimate
    sodium_rise: Estimate
    """How many times the sodium of the same bed after a perfect separation."""
    chloride_rise: Estimate
    ph: Estimate
    conductivity: Estimate
    resistivity: Estimate


def _form_frac(
    symbol: str, name: str, misplaced: tuple[str, str, float], hosts_m3: float, own_m3: float, residual: float
) -> Estimate:
    """Share of a resin in the wrong form: what was misplaced, and what regeneration left on the rest."""
    sign, words, share = misplaced
    lost = min(share * hosts_m3 / own_m3, 1.0)
    return Estimate(
        symbol=symbol,
        name=name,
        value=lost + residual * (1.0 - lost),
        unit="dimensionless",
        kind="fraction",
        formula="m + r · (1 − m)",
        inputs=(
            Input("m", f"{sign} · {hosts_m3 * 1000:.4g} L / {own_m3 * 1000:.4g} L, {words}", lost, "dimensionless", "fraction"),
            Input("r", "left by regeneration on the resin that was in its place", residual, "dimensionless", "fraction"),
        ),
        method="volume balance; misplaced beads are wholly in the form of the wrong regenerant",
        source="mass_balance",
        valid="beads counted by volume",
        warnings=(
            ("More than a tenth of the resin is in the wrong form: separate again.",) if lost > 0.1 else ()
        ),
        uncertainty_frac=0.5,
    )  # fmt: skip


def mixed_bed_leakage(
    cation_in_anion_frac: float,
    anion_in_cation_frac: float,
    *,
    cation_m3: float,
    anion_m3: float,
    residual_sodium_frac: float = 0.02,
    residual_chloride_frac: float = 0.05,
    sodium_selectivity: float = SODIUM_OVER_HYDROGEN,
    chloride_selectivity: float = CHLORIDE_OVER_HYDROXIDE,
) -> MixedBedLeakage:
    """What a mixed bed lets through at equilibrium, for how well its resins were separated.

    Cation beads that went with the anion met caustic and are in sodium form; anion beads that went with the cation met
    acid and are in chloride (or sulfate) form. After mixing they stand in the finished bed and leak.

    Parameters
    ----------
    cation_in_anion_frac : float
        Cation beads in the anion layer after the cut, by volume of that layer, 0 to 0.5 [-]
    anion_in_cation_frac : float
        Anion beads in the cation layer after the cut, by volume of that layer, 0 to 0.5 [-]
    cation_m3 : float
        Cation resin, > 0 [m^3]
    anion_m3 : float
        Anion resin, > 0 [m^3]
    residual_sodium_frac : float
        Left by regeneration on cation resin that was in its place, 0 to 0.5; common practice about 2 % [-]
    residual_chloride_frac : float
        Left by regeneration on anion resin that was in its place, 0 to 0.5; common practice about 5 % [-]
    sodium_selectivity : float
        Sodium over hydrogen, 1 to 4 [-]
    chloride_selectivity : float
        Chloride over hydroxide, 1 to 40; about 2.5 for type 2 [-]

    Returns
    -------
    leakage : MixedBedLeakage
        Estimates of the forms, of sodium and chloride [kg/m^3], pH, conductivity and resistivity at 25 °C

    Raises: OutOfRange outside these ranges.
    Source: equilibrium_leakage, with iapws_kw. The floor: real beds show a few times this, and carbon dioxide on top.
    """
    require_within(cation_in_anion_frac, 0.0, 0.5, "share of cation beads in the anion layer")
    require_within(anion_in_cation_frac, 0.0, 0.5, "share of anion beads in the cation layer")
    require_positive(cation_m3, "cation resin", "m³")
    require_positive(anion_m3, "anion resin", "m³")
    require_within(residual_sodium_frac, 0.0, 0.5, "sodium left by regeneration")
    require_within(residual_chloride_frac, 0.0, 0.5, "chloride left by regeneration")
    require_within(sodium_selectivity, 1.0, 4.0, "selectivity of sodium over hydrogen")
    require_within(chloride_selectivity, 1.0, 40.0, "selectivity of chloride over hydroxide")
    sodium_frac = _form_frac(
        "y_Na", "share of the cation resin in sodium form",
        ("cation in anion", "cation beads that met caustic", cation_in_anion_frac), anion_m3, cation_m3, residual_sodium_frac,
    )  # fmt: skip
    chloride_frac = _form_frac(
        "y_Cl", "share of the anion resin in chloride form",
        ("anion in cation", "anion beads that met acid", anion_in_cation_frac), cation_m3, anion_m3, residual_chloride_frac,
    )  # fmt: skip
    return _at_equilibrium(
        _Forms(sodium_frac, chloride_frac, residual_sodium_frac, residual_chloride_frac),
        sodium_selectivity,
        chloride_selectivity,
    )


@dataclass(frozen=True, slots=True)
class _Forms:
    sodium_frac: Estimate
    chloride_frac: Estimate
    residual_sodium_frac: float
    residual_chloride_frac: float


_WRONG_FORM_HELD = 0.98
"""The equilibrium ends where no regenerated resin is left."""


def _per_water_ion(form_frac: float, selectivity: float) -> float:
    held = min(form_frac, _WRONG_FORM_HELD)
    return held / (1.0 - held) / selectivity


def _traces(a: float, b: float, root_product: float) -> tuple[float, float]:
    """(sodium, chloride) from [Na] = a·[H], [Cl] = b·[OH], [Na] + [H] = [Cl] + [OH], [H]·[OH] = Kw; closed form."""
    return a * root_product * sqrt((1.0 + b) / (1.0 + a)), b * root_product * sqrt((1.0 + a) / (1.0 + b))


def _rise(symbol: str, name: str, now: Estimate, clean_kg_per_m3: float) -> Estimate:
    if clean_kg_per_m3 <= 0.0:
        return Estimate(
            symbol, f"{name} leakage against a perfect separation", 1.0, "dimensionless", "ratio",
            "set point: without a rest left by regeneration there is nothing to compare with", (), "ratio of two leakages",
            "equilibrium_leakage", "needs a rest left by regeneration",
        )  # fmt: skip
    clean = Input(
        "L_0", "the same after a perfect separation", clean_kg_per_m3, "kg/m^3", "trace_concentration"
    )
    return Estimate(
        symbol, f"{name} leakage against a perfect separation", now.value / clean_kg_per_m3, "dimensionless", "ratio",
        f"{now.symbol} / L_0", (now.as_input(), clean), "ratio of two leakages", "equilibrium_leakage",
        "the ratio is better known than the leakage itself", (), 0.5,
    )  # fmt: skip


def _at_equilibrium(forms: _Forms, sodium_selectivity: float, chloride_selectivity: float) -> MixedBedLeakage:
    sodium_frac, chloride_frac = forms.sodium_frac, forms.chloride_frac
    a = _per_water_ion(sodium_frac.value, sodium_selectivity)
    b = _per_water_ion(chloride_frac.value, chloride_selectivity)
    rho = water.density_kg_per_m3(water.REFERENCE_KELVIN)
    root_product = sqrt(water.ion_product_molal(water.REFERENCE_KELVIN)) * rho
    sodium, chloride = _traces(a, b, root_product)
    clean_sodium, clean_chloride = _traces(
        _per_water_ion(forms.residual_sodium_frac, sodium_selectivity),
        _per_water_ion(forms.residual_chloride_frac, chloride_selectivity),
        root_product,
    )
    shared = (
        Input("a", "sodium per hydrogen: y_Na / (1 − y_Na) / K_Na", a, "dimensionless"),
        Input("b", "chloride per hydroxide: y_Cl / (1 − y_Cl) / K_Cl", b, "dimensionless"),
        Input(
            "N", "root of the ion product of water at 25 °C", root_product, "mol/m^3", "amount_concentration"
        ),
    )
    valid = "neutral outlet water at 25 °C; a floor: kinetics, air and silica are not in it"
    warnings = (
        "The floor at equilibrium: the resistivity hardly shows it, a sodium analyzer does. Short contact and a poor mix raise "
        "it by a factor of a few; the beads in the wrong form are lost capacity.",
    )

    def leak(symbol: str, name: str, weight: float, value: float, first: str, second: str) -> Estimate:
        return Estimate(
            symbol, f"{name} leakage of the mixed bed, at equilibrium", weight * value, "kg/m^3", "trace_concentration",
            f"EW · {first} · N · ((1 + {second}) / (1 + {first}))^0.5",
            (Input("EW", f"equivalent weight of {name}", weight, "kg/eq"), *shared),
            "ion exchange at the outlet with the charge balance of water", "equilibrium_leakage", valid, warnings, 2.0,
        )  # fmt: skip

    outlet = Water(sodium_mol_per_m3=sodium, chloride_mol_per_m3=chloride)
    reading = conductivity_of(outlet)
    figure = Estimate(
        "κ_25", "conductivity of the mixed-bed water at 25 °C, at equilibrium", reading.value, "S/m", "conductivity",
        "solve conductivity of pure water with this sodium and chloride", reading.inputs,
        "equilibrium leakage, then conductivity of the water", "equilibrium_leakage", valid, warnings, 0.5,
    )  # fmt: skip
    from_ratio = water.ion_product_molal(water.REFERENCE_KELVIN) ** 0.5 * sqrt((1.0 + b) / (1.0 + a))
    ph = Estimate(
        "pH", "pH of the mixed-bed water", -log10(from_ratio), "dimensionless", "ph",
        "solve [H] = N · ((1 + b) / (1 + a))^0.5", shared,
        "charge balance of water with both exchanges", "equilibrium_leakage", valid, warnings, 0.05,
    )  # fmt: skip
    resistivity = Estimate(
        "R_25", "resistivity of the mixed-bed water at 25 °C, at equilibrium", pure_water.resistivity_ohm_m(reading.value),
        "ohm*m", "resistivity", "1 / κ_25", (figure.as_input(),), "reciprocal of the conductivity",
        "equilibrium_leakage", valid, warnings, 0.5,
    )  # fmt: skip
    sodium_leak = leak("L_Na", "sodium", _SODIUM_KG_PER_EQ, sodium, "a", "b")
    chloride_leak = leak("L_Cl", "chloride", _CHLORIDE_KG_PER_EQ, chloride, "b", "a")
    return MixedBedLeakage(
        sodium_frac=sodium_frac,
        chloride_frac=chloride_frac,
        sodium=sodium_leak,
        chloride=chloride_leak,
        sodium_rise=_rise("F_Na", "sodium", sodium_leak, clean_sodium * _SODIUM_KG_PER_EQ),
        chloride_rise=_rise("F_Cl", "chloride", chloride_leak, clean_chloride * _CHLORIDE_KG_PER_EQ),
        ph=ph,
        conductivity=figure,
        resistivity=resistivity,
    )
