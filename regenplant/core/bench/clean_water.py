"""Pure water, compensation to 25 °C, conductances, and the standards a meter is held against."""

from __future__ import annotations

from math import log10

from regenplant.core.bench import inputs as given
from regenplant.core.bench.quantity import Answer, Choice, Group, InputSpec, Quantity
from regenplant.core.engineering import conductivity, conductivity_standards, pure_water, water, water_grades
from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.engineering.conductivity_tables import (
    LIMITING_IONIC_S_CM2_PER_EQ,
    MCCLESKEY,
    USP_645_STAGE_1,
    table_limit_siemens_per_m,
)
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.ions import equivalent_weight_kg_per_eq

_T = given.temperature("temperature", "water temperature", 0.0, 100.0)
_T_CELL = given.temperature("temperature", "temperature of the water in the cell", 0.0, 100.0)
_KINDS = (
    Choice("neutral", "neutral salt (behind a mixed bed)", ("nacl", "neutral salt", "salt", "sodium chloride", "neutral_salt", "mixed bed")),
    Choice("acid", "acid (behind a cation bed)", ("hcl", "hydrochloric acid", "cation", "acidic")),
    Choice("base", "caustic (behind an anion bed)", ("naoh", "caustic", "sodium hydroxide", "anion", "alkaline", "basic")),
)  # fmt: skip
_TRACE = given.word("trace", "what the trace in the water is", _KINDS, "neutral", ("kind", "stream", "compensation", "impurity", "solute", "water_kind", "type", "chemical"))  # fmt: skip
_READ = given.number("conductivity", "conductivity read, not compensated", "conductivity", "uS/cm", 1e-9, 100.0, None, ("kappa", "reading", "uncompensated_conductivity", "kappa_t", "resistivity", "conductivity_at_t"))  # fmt: skip
_AT_25 = given.number("conductivity", "conductivity at 25 °C", "conductivity", "uS/cm", 5.5e-6, 100.0, None, ("kappa25", "kappa_25", "conductivity_25", "conductivity_at_25", "conductivity_at_25_degc", "compensated_conductivity", "kappa", "resistivity", "resistivity_25"))  # fmt: skip


def _pure_conductivity(temperature_kelvin: float) -> Estimate:
    return pure_water.pure_water_conductivity(temperature_kelvin)


def _reciprocal(of: Estimate, name: str) -> Estimate:
    return Estimate(
        "R", name, 1.0 / of.value, "ohm*m", "resistivity", f"1 / {of.symbol}", (of.as_input(),), of.method, of.source, of.valid, of.warnings,
        of.uncertainty_frac,
    )  # fmt: skip


def _pure_resistivity(temperature_kelvin: float) -> Estimate:
    return _reciprocal(pure_water.pure_water_conductivity(temperature_kelvin), "resistivity of pure water")


def _ion_product(temperature_kelvin: float) -> Estimate:
    product = water.ion_product_molal(temperature_kelvin)
    # the library's product is in mol²/kg²
    return Estimate(
        "pK_w", "negative logarithm of the ion product of water, molal", -log10(product), "dimensionless", "scalar", "table of the ion product at T",
        (Input("T", "temperature", temperature_kelvin, "kelvin", "temperature"),), "IAPWS ionization constant", "iapws_kw", "0 to 100 °C at saturation", (), 0.001,
    )  # fmt: skip


def _density(temperature_kelvin: float) -> Estimate:
    return water.water_density(temperature_kelvin)


def _viscosity(temperature_kelvin: float) -> Estimate:
    return Estimate(
        "µ", "dynamic viscosity of water", water.viscosity_pascal_s(temperature_kelvin), "pascal*s", "viscosity", "table of viscosity at T",
        (Input("T", "temperature", temperature_kelvin, "kelvin", "temperature"),), "IAPWS formulation", "iapws_viscosity", "0 to 100 °C", (), 0.01,
    )  # fmt: skip


def _to_25(conductivity_siemens_per_m: float, temperature_kelvin: float, trace: str) -> Answer:
    found = conductivity.at_25_celsius(conductivity_siemens_per_m, temperature_kelvin, Compensation(trace))
    return Answer(found, {"resistivity_at_25": _reciprocal(found, "resistivity at 25 °C")})


def _from_25(conductivity_siemens_per_m: float, temperature_kelvin: float, trace: str) -> Answer:
    found = conductivity.from_25_celsius(conductivity_siemens_per_m, temperature_kelvin, Compensation(trace))
    return Answer(found, {"resistivity_at_temperature": _reciprocal(found, "resistivity, not compensated")})


def _flat(conductivity_siemens_per_m: float, temperature_kelvin: float) -> Estimate:
    return conductivity.flat_at_25_celsius(conductivity_siemens_per_m, temperature_kelvin)


def _turned(conductivity_siemens_per_m: float) -> Estimate:
    read = Estimate("κ", "conductivity", conductivity_siemens_per_m, "S/m", "conductivity", "on record", (), "reciprocal", "equivalents")  # fmt: skip
    return _reciprocal(read, "resistivity")


def _turned_back(resistivity_ohm_m: float) -> Estimate:
    return Estimate(
        "κ", "conductivity", 1.0 / resistivity_ohm_m, "S/m", "conductivity", "1 / R", (Input("R", "resistivity", resistivity_ohm_m, "ohm*m", "resistivity"),), "reciprocal", "equivalents",
    )  # fmt: skip


_SALTS = {"neutral": ("NaCl", 0.058443), "acid": ("HCl", 0.036461), "base": ("NaOH", 0.039997)}


def _trace_worth(
    amount_mol_per_m3: float, temperature_kelvin: float, trace: str
) -> tuple[float, tuple[str, ...], float]:
    """Conductivity of a trace [S/m], what is to be said of it, and its relative uncertainty."""
    value = conductivity.conductivity_with_trace(amount_mol_per_m3, Compensation(trace), temperature_kelvin)
    warnings: tuple[str, ...] = ()
    uncertainty = 0.015
    if value > _NO_TRACE_SIEMENS_PER_M:
        warnings = ("Above about 10 µS/cm this is no trace: the ions hinder each other, and the figure is 1 to 3 % high at 100 µS/cm and more above.",)  # fmt: skip
        uncertainty = max(0.03, 0.03 * (value / 1e-2) ** 0.5)
    return value, (*warnings, *_outside_fit(temperature_kelvin)), uncertainty


_NO_TRACE_SIEMENS_PER_M = 1e-3


def _outside_fit(temperature_kelvin: float) -> tuple[str, ...]:
    if 278.15 <= temperature_kelvin <= 363.15:
        return ()
    return (
        "The limiting conductances were fitted from 5 to 90 °C; outside they are carried on, good to about 1.5 %.",
    )


def _with_trace(concentration_kg_per_m3: float, temperature_kelvin: float, trace: str) -> Answer:
    salt, molar = _SALTS[trace]
    amount = concentration_kg_per_m3 / molar
    value, warnings, uncertainty = _trace_worth(amount, temperature_kelvin, trace)
    found = Estimate(
        "κ", f"conductivity of pure water with a trace of {salt}", value, "S/m", "conductivity", "solve charge balance at c, then sum of λ · c over the ions",
        (Input("c", f"trace of {salt}", amount, "mol/m^3", "amount_concentration"), Input("T", "temperature", temperature_kelvin, "kelvin", "temperature")),
        "limiting conductances with the ion product of water", "mccleskey", "traces to about 10 µS/cm", warnings, uncertainty,
    )  # fmt: skip
    return Answer(found, {"resistivity": _reciprocal(found, f"resistivity with a trace of {salt}")})


def _resistivity_with_trace(concentration_kg_per_m3: float, temperature_kelvin: float, trace: str) -> Answer:
    found = _with_trace(concentration_kg_per_m3, temperature_kelvin, trace)
    return Answer(found.others["resistivity"], {"conductivity": found.main})


def _caustic(sodium_kg_per_m3: float, temperature_kelvin: float) -> Answer:
    weight = equivalent_weight_kg_per_eq("Na+")
    amount = sodium_kg_per_m3 / weight
    value, warnings, uncertainty = _trace_worth(amount, temperature_kelvin, Compensation.BASE.value)
    found = Estimate(
        "κ", "conductivity of caustic leakage behind a strong-base anion bed", value, "S/m", "conductivity", "solve charge balance at c, then sum of λ · c over the ions",
        (Input("c", "sodium leakage, as sodium hydroxide", amount, "mol/m^3", "amount_concentration"), Input("T", "temperature", temperature_kelvin, "kelvin", "temperature")),
        "limiting conductances with the ion product of water", "mccleskey", "free of silica and carbonate", warnings, max(0.02, uncertainty),
    )  # fmt: skip
    return Answer(found, {"resistivity": _reciprocal(found, "resistivity")})


def _highest(temperature_kelvin: float) -> Estimate:
    """The most that water with a trace of caustic can show: least conductivity over the trace."""
    kind = Compensation.BASE
    best = min(
        conductivity.conductivity_with_trace(1e-6 * step, kind, temperature_kelvin) for step in range(2001)
    )
    return Estimate(
        "R_max", "highest resistivity of water with a trace of caustic", 1.0 / best, "ohm*m", "resistivity", "lowest κ over the trace of NaOH, turned",
        (Input("T", "temperature", temperature_kelvin, "kelvin", "temperature"),), "limiting conductances with the ion product of water", "mccleskey", "5 to 50 °C; 18.28 MΩ·cm read at 25 °C", (), 0.01,
    )  # fmt: skip


_ION_CHOICES = (
    *(Choice(key, key, given.SPECIES_SPELLINGS.get(key, ()) if key not in ("H2PO4-", "HSO4-") else {"HSO4-": ("hso4", "bisulfate"), "H2PO4-": ("h2po4", "dihydrogen phosphate")}[key])
    for key in LIMITING_IONIC_S_CM2_PER_EQ),
    Choice("H3SiO4-", "H3SiO4-, silicate", ("silicate", "hsio3-", "hsio3", "h3sio4", "H3SiO4- (written HSiO3-)")),
)  # fmt: skip
_FROM_MEMORY = {"H3SiO4-": 35.0}
"""S·cm²/eq, an estimate; no table read lists this ion."""
_ION = given.word("ion", "ion", _ION_CHOICES, None, ("species",))


def _equivalent_ionic(ion: str) -> Estimate:
    if ion in _FROM_MEMORY:
        return Estimate(
            "λ_eq", f"limiting equivalent conductivity of {ion}", _FROM_MEMORY[ion] * 1e-4, "S*m^2/eq", "equivalent_conductivity", "table at 25 °C",
            (), "estimate from ions of its size", "handbook_memory", "25 °C, infinite dilution",
            ("From memory, unverified: an estimate good to about 20 %.",), 0.2,
        )  # fmt: skip
    return Estimate(
        "λ_eq", f"limiting equivalent conductivity of {ion}", LIMITING_IONIC_S_CM2_PER_EQ[ion] * 1e-4, "S*m^2/eq", "equivalent_conductivity", "table at 25 °C", (),
        "table", "crc_ions", "25 °C, infinite dilution", (), 0.005,
    )  # fmt: skip


def _charge(ion: str) -> int:
    return max(ion.count("+"), ion.count("-"), 1)


def _molar_ionic(ion: str) -> Estimate:
    per_equivalent = _equivalent_ionic(ion)
    return Estimate(
        "λ_m", f"limiting molar conductivity of {ion}", per_equivalent.value * _charge(ion), "S*m^2/mol", "molar_conductivity", "λ_eq · z",
        (per_equivalent.as_input(), Input("z", "charge number", float(_charge(ion)), "dimensionless", "count")), per_equivalent.method, per_equivalent.source, per_equivalent.valid,
        per_equivalent.warnings, per_equivalent.uncertainty_frac,
    )  # fmt: skip


_ELECTROLYTES = tuple(Choice(key, key) for key in MCCLESKEY)
_SUMS = {"HCl": ("H+", "Cl-"), "NaOH": ("Na+", "OH-"), "NaCl": ("Na+", "Cl-"), "KCl": ("K+", "Cl-")}


def _electrolyte(electrolyte: str, temperature_kelvin: float) -> Estimate:
    value = pure_water.limiting_conductance_s_m2_per_mol(electrolyte, temperature_kelvin)
    c1, c2, c3 = MCCLESKEY[electrolyte]
    scale = 1e-4
    return Estimate(
        "Λ_0", f"limiting conductivity of {electrolyte}, per equivalent", value, "S*m^2/eq", "equivalent_conductivity", "c_1 · t^2 + c_2 · t + c_3",
        (
            Input("c_1", "first coefficient", c1 * scale, "S*m^2/eq/K^2"), Input("t", "temperature in °C", temperature_kelvin - 273.15, "dimensionless", "scalar"),
            Input("c_2", "second coefficient", c2 * scale, "S*m^2/eq/K"), Input("c_3", "third coefficient", c3 * scale, "S*m^2/eq"),
        ),
        "McCleskey's fit", "mccleskey", "5 to 90 °C, infinite dilution", _outside_fit(temperature_kelvin), 0.01 if not _outside_fit(temperature_kelvin) else 0.015,
    )  # fmt: skip


def _electrolyte_sum(electrolyte: str) -> Estimate:
    first, second = (_molar_ionic(ion) for ion in _SUMS[electrolyte])
    first, second = first.named("λ_1", first.name), second.named("λ_2", second.name)
    return Estimate(
        "Λ_0", f"limiting molar conductivity of {electrolyte} at 25 °C", first.value + second.value, "S*m^2/mol", "molar_conductivity", "λ_1 + λ_2",
        (first.as_input(), second.as_input()), "sum of the ions (Kohlrausch)", "crc_ions", "25 °C, infinite dilution", (), 0.005,
    )  # fmt: skip


def _kcl(molality_mol_per_kg: float, temperature_kelvin: float) -> Estimate:
    return conductivity_standards.kcl_standard(molality_mol_per_kg, temperature_kelvin)


_SOLUTIONS = tuple(
    Choice(key, f"reference solution {key}", (f"solution {key}",))
    for key in conductivity_standards.REFERENCE_SOLUTIONS_SIEMENS_PER_M
)


def _reference(solution: str) -> Estimate:
    value = conductivity_standards.REFERENCE_SOLUTIONS_SIEMENS_PER_M[solution]
    return Estimate(
        "κ_s", f"conductivity of ASTM D1125 reference solution {solution} at 25 °C, solvent not counted", value, "S/m", "conductivity",
        f"table of reference solution {solution}", (), "table", "astm_d1125", "25 °C; the certificate of the bottle decides", (), 0.001,
    )  # fmt: skip


def _air(temperature_kelvin: float) -> Estimate:
    return conductivity_standards.open_water(temperature_kelvin)


def _usp_limit(stage: int, limit: float, inputs: tuple[Input, ...]) -> Estimate:
    return Estimate(
        "κ_max", f"highest conductivity, USP <645> stage {stage}", limit, "S/m", "conductivity", f"table of stage {stage}", inputs,
        "table; temperature rounded down, pH rounded to 0.1", "usp_645", "the edition in force decides",
    )  # fmt: skip


def _usp_1(temperature_kelvin: float) -> Estimate:
    limit = table_limit_siemens_per_m(USP_645_STAGE_1, temperature_kelvin)
    read = Input("T", "temperature of the reading", temperature_kelvin, "kelvin", "temperature")
    return _usp_limit(1, limit, (read,))


def _usp_2() -> Estimate:
    return _usp_limit(2, water_grades.USP_645_STAGE_2_SIEMENS_PER_M, ())


def _usp_3(ph: float) -> Estimate:
    return _usp_limit(
        3,
        water_grades.usp_645_stage_3_limit(ph),
        (Input("pH", "pH, rounded to 0.1", ph, "dimensionless", "ph"),),
    )


def quantities() -> tuple[Quantity, ...]:
    """The quantities of this group."""
    group = Group.CLEAN_WATER
    at_25 = given.temperature("temperature", "water temperature", 0.0, 100.0, "25 degC")
    trace_in = given.number("concentration", "trace of the salt, acid or caustic", "concentration", "ug/L", 0.0, 0.1, "0 ug/L", ("c", "salt", "nacl", "naoh", "hcl", "trace_concentration"))  # fmt: skip
    sodium_in = given.number("sodium", "sodium leakage", "concentration", "mg/L", 0.0, 0.1, None, ("na", "sodium_leakage", "leakage", "concentration"))  # fmt: skip
    ph_in = InputSpec("ph", "pH", "ph", "-", 5.0, 7.0, None)
    standard = {"temperature": "25 degC"}
    reading = {"conductivity": "0.0166 uS/cm", "temperature": "5 degC", "trace": "neutral"}
    return (
        Quantity("pure_water_resistivity", "Resistivity of pure water", "By temperature.", group, (at_25,), "resistivity", "Mohm.cm", _pure_resistivity, standard, ("resistivity_of_pure_water", "pure_water")),
        Quantity("pure_water_conductivity", "Conductivity of pure water", "By temperature.", group, (at_25,), "conductivity", "uS/cm", _pure_conductivity, standard, ("conductivity_of_pure_water",)),
        Quantity("pkw", "Ion product of water, pKw", "Molal basis, by temperature.", group, (at_25,), "scalar", "-", _ion_product, standard, ("pkw_molal_basis", "ion_product", "kw", "pk_w")),
        Quantity("water_density", "Density of water", "By temperature at 0.1013 MPa.", group, (at_25,), "density", "kg/m3", _density, standard, ("density_of_water",)),
        Quantity("water_viscosity", "Viscosity of water", "Dynamic, by temperature.", group, (at_25,), "viscosity", "mPa.s", _viscosity, standard, ("dynamic_viscosity_of_water", "viscosity_of_water", "dynamic_viscosity")),
        Quantity("conductivity_at_25", "Conductivity compensated to 25 °C", "A reading without compensation brought to 25 °C by the kind of water.", group, (_READ, _T_CELL, _TRACE), "conductivity", "uS/cm", _to_25, reading, ("compensate", "compensated_conductivity", "compensation", "compensation_to_25", "conductivity_compensated_to_25")),
        Quantity("uncompensated_conductivity", "Conductivity at a temperature", "What a cell without compensation shows for water known at 25 °C.", group, (_AT_25, _T_CELL, _TRACE), "conductivity", "uS/cm", _from_25, {"conductivity": "0.06 uS/cm", "temperature": "5 degC", "trace": "neutral"}, ("uncompensated_conductivity_at_t", "conductivity_from_25", "decompensate", "uncompensated_conductivity_at_t_of_water_whose_conductivity_at_25_degc_is_given", "conductivity_at_temperature", "uncompensated")),
        Quantity("flat_compensation", "Conductivity at 25 °C, flat 2 %/K", "The habit of simple meters; not valid below 10 µS/cm.", group, (_READ, given.temperature("temperature", "temperature of the water in the cell", 0.0, 60.0)), "conductivity", "uS/cm", _flat, {"conductivity": "800 uS/cm", "temperature": "15 degC"}),
        Quantity("resistivity_from_conductivity", "Resistivity from conductivity", "The exact reciprocal.", group, (given.number("conductivity", "conductivity", "conductivity", "uS/cm", 1e-9, 100.0, None, ("kappa",)),), "resistivity", "Mohm.cm", _turned, {"conductivity": "0.0550 uS/cm"}, ("resistivity",)),
        Quantity("conductivity_from_resistivity", "Conductivity from resistivity", "The exact reciprocal.", group, (given.number("resistivity", "resistivity", "resistivity", "Mohm.cm", 1e-4, 1e7, None, ("r",)),), "conductivity", "uS/cm", _turned_back, {"resistivity": "18.18 Mohm-cm"}),
        Quantity("resistivity_with_trace", "Resistivity of water with a trace", "Pure water with a trace of salt, acid or caustic, at its temperature.", group, (trace_in, at_25, _TRACE), "resistivity", "Mohm.cm", _resistivity_with_trace, {"concentration": "1 ug/L", "temperature": "25 degC"}, ("resistivity_with_nacl", "resistivity_with_1_0_ug_l_nacl", "resistivity_with_salt")),
        Quantity("conductivity_with_trace", "Conductivity of water with a trace", "Pure water with a trace of salt, acid or caustic, at its temperature.", group, (trace_in, at_25, _TRACE), "conductivity", "uS/cm", _with_trace, {"concentration": "10 ug/L", "temperature": "25 degC"}, ("conductivity_with_salt",)),
        Quantity("caustic_leakage_conductivity", "Conductivity of caustic leakage", "Sodium that leaks through a strong-base anion bed as sodium hydroxide, free of silica.", group, (sodium_in, at_25), "conductivity", "uS/cm", _caustic, {"sodium": "0.05 mg/L", "temperature": "25 degC"}, ("silica_free_caustic_conductivity_from_sodium_leakage", "caustic_conductivity", "conductivity_from_sodium_leakage")),
        Quantity("highest_resistivity", "Highest resistivity of water", "With a trace of caustic water shows a little more than when neutral.", group, (given.temperature("temperature", "water temperature", 5.0, 60.0, "25 degC"),), "resistivity", "Mohm.cm", _highest, standard, ("maximum_possible_resistivity_of_water_with_trace_naoh", "maximum_resistivity", "maximum_resistivity_of_water_with_trace_naoh")),
        Quantity("limiting_equivalent_conductivity", "Limiting equivalent conductivity of an ion", "At 25 °C.", group, (_ION,), "equivalent_conductivity", "S.cm2/eq", _equivalent_ionic, {"ion": "Ca++"}, ("limiting_equivalent_ionic_conductivity", "equivalent_ionic_conductivity", "lambda_eq")),
        Quantity("limiting_molar_conductivity", "Limiting molar conductivity of an ion", "At 25 °C: per equivalent times charge.", group, (_ION,), "molar_conductivity", "S.cm2/mol", _molar_ionic, {"ion": "Ca++"}, ("limiting_molar_ionic_conductivity", "molar_ionic_conductivity", "lambda_m")),
        Quantity("limiting_electrolyte_conductivity", "Limiting conductivity of an electrolyte", "Per equivalent, by temperature.", group, (given.word("electrolyte", "electrolyte", _ELECTROLYTES, None, ("chemical", "salt", "species")), at_25), "equivalent_conductivity", "S.cm2/eq", _electrolyte, {"electrolyte": "HCl", "temperature": "15 degC"}, ("limiting_conductivity_of_electrolyte", "limiting_conductivity_of_electrolyte_l0_t",
                "limiting_conductivity_of_electrolyte_l0", "l0", "lambda_0", "limiting_conductance")),
        Quantity("limiting_electrolyte_molar_conductivity", "Limiting molar conductivity of an electrolyte", "At 25 °C as the sum of its ions.", group, (given.word("electrolyte", "electrolyte", tuple(Choice(key, key) for key in _SUMS), None, ("chemical", "salt", "species")),), "molar_conductivity", "S.cm2/mol", _electrolyte_sum, {"electrolyte": "HCl"}, ("limiting_molar_conductivity_of_electrolyte",)),
        Quantity("kcl_standard", "Potassium chloride standard", "Conductivity a cell should show in a KCl standard.", group, (given.number("molality", "KCl per mass of water", "molality", "mol/kg", 0.01, 1.0, None, ("concentration", "kcl", "b", "standard"), help="0.01, 0.1 or 1 mol/kg: there are no others."), given.temperature("temperature", "temperature in the cell", 0.0, 50.0, "25 degC")), "conductivity", "uS/cm", _kcl, {"molality": "0.01", "temperature": "25 degC"}, ("conductivity_of_kcl_standard", "kcl", "potassium_chloride_standard")),
        Quantity("astm_d1125_solution", "ASTM D1125 reference solution", "Conductivity of reference solution C or D at 25 °C.", group, (given.word("solution", "reference solution", _SOLUTIONS, None, ("name", "standard")),), "conductivity", "uS/cm", _reference, {"solution": "C"}, ("astm_d1125_reference_solution", "reference_solution", "conductivity_of_astm_d1125_reference_solution"), see=("kcl_standard",)),
        Quantity("air_saturated_water_conductivity", "Conductivity of air-saturated water", "To add to a dilute standard.", group, (given.temperature("temperature", "temperature", 0.0, 35.0, "25 degC"),), "conductivity", "uS/cm", _air, standard, ("conductivity_of_air_saturated_water", "solvent_correction")),
        Quantity("usp_645_stage_2_limit", "USP <645> stage 2 limit", "At 25 °C after the sample has come to equilibrium with air.", group, (), "conductivity", "uS/cm", _usp_2, {}, ("usp_stage_2", "usp_645_stage_2", "usp_stage_2_limit")),
        Quantity("usp_645_stage_1_limit", "USP <645> stage 1 limit", "Uncompensated in-line conductivity by temperature, rounded down.", group, (given.temperature("temperature", "temperature of the reading", 0.0, 100.0),), "conductivity", "uS/cm", _usp_1, {"temperature": "30 degC"}, ("usp_stage_1", "usp_645_stage_1_limit_uncompensated_in_line_conductivity", "usp_645_stage_1", "usp_stage_1_limit")),
        Quantity("usp_645_stage_3_limit", "USP <645> stage 3 limit", "By pH, rounded to 0.1.", group, (ph_in,), "conductivity", "uS/cm", _usp_3, {"ph": "6.2"}, ("usp_stage_3", "usp_645_stage_3_conductivity_limit", "usp_645_stage_3", "usp_stage_3_limit")),
    )  # fmt: skip
