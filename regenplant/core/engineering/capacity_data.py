"""What is known of total and operating capacities, family by family, with how it is known.

Read points stand first; the rest is from memory or common practice, wide, and there to be replaced by the plant's own
points. Doses are mass of 100 % regenerant per volume of resin, capacities equivalents per volume of resin.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from regenplant.core.engineering import ions
from regenplant.core.engineering.interpolation import monotone
from regenplant.core.errors import OutOfRange


@dataclass(frozen=True, slots=True)
class CapacityCurve:
    """Operating capacity of a family against the dose of one chemical.

    ``points`` are (dose [kg/m^3], capacity [eq/m^3]). ``stoichiometric_ratio`` is given instead where a family takes up its
    regenerant almost wholly. ``total_eq_per_m3`` is a usual total capacity in the reference form.
    """

    family: str
    chemical: str
    total_eq_per_m3: float
    lowest_dose_kg_per_m3: float
    highest_dose_kg_per_m3: float
    points: tuple[tuple[float, float], ...]
    stoichiometric_ratio: float | None
    uncertainty_frac: float
    source: str
    method: str
    caution: str = ""


def _read(pound_per_ft3: float, kilograin_per_ft3: float) -> tuple[float, float]:
    dose = ions.dose_kg_per_m3_from_pound_per_ft3(pound_per_ft3)
    return dose, ions.eq_per_m3_from_kilograin_per_ft3(kilograin_per_ft3)


_MEMORY_CAUTION = "Points from memory. Enter the resin's own capacity points or the plant's history."
_ACRYLIC_CAUTION = (
    "No capacity curve is known for acrylic resin: half of the total capacity at a usual dose is taken. Enter the "
    "resin's own points."
)
_WEAK = "near-stoichiometric use of the regenerant, capped by the total capacity"
_CURVE = "monotone curve through capacity points, never above stoichiometric or total capacity"


def _weak_base(chemical: str, ratio: float, low: float, high: float) -> CapacityCurve:
    return CapacityCurve(
        "wba", chemical, 1500.0, low, high, (), ratio, 0.2, "handbook_memory", _WEAK,
        f"{(ratio - 1.0) * 100:.0f} % excess from memory. Enter the resin's own points.",
    )  # fmt: skip


CURVES: tuple[CapacityCurve, ...] = (
    CapacityCurve(
        "sac_na", "nacl", 2000.0, 48.0, 320.0, (_read(5.0, 22.2), _read(10.0, 29.0), _read(15.0, 31.3)), None, 0.18,
        "keller", f"{_CURVE}; points read at 5, 10 and 15 lb/ft³, 10 % brine",
        "Another article read gives 20, 24 and 30 kgr/ft³ at 5, 8 and 12 lb/ft³, about a tenth less; a design standard caps "
        "softening at 20 kgr/ft³ (915 eq/m³).",
    ),
    CapacityCurve(
        "sac_h", "hcl", 1900.0, 48.0, 240.0, ((80.0, 1000.0), (120.0, 1175.0), (160.0, 1325.0)), None, 0.25,
        "handbook_memory", f"{_CURVE}; co-current", _MEMORY_CAUTION,
    ),
    CapacityCurve(
        "sac_h", "h2so4", 1900.0, 64.0, 240.0, ((100.0, 700.0), (160.0, 830.0)), None, 0.35, "handbook_memory",
        f"{_CURVE}; co-current, stepwise",
        f"{_MEMORY_CAUTION} A historic worked example (TM 5-813-8, dose not visible) used 503 to 567 eq/m³: expect the low side "
        "with much calcium.",
    ),
    CapacityCurve(
        "wac_h", "hcl", 4000.0, 40.0, 170.0, (), 1.08, 0.2, "trade_practice", _WEAK,
        "Operating capacity of a weak acid depends on hardness, alkalinity and flow of the water more than on the dose.",
    ),
    CapacityCurve(
        "wac_h", "h2so4", 4000.0, 40.0, 220.0, (), 1.10, 0.25, "trade_practice", _WEAK,
        "Operating capacity of a weak acid depends on hardness, alkalinity and flow of the water more than on the dose.",
    ),
    CapacityCurve(
        "sba_1", "naoh", 1300.0, 48.0, 240.0, ((96.0, 500.0), (144.0, 575.0)), None, 0.3, "handbook_memory", _CURVE,
        f"{_MEMORY_CAUTION} Age and organic fouling take a quarter and more of it.",
    ),
    CapacityCurve(
        "sba_2", "naoh", 1400.0, 48.0, 160.0, ((64.0, 600.0), (96.0, 740.0)), None, 0.3, "handbook_memory", _CURVE,
        f"{_MEMORY_CAUTION} Type 2 loses half of its strong groups within two to four years.",
    ),
    CapacityCurve(
        "sba_a", "naoh", 1250.0, 64.0, 160.0, ((100.0, 625.0),), None, 0.35, "trade_practice", _CURVE, _ACRYLIC_CAUTION,
    ),
    _weak_base("naoh", 1.2, 32.0, 80.0),
    _weak_base("na2co3", 1.5, 50.0, 140.0),
    _weak_base("nh3", 1.5, 16.0, 45.0),
)  # fmt: skip


def curve(family: str, chemical: str) -> CapacityCurve:
    """The curve of a family with a chemical.

    Parameters
    ----------
    family : str
        Value of ``ResinFamily``, a single resin
    chemical : str
        Key of ``substances.SUBSTANCES``

    Returns
    -------
    curve : CapacityCurve
        Points or ratio, range and source

    Raises: OutOfRange for a pair that is not known; the sentence lists what is.
    """
    for entry in CURVES:
        if entry.family == family and entry.chemical == chemical:
            return entry
    known = ", ".join(f"{entry.family} with {entry.chemical}" for entry in CURVES)
    raise OutOfRange(
        f"No capacity is known for {family!r} with {chemical!r}. Known are {known}; or enter the resin's own points.",
        code="no_capacity_curve",
    )


@dataclass(frozen=True, slots=True)
class PracticeRange:
    """A range that a text gives: for notes beside a plan, never a limit by itself."""

    key: str
    words: str
    low: float
    high: float
    unit: str
    source: str


PRACTICE_RANGES: dict[str, PracticeRange] = {
    entry.key: entry
    for entry in (
        PracticeRange("sac_total", "total capacity, strong-acid cation", 1600.0, 2200.0, "eq/m^3", "davis"),
        PracticeRange("sba_total", "total capacity, strong-base anion", 800.0, 1400.0, "eq/m^3", "davis"),
        PracticeRange("sac_working", "operating capacity, strong-acid cation, of total", 0.50, 0.70, "dimensionless", "davis"),
        PracticeRange("sba_working", "operating capacity, strong-base anion, of total", 0.40, 0.60, "dimensionless", "davis"),
        PracticeRange("service_flow", "service flow", 8.0, 40.0, "1/hour", "davis"),
        PracticeRange("salt_dose", "salt dose, sodium cycle", 80.0, 320.0, "kg/m^3", "davis"),
        PracticeRange("brine_flow", "regenerant flow, sodium cycle", 2.0, 5.0, "1/hour", "davis"),
        PracticeRange("hcl_strength", "acid strength, hydrochloric acid", 0.05, 0.10, "dimensionless", "wtpd"),
        PracticeRange("naoh_strength", "caustic strength", 0.04, 0.06, "dimensionless", "wtpd"),
        PracticeRange("weak_acid_h2so4_strength", "sulfuric acid on weak acid, high-calcium water", 0.005, 0.01, "dimensionless", "wtpd"),
        PracticeRange("contact_cation", "contact time, cation and weak-base anion", 1800.0, 2400.0, "s", "wtpd"),
        PracticeRange("contact_silica", "contact time, strong base where silica matters, heated", 3600.0, 3600.0, "s", "wtpd"),
        PracticeRange("softener_slow_rinse", "slow rinse volume, softener", 1.0, 3.0, "dimensionless", "ufc_softener"),
        PracticeRange("softener_fast_rinse", "fast rinse volume, softener", 4.69, 13.4, "dimensionless", "ufc_softener"),
        PracticeRange("softener_fast_rinse_flow", "fast rinse flow, softener", 12.0, 16.2, "1/hour", "ufc_softener"),
        PracticeRange("yearly_loss", "capacity loss of a softening resin in a year", 0.01, 0.05, "dimensionless", "ufc_softener"),
        PracticeRange("replace_at_loss", "loss not restored by cleaning at which a resin is replaced", 0.25, 0.25, "dimensionless", "ufc_softener"),
    )
}  # fmt: skip


def practice_range(key: str) -> PracticeRange:
    """The range with this key. KeyError for an unknown one: keys come from code.

    Parameters
    ----------
    key : str
        Key of ``PRACTICE_RANGES``

    Returns
    -------
    practice_range : PracticeRange
        Low, high, unit and source
    """
    return PRACTICE_RANGES[key]


def own_points(points: tuple[tuple[float, float], ...]) -> tuple[tuple[float, float], ...]:
    """A resin's own points in order of dose.

    Parameters
    ----------
    points : tuple
        Pairs of dose [kg/m^3] and capacity [eq/m^3], in any order

    Returns
    -------
    ordered : tuple
        The same, by rising dose

    Raises: OutOfRange where more regenerant gives less capacity.
    """
    ordered = tuple(sorted(points))
    for (dose, capacity), (next_dose, next_capacity) in pairwise(ordered):
        if next_dose <= dose or next_capacity < capacity:
            raise OutOfRange(
                f"The capacity points do not rise: {capacity:g} eq/m³ at {dose:g} kg/m³, then {next_capacity:g} eq/m³ at "
                f"{next_dose:g} kg/m³. More regenerant gives at least as much capacity; correct the points.",
                code="points_do_not_rise",
            )
    return ordered


def on_points(points: tuple[tuple[float, float], ...], dose_kg_per_m3: float) -> tuple[float, str]:
    """Capacity from points, and what was done about a dose outside them.

    Parameters
    ----------
    points : tuple
        Pairs of dose [kg/m^3] and capacity [eq/m^3], by rising dose
    dose_kg_per_m3 : float
        Dose as 100 % per resin volume, >= 0 [kg/m^3]

    Returns
    -------
    found : tuple
        Capacity [eq/m^3] and the words, "" inside the points
    """
    doses, capacities = [x for x, _ in points], [y for _, y in points]
    first, last = doses[0], doses[-1]
    if dose_kg_per_m3 < first:
        # the use of the first point goes on: no better efficiency than was ever seen is promised
        kept = capacities[0] * dose_kg_per_m3 / first
        return kept, f"below the first point ({first:.4g} kg/m³) its efficiency is kept"
    if dose_kg_per_m3 > last:
        return capacities[-1], f"above the last point ({last:.4g} kg/m³) its capacity is kept"
    if len(points) == 1:
        return capacities[0], ""
    return monotone(doses, capacities, dose_kg_per_m3), ""
