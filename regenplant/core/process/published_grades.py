"""Published grades of purified water as reference data: each figure as printed, where it was read, and how it was obtained.

The licensed standard in force decides. A figure from memory is shown and flagged, and is never a limit: a plant that owns the
standard writes it into its own specification. What a whole standard asks for and could not be read is said in ``barred``.
Figures at 25 °C that the engineering core states (``water_grades``) are taken from there, so that they stand once.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from regenplant.core.engineering import water_grades
from regenplant.core.engineering.conductivity_tables import USP_645_STAGE_1
from regenplant.core.errors import OutOfRange

_MILLIGRAM_PER_L = 1e-3
_PER_ML = 1e6


class HowObtained(StrEnum):
    """How a figure came here."""

    READ = "read"
    REPRINTED = "read in a reprint"
    MEMORY = "from memory, unverified"


@dataclass(frozen=True, slots=True)
class GradeTest:
    """One figure of a grade, in SI of its measurement's kind; at most one of bounds, ``table`` and ``by_ph`` says what is allowed."""

    measurement: str
    """Key of ``measurements.MEASUREMENTS``."""
    low: float | None = None
    high: float | None = None
    table: tuple[tuple[float, float], ...] = ()
    """(temperature [K], highest conductivity [S/m]) for uncompensated readings, the temperature rounded down to a row."""
    by_ph: tuple[tuple[float, float], ...] = ()
    """(pH to 0.1, highest conductivity [S/m])."""
    how: HowObtained = HowObtained.READ
    note: str = ""

    def __post_init__(self) -> None:
        if self.low is None and self.high is None and not self.table and not self.by_ph:
            raise OutOfRange(
                f"The grade's figure for {self.measurement} says nothing.", code="empty_grade_test"
            )

    @property
    def is_from_memory(self) -> bool:
        """Whether its figure was written from memory; then no result proves it."""
        return self.how is HowObtained.MEMORY


@dataclass(frozen=True, slots=True)
class Grade:
    """One published grade with all the tests it asks for."""

    key: str
    name: str
    edition: str
    source: str
    """Key of ``core.engineering.sources.SOURCES``."""
    tests: tuple[GradeTest, ...]
    notes: str = ""
    barred: str = ""
    """Why this program claims it for no water whatever was measured; "" where its tests decide."""

    def test(self, measurement: str) -> GradeTest | None:
        """Its test of this measurement; None where it asks for none."""
        return next((test for test in self.tests if test.measurement == measurement), None)


# --- ASTM D1193 and ISO 3696 ----------------------------------------------------------------------------------------
_ORDER_TRAP = "The types are labels, not a ranking: type II allows 1 MΩ·cm, type III asks for 4. No type follows from another."
_FIELDS = (
    ("toc", "organic_carbon_max_kg_per_m3"),
    ("sodium", "sodium_max_kg_per_m3"),
    ("chloride", "chloride_max_kg_per_m3"),
)


def _stricter_conductivity(grade: water_grades.Grade) -> float:
    """A standard that prints both, rounded, is met by what meets both [S/m]."""
    most = grade.conductivity_max_siemens_per_m
    return most if grade.resistivity_min_ohm_m is None else min(most, 1.0 / grade.resistivity_min_ohm_m)


def _d1193(found: water_grades.Grade) -> Grade:
    tests = [GradeTest("conductivity", high=_stricter_conductivity(found))]
    for key, field in _FIELDS:
        most = getattr(found, field)
        if most is not None:
            tests.append(GradeTest(key, high=most))
    if found.silica_max_kg_per_m3 is not None:
        tests.append(
            GradeTest(
                "silica_total",
                high=found.silica_max_kg_per_m3,
                note="Total silica, not reactive silica alone.",
            )
        )
    if found.ph_low is not None:
        tests.append(GradeTest("ph", found.ph_low, found.ph_high))
    return Grade(
        found.key, found.name, "D1193-99e1", "astm_d1193", tuple(tests),
        f"Conductivity and resistivity are both printed, rounded; the stricter holds. {_ORDER_TRAP}",
    )  # fmt: skip


def _iso_3696(found: water_grades.Grade, *others: GradeTest) -> Grade:
    reprinted = HowObtained.REPRINTED
    tests = [GradeTest("conductivity", high=found.conductivity_max_siemens_per_m, how=reprinted), *others]
    if found.silica_max_kg_per_m3 is not None:
        tests.append(GradeTest("silica", high=found.silica_max_kg_per_m3, how=reprinted))
    notes = "Grade 1 is measured in line, on fresh water." if found.key == "iso_1" else ""
    return Grade(found.key, found.name, "ISO 3696:1987", "iso_3696", tuple(tests), notes)


def _reprint(measurement: str, high: float, low: float | None = None, note: str = "") -> GradeTest:
    return GradeTest(measurement, low, high, how=HowObtained.REPRINTED, note=note)


_OF = {grade.key: grade for grade in water_grades.GRADES}
_D1193 = tuple(_d1193(grade) for grade in water_grades.GRADES if grade.source == "astm_d1193")
_ISO_3696 = (
    _iso_3696(_OF["iso_1"], _reprint("absorbance_254", 0.001)),
    _iso_3696(
        _OF["iso_2"],
        _reprint("oxidizable", 0.08 * _MILLIGRAM_PER_L),
        _reprint("absorbance_254", 0.01),
        _reprint("residue", 1.0 * _MILLIGRAM_PER_L),
    ),
    _iso_3696(
        _OF["iso_3"],
        _reprint("oxidizable", 0.4 * _MILLIGRAM_PER_L),
        _reprint("residue", 2.0 * _MILLIGRAM_PER_L),
        _reprint("ph", 7.0, 5.0, "The copy that was read prints 7.0; 7.5 is remembered. The narrower holds until the standard is at hand."),
    ),
)  # fmt: skip

# --- USP <645> ------------------------------------------------------------------------------------------------------
_CONDUCTIVITY_ONLY = "Conductivity only: it says nothing about organic carbon or microbes, which the monographs ask for as well."
_REPRINTED = HowObtained.REPRINTED
_USP_645 = (
    Grade(
        "usp_645_1", "USP <645> conductivity, stage 1", "stage 1", "usp_645",
        (GradeTest("conductivity_uncompensated", table=USP_645_STAGE_1, how=_REPRINTED),),
        f"In line, without temperature compensation; the temperature is rounded down to a row. {_CONDUCTIVITY_ONLY}",
    ),
    Grade(
        "usp_645_2", "USP <645> conductivity, stage 2", "stage 2", "usp_645",
        (_reprint("conductivity_equilibrated", water_grades.USP_645_STAGE_2_SIEMENS_PER_M),),
        f"A stirred sample at 25 ± 1 °C in equilibrium with air. {_CONDUCTIVITY_ONLY}",
    ),
    Grade(
        "usp_645_3", "USP <645> conductivity, stage 3", "stage 3", "usp_645",
        (
            _reprint("ph_potassium_chloride", 7.0, 5.0),
            GradeTest("conductivity_equilibrated", by_ph=water_grades.USP_645_STAGE_3_SIEMENS_PER_M, how=_REPRINTED),
        ),
        f"The limit goes by the pH of the same sample, rounded to 0.1. {_CONDUCTIVITY_ONLY}",
    ),
)  # fmt: skip

# --- dialysis -------------------------------------------------------------------------------------------------------
_NOT_A_TANKS_CLAIM = (
    "It is a claim about the water where it is used, behind the whole treatment; what leaves here is a tank. The certificate says "
    "what was measured on it."
)
_AAMI_MG_PER_L = (
    ("aluminium", 0.01), ("arsenic", 0.005), ("barium", 0.1), ("cadmium", 0.001), ("calcium", 2.0), ("chromium", 0.014),
    ("copper", 0.1), ("fluoride", 0.2), ("lead", 0.005), ("magnesium", 4.0), ("mercury", 0.0002), ("nitrate_nitrogen", 2.0),
    ("potassium", 8.0), ("selenium", 0.09), ("silver", 0.005), ("sodium", 70.0), ("sulfate", 100.0), ("zinc", 0.1),
    ("free_chlorine", 0.5),
)  # fmt: skip
_DIALYSIS = (
    Grade(
        "dialysis_aami", "Dialysis water, list of an earlier AAMI edition", "earlier edition, as reprinted", "aami_reprint",
        (
            *(_reprint(key, most * _MILLIGRAM_PER_L) for key, most in _AAMI_MG_PER_L),
            _reprint("chloramines", 0.1 * _MILLIGRAM_PER_L, note="One state's text prints 0.001 instead of 0.1 mg/L."),
        ),
        "ISO 23500-3 has taken its place.",
        _NOT_A_TANKS_CLAIM,
    ),
    Grade(
        "dialysis_iso", "Dialysis water, ISO 23500-3 (microbes only)", "2019", "iso_23500_3",
        (
            GradeTest("viable_count", high=100.0 * _PER_ML, how=_REPRINTED, note="Action level: the site sets it, often half."),
            GradeTest("endotoxin", high=0.25 * _PER_ML, how=_REPRINTED, note="Action level: the site sets it, often half."),
            GradeTest("total_chlorine", high=0.1 * _MILLIGRAM_PER_L, how=HowObtained.MEMORY),
        ),
        "Its list of elements was not read and is not here.",
        _NOT_A_TANKS_CLAIM,
    ),
    Grade(
        "dialysis_ultrapure", "Ultrapure dialysis water, ISO 23500-3 (endotoxin only)", "2019", "iso_23500_3",
        (
            GradeTest("endotoxin", high=0.03 * _PER_ML, how=_REPRINTED),
            GradeTest("viable_count", high=0.1 * _PER_ML, how=HowObtained.MEMORY),
        ),
        "",
        _NOT_A_TANKS_CLAIM,
    ),
    Grade(
        "dialysis_rd62", "Dialysis water, RD62:2006 (microbes only)", "2006", "rd62",
        (_reprint("viable_count", 200.0 * _PER_ML), _reprint("endotoxin", 2.0 * _PER_ML)),
        "Action level of the count: 50 CFU/mL.",
        _NOT_A_TANKS_CLAIM,
    ),
)  # fmt: skip

# --- ASTM D5127, from memory ----------------------------------------------------------------------------------------
_D5127_MEMORY = (
    ("E-1", 18.1, 5.0, 5.0),
    ("E-2", 16.5, 50.0, 10.0),
    ("E-3", 12.0, 300.0, 50.0),
    ("E-4", 0.5, 1000.0, 1000.0),
)
"""(type, least MΩ·cm, most organic carbon µg/L, most silica µg/L), from memory."""


def _d5127(kind: str, megohm_cm: float, carbon: float, silica: float) -> Grade:
    memory = HowObtained.MEMORY
    return Grade(
        f"astm_d5127_{kind.lower()}", f"ASTM D5127 type {kind} (guide)", "D5127-13", "astm_d5127",
        (
            GradeTest("conductivity", high=1e-4 / megohm_cm, how=memory),
            GradeTest("toc", high=carbon * 1e-6, how=memory),
            GradeTest("silica_total", high=silica * 1e-6, how=memory),
        ),
        "Microns of particles, metals and ions are not here.",
        "It is a guide with recommendations at the point of distribution, and its table was not read: the figures are from memory.",
    )  # fmt: skip


PUBLISHED: tuple[Grade, ...] = (
    *_D1193,
    *_ISO_3696,
    *_USP_645,
    *_DIALYSIS,
    *(_d5127(*row) for row in _D5127_MEMORY),
)
"""All of them, in the order in which they are offered."""

BY_KEY: dict[str, Grade] = {grade.key: grade for grade in PUBLISHED}
