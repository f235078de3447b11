"""Which outside values belong to which quantity on the page "How we know"."""

from __future__ import annotations

import re
from dataclasses import dataclass


@dataclass(frozen=True)
class Group:
    """One line of the page.

    ``bench`` names the quantities of the bench that answer it, with inputs that replace those of its example where another
    method stands behind them: their methods and ranges are shown.
    """

    key: str
    title: str
    quantity: str
    """Pattern that the quantity of a row must fit; the first group that fits takes the row."""
    bench: tuple[str, ...] = ()
    unit: str = "%"
    """What a deviation is told in: percent of the outside value, or the unit of the rows."""
    note: str = ""
    """What the agreement does not prove."""

    def takes(self, quantity: str) -> bool:
        return bool(re.search(self.quantity, quantity))

    def deviation(self, ours: float, value: float) -> float:
        if self.unit != "%":
            return abs(ours - value)
        return abs(ours - value) / abs(value) * 100.0 if value else abs(ours) * 100.0


GROUPS: tuple[Group, ...] = (
    # --- strength, density, heat ----------------------------------------------------------------------------------------
    Group("density_hcl", "Density of hydrochloric acid", r"density of aqueous HCl", ("density chemical=HCl",)),
    Group("density_naoh", "Density of caustic, to 50 %", r"density of aqueous NaOH|temperature slope of density|concentration of 50 wt% NaOH", ("density chemical=NaOH strength=50%",), note="The rows at 20 °C are the program's own table; the others check its temperature fit."),
    Group("density_h2so4", "Density of sulfuric acid, to 98 %", r"density of aqueous H2SO4", ("density chemical=H2SO4 strength=93%",), note="From 10 % on the ICT rows are the program's own; CRC and PHREEQC rows check them."),
    Group("density_nacl", "Density of brine", r"density of aqueous NaCl", ("density chemical=NaCl strength=20%",)),
    Group("density_others", "Density of soda ash and ammonia", r"density of aqueous (Na2CO3|NH3)", ("density chemical=Na2CO3 strength=10%",)),
    Group("viscosity_solution", "Viscosity of solutions", r"dynamic viscosity of aqueous", ("solution_viscosity",)),
    Group("freezing", "Freezing points of solutions", r"freezing point|stability range|solubility of NaOH", ("freezing_point",), unit="K"),
    Group("baume", "Degrees Baumé and strength by hydrometer", r"Baume|degBe", ("strength_from_baume",)),
    Group("heat_of_solution", "Heats of solution and dilution", r"heat of solution|heat released on dilution", ("heat_of_solution", "heat_of_dilution"), note="The read rows are the program's own table: agreement says that they were copied rightly, not more."),
    Group("isothermal_heat", "Heat of dilution from stock to working strength", r"isothermal heat of dilution", ("heat_of_dilution",), note="Computed with the named tables; the tolerance, 2 % and 8 % where the tables are extrapolated, is our own."),
    Group("blend_temperature", "Temperature of a blend", r"final temperature", ("blend_temperature",), unit="K", note="The values were computed with the same named model: agreement proves the program, not nature."),
    # --- water and clean water --------------------------------------------------------------------------------------------
    Group("water_density", "Density of water", r"^density of water", ("water_density",)),
    Group("water_viscosity", "Viscosity of water", r"^dynamic viscosity of water", ("water_viscosity",)),
    Group("pkw", "Ion product of water", r"^pKw", ("pkw",), unit=""),
    Group("pure_water", "Pure water, 0 to 100 °C", r"(resistivity|conductivity) of (neutral )?pure water|maximum (possible )?resistivity|with 1\.0 ug/L", ("pure_water_resistivity", "highest_resistivity")),
    Group("compensation", "Compensation by the kind of water", r"^uncompensated conductivity", ("uncompensated_conductivity", "conductivity_at_25"), note="The values were computed with the same named model: agreement proves the program, not nature."),
    Group("limiting", "Limiting conductivities", r"^limiting", ("limiting_equivalent_conductivity", "limiting_electrolyte_conductivity")),
    Group("kcl", "Conductivity standards", r"KCl standard|air-saturated water|D1125", ("kcl_standard", "air_saturated_water_conductivity"), note="The standards are read; the model for waters is 3 % low at 0.1 mol/kg and 5 °C, where it is not used."),
    Group("limits", "Published limits of water grades", r"USP <645>|ASTM D1193|ISO 3696|dialysis water", ("usp_645_stage_1_limit", "usp_645_stage_3_limit"), note="The read rows are the program's own table: agreement says that they were copied rightly, not more."),
    # --- natural waters and beds ------------------------------------------------------------------------------------------
    Group("water_conductivity", "Conductivity of waters and of what leaves a bed", r"^conductivity at 25 degC", ("water_conductivity", "effluent_conductivity"), note="Held against PHREEQC, whose conductivity model differs from others by 1 to 3 %."),
    Group("water_ph", "pH of waters and of what leaves a bed", r"^pH$", ("water_ph", "effluent_ph"), unit=""),
    Group("leakage", "Sodium leakage and its conductivity", r"sodium leakage", ("sodium_leakage", "caustic_leakage_conductivity")),
    Group("capacity", "Capacity, ratio and salt efficiency", r"softener capacity|salt efficiency|design capacity|regenerant ratio", ("softener_capacity", "salt_efficiency", "regenerant_ratio"), note="Softening only; every other capacity is common practice until the plant measures its own."),
    # --- hydraulics ---------------------------------------------------------------------------------------------------------
    Group("expansion", "Bed expansion", r"bed expansion", ("bed_expansion",), unit="points of %", note="The values were computed with the same named model: agreement proves the program, not nature. The drag law is good to 8 %, the whole model to about 15 %."),
    Group("expansion_flow", "Backwash flow for an expansion", r"superficial velocity for", ("velocity_for_expansion",), note="The values were computed with the same named model: agreement proves the program, not nature."),
    Group("terminal", "Terminal velocity and its ratio", r"terminal velocit", ("terminal_velocity", "terminal_velocity_ratio"), note="The values were computed with the same named model: agreement proves the program, not nature."),
    Group("fluidization", "Minimum fluidization velocity", r"minimum fluidisation", ("minimum_fluidization_velocity",), note="The correlation is checked; it is good to about 25 %."),
    Group("pressure", "Pressure drop of a clean bed", r"packed-bed pressure drop", ("pressure_drop_per_depth", "pressure_drop_carman"), note="The equation is checked; a real bed may be 25 % off."),
    # --- dosing, rinse ------------------------------------------------------------------------------------------------------
    Group("dosing", "Dose, dilution, contact", r"mass of 100 %|mass of stock|volume of stock|dilution water|diluted regenerant|contact time at|equivalents applied", ("chemical_mass", "stock_volume", "diluted_volume")),
    Group("rinse", "Displacement and rinse tail", r"remaining fraction|exponential tail", ("displacement_front", "rinse_bed_volumes")),
    # --- scale, waste -------------------------------------------------------------------------------------------------------
    Group("gypsum_index", "Gypsum saturation index in sulfuric acid", r"gypsum saturation index", ("gypsum_saturation_index",), unit="", note="The values were computed with the same named model: agreement proves the program, not nature."),
    Group("gypsum", "Gypsum: largest calcium share, solubility", r"largest fraction of acid|gypsum solubility", ("gypsum_saturation_index",), note="The values were computed with the same named model: agreement proves the program, not nature."),
    Group("caustic_solids", "Solids that drop in caustic", r"solids precipitated", ("caustic_solids",), unit="mg/kg", note="The values were computed with the same named model: agreement proves the program, not nature."),
    Group("mixture_ph", "pH of mixed wastes", r"pH of the mixture", ("mixture_ph",), unit=""),
    Group("reagent", "Reagent to bring a waste to a pH", r"reagent to bring", ("neutralization_reagent",), unit="mol"),
    Group("rise", "Temperature rise on mixing", r"temperature rise", ("neutralization_temperature_rise",), unit="K"),
    # --- stock ---------------------------------------------------------------------------------------------------------------
    Group("resin_ageing", "Capacity that resin of an age has left", r"^strong-base capacity left of new|^capacity left of cation resin", note="The rows are the program's own table: agreement says that they were copied rightly, not more."),
    Group("thresholds", "Amounts from which a release or a stock is reported", r"^reportable quantity|^threshold planning quantity|^inventory that is reported|^volume that holds the reportable", note="The read rows are the program's own table: agreement says that they were copied rightly, not more. Confirm them with your authority."),
    Group("tank_levels", "Volume in a tank from its level", r"^volume in an? (lying|upright) tank", note="The geometry is checked; a real tank sags, leans and bulges, which only a table of its own knows."),
    # --- trends --------------------------------------------------------------------------------------------------------------
    Group("control_limits", "Control limits and moving averages", r"of individuals|mean moving range|EWMA", unit="", note="The method is checked; whether eight rinses are enough is common practice."),
    Group("exact_share", "Exact limits of a share", r"exact limit of a share", unit=""),
    # --- units --------------------------------------------------------------------------------------------------------------
    Group("conversions", "Equivalents and conversions of units", r"equivalent weight|as CaCO3|regenerant dose to eq|degree|^unit$| per |^lb/ft3| to ", ("equivalent_weight", "as_caco3_factor", "equivalents_per_volume")),
)  # fmt: skip
"""In the order shown."""
