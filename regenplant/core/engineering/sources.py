"""Where each method and each number comes from, by key.

Every ``Estimate`` names one of these. ``how_known`` is honest about what stands behind it:

- READ: the text or table was read, and reference rows from it stand in the tests;
- COMPUTED: computed with a public library whose model is named;
- ARITHMETIC: definitions, mass and charge balances, geometry;
- PRACTICE: common practice of the trade; the plant's own data sheet and history override it;
- MEMORY: a handbook-type figure that was not read again; never the only proof, always plant-editable.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class HowKnown(StrEnum):
    READ = "read"
    COMPUTED = "computed with a public library"
    ARITHMETIC = "definition or balance"
    PRACTICE = "common practice"
    MEMORY = "from memory, unverified"


@dataclass(frozen=True, slots=True)
class Source:
    """One cited source. ``where`` is the table, equation, page or function in it."""

    key: str
    title: str
    edition: str
    where: str
    how_known: HowKnown

    def citation(self) -> str:
        """One line for papers and screens: "CRC Handbook ..., 102nd ed. 2021, table ... (read)"."""
        parts = [part for part in (self.title, self.edition, self.where) if part]
        return f"{', '.join(parts)} ({self.how_known.value})"


def _table(*sources: Source) -> dict[str, Source]:
    return {source.key: source for source in sources}


_READ, _COMPUTED, _ARITHMETIC = HowKnown.READ, HowKnown.COMPUTED, HowKnown.ARITHMETIC
_PRACTICE, _MEMORY = HowKnown.PRACTICE, HowKnown.MEMORY

SOURCES: dict[str, Source] = _table(
    # --- water ------------------------------------------------------------------------------------------------
    Source("iapws95", "IAPWS-95, thermodynamic properties of ordinary water", "IAPWS R6-95", "density; chemicals library", _COMPUTED),
    Source("iapws_viscosity", "IAPWS formulation for the viscosity of ordinary water", "IAPWS R12-08", "without critical enhancement; chemicals library", _COMPUTED),
    Source("iapws_kw", "IAPWS, ionization constant of H2O", "IAPWS R11-07", "thermo library", _COMPUTED),
    # --- solutions --------------------------------------------------------------------------------------------
    Source("laliberte", "Laliberté, J. Chem. Eng. Data 54:1725; Laliberté & Cooper, 49:1141", "2009; 2004", "density, viscosity and heat capacity of aqueous solutions; thermo library", _COMPUTED),
    Source("crc_solutions", "CRC Handbook of Chemistry and Physics", "102nd ed. 2021", "Concentrative Properties of Aqueous Solutions: density, viscosity, freezing point", _READ),
    Source("naoh_monohydrate", "General encyclopedia, sodium hydroxide", "read 2026", "NaOH·H2O is the solid beside its solution from 12.3 to 61.8 °C", _READ),
    Source("naoh_table", "Public table of aqueous NaOH density, 20 to 100 °C", "read 2026", "20 °C rows agree with CRC 102nd ed. within 0.02 % up to 40 wt%", _READ),
    Source("ict_h2so4", "International Critical Tables, density of sulfuric acid", "vol. III, 1928", "linear fit in temperature per weight percent, as kept in the public CARMA code of NCAR", _READ),
    Source("baume", "Baumé scale for liquids heavier than water", "60 °F/60 °F", "SG = 145/(145 − °Bé)", _READ),
    Source("mass_balance", "Mass balance of a dilution", "", "m_stock w_stock = m_diluted w_diluted", _ARITHMETIC),
    Source("equivalents", "Equivalents from molar mass and charge", "IUPAC-type atomic weights", "n_eq = m z / M", _ARITHMETIC),
    Source("geometry", "Geometry of an upright cylinder", "", "A = π D²/4", _ARITHMETIC),
    Source("tank_geometry", "Geometry of cylinders, boxes and dished ends", "proportions of the ends: documentation of the fluids library, read 2026", "worked examples of D. Jones, Calculating Tank Volume, as quoted there", _ARITHMETIC),
    Source("parker", "Parker, Thermal Properties of Aqueous Uni-univalent Electrolytes, NSRDS-NBS 2", "1965", "as printed in the CRC Handbook, enthalpy of dilution of acids", _READ),
    Source("felder", "Felder & Rousseau, Elementary Principles of Chemical Processes", "Table B.11", "integral heats of solution; the row at 4 mol water per mol NaOH was read again, the others are from memory", _MEMORY),
    Source("h2so4_enthalpy", "Standard enthalpies of formation of aqueous H2SO4", "general-chemistry text problem, as reprinted", "rows at 1, 10, 100 and 500 mol water read; between them Felder & Rousseau from memory", _READ),
    Source("hcl_heat_capacity", "Hydrochloric acid property table", "20 °C, 1 atm", "specific heat at 10, 20 and 30 wt%", _READ),
    # --- beds -------------------------------------------------------------------------------------------------
    Source("richardson_zaki", "Richardson & Zaki, Trans. Inst. Chem. Eng. 32:35; Khan & Richardson, Chem. Eng. Commun. 78:111", "1954; 1989", "u = u_t εⁿ; (4.8 − n)/(n − 2.4) = 0.043 Ar^0.57; terminal velocity by the fluids library", _COMPUTED),
    Source("wen_yu", "Wen & Yu, AIChE J. 12:610", "1966", "Re_mf = √(33.7² + 0.0408 Ar) − 33.7", _COMPUTED),
    Source("ergun", "Ergun, Chem. Eng. Prog. 48:89", "1952", "packed-bed pressure drop; fluids library", _COMPUTED),
    Source("carman", "Carman, Trans. Inst. Chem. Eng. 15:150", "1937", "Δp = (180/Re_m + 2.871/Re_m^0.1) ρu²(1 − ε)/(dε³); as given in the fluids library", _COMPUTED),
    Source("serial_model", "Epstein, LeClair & Pruden, Can. J. Chem. Eng., serial model of multi-solid fluidization", "1981", "each kind of bead expands as if alone, heights add up; its use and limits read in an abstract, the equation is the Richardson-Zaki sum", _COMPUTED),
    Source("lognormal_beads", "Lognormal size distribution by volume", "", "σ = ln(d60/d10)/1.535; effective size d10, uniformity coefficient d60/d10", _ARITHMETIC),
    Source("layer_order", "Layers of two solids in a liquid order by their bulk density (Moritomi et al.; Epstein & LeClair, layer inversion)", "1982; 1985", "the criterion read in abstracts of later papers, the original papers not read", _MEMORY),
    Source("velocity_order", "Beads sort by settling velocity", "", "trade rule: the fastest anion bead must settle more slowly than the slowest cation bead, ratio well above 1", _PRACTICE),
    Source("donnan", "Donnan equilibrium of a salt with the beads of an exchanger, ideal", "", "m_i (m_i + m_f) = m²; the law from memory of Helfferich, Ion Exchange, ideal activities, no shrinking; moisture of the beads from memory of data sheets", _MEMORY),
    Source("interface_mixing", "Mixing at the interface of a separated mixed bed", "", "proposal: dispersion against segregation, ℓ = Λ/(1 − 1/R); Λ by common practice, to be fitted to the plant's own separation records", _PRACTICE),
    Source("air_mix", "Air mix of a mixed bed", "", "6 to 10 scfm/ft² (110 to 180 m/h) for 10 to 15 min, water 10 to 25 cm above the bed: common practice", _PRACTICE),
    Source("ideal_gas", "Ideal gas law", "", "V ∝ T/p; standard cubic feet at 60 °F and 101 325 Pa", _ARITHMETIC),
    Source("davis", "Davis, Water and Wastewater Engineering", "2010", "Table 8-2 and p. 8-19: capacities, backwash, salt dose, step times", _READ),
    Source("wtpd", "AWWA/ASCE, Water Treatment Plant Design", "4th ed.", "ion exchange, p. 12.42: strengths, contact times, slow rinse at regenerant flow", _READ),
    Source("mil_1164", "MIL-HDBK-1164, Maintenance and Operation of Water Supply Systems", "1997, 11.5.8.1", "softener backwash 6 to 8 gpm/ft²", _READ),
    Source("ufc_softener", "UFC 3-240-13FN, Industrial Water Treatment", "2005, 2-2.5.1", "softener slow and fast rinse, hydrogen-cycle hardness", _READ),
    Source("handbook_bed", "Ion-exchange handbook extract, operating limits of a bed", "read 2026", "flow about 15 gpm/ft² (limit about 20), under 20 psi across a bed, bead breakage near 50 psi", _READ),
    Source("michaud", "Michaud, trade-journal articles on exchange capacity and softener efficiency", "2011; 2015", "capacity against salt dose; 1 eq/L = 21.87 kgr/ft³", _READ),
    Source("keller", "Keller, Basic Ion Exchange for Residential Water Treatment, part 2", "table 3", "softening capacity at 5, 10 and 15 lb salt per ft³", _READ),
    Source("equilibrium_leakage", "Ion-exchange equilibrium at the outlet end of a bed", "", "K = (y/(1 − y))·((1 − x)/x); selectivities from memory, plant-editable", _MEMORY),
    # --- conductivity -----------------------------------------------------------------------------------------
    Source("mccleskey", "McCleskey, limiting conductances of electrolytes", "2011", "Λ°(t) = c₁t² + c₂t + c₃, 5 to 90 °C, as tabulated in the chemicals library", _COMPUTED),
    Source("morash", "Morash, Thornton, Saunders, Bevilacqua & Light, resistivity of ultrapure water", "1994", "18.18 MΩ·cm at 25 °C, 1.29 at 100 °C, and with 1 µg/L NaCl", _READ),
    Source("otten", "Otten, in Power Plant Instrumentation for Measurement of High-Purity Water Quality, ASTM STP", "1981", "neutral water 18.18 MΩ·cm; highest with a trace of NaOH 18.28 at pH 7.039", _READ),
    Source("astm_d5391", "ASTM D5391, conductivity and resistivity of a flowing high-purity sample", "1999 (2005)", "flat compensation of 1 to 3 %/K not valid; grab samples excluded below 10 µS/cm", _READ),
    Source("mil_1003", "MIL-HDBK-1003/11", "11.4.5", "Table 12: demineralized water typically below 0.15 mg/L silica", _READ),
    Source("usp_645", "USP <645> water conductivity", "stages 1 to 3", "limits by temperature and by pH, as reprinted in an instrument manual", _READ),
    Source("phreeqc_data", "Equilibrium constants, ion sizes and temperature functions of phreeqc.dat", "PHREEQC 3.7.3", "acids and pairs of Ca, Mg, Na, K, NH4 with carbonate, sulfate and silica; held against that program at random waters", _READ),
    Source("crc_ions", "CRC Handbook of Chemistry and Physics, ionic conductivity at infinite dilution", "25 °C", "as stored in the chemicals library", _READ),
    Source("appelo", "Appelo, specific conductance by PHREEQC", "PHREEQC 3.7.3", "κ = Σ m λ° exp(−1.6 A |z| √I / (1 + 4.73 B √I)); form worked out from that program's answers", _COMPUTED),
    Source("onsager", "Onsager's limiting law with an ion size", "Robinson & Stokes form, 1:1 coefficients 0.2289 and 30.32 per ion", "coefficients from memory; held against the IUPAC potassium chloride standards", _MEMORY),
    Source("pratt", "Pratt, Koch, Wu & Berezansky, potassium chloride conductivity standards, Pure Appl. Chem. 73:1783", "2001", "as printed in the CRC Handbook, p. 5-73", _READ),
    Source("astm_d1125", "ASTM D1125 reference solutions C and D", "25 °C", "as given in ASTM D5391-99 (2005), Annex A2.2", _READ),
    Source("astm_d1193", "ASTM D1193, reagent water", "1999e1", "types I to IV, abstract", _READ),
    Source("astm_d1125_scope", "ASTM D1125, electrical conductivity and resistivity of water", "1995 (2005) and later", "scope: method A for grab samples from 10 µS/cm, method B in line from 5 µS/cm", _READ),
    Source("aami_reprint", "AAMI list of dialysis water, an earlier edition", "as reprinted", "maxima of elements, nitrate, sulfate, chlorine", _READ),
    Source("iso_23500_3", "ISO 23500-3, water for dialysis", "2019", "viable count and endotoxin as given in a dialysis reference manual; its list of elements was not read", _READ),
    Source("rd62", "AAMI RD62, water treatment for dialysis", "2006", "viable count and endotoxin, Seminars in Dialysis 2013, table 2", _READ),
    Source("astm_d5127", "ASTM D5127, guide to ultrapure water in electronics", "2013", "a guide whose figures are recommendations; its table was not read", _MEMORY),
    Source("iso_3696", "ISO 3696, water for analytical laboratory use", "1987", "grades 1 to 3, as reprinted", _READ),
    # --- rinse ------------------------------------------------------------------------------------------------
    Source("tanks_in_series", "Tanks-in-series model of a displacement front", "", "C/C₀ = e^(−Nθ) Σ (Nθ)^i / i!", _ARITHMETIC),
    Source("ogata_banks", "Ogata & Banks, USGS Professional Paper 411-A", "1961", "longitudinal dispersion, semi-infinite bed", _ARITHMETIC),
    Source("rinse_tail", "Exponential rinse tail with a floor", "working model", "κ(B) = κ₀·10^(−B/s) + κ_f; to be fitted to the plant's own curves", _PRACTICE),
    # --- waste ------------------------------------------------------------------------------------------------
    Source("charge_balance", "Charge balance of spent regenerant", "", "excess = applied − taken up by the resin", _ARITHMETIC),
    Source("phreeqc_pitzer", "PHREEQC with pitzer.dat", "3.7.3, through phreeqpython", "saturation of gypsum, calcite, brucite and portlandite; phreeqc.dat beside it", _COMPUTED),
    Source("phreeqc_constants", "Equilibrium constants at 25 °C as in phreeqc.dat", "PHREEQC 3.7.3", "ion pairs of Na, K, NH4, Ca, Mg with carbonate, sulfate, hydroxide, silica; activity by WATEQ Debye-Hückel", _READ),
    Source("phreeqc_and_pitzer", "PHREEQC with phreeqc.dat against pitzer.dat", "3.7.3", "18 mixtures read: up to 0.16 in acid, 0.25 around neutral, 0.05 in caustic; band drawn over 1900 random mixtures (0.53 from pH 8 to 10, 0.11 in caustic); of 2000 fresh ones one lies outside, 0.60 apart at pH 8.8", _COMPUTED),
    Source("neutralization_heat", "Heat of neutralization of strong acid and base", "microcalorimeter study, abstract", "56.6 kJ/eq read; 57 used", _READ),
    # --- practice and safety ----------------------------------------------------------------------------------
    Source("trade_practice", "Common practice of the portable-exchange trade", "", "ranges; the plant's recipe, data sheets and history override them", _PRACTICE),
    Source("handbook_memory", "Handbook-type figure", "", "not read again; plant-editable", _MEMORY),
    Source("supplier_sheet", "The resin's data sheet as recorded for the lot", "", "the plant's own record", _PRACTICE),
    Source("plant_record", "The plant's own record", "", "measured or set by the plant", _PRACTICE),
    Source("recipe", "The approved recipe", "", "set point of the step", _PRACTICE),
    Source("osha_1910_151", "29 CFR 1910.151(c)", "", "quick drenching or flushing in the work area", _READ),
    Source("ghs_general", "GHS classification usual for this substance and strength", "", "the supplier's SDS in force decides", _MEMORY),
    Source("mil_1164_acid", "MIL-HDBK-1164 / UFC 3-230-02", "1997; 2001", "acid into water, never water into acid", _READ),
    Source("rpi_mixed_bed", "University course page on mixed-bed ion exchange", "read 2026", "unbalanced acid and caustic heat and can steam", _READ),
    Source("cfr_403_5", "40 CFR 403.5(b)", "", "never below pH 5.0 to the sewer unless built for it; local limits are tighter", _READ),
    Source("csb_2016", "C&EN 96(2), 2018, on the CSB report of the 2016 release", "", "sulfuric acid unloaded into a hypochlorite tank gave chlorine; the fill lines stood side by side and looked alike", _READ),
    Source("storage_memory", "Chemicals that must not be stored together", "", "usual in the trade; data sheets (sections 7 and 10) and local fire code decide", _MEMORY),
    Source("cfr_302_4_list", "40 CFR 302.4", "", "reportable quantity, as a secondary list cites it; the table itself was not read", _READ),
    Source("cfr_302_4_naoh", "40 CFR 302.4", "", "reportable quantity, as a supplier's data sheet states it in section 15", _READ),
    Source("cfr_355_sulfuric", "40 CFR 355", "", "threshold planning quantity of sulfuric acid, as an EPA answer states it", _READ),
    Source("cfr_370_10", "40 CFR 370.10", "", "extremely hazardous substances 500 lb or the threshold planning quantity if lower, other hazardous chemicals 10,000 lb; as an EPA answer states it", _READ),
    Source("threshold_memory", "Reporting threshold", "", "not found in a text; confirm before it is relied on", _MEMORY),
    Source("z535", "ANSI Z535.4 signal words", "2007", "DANGER will, WARNING could, CAUTION minor or moderate, NOTICE no injury", _READ),
)  # fmt: skip


def source(key: str) -> Source:
    """The source with this key. KeyError for an unknown one: keys come from code, never from people."""
    return SOURCES[key]
