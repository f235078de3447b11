"""``plan_batch``: from a request to one frozen plan.

The order is basis, steps, totals, checks; each lives in its own file beside this one. A broken plant rule becomes a
check that blocks; only input that cannot be (a negative volume, an anion counted in hydrogen form) is refused.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from regenplant import CORE_VERSION
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.plan import BatchPlan, PlannedStep, PlanRequest
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.plan_checks import build_checks
from regenplant.core.process.plan_steps import build_steps
from regenplant.core.process.plan_totals import build_totals

_LIKE_WASTE_PH = ("sensitivity_", "waste_ph:")
"""Totals whose warnings say again what that of ``waste_ph`` says; they stand in their own working only."""

_ON_NEUTRALIZING = ("neutraliz", "waste_ph")
_WORST_ONLY = ("gypsum_index",)
"""Figures of a step that recur with nearly the same warning; the worst stands for all."""


def plan_batch(request: PlanRequest) -> BatchPlan:
    """The whole plan of one batch: steps, totals and checks, every figure with its working.

    Parameters
    ----------
    request : PlanRequest
        Recipe, resin, vessel, stocks, skids, waters, waste, all as they stand now

    Returns
    -------
    plan : BatchPlan
        Frozen; ``plan.blockers`` is empty when the batch may start

    Raises: OutOfRange for input that cannot be. Broken plant rules do not raise: they are in ``checks``.
    """
    basis = PlanBasis(request)
    steps = build_steps(basis)
    totals = build_totals(basis, steps)
    return BatchPlan(
        request=request,
        steps=steps,
        totals=totals,
        checks=build_checks(basis, steps, totals),
        core_version=CORE_VERSION,
        notes=_notes(basis, steps, totals),
    )


def _notes(basis: PlanBasis, steps: Sequence[PlannedStep], totals: Mapping[str, Estimate]) -> tuple[str, ...]:
    """Warnings of the figures, each once, and where the working needs a word."""
    found: dict[str, None] = {}
    if basis.request.recipe.notes:
        found[basis.request.recipe.notes] = None
    if basis.reference_volume.formula != "V":
        found["Doses and bed volumes refer to the exhausted form; the volume was counted regenerated."] = None
    of_steps = [figure for step in steps for key, figure in step.figures.items() if key not in _WORST_ONLY]
    worst = [_worst(steps, key) for key in _WORST_ONLY]
    of_totals = [figure for key, figure in totals.items() if _speaks(key, totals)]
    for figure in (*of_steps, *(figure for figure in worst if figure is not None), *of_totals):
        found.update(dict.fromkeys(figure.warnings))
    return tuple(found)


def _speaks(key: str, totals: Mapping[str, Estimate]) -> bool:
    """Whether the warnings of a total are worth a note: of salt waste, which nothing neutralizes, the working says enough."""
    if key.startswith(_LIKE_WASTE_PH):
        return False
    excess = totals.get("excess_eq")
    return not (excess is not None and excess.value == 0.0 and key.startswith(_ON_NEUTRALIZING))


def _worst(steps: Sequence[PlannedStep], key: str) -> Estimate | None:
    """The largest of one figure over the steps: it speaks for all of them."""
    found = [step.figures[key] for step in steps if key in step.figures]
    return max(found, key=lambda figure: figure.value, default=None)
