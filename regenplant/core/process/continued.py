"""A rinse that goes on after QC looked at it: the last rinse and the sample come once more, behind the steps of the plan.

The plan stays as it was frozen. Step numbers behind its last one stand for these two by turns, round after round.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from regenplant.core.process.vocabulary import Leg

if TYPE_CHECKING:
    from regenplant.core.process.plan import PlannedStep

MOST_ROUNDS = 9
"""How often a rinse goes on; after that it is failed, and reworked or scrapped. This program's own bound."""
PASSED = "volume"
"""Entry key of the volume that passed; see ``core.process.plan_entries``."""


def rinse_and_sample(steps: Sequence[PlannedStep]) -> tuple[PlannedStep, PlannedStep] | None:
    """The rinse that ends on the end point and the sample that ends the plan; None for a plan that rinses to no end point."""
    rinses = [step for step in steps if step.kind.is_judged_rinse and step.leg is Leg.WHOLE]
    return (rinses[-1], steps[-1]) if rinses else None


def continued_step(steps: Sequence[PlannedStep], number: int) -> PlannedStep:
    """The step behind the plan with this number. Raises: IndexError where the plan has no rinse to go on with."""
    pair = rinse_and_sample(steps)
    behind = number - len(steps)
    if pair is None or behind < 1:
        raise IndexError(f"The plan has no step {number}.")
    step = pair[(behind - 1) % 2]
    entries = step.entries
    if step is pair[0]:  # its planned volume passed in the first round
        entries = tuple(replace(spec, low=None) if spec.key == PASSED else spec for spec in entries)
    return replace(step, number=number, name=_again(step.name, is_rinse=step is pair[0]), entries=entries)


def _again(name: str, *, is_rinse: bool) -> str:
    return f"{name}, continued" if is_rinse else f"{name}, again"


def continued_numbers(steps: Sequence[PlannedStep]) -> tuple[int, ...]:
    """Numbers that a continued rinse may have behind the plan; empty where the plan rinses to no end point."""
    if rinse_and_sample(steps) is None:
        return ()
    first = len(steps) + 1
    return tuple(range(first, first + 2 * MOST_ROUNDS, 2))
