"""A recipe as one body of resin meets it: the steps of the whole bed with those of its own leg, in order."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from regenplant.core.process.recipes import RecipeDefinition, RecipeStep
from regenplant.core.process.vocabulary import Leg, StepKind

FULL_RINSES = (StepKind.RINSE, StepKind.FAST_RINSE)
"""Rinses to the drain, long enough to count as clean; a displacement only pushes, a recirculation only goes round."""


@dataclass(frozen=True, slots=True)
class Offence:
    """One rule that a recipe breaks."""

    code: str
    sentence: str
    step_number: int | None = None


@dataclass(frozen=True, slots=True)
class NumberedStep:
    """A step with its place in the whole recipe, from 1."""

    number: int
    step: RecipeStep

    @property
    def words(self) -> str:
        return f"Step {self.number}, {self.step.name},"


def numbered(definition: RecipeDefinition) -> tuple[NumberedStep, ...]:
    """All steps with their numbers."""
    return tuple(NumberedStep(number, step) for number, step in enumerate(definition.steps, start=1))


def paths(definition: RecipeDefinition) -> tuple[tuple[Leg, tuple[NumberedStep, ...]], ...]:
    """The way of each body of resin through the recipe: both resins of a mixed bed, else the one bed."""
    steps = numbered(definition)
    legs = (Leg.CATION, Leg.ANION) if definition.family.is_mixed else (Leg.WHOLE,)
    return tuple((leg, tuple(entry for entry in steps if entry.step.leg in (Leg.WHOLE, leg))) for leg in legs)


def first_of(steps: Sequence[NumberedStep], kind: StepKind) -> NumberedStep | None:
    """The first step of this kind."""
    return next((entry for entry in steps if entry.step.kind is kind), None)


def between(
    steps: Sequence[NumberedStep], kinds: Sequence[StepKind], after: NumberedStep, before: NumberedStep
) -> bool:
    """Whether a step of one of these kinds stands between two others."""
    return any(entry.step.kind in kinds and after.number < entry.number < before.number for entry in steps)
