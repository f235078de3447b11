"""What can be measured on a sample: the one list that specifications, published grades and the laboratory's page share.

A key stands for one test. What is named after the same substance and is not the same test has a key of its own: reactive
silica is no proof of total silica, and a conductivity brought to 25 °C none of an uncompensated one.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from regenplant.core.engineering.conductivity import HIGHEST_RESISTIVITY_OHM_M


class Group(StrEnum):
    """Where a test stands in a list to choose from."""

    USUAL = "usual"
    DISINFECTION = "disinfection and microbes"
    SPECIAL = "for published grades"
    ELEMENT = "elements"


@dataclass(frozen=True, slots=True)
class Method:
    """One usual way to measure. ``source`` is a key of ``core.engineering.sources.SOURCES``."""

    name: str
    source: str = "trade_practice"


@dataclass(frozen=True, slots=True)
class Measurement:
    """One test of a sample, with the kind of quantity its results are."""

    key: str
    name: str
    kind: str
    """Key of a quantity kind (``unit_kinds``)."""
    group: Group = Group.USUAL
    lowest: float = 0.0
    """No result lies below it, in SI of the kind: nature ends there, or a count begins."""
    why_lowest: str = ""
    methods: tuple[Method, ...] = ()
    """The first is proposed. A standard is named only where its text, or a copy of it, was read."""
    note: str = ""
    is_of_rinse: bool = False
    """Read again and again during the rinse, and judged there; every other one is a result of the laboratory."""
    is_of_tank: bool = False
    """Makes sense on a filled tank only."""


_PUREST = 1.0 / HIGHEST_RESISTIVITY_OHM_M
_PUREST_WHY = "water itself conducts: at 25 °C it ends at 18.28 MΩ·cm"
_IN_LINE = Method("flowing cell in the line, ASTM D5391", "astm_d5391")
_B = Method("cell in the line from 5 µS/cm, ASTM D1125 method B", "astm_d1125_scope")
_A = Method("grab sample from 10 µS/cm, ASTM D1125 method A", "astm_d1125_scope")
_COLOR = "colorimetric test"


def _element(key: str, name: str) -> Measurement:
    return Measurement(
        key, name, "concentration", Group.ELEMENT, methods=(Method("laboratory of elements, its own method"),)
    )


MEASUREMENTS: dict[str, Measurement] = {
    one.key: one
    for one in (
        Measurement(
            "conductivity", "Conductivity at 25 °C", "conductivity", lowest=_PUREST, why_lowest=_PUREST_WHY,
            methods=(_IN_LINE, _B), note="Of the rinse; typed as conductivity or as resistivity.", is_of_rinse=True,
        ),
        Measurement(
            "tank_conductivity", "Conductivity of the filled tank at 25 °C", "conductivity", lowest=_PUREST,
            why_lowest=_PUREST_WHY, methods=(_IN_LINE, _B), note="Read behind each tank once it is filled.", is_of_tank=True,
        ),
        Measurement("ph", "pH", "ph", methods=(Method("glass electrode, two buffers"),)),
        Measurement("hardness", "Hardness", "hardness", methods=(Method("titration"), Method(_COLOR))),
        Measurement("alkalinity", "Alkalinity", "hardness", methods=(Method("titration with acid"),)),
        Measurement("silica", "Silica", "concentration", methods=(Method("molybdate, reactive silica"),)),
        Measurement("sodium", "Sodium", "concentration", methods=(Method("sodium electrode, alkalized sample"),)),
        Measurement("chloride", "Chloride", "concentration", methods=(Method("titration"), Method("ion chromatography"))),
        Measurement("sulfate", "Sulfate", "concentration", methods=(Method("turbidity with barium"), Method("ion chromatography"))),
        Measurement("toc", "Total organic carbon", "concentration", methods=(Method("oxidation and conductivity, analyzer in the line"),)),
        Measurement("temperature", "Temperature", "temperature", lowest=273.15, why_lowest="water is ice below it", methods=(Method("thermometer in the flow"),)),
        Measurement("turbidity", "Turbidity", "turbidity", methods=(Method("nephelometer"),)),
        Measurement("residual_sanitizer", "Sanitizer left, as free chlorine", "concentration", Group.DISINFECTION, methods=(Method("DPD test"),)),
        Measurement("free_chlorine", "Free chlorine", "concentration", Group.DISINFECTION, methods=(Method("DPD test"),)),
        Measurement("total_chlorine", "Total chlorine", "concentration", Group.DISINFECTION, methods=(Method("DPD test with iodide"),)),
        Measurement("chloramines", "Chloramines", "concentration", Group.DISINFECTION, methods=(Method("total less free chlorine"),)),
        Measurement("viable_count", "Viable count", "colony_count", Group.DISINFECTION, methods=(Method("count as the laboratory reports it"),), note="Days pass before it is known; enter what the report says."),
        Measurement("endotoxin", "Endotoxin", "endotoxin", Group.DISINFECTION, methods=(Method("as the laboratory reports it"),)),
        Measurement(
            "conductivity_uncompensated", "Conductivity, uncompensated", "conductivity", Group.SPECIAL,
            lowest=1e-6, why_lowest="the coldest pure water conducts more",
            methods=(Method("in line, temperature compensation off, USP <645> stage 1", "usp_645"),),
            note="With the temperature of the reading; a compensated reading proves nothing here.",
        ),
        Measurement(
            "conductivity_equilibrated", "Conductivity at 25 °C in equilibrium with air", "conductivity", Group.SPECIAL,
            lowest=_PUREST, why_lowest=_PUREST_WHY,
            methods=(Method("stirred sample at 25 ± 1 °C until it changes no more, USP <645> stage 2", "usp_645"),),
        ),
        Measurement(
            "ph_potassium_chloride", "pH with potassium chloride", "ph", Group.SPECIAL,
            methods=(Method("100 mL of the stage 2 sample with 0.3 mL saturated KCl, USP <645> stage 3", "usp_645"),),
        ),
        Measurement("silica_total", "Total silica", "concentration", Group.SPECIAL, methods=(Method("laboratory, reactive and unreactive together"),)),
        Measurement("oxidizable", "Oxidizable matter, as oxygen", "concentration", Group.SPECIAL, methods=(Method("permanganate"),)),
        Measurement("absorbance_254", "Absorbance at 254 nm in 1 cm", "absorbance", Group.SPECIAL, methods=(Method("ultraviolet photometer"),)),
        Measurement("residue", "Residue on evaporation at 110 °C", "concentration", Group.SPECIAL, methods=(Method("weighing"),)),
        Measurement("dissolved_solids", "Total dissolved solids", "concentration", Group.SPECIAL, methods=(Method("weighing"),)),
        _element("aluminium", "Aluminium"), _element("antimony", "Antimony"), _element("arsenic", "Arsenic"), _element("barium", "Barium"),
        _element("beryllium", "Beryllium"), _element("cadmium", "Cadmium"), _element("calcium", "Calcium"), _element("chromium", "Chromium"),
        _element("copper", "Copper"), _element("fluoride", "Fluoride"), _element("iron", "Iron"), _element("lead", "Lead"),
        _element("magnesium", "Magnesium"), _element("manganese", "Manganese"), _element("mercury", "Mercury"),
        _element("nitrate_nitrogen", "Nitrate, as nitrogen"), _element("potassium", "Potassium"), _element("selenium", "Selenium"),
        _element("silver", "Silver"), _element("thallium", "Thallium"), _element("zinc", "Zinc"),
    )
}  # fmt: skip
"""By key, in the order in which they are offered."""


def measurement(key: str) -> Measurement | None:
    """The test with this key; None for one that only an older version of a specification knows."""
    return MEASUREMENTS.get(key)


def name_of(key: str) -> str:
    """Its name, or the key itself where it is not of this list."""
    found = MEASUREMENTS.get(key)
    return found.name if found else key


def below_the_lowest(key: str, value: float) -> str:
    """Why a result or a limit cannot be this low, as the end of a sentence; "" when it can.

    Parameters
    ----------
    key : str
        Of ``MEASUREMENTS``; anything may be a result of a test that is not of this list
    value : float
        In SI of the test's kind
    """
    found = MEASUREMENTS.get(key)
    if found is None or found.kind == "ph" or value >= found.lowest * (1.0 - 0.02):
        # a fiftieth for the meter: its own stated uncertainty is judged where readings are
        return ""
    return found.why_lowest or "it is below zero"
