"""The makers of entries: a tick, a text, a value inside the range of the recipe or near a planned figure."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.plan import EntrySpec
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.plan_bed import Bed
from regenplant.core.process.recipes import RecipeStep, SetPoint
from regenplant.core.process.vocabulary import StepKind

BAND_FRAC = 0.10
"""How far a flow set at a skid may be off before it is outside; common practice."""
COUNT_BAND_FRAC = 0.05
"""How far a counted resin volume may be off the planned one; common practice."""
RINSED_PH = (3.5, 10.5)
"""pH between which a rinsed leg is taken as rinsed: a trace of acid or caustic below about 0.3 meq/L; common practice."""


@dataclass(frozen=True, slots=True)
class StepCase:
    """What the entries and the sentence of one step are made from."""

    basis: PlanBasis
    step: RecipeStep
    figures: Mapping[str, Estimate]
    last: RecipeStep | None
    """The last chemical that the resin of this step met before it."""

    @property
    def bed(self) -> Bed:
        return self.basis.bed(self.step.leg)

    def setting(self, key: str) -> SetPoint:
        return self.step.settings[key]

    def limit(self, key: str) -> float | None:
        """A limit of the recipe's own."""
        return self.basis.request.recipe.limits.get(key)

    def has(self, kind: StepKind) -> bool:
        """Whether the recipe has a step of this kind."""
        return any(step.kind is kind for step in self.basis.request.recipe.steps)


def confirm(
    key: str, name: str, *, is_before: bool = False, is_required: bool = True, help: str = ""
) -> EntrySpec:
    return EntrySpec(key, name, "confirm", is_before=is_before, is_required=is_required, help=help)


def together(key: str, name: str, *, is_before: bool = False, help: str = "") -> EntrySpec:
    """A tick that two people give, each by their own password."""
    return EntrySpec(key, name, "second_person", is_before=is_before, help=help)


def text(
    key: str, name: str, *, is_before: bool = False, is_required: bool = True, help: str = ""
) -> EntrySpec:
    """Words a person writes: a label, a lot, a name."""
    return EntrySpec(key, name, "text", is_before=is_before, is_required=is_required, help=help)


def ranged(
    key: str,
    name: str,
    kind: str,
    point: SetPoint,
    factor: float = 1.0,
    *,
    is_before: bool = False,
    is_critical: bool = False,
    help: str = "",
) -> EntrySpec:
    """A value inside the range of a set point, which ``factor`` brings to the unit of the entry."""
    return EntrySpec(
        key,
        name,
        kind,
        low=point.low * factor,
        high=point.high * factor,
        target=point.target * factor,
        is_before=is_before,
        is_critical=is_critical,
        help=help,
    )


def banded(
    key: str,
    name: str,
    kind: str,
    target: float,
    band: float,
    *,
    is_before: bool = False,
    is_required: bool = True,
    is_critical: bool = False,
    help: str = "",
) -> EntrySpec:
    """A value near a planned figure."""
    return EntrySpec(
        key,
        name,
        kind,
        low=target * (1.0 - band),
        high=target * (1.0 + band),
        target=target,
        is_before=is_before,
        is_required=is_required,
        is_critical=is_critical,
        help=help,
    )


def flow_and_volume(
    case: StepCase, flow_name: str, volume_name: str, help: str = ""
) -> tuple[EntrySpec, EntrySpec]:
    """Flow and volume of a rinse, in the ranges of the recipe."""
    volume_m3 = case.bed.volume_m3
    return (
        ranged("flow", flow_name, "flow", case.setting("flow_bv_per_h"), volume_m3 / 3600.0),
        ranged("volume", volume_name, "liquid_volume", case.setting("volume_bv"), volume_m3, help=help),
    )


def residual_sanitizer(case: StepCase, *, is_before: bool = False) -> EntrySpec:
    """What is left of the sanitizer, by test strip or kit."""
    return EntrySpec(
        "residual_sanitizer",
        "Sanitizer left in the rinse water",
        "concentration",
        high=case.limit("residual_sanitizer_max_kg_per_m3"),
        is_before=is_before,
        help="By test kit. Rinse on until it is inside.",
    )
