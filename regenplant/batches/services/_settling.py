"""The ledger after a correction: what a step drew follows what stands written of it now."""

from __future__ import annotations

from textwrap import shorten

from regenplant.audit.by import By
from regenplant.batches.endings import DRAWN, FED, mass_fed_kg_100
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch, StepEntry, StepRun
from regenplant.chemicals.selectors import draws_of_step, net_grams
from regenplant.chemicals.services import adjust_draw
from regenplant.core.process.lifecycle import StepState

MOST_REASON = 200
"""Characters a movement keeps as its reason; the entry keeps the person's own words."""


def settle_draw(by: By, batch: Batch, step: StepRun, entry: StepEntry) -> None:
    """Move the difference between what the ledger has for an ended step and what its entries say now; nothing where they agree.

    Raises: as ``adjust_draw``; then the correction is not written either.
    """
    planned = plan_of(batch).step(step.number)
    if entry.key not in (FED, DRAWN) or planned.chemical is None or step.state != StepState.DONE:
        return
    draws = draws_of_step(batch.number, planned.chemical.value, step.number, step.finished_at)
    difference = round(mass_fed_kg_100(step, planned) * 1000) - net_grams(draws)
    if not difference:
        return
    assert entry.replaces is not None
    words = f"step {step.number}, {entry.name}: {entry.words} instead of {entry.replaces.words}"
    adjust_draw(
        by=by,
        chemical=planned.chemical.value,
        grams_100=difference,
        reference=batch.number,
        step_number=step.number,
        reason=shorten(words, MOST_REASON, placeholder=" …"),
        like_number=draws[0].number if draws else None,
    )
