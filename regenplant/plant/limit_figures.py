"""The plant's limits in words: what each figure is called, its kind, and between which bounds the program takes it.

The figures themselves, with their sources, are ``core.process.limits.PlantLimits``. The bounds here only catch slips of unit.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, fields

from regenplant.core.process.limits import PlantLimits
from regenplant.core.process.reconciliation import StockFigures
from regenplant.core.process.sewer_budget import SewerFigures


@dataclass(frozen=True, slots=True)
class RecordFigures:
    """When an entry is late, when the server's clock counts as set, and how many days ahead a calibration is named as due
    soon. The defaults are proposals of this program."""

    late_after_s: float = 900.0
    clock_step_s: float = 60.0
    calibration_due_soon_days: float = 7.0


@dataclass(frozen=True, slots=True)
class SampleFigures:
    """How many days a retained sample of each class is kept; 0 where the class needs none.

    That classes A, B and C keep a sample is common practice; the days are proposals of this program, and a contract may ask for more.
    """

    sample_days_a: float = 365.0
    sample_days_b: float = 180.0
    sample_days_c: float = 90.0
    sample_days_d: float = 0.0

    def days(self, segregation_class: str) -> int:
        """Days for a class; 0 for one that is not regenerated."""
        return int(getattr(self, f"sample_days_{segregation_class.lower()}", 0.0))


@dataclass(frozen=True, slots=True)
class LimitContent:
    """What one version of the plant's limits holds."""

    process: PlantLimits = field(default_factory=PlantLimits)
    record: RecordFigures = field(default_factory=RecordFigures)
    samples: SampleFigures = field(default_factory=SampleFigures)
    stock: StockFigures = field(default_factory=StockFigures)
    sewer: SewerFigures = field(default_factory=SewerFigures)


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure: its name in the data, what it is called, its kind (key of ``units.KINDS``), and its bounds in SI."""

    part: str
    name: str
    title: str
    kind: str
    low: float
    high: float


_FIGURES: tuple[tuple[str, tuple[tuple[str, str, str, float, float], ...]], ...] = (
    ("Bed and flow", (
        ("bed_depth_warn_m", "Least depth of a bed, warns", "length", 0.1, 3.0),
        ("height_kept_free_frac", "Height an expanded bed leaves free", "fraction", 0.0, 0.5),
        ("velocity_warn_m_per_s", "Downflow velocity that warns", "velocity", 0.0005, 0.05),
        ("velocity_limit_m_per_s", "Downflow velocity that stops", "velocity", 0.0005, 0.05),
        ("pressure_drop_limit_pascal", "Pressure drop across a bed that stops", "pressure", 1e3, 1e6),
        ("rinse_to_waste_bv", "Fast rinse that still goes to the waste tank", "bed_volumes", 0.0, 50.0),
    )),
    ("Water and chemicals", (
        ("caustic_hardness_warn_eq_per_m3", "Hardness of water that meets caustic, warns", "normality", 0.0, 20.0),
        ("caustic_hardness_limit_eq_per_m3", "Hardness of water that meets caustic, stops", "normality", 0.0, 20.0),
        ("blend_temperature_limit_kelvin", "Temperature by heat of dilution that stops", "temperature", 293.15, 363.15),
        ("caustic_cold_kelvin", "Caustic colder than this hardly pumps", "temperature", 263.15, 313.15),
        ("caustic_solids_warn_kg_per_m3", "Solids dropping from the water of caustic, warns", "concentration", 0.0, 5.0),
        ("brine_cold_kelvin", "Brine colder than this drops salt", "temperature", 263.15, 313.15),
        ("displacement_cooler_warn_kelvin", "Displacement cooler than its regenerant by, warns", "temperature_rise", 0.0, 60.0),
        ("strength_change_limit_frac", "Change of a strength that stops a planned batch", "fraction", 0.005, 0.2),
        ("excess_ratio_warn", "Regenerant ratio that warns", "ratio", 1.0, 100.0),
        ("neutralizer_first_share_frac", "Neutralizer given before the pH is measured", "fraction", 0.1, 1.0),
    )),
    ("What no recipe goes beyond", (
        ("hydrochloric_strength_max_frac", "Strongest hydrochloric acid at the bed", "strength", 0.005, 0.37),
        ("sulfuric_strength_max_frac", "Strongest sulfuric acid, last step", "strength", 0.005, 0.2),
        ("sulfuric_first_strength_max_frac", "Strongest sulfuric acid, first step", "strength", 0.002, 0.2),
        ("sulfuric_weak_acid_strength_max_frac", "Strongest sulfuric acid on weak-acid cation", "strength", 0.002, 0.05),
        ("caustic_strength_max_frac", "Strongest caustic at the bed", "strength", 0.005, 0.25),
        ("oxidizer_strength_max_frac", "Strongest oxidizer on resin or in an emptied tank", "strength", 0.0001, 0.05),
        ("caustic_type_1_max_kelvin", "Warmest caustic, strong base type 1", "temperature", 283.15, 343.15),
        ("caustic_type_2_max_kelvin", "Warmest caustic, strong base type 2", "temperature", 283.15, 343.15),
        ("caustic_acrylic_max_kelvin", "Warmest caustic, acrylic strong base", "temperature", 283.15, 343.15),
        ("gypsum_index_warn", "Saturation of gypsum that warns", "index", -3.0, 3.0),
        ("gypsum_index_stop", "Saturation of gypsum that stops", "index", -3.0, 3.0),
    )),
    ("Mixed beds", (
        ("interface_band_warn_m", "Interface off its collector, warns", "length", 0.005, 1.0),
        ("interface_band_limit_m", "Interface off its collector, stops", "length", 0.005, 1.0),
        ("leg_imbalance_warn_frac", "Imbalance of legs in two vessels, warns", "fraction", 0.01, 1.0),
        ("leg_imbalance_limit_frac", "Imbalance of legs in one vessel, stops", "fraction", 0.01, 1.0),
        ("velocity_ratio_warn", "Ratio of settling velocities, warns below", "ratio", 1.0, 10.0),
        ("float_caustic_strength_max_frac", "Strongest caustic in a float separation", "strength", 0.005, 0.25),
        ("float_anion_share_warn_frac", "Anion beads that float, warns below", "fraction", 0.0, 1.0),
        ("float_anion_share_limit_frac", "Anion beads that float, stops below", "fraction", 0.0, 1.0),
        ("float_cation_share_limit_frac", "Cation beads that sink, stops below", "fraction", 0.5, 1.0),
        ("float_clear_height_warn_m", "Clear solution between floated resins, warns below", "length", 0.01, 1.0),
        ("float_hardness_share_warn_frac", "Hardness of the feed beside caustic float, warns", "fraction", 0.0, 1.0),
    )),
    ("Weak resins", (
        ("weak_ratio_low", "Least regenerant ratio", "ratio", 1.0, 3.0),
        ("weak_ratio_high", "Highest regenerant ratio, weak acid", "ratio", 1.0, 5.0),
        ("weak_base_ratio_high", "Highest regenerant ratio, weak base", "ratio", 1.0, 5.0),
        ("calcium_share_seen_frac", "Share of calcium worth a word", "fraction", 0.0, 1.0),
    )),
)  # fmt: skip

GROUPS: tuple[tuple[str, tuple[Figure, ...]], ...] = (
    *((group, tuple(Figure("process", *row) for row in rows)) for group, rows in _FIGURES),
    (
        "Record",
        (
            Figure("record", "late_after_s", "An entry is late after", "duration", 60.0, 86_400.0),
            Figure(
                "record",
                "clock_step_s",
                "A step of the server’s clock is recorded from",
                "duration",
                1.0,
                3600.0,
            ),
            Figure(
                "record",
                "calibration_due_soon_days",
                "Days ahead at which a calibration counts as due soon",
                "count",
                0.0,
                90.0,
            ),
        ),
    ),
    (
        "Retained samples",
        tuple(
            Figure("samples", f"sample_days_{letter}", f"Days a sample of class {letter.upper()} is kept; 0 for none", "count", 0.0, 7300.0)
            for letter in "abcd"
        ),
    ),
    (
        "Stock of chemicals",
        tuple(
            Figure("stock", *row)
            for row in (
                ("reconcile_gap_frac", "A balance is looked into from this share of the use (practice)", "fraction", 0.001, 0.5),
                ("reconcile_gap_volume_m3", "... or from this volume of product, the larger (practice)", "liquid_volume", 0.0, 1.0),
                ("weighed_tolerance_frac", "A stock that was weighed may be off by (practice)", "fraction", 0.0, 0.1),
                ("count_due_days", "Days after which a tank is counted again (practice)", "count", 1.0, 90.0),
                ("usual_use_days", "Days from which the usual use is taken", "count", 7.0, 365.0),
                ("delivery_days", "Days from an order to the delivery", "count", 0.0, 90.0),
                ("due_soon_days", "Days ahead at which a check or expiry counts as due soon", "count", 0.0, 90.0),
            )
        ),
    ),
    (
        "Sewer",
        (Figure("sewer", "sewer_day_warn_frac", "Share of a day’s masses from which its edge is near", "fraction", 0.3, 1.0),),
    ),
)  # fmt: skip
"""Every figure, in groups, in the order of the page."""

FIGURES: tuple[Figure, ...] = tuple(figure for _, figures in GROUPS for figure in figures)

IN_ORDER: tuple[tuple[str, str], ...] = (
    ("velocity_warn_m_per_s", "velocity_limit_m_per_s"),
    ("caustic_hardness_warn_eq_per_m3", "caustic_hardness_limit_eq_per_m3"),
    ("gypsum_index_warn", "gypsum_index_stop"),
    ("interface_band_warn_m", "interface_band_limit_m"),
    ("float_anion_share_limit_frac", "float_anion_share_warn_frac"),
    ("weak_ratio_low", "weak_ratio_high"),
    ("weak_ratio_low", "weak_base_ratio_high"),
)
"""Pairs of which the first is not above the second: what warns comes before what stops."""


def value_of(content: LimitContent, figure: Figure) -> float:
    """The figure of this content [SI]."""
    return float(getattr(getattr(content, figure.part), figure.name))


def content_of(values: Mapping[str, float]) -> LimitContent:
    """Content from every figure by its name [SI]. Raises: KeyError when one is missing."""
    parts = {
        "process": PlantLimits,
        "record": RecordFigures,
        "samples": SampleFigures,
        "stock": StockFigures,
        "sewer": SewerFigures,
    }
    built = {
        part: kind(**{item.name: values[item.name] for item in fields(kind)}) for part, kind in parts.items()
    }
    return LimitContent(**built)
