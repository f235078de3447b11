"""Grades of purified water as open standards state them, and which of them a water meets.

Numbers were read in abstracts and reprints; the licensed standard in force decides. ASTM D5127 and ISO 23500-3 are not
here, because their tables could not be read.
"""

from __future__ import annotations

from dataclasses import dataclass

from regenplant.core.engineering.conductivity_tables import USP_645_STAGE_1, table_limit_siemens_per_m
from regenplant.core.engineering.ranges import require_within
from regenplant.core.errors import OutOfRange

USP_645_STAGE_2_SIEMENS_PER_M = 2.1e-4
"""At 25 ± 1 °C, after the sample has come to equilibrium with air [S/m]."""

_USP_645_STAGE_3: tuple[tuple[float, float], ...] = (
    (5.0, 4.7), (5.1, 4.1), (5.2, 3.6), (5.3, 3.3), (5.4, 3.0), (5.5, 2.8), (5.6, 2.6), (5.7, 2.5), (5.8, 2.4), (5.9, 2.4),
    (6.0, 2.4), (6.1, 2.4), (6.2, 2.5), (6.3, 2.4), (6.4, 2.3), (6.5, 2.2), (6.6, 2.1), (6.7, 2.6), (6.8, 3.1), (6.9, 3.8),
    (7.0, 4.6),
)  # fmt: skip
"""(pH rounded to 0.1, highest conductivity at 25 °C in µS/cm)."""
USP_645_STAGE_3_SIEMENS_PER_M: tuple[tuple[float, float], ...] = tuple(
    (ph, most * 1e-4) for ph, most in _USP_645_STAGE_3
)
"""(pH rounded to 0.1, highest conductivity at 25 °C [S/m])."""


def usp_645_stage_3_limit(ph: float) -> float:
    """Highest conductivity at a pH, third stage of USP <645>.

    Parameters
    ----------
    ph : float
        Measured pH of 100 mL of sample with 0.3 mL saturated potassium chloride, 5.0 to 7.0; it is rounded to 0.1 [-]

    Returns
    -------
    limit_siemens_per_m : float
        Highest conductivity at 25 °C [S/m]

    Raises: OutOfRange outside pH 5.0 to 7.0: such a water fails.
    Source: usp_645.
    """
    rounded = round(ph + 1e-9, 1)
    require_within(
        rounded, 5.0, 7.0, "pH of the sample, rounded to 0.1", why="Outside it the water fails stage 3."
    )
    return dict(USP_645_STAGE_3_SIEMENS_PER_M)[rounded]


@dataclass(frozen=True, slots=True)
class StageResult:
    """Outcome of one stage: the limit, and whether the reading meets it."""

    stage: int
    limit_siemens_per_m: float
    is_met: bool


def usp_645(
    uncompensated_siemens_per_m: float,
    temperature_kelvin: float,
    *,
    equilibrated_siemens_per_m: float | None = None,
    ph: float | None = None,
) -> tuple[StageResult, ...]:
    """The stages of USP <645> that the readings allow, in order, ending with the first that is met.

    Parameters
    ----------
    uncompensated_siemens_per_m : float
        In-line reading without temperature compensation, > 0 [S/m]
    temperature_kelvin : float
        Temperature of that reading, 273.15 to 373.15 [K]
    equilibrated_siemens_per_m : float or None
        Reading of a stirred sample at 25 ± 1 °C, for stages 2 and 3 [S/m]
    ph : float or None
        pH of that sample, for stage 3 [-]

    Returns
    -------
    stages : tuple
        Of ``StageResult``

    Raises: OutOfRange for readings that cannot be.
    Source: usp_645.
    """
    require_within(uncompensated_siemens_per_m, 1e-12, 100.0, "conductivity read", "S/m")
    require_within(temperature_kelvin, 273.15, 373.16, "temperature of the reading", "K")
    limit = table_limit_siemens_per_m(USP_645_STAGE_1, temperature_kelvin)
    stages = [StageResult(1, limit, uncompensated_siemens_per_m <= limit)]
    if stages[-1].is_met or equilibrated_siemens_per_m is None:
        return tuple(stages)
    second = USP_645_STAGE_2_SIEMENS_PER_M
    stages.append(StageResult(2, second, equilibrated_siemens_per_m <= second))
    if stages[-1].is_met or ph is None:
        return tuple(stages)
    third = usp_645_stage_3_limit(ph)
    stages.append(StageResult(3, third, equilibrated_siemens_per_m <= third))
    return tuple(stages)


@dataclass(frozen=True, slots=True)
class Grade:
    """Limits of one grade at 25 °C; None is not limited or not read."""

    key: str
    name: str
    source: str
    conductivity_max_siemens_per_m: float
    resistivity_min_ohm_m: float | None = None
    organic_carbon_max_kg_per_m3: float | None = None
    sodium_max_kg_per_m3: float | None = None
    chloride_max_kg_per_m3: float | None = None
    silica_max_kg_per_m3: float | None = None
    ph_low: float | None = None
    ph_high: float | None = None


def _astm(
    number: str,
    limits: tuple[float, float, float | None, float | None, float | None, float | None],
    ph: bool = False,
) -> Grade:
    """Limits as printed: µS/cm, MΩ·cm, then µg/L of organic carbon, sodium, chloride, silica."""
    conductivity, resistivity, carbon, sodium, chloride, silica = limits
    return Grade(
        f"astm_{number.lower()}", f"ASTM D1193 type {number}", "astm_d1193", conductivity * 1e-4, resistivity * 1e4,
        _micrograms(carbon), _micrograms(sodium), _micrograms(chloride), _micrograms(silica),
        5.0 if ph else None, 8.0 if ph else None,
    )  # fmt: skip


def _micrograms(value: float | None) -> float | None:
    return None if value is None else value * 1e-6


GRADES: tuple[Grade, ...] = (
    _astm("I", (0.056, 18.0, 50.0, 1.0, 1.0, 3.0)),
    _astm("II", (1.0, 1.0, 50.0, 5.0, 5.0, 3.0)),
    _astm("III", (0.25, 4.0, 200.0, 10.0, 10.0, 500.0)),
    _astm("IV", (5.0, 0.2, None, 50.0, 50.0, None), ph=True),
    Grade("iso_1", "ISO 3696 grade 1", "iso_3696", 1.0e-5, silica_max_kg_per_m3=1e-5),
    Grade("iso_2", "ISO 3696 grade 2", "iso_3696", 1.0e-4, silica_max_kg_per_m3=2e-5),
    Grade("iso_3", "ISO 3696 grade 3", "iso_3696", 5.0e-4, ph_low=5.0, ph_high=7.5),
)


@dataclass(frozen=True, slots=True)
class WaterQuality:
    """What was measured of a purified water at 25 °C; None is not measured."""

    conductivity_siemens_per_m: float
    organic_carbon_kg_per_m3: float | None = None
    sodium_kg_per_m3: float | None = None
    chloride_kg_per_m3: float | None = None
    silica_kg_per_m3: float | None = None
    ph: float | None = None


@dataclass(frozen=True, slots=True)
class GradeVerdict:
    """Whether a water meets a grade: ``failed`` names limits not met, ``not_measured`` what is still open."""

    grade: Grade
    failed: tuple[str, ...]
    not_measured: tuple[str, ...]

    @property
    def is_met(self) -> bool:
        """Every limit was measured and is met."""
        return not self.failed and not self.not_measured

    @property
    def is_met_as_far_as_measured(self) -> bool:
        return not self.failed


def grade_verdict(quality: WaterQuality, grade: Grade) -> GradeVerdict:
    """How a water stands against one grade.

    Parameters
    ----------
    quality : WaterQuality
        Measured values at 25 °C
    grade : Grade
        From ``GRADES``

    Returns
    -------
    verdict : GradeVerdict
        Limits failed and limits not measured
    """
    failed, missing = [], []
    if quality.conductivity_siemens_per_m > grade.conductivity_max_siemens_per_m * (1.0 + 1e-9):
        failed.append("conductivity")
    pairs = (
        ("organic carbon", quality.organic_carbon_kg_per_m3, grade.organic_carbon_max_kg_per_m3),
        ("sodium", quality.sodium_kg_per_m3, grade.sodium_max_kg_per_m3),
        ("chloride", quality.chloride_kg_per_m3, grade.chloride_max_kg_per_m3),
        ("silica", quality.silica_kg_per_m3, grade.silica_max_kg_per_m3),
    )
    for name, seen, limit in pairs:
        if limit is not None and seen is None:
            missing.append(name)
        elif limit is not None and seen is not None and seen > limit * (1.0 + 1e-9):
            failed.append(name)
    if grade.ph_low is not None and grade.ph_high is not None:
        if quality.ph is None:
            missing.append("pH")
        elif not grade.ph_low <= quality.ph <= grade.ph_high:
            failed.append("pH")
    return GradeVerdict(grade, tuple(failed), tuple(missing))


def grades_met(quality: WaterQuality) -> tuple[GradeVerdict, ...]:
    """Grades a water meets as far as it was measured, in the order of ``GRADES``; each says what is not measured.

    Parameters
    ----------
    quality : WaterQuality
        Measured values at 25 °C

    Returns
    -------
    verdicts : tuple
        Of ``GradeVerdict``; empty if the water meets none

    Raises: OutOfRange for a conductivity that is not above zero.
    """
    if not quality.conductivity_siemens_per_m > 0.0:
        raise OutOfRange(
            f"The conductivity is {quality.conductivity_siemens_per_m:g} S/m; it must be above zero.",
            code="not_positive",
        )
    verdicts = (grade_verdict(quality, grade) for grade in GRADES)
    return tuple(verdict for verdict in verdicts if verdict.is_met_as_far_as_measured)
