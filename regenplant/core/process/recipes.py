"""Recipes as frozen data: what is done to a bed, with set points and the range each may move in.

A recipe is made of step kinds; a new recipe of known kinds needs no code. All numbers are coherent SI
(``duration_s``, ``strength_frac``, ``temperature_kelvin``) or bed volumes (``flow_bv_per_h``, ``volume_bv``);
the suffix of the setting says which. The reference bed volume is the resin volume in its exhausted
(reference) form, as counted at loading.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from regenplant.core.errors import OutOfRange
from regenplant.core.process.vocabulary import Chemical, ResinFamily, StepKind, WaterKind


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
    StepKind.SETTLE: ("duration_s",),
    StepKind.INJECT: (
        "dose_kg_per_m3",
        "strength_frac",
        "flow_bv_per_h",
        "temperature_kelvin",
        "contact_time_s",
    ),
    StepKind.DISPLACE: ("flow_bv_per_h", "volume_bv"),
    StepKind.FAST_RINSE: ("flow_bv_per_h", "volume_bv"),
    StepKind.SAMPLE: ("duration_s",),
}
"""Which settings each step kind needs. ``contact_time_s`` is a check (its low is the least contact);
``temperature_kelvin`` of an injection is the temperature of the diluted regenerant at the bed."""


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
        if (self.kind is StepKind.INJECT) != (self.chemical is not None):
            raise OutOfRange(f"Step {self.name!r}: an injection names its chemical, no other step does.")


@dataclass(frozen=True, slots=True)
class RecipeDefinition:
    """A recipe as approved: the content of one immutable version."""

    code: str
    name: str
    family: ResinFamily
    steps: tuple[RecipeStep, ...]
    notes: str = ""

    def injections(self) -> tuple[RecipeStep, ...]:
        """The steps that put a chemical into the bed."""
        return tuple(step for step in self.steps if step.kind is StepKind.INJECT)

    def __post_init__(self) -> None:
        kinds = [step.kind for step in self.steps]
        for index, kind in enumerate(kinds):
            if kind is StepKind.INJECT and (
                index + 1 >= len(kinds) or kinds[index + 1] not in (StepKind.DISPLACE, StepKind.INJECT)
            ):
                raise OutOfRange(
                    f"Recipe {self.code}: an injection is followed by displacement; chemical never stands in the bed.",
                    code="injection_without_displacement",
                )
