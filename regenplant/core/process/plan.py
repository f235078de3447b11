"""What a plan for one batch is: the request, the steps, the totals, the checks, all frozen data.

``batch_plan.plan_batch`` makes a ``BatchPlan`` from a ``PlanRequest``. The plan is stored whole (as canonical
text) with the batch, so it can be read and recomputed years later. All numbers are coherent SI.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.limits import PlantLimits
from regenplant.core.process.recipes import RecipeDefinition
from regenplant.core.process.vocabulary import Chemical, IonicForm, ResinFamily, StepKind, WaterKind


# --- what goes in -------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class ResinData:
    """Properties of the resin from its type and lot records (the plant's own data sheet overrides defaults)."""

    family: ResinFamily
    type_code: str
    lot_code: str
    total_capacity_eq_per_m3: float
    operating_capacity_eq_per_m3: float
    bead_diameter_m: float
    bead_density_kg_per_m3: float
    settled_void_frac: float
    swelling_frac: float
    """Relative growth in volume from the exhausted to the regenerated form (0.07 = 7 % larger)."""
    max_temperature_kelvin: float
    """Highest temperature in the regenerated form."""
    capacity_factor: float = 1.0


@dataclass(frozen=True, slots=True)
class VesselData:
    code: str
    internal_diameter_m: float
    straight_height_m: float
    """Height of the cylinder above the bed support: bed plus freeboard."""
    bed_volume_min_m3: float
    bed_volume_max_m3: float
    families: tuple[ResinFamily, ...]
    segregation_classes: tuple[str, ...]
    last_chemical: Chemical | None = None
    is_flushed: bool = True
    last_segregation_class: str = ""
    lock_out_reason: str = ""
    max_flow_m3_per_s: float | None = None


@dataclass(frozen=True, slots=True)
class StockData:
    """A bulk chemical as it stands in its tank, by the plant's own check (never by the certificate alone)."""

    chemical: Chemical
    lot_code: str
    strength_frac: float
    density_kg_per_m3: float | None
    """Measured density if the plant has one; else None and the calculated density is used."""
    temperature_kelvin: float
    available_kg_100: float
    checked_at: str
    check_age_days: float | None
    """None means: never checked at the plant."""
    max_check_age_days: float = 7.0


@dataclass(frozen=True, slots=True)
class WaterData:
    kind: WaterKind
    temperature_kelvin: float
    hardness_eq_per_m3: float
    max_flow_m3_per_s: float
    available_m3: float | None = None


@dataclass(frozen=True, slots=True)
class SkidData:
    """A dilution skid for one chemical."""

    code: str
    chemical: Chemical
    flow_min_m3_per_s: float
    flow_max_m3_per_s: float
    heater_max_temperature_kelvin: float | None = None
    lock_out_reason: str = ""


@dataclass(frozen=True, slots=True)
class WasteData:
    """Room in the waste tank; ``reserve_m3`` is kept for one emergency dump and never planned away."""

    capacity_m3: float
    level_m3: float
    reserve_m3: float
    ph_low: float
    ph_high: float


@dataclass(frozen=True, slots=True)
class PlanRequest:
    recipe: RecipeDefinition
    recipe_version: int
    segregation_class: str
    resin: ResinData
    resin_volume_m3: float
    """Settled volume as loaded."""
    resin_volume_form: IonicForm
    vessel: VesselData
    stock: Mapping[str, StockData]
    """By ``Chemical`` value."""
    skids: Mapping[str, SkidData]
    """By ``Chemical`` value."""
    waters: Mapping[str, WaterData]
    """By ``WaterKind`` value."""
    waste: WasteData
    eluted_equivalents: float | None = None
    """Equivalents of foreign ions on the resin, if known from throughput and feed analysis [eq]."""
    limits: PlantLimits = field(default_factory=PlantLimits)
    """The plant's own limits; the defaults are the trade's."""


# --- what comes out -----------------------------------------------------------------------------------------------
class Severity(StrEnum):
    BLOCKER = "blocker"
    WARNING = "warning"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class Check:
    """One thing that was checked: a sentence, the number seen and the number allowed."""

    code: str
    is_met: bool
    severity: Severity
    """What it means when it is not met."""
    sentence: str
    step_number: int | None = None
    seen: float | None = None
    allowed_low: float | None = None
    allowed_high: float | None = None
    unit: str = ""
    kind: str = ""

    @property
    def blocks(self) -> bool:
        return not self.is_met and self.severity is Severity.BLOCKER

    @property
    def warns(self) -> bool:
        return not self.is_met and self.severity is Severity.WARNING


class SignalWord(StrEnum):
    """Z535 signal words, for what a person meets at a step. Container labels follow the SDS instead."""

    DANGER = "danger"
    WARNING = "warning"
    CAUTION = "caution"
    NOTICE = "notice"


@dataclass(frozen=True, slots=True)
class Caution:
    """A hazard where it is, what to wear, what to do."""

    code: str
    signal: SignalWord
    headline: str
    measures: tuple[str, ...]
    protective_equipment: tuple[str, ...]
    pictograms: tuple[str, ...] = ()
    """GHS pictogram codes that usually go with the chemical; the SDS in force decides."""
    source: str = ""
    """Key of ``core.engineering.sources.SOURCES``."""


@dataclass(frozen=True, slots=True)
class EntrySpec:
    """One thing a person writes down during a step.

    ``kind`` is a quantity kind of ``regenplant.units.KINDS``, or "confirm" (a tick), or "choice".
    ``is_required`` entries must stand before the step can be done. ``is_before`` entries stand before the
    step may start (gear on, water flowing).
    """

    key: str
    name: str
    kind: str
    low: float | None = None
    high: float | None = None
    target: float | None = None
    is_required: bool = True
    is_before: bool = False
    help: str = ""


@dataclass(frozen=True, slots=True)
class PlannedStep:
    """One step, ready to be carried out by a person.

    ``figures`` by key: ``flow_m3_per_s``, ``flow_bv_per_h``, ``linear_velocity_m_per_s``, ``duration_s``,
    ``volume_m3``, ``volume_bv``, ``expansion_frac``, ``expanded_height_m``, and for an injection also
    ``chemical_kg_100``, ``stock_kg``, ``stock_m3``, ``dilution_water_kg``, ``dilution_water_m3``,
    ``strength_frac``, ``density_kg_per_m3``, ``temperature_kelvin``, ``contact_time_s``, ``dose_kg_per_m3``,
    ``applied_eq``, ``regenerant_ratio_frac``, ``dilution_water_flow_m3_per_s``, ``stock_flow_m3_per_s``,
    ``unheated_temperature_kelvin``, ``dilution_water_temperature_kelvin`` and ``heating_duty_watt``. Figures of the
    stock are left out when no usable stock is on record (a blocker says so). ``duration_s`` always stands.
    """

    number: int
    kind: StepKind
    name: str
    instruction: str
    figures: Mapping[str, Estimate]
    entries: tuple[EntrySpec, ...]
    cautions: tuple[Caution, ...] = ()
    water: WaterKind | None = None
    chemical: Chemical | None = None
    is_safe_hold_after: bool = False
    ends_when: str = ""
    drain_to: str = ""

    def value(self, key: str) -> float:
        """The value of one figure in SI; KeyError if this step has no such figure."""
        return self.figures[key].value


@dataclass(frozen=True, slots=True)
class BatchPlan:
    """The whole plan.

    ``totals`` by key: ``duration_s``, ``resin_volume_m3``, ``bed_depth_m``, ``bed_fill_frac``,
    ``chemical_kg_100:<chemical>``, ``stock_kg:<chemical>``, ``stock_m3:<chemical>``, ``water_m3:<kind>``,
    ``waste_m3``, ``eluted_eq``, ``excess_eq``, ``waste_ph``, ``neutralizer_first_eq``, ``neutralizer_second_eq``,
    ``chloride_kg``, ``sodium_kg``; also ``applied_eq``, ``regenerant_ratio_frac``, ``neutralizer_first_kg_100``,
    ``neutralizer_second_kg_100`` and, where the neutralizer is in stock, ``neutralizer_first_stock_m3`` and
    ``neutralizer_second_stock_m3``; ``waste_temperature_kelvin``, ``neutralization_rise_kelvin`` and, for sulfuric acid,
    ``sulfate_kg``. ``excess_eq`` is positive for acid, negative for alkali.
    """

    request: PlanRequest
    steps: tuple[PlannedStep, ...]
    totals: Mapping[str, Estimate]
    checks: tuple[Check, ...]
    core_version: str
    notes: tuple[str, ...] = field(default_factory=tuple)

    @property
    def blockers(self) -> tuple[Check, ...]:
        return tuple(check for check in self.checks if check.blocks)

    @property
    def warnings(self) -> tuple[Check, ...]:
        return tuple(check for check in self.checks if check.warns)

    def step(self, number: int) -> PlannedStep:
        return self.steps[number - 1]
