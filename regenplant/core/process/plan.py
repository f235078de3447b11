"""What a plan for one batch is: the request, the steps, the totals, the checks, all frozen data.

``batch_plan.plan_batch`` makes a ``BatchPlan`` from a ``PlanRequest``. The plan is stored whole (as canonical
text) with the batch, so it can be read and recomputed years later. All numbers are coherent SI.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.continued import continued_step
from regenplant.core.process.limits import PlantLimits
from regenplant.core.process.recipes import RecipeDefinition
from regenplant.core.process.vocabulary import Chemical, IonicForm, Leg, ResinFamily, StepKind, WaterKind


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
    grade: str = "working"
    cycles: int = 0
    """Regenerations behind the oldest share of it that matters."""
    bead_diameter_spread_frac: float = 0.15
    """Standard deviation of the bead diameter over its mean; for separation and carry-over."""
    bead_density_spread_kg_per_m3: float = 5.0
    """Standard deviation of the wet bead density in the exhausted form."""


@dataclass(frozen=True, slots=True)
class MixedData:
    """The two resins of a mixed bed. Families are those of the single resins (SAC_HYDROGEN, SBA_TYPE_1 ...)."""

    cation: ResinData
    anion: ResinData
    cation_frac: float
    """Share of the cation resin in the mixed volume, both in their exhausted forms."""


@dataclass(frozen=True, slots=True)
class FeedData:
    """What the tanks were fed with, as far as it is known: it says what the resin holds. All >= 0.

    From the customer's analysis or the plant's usual feed. Equivalents per volume; sodium stands for all monovalent
    cations, chloride for chloride and what is like it.
    """

    calcium_eq_per_m3: float = 0.0
    magnesium_eq_per_m3: float = 0.0
    sodium_eq_per_m3: float = 0.0
    chloride_eq_per_m3: float = 0.0
    sulfate_eq_per_m3: float = 0.0
    nitrate_eq_per_m3: float = 0.0
    alkalinity_eq_per_m3: float = 0.0
    carbon_dioxide_mol_per_m3: float = 0.0
    silica_mol_per_m3: float = 0.0
    basis: str = ""
    """Where it comes from, in words."""

    @property
    def cations_eq_per_m3(self) -> float:
        return self.calcium_eq_per_m3 + self.magnesium_eq_per_m3 + self.sodium_eq_per_m3

    @property
    def strong_anions_eq_per_m3(self) -> float:
        """Chloride, sulfate, nitrate: the free mineral acidity behind a cation bed."""
        return self.chloride_eq_per_m3 + self.sulfate_eq_per_m3 + self.nitrate_eq_per_m3

    @property
    def calcium_frac(self) -> float:
        """Share of calcium in the equivalents a cation bed takes up; 0 for an empty analysis."""
        total = self.cations_eq_per_m3
        return self.calcium_eq_per_m3 / total if total > 0.0 else 0.0


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
    side_outlet_height_m: float | None = None
    """Height of the interface collector above the bed support; None where there is none."""
    air_max_m3_per_s: float | None = None
    """Clean air for mixing, at the pressure in the vessel; None where there is none on record."""
    chemicals: tuple[Chemical, ...] = ()
    """What its lines bring to it; empty: not on record, so nothing is ruled out."""
    takes_anion_leg_only: bool = False
    """Of a mixed bed it takes the anion resin after the interface cut, never the whole bed."""


@dataclass(frozen=True, slots=True)
class StrengthPart:
    """One thing that the strength of a stock was worked out from: the plant's check of what stood there, or a delivery since."""

    lot_code: str
    method: str
    """Of the plant's check ("density", "baume", "titration"); "sample" for a delivery by the sample of its unloading."""
    at: str
    """When it was checked, or came on top; ISO 8601 with its offset."""
    strength_frac: float
    kg_100: float = 0.0
    """What came on top, as 100 % [kg]; 0 for the check."""
    left_kg_100: float = 0.0
    """What was left when it came, as 100 % [kg]; 0 for the check."""
    gives_frac: float = 0.0
    """Strength of both together, by mass balance; 0 for the check."""

    @property
    def is_delivery(self) -> bool:
        return self.method == "sample"


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
    """None means: never checked at the plant, or, with ``added_lots``, not since a delivery without a sample came on top."""
    max_check_age_days: float = 7.0
    added_lots: tuple[str, ...] = ()
    """Deliveries that came on top since the check; ``strength_frac`` then follows from the check and their samples."""
    parts: tuple[StrengthPart, ...] = ()
    """How ``strength_frac`` came about: the check, then each delivery in turn; empty where nobody knows it."""
    expires_on: str = ""
    """The supplier's expiry date, ISO 8601, the first of all that stands in the tank; "" where no papers give one."""
    days_to_expiry: float | None = None
    """Days until then; below zero: it has passed. None where there is no date."""


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
    heater_power_watt: float | None = None
    """Rated power of the heater; None where it is not on record."""


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
    mixed: MixedData | None = None
    """The two resins of a mixed bed; needed for a mixed family, meaningless for any other."""
    anion_vessel: VesselData | None = None
    """Where the anion leg runs when the legs are regenerated apart."""
    feed: FeedData | None = None
    """What the tanks were fed with; gives the calcium share and the composition of the spent regenerant."""
    throughput_m3: float | None = None
    """Water the tanks of this batch treated, all together; with ``feed`` it gives the eluted equivalents."""


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

    ``kind`` is a quantity kind of ``regenplant.units.KINDS``, or "confirm" (a tick), "choice", "text"
    (words: a label, a lot, a name), or "second_person" (a tick of two people, each by their own password).
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
    is_critical: bool | None = None
    """Whether a slip here would spoil the bed or hide it: typed twice or checked by a second person. None in plans from
    before this was asked; ``entry_rules.is_critical`` then goes by the key."""
    may_not_apply: bool = False
    """Whether anybody who writes may say that it does not apply."""


@dataclass(frozen=True, slots=True)
class PlannedStep:
    """One step, ready to be carried out by a person.

    ``figures`` by key; ``duration_s`` always stands. Doses and bed volumes refer to the bed of the step's leg.

    - flow through the bed: ``flow_m3_per_s``, ``flow_bv_per_h``, ``linear_velocity_m_per_s``, ``volume_m3``, ``volume_bv``
      (backwash, separation, injection, displacement, rinses) and ``pressure_drop_pascal`` (displacement, rinses; not
      of emptied tanks)
    - load: ``bed_depth_m``
    - backwash: ``expansion_frac``, ``expanded_height_m``, ``minimum_velocity_m_per_s``; with a spread of bead sizes also
      ``recommended_velocity_m_per_s``, ``recommended_flow_m3_per_s``, ``carry_over_velocity_m_per_s``, ``carry_over_frac``
    - separation: ``expansion_frac`` (of the anion resin), ``expanded_height_m``, ``settling_time_s``
    - separation and interface cut: ``separation_velocity_ratio`` (not behind a float), ``interface_height_m``, ``overlap_frac``,
      ``cation_in_anion_frac`` and ``anion_in_cation_frac`` (both after the recipe's cut)
    - interface cut: ``cut_frac``, ``cut_m3``, ``lower_layer_m3``, ``upper_layer_m3``; with a side outlet on record also
      ``side_outlet_height_m``, ``interface_offset_m``
    - injection and sanitizing: ``chemical_kg_100``, ``dose_kg_per_m3``, ``strength_frac``, ``temperature_kelvin``,
      ``density_kg_per_m3``, ``contact_time_s``, and with a usable stock ``stock_kg``, ``stock_m3``, ``dilution_water_kg``,
      ``dilution_water_m3``; without one those are left out and a blocker says so
    - injection: ``applied_eq`` (not of oxidizers and reductants), ``unheated_temperature_kelvin``,
      ``dilution_water_flow_m3_per_s``, ``stock_flow_m3_per_s``; heated: ``dilution_water_temperature_kelvin``,
      ``heating_duty_watt``, ``heating_energy_joule`` and, with the heater's power on record, ``heater_time_s``
    - injection that regenerates: ``regenerant_ratio_frac``; on weak resins ``stoichiometric_dose_kg_per_m3`` and
      ``recommended_dose_kg_per_m3``
    - sulfuric acid that regenerates: ``exchanged_frac``, ``calcium_frac``, and with calcium ``gypsum_index``
    - caustic: ``caustic_solids_kg_per_m3`` (per volume of dilution water), ``caustic_solids_kg``
    - soak: ``strength_frac`` of what stands in the bed
    - float separation: as an injection without a ratio, and ``feed_time_s``, ``anion_floats_frac`` and ``cation_sinks_frac`` (by
      their density in water), ``standing_strength_frac``, ``standing_density_kg_per_m3``, ``soaked_anion_density_kg_per_m3``,
      ``soaked_cation_density_kg_per_m3``, ``soaked_anion_floats_frac``, ``solution_height_m``, ``clear_height_m``; where the soaked
      anion floats also ``parting_time_s``, ``lifted_cation_height_m`` and the layers as at the interface cut
    - join: ``joined_m3``, ``bed_depth_m``
    - air mix: ``air_velocity_m_per_s``, ``air_standard_flow_m3_per_s``, ``air_pressure_pascal``, ``air_flow_m3_per_s`` (in the
      vessel), ``air_m3`` (standard), ``water_above_bed_m``, ``water_level_m``, ``water_drained_m3``
    - recirculation: ``volume_m3`` is what the pump moves, ``loop_fill_m3`` the water it takes
    - carbon: ``emptied_m3``, ``filled_m3``
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
    leg: Leg = Leg.WHOLE

    def value(self, key: str) -> float:
        """The value of one figure in SI; KeyError if this step has no such figure."""
        return self.figures[key].value


@dataclass(frozen=True, slots=True)
class BatchPlan:
    """The whole plan.

    ``totals`` by key. Those marked * carry ``:cation`` and ``:anion`` for a mixed bed and stand plain for any other.

    - ``duration_s`` (the legs of a mixed bed run at the same time; then also ``duration_s:cation``, ``duration_s:anion``),
      ``resin_volume_m3``, ``bed_depth_m``, ``bed_fill_frac``
    - ``chemical_kg_100:<chemical>``, ``stock_kg:<chemical>``, ``stock_m3:<chemical>``, ``water_m3:<kind>``
    - ``applied_eq``*, ``eluted_eq``* (and plain, of both), ``regenerant_ratio_frac``*, ``excess_eq``* (and plain, of all
      together): positive for acid, negative for alkali
    - two legs: ``regenerant_rate_eq_per_s``*, ``leg_balance_frac`` (share of the larger), ``legs_meet_rise_kelvin``,
      ``legs_meet_temperature_kelvin`` (both regenerants unspent)
    - ``waste_m3``, ``waste_temperature_kelvin``, ``waste_ph`` (of all in one tank; two legs also ``waste_ph:cation``,
      ``waste_ph:anion``, ``waste_rise_kelvin``), ``waste_gypsum_index`` and the like where solids may fall
    - ``neutralizer_first_eq``, ``neutralizer_second_eq``, ``neutralizer_first_kg_100``, ``neutralizer_second_kg_100``,
      ``neutralization_rise_kelvin`` and, where the neutralizer is in stock, ``neutralizer_first_stock_m3``,
      ``neutralizer_second_stock_m3``; ``sensitivity_less_ph`` and ``sensitivity_more_ph`` at one percent
    - ``chloride_kg``, ``sodium_kg`` and, where there is any, ``sulfate_kg``, ``calcium_kg``, ``magnesium_kg``,
      ``nitrate_kg``, ``ammonium_kg``
    - after the regeneration: ``expected_capacity_eq_per_m3``*, ``expected_efficiency_frac``*,
      ``expected_sodium_leakage_kg_per_m3`` or ``expected_hardness_leakage_kg_per_m3`` (as CaCO3, with a feed); mixed bed:
      ``sodium_form_frac``, ``chloride_form_frac``, ``expected_sodium_leakage_kg_per_m3``,
      ``expected_chloride_leakage_kg_per_m3``, ``expected_sodium_rise`` and ``expected_chloride_rise`` (times that of a
      perfect separation), ``expected_ph``, ``expected_conductivity_siemens_per_m``, ``expected_resistivity_ohm_m``

    Carbon has no equivalents, no load and no ratio.
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
        """The step with this number; behind the last one stand a rinse that went on and its sample."""
        return self.steps[number - 1] if number <= len(self.steps) else continued_step(self.steps, number)
