"""Recipes as frozen data: what is done to a bed, with set points and the range each may move in.

A recipe is made of step kinds; a new recipe of known kinds needs no code. All numbers are coherent SI
(``duration_s``, ``strength_frac``, ``temperature_kelvin``) or bed volumes (``flow_bv_per_h``, ``volume_bv``);
the suffix of the setting says which. The reference bed volume is the resin volume in its exhausted
(reference) form, as counted at loading.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from regenplant.core.errors import OutOfRange
from regenplant.core.process.vocabulary import (
    Chemical,
    Leg,
    LegArrangement,
    Purpose,
    ResinFamily,
    StepKind,
    WaterKind,
)


@dataclass(frozen=True, slots=True)
class SetPoint:
    """A target with the range that a person may move in without a deviation."""

    target: float
    low: float
    high: float

    def __post_init__(self) -> None:
        if not self.low <= self.target <= self.high:
            raise OutOfRange(
                f"A set point of {self.target:g} lies outside its own range {self.low:g} to {self.high:g}.",
                code="set_point_outside_range",
            )


SETTINGS_BY_KIND: dict[StepKind, tuple[str, ...]] = {
    StepKind.LOAD: ("duration_s",),
    StepKind.BACKWASH: ("expansion_frac", "duration_s"),
    StepKind.SEPARATE: ("expansion_frac", "duration_s"),
    StepKind.SETTLE: ("duration_s",),
    StepKind.FLOAT: (
        "strength_frac",
        "volume_bv",
        "flow_bv_per_h",
        "temperature_kelvin",
        "contact_time_s",
    ),
    StepKind.CUT: ("cut_frac", "duration_s"),
    StepKind.INJECT: (
        "dose_kg_per_m3",
        "strength_frac",
        "flow_bv_per_h",
        "temperature_kelvin",
        "contact_time_s",
    ),
    StepKind.SOAK: ("duration_s",),
    StepKind.DISPLACE: ("flow_bv_per_h", "volume_bv"),
    StepKind.RINSE: ("flow_bv_per_h", "volume_bv"),
    StepKind.JOIN: ("duration_s",),
    StepKind.AIR_MIX: ("air_velocity_m_per_s", "water_above_bed_m", "duration_s"),
    StepKind.FAST_RINSE: ("flow_bv_per_h", "volume_bv"),
    StepKind.RECIRCULATE: ("flow_bv_per_h", "volume_bv"),
    StepKind.EMPTY: ("duration_s",),
    StepKind.SANITIZE: ("strength_frac", "volume_bv", "contact_time_s"),
    StepKind.FILL: ("duration_s",),
    StepKind.SAMPLE: ("duration_s",),
}
"""Which settings each step kind needs. ``contact_time_s`` of an injection is a check (its low is the least contact), of
sanitizing and of a float separation the time the solution stands; ``temperature_kelvin`` of an injection or a float
separation is the temperature of the diluted chemical at the bed; ``cut_frac`` is the share of the whole bed drawn off at the interface."""

CHEMICAL_STEPS = (StepKind.INJECT, StepKind.SANITIZE, StepKind.FLOAT)
"""Kinds that bring a chemical; they name it, no other kind does."""

RECIPE_LIMITS: dict[str, tuple[str, str]] = {
    "gypsum_index_warn": ("Gypsum saturation index that warns", "index"),
    "gypsum_index_stop": ("Gypsum saturation index that stops", "index"),
    "cross_contamination_max_frac": ("Most beads of the other kind in a separated resin", "fraction"),
    "leg_balance_max_frac": ("Most imbalance of acid and caustic, as share of the larger", "fraction"),
    "velocity_ratio_min": ("Least ratio of settling velocities, cation over anion", "ratio"),
    "residual_sanitizer_max_kg_per_m3": ("Most sanitizer left in the last rinse", "concentration"),
    "resin_cycles_max": ("Most regenerations the resin may have behind it", "count"),
}
"""Limits a recipe may carry for the checks of a plan: key to (what it is, quantity kind)."""


@dataclass(frozen=True, slots=True)
class RecipeStep:
    """One step of a recipe."""

    kind: StepKind
    name: str
    settings: Mapping[str, SetPoint] = field(default_factory=dict)
    water: WaterKind | None = None
    chemical: Chemical | None = None
    is_safe_hold_after: bool = False
    ends_when: str = ""
    leg: Leg = Leg.WHOLE
    asks_second_person: bool = False
    """Whether two people check the connection of the chemical, each by their own password, before the step may start."""

    def __post_init__(self) -> None:
        needed, given = set(SETTINGS_BY_KIND[self.kind]), set(self.settings)
        if needed != given:
            missing, surplus = sorted(needed - given), sorted(given - needed)
            raise OutOfRange(
                f"Step {self.name!r} of kind {self.kind.label} needs exactly the settings "
                f"{', '.join(sorted(needed))}; missing: {', '.join(missing) or 'none'}, "
                f"not known: {', '.join(surplus) or 'none'}.",
                code="step_settings",
            )
        if (self.kind in CHEMICAL_STEPS) != (self.chemical is not None):
            raise OutOfRange(
                f"Step {self.name!r}: an injection, a float separation or a sanitizing step names its chemical, no other "
                "step does."
            )
        if self.asks_second_person and self.chemical is None:
            raise OutOfRange(
                f"Step {self.name!r}: two people check the connection of a chemical; this step has none.",
                code="second_person_without_chemical",
            )


@dataclass(frozen=True, slots=True)
class RecipeDefinition:
    """A recipe as approved: the content of one immutable version."""

    code: str
    name: str
    family: ResinFamily
    steps: tuple[RecipeStep, ...]
    notes: str = ""
    purpose: Purpose = Purpose.REGENERATION
    arrangement: LegArrangement = LegArrangement.APART
    """Only a mixed bed has legs."""
    grades: tuple[str, ...] = ()
    """Resin grades it may be used for; empty means any."""
    limits: Mapping[str, float] = field(default_factory=dict)
    """Its own limits, by key of ``RECIPE_LIMITS``."""

    def injections(self) -> tuple[RecipeStep, ...]:
        """The steps that put a chemical into the bed."""
        return tuple(step for step in self.steps if step.kind is StepKind.INJECT)

    def last_rinse(self) -> RecipeStep | None:
        """The rinse that ends on the end point of the specification."""
        return next((step for step in reversed(self.steps) if step.kind.is_judged_rinse), None)

    def __post_init__(self) -> None:
        unknown = sorted(set(self.limits) - set(RECIPE_LIMITS))
        if unknown:
            raise OutOfRange(
                f"Recipe {self.code} carries limits not known here: {', '.join(unknown)}.",
                code="unknown_limit",
            )
        for leg in Leg:
            self._require_displacement([step for step in self.steps if step.leg is leg])
        self._require_legs()

    def _require_displacement(self, steps: Sequence[RecipeStep]) -> None:
        """Within a leg, what was injected or floats the resin is followed by more of it, a soak, or displacement."""
        for index, step in enumerate(steps):
            if step.kind not in (StepKind.INJECT, StepKind.FLOAT):
                continue
            after = [later.kind for later in steps[index + 1 :]]
            while after and after[0] in (StepKind.INJECT, StepKind.SOAK, StepKind.FLOAT):
                after.pop(0)
            if not after or after[0] is not StepKind.DISPLACE:
                raise OutOfRange(
                    f"Recipe {self.code}: an injection is followed by displacement; chemical never stays in the bed.",
                    code="injection_without_displacement",
                )

    def _require_legs(self) -> None:
        """Only a mixed bed has legs; they part at the interface cut and join again."""
        legs = {step.leg for step in self.steps} - {Leg.WHOLE}
        if not legs:
            return
        kinds = [step.kind for step in self.steps]
        if not self.family.is_mixed:
            raise OutOfRange(
                f"Recipe {self.code}: only a mixed bed has a cation and an anion leg.", code="legs_not_mixed"
            )
        if StepKind.CUT not in kinds or StepKind.JOIN not in kinds:
            raise OutOfRange(
                f"Recipe {self.code}: the legs part at an interface cut and join again; one of the two steps is missing.",
                code="legs_without_cut_or_join",
            )
        cut, join = kinds.index(StepKind.CUT), kinds.index(StepKind.JOIN)
        for index, step in enumerate(self.steps):
            if (step.leg is not Leg.WHOLE) != (cut < index < join):
                raise OutOfRange(
                    f"Recipe {self.code}: step {step.name!r} belongs to the {step.leg.label}; legs stand between the cut "
                    "and the join, nothing else does.",
                    code="leg_out_of_place",
                )
