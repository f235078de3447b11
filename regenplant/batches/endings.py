"""Whether a step has reached its end, and how much chemical went in. Reads what people wrote down.

Only the last rinse of a batch waits for the end point; a rinse before it, a fast rinse ahead of a recirculation say, ends
on its volume.
"""

from __future__ import annotations

from collections.abc import Mapping

from regenplant import units
from regenplant.batches.allowances import over_allowance
from regenplant.batches.checking import Method, check_method, end_point_reading, is_checked
from regenplant.batches.frozen import ends_on_end_point, plan_of
from regenplant.batches.models import Batch, StepEntry, StepRun
from regenplant.batches.moves import current_entries
from regenplant.batches.rinse import PASSED, EndPoint, end_point
from regenplant.core.process.continued import continued_numbers
from regenplant.core.process.entry_rules import RUNNING_TOTALS
from regenplant.core.process.plan import EntrySpec, PlannedStep
from regenplant.core.process.recipes import CHEMICAL_STEPS
from regenplant.core.process.vocabulary import StepKind

FED, DRAWN = "volume_fed", "stock_drawn"
"""Entry keys that say how much went through the bed; see ``core.process.plan_entries``."""

__all__ = ["DRAWN", "FED", "RUNNING_TOTALS", "end_not_reached", "mass_fed_kg_100"]


def end_not_reached(step: StepRun, batch: Batch) -> tuple[str, ...]:
    """Sentences: what must still become true before the running step may end; empty when it may."""
    plan = plan_of(batch)
    planned = plan.step(step.number)
    kind = StepKind(step.kind)
    if kind in CHEMICAL_STEPS:
        return (
            *_still_to_go(step, planned, FED, "to feed"),
            *_still_to_go(step, planned, DRAWN, "of stock to draw"),
        )
    if kind is StepKind.DISPLACE:
        return _still_to_go(step, planned, PASSED, "of displacement")
    if kind in _RINSES:
        reached = _end_point_not_reached(batch) if ends_on_end_point(plan, step.number) else ()
        over = over_allowance(step, batch) if step.number in continued_numbers(plan.steps) else ()
        return (*reached, *_still_to_go(step, planned, PASSED, "of rinse"), *over)
    return ()


def _end_point_not_reached(batch: Batch) -> tuple[str, ...]:
    """What is missing from the end point; a reading that proves it is typed twice where the class wants that."""
    reached: EndPoint = end_point(batch)
    if not reached.is_met or check_method(batch.segregation_class) is not Method.TWICE:
        return reached.reasons
    reading = end_point_reading(batch, reached)
    if reading is None or is_checked(reading):
        return ()
    return (
        "The last reading proves the end point and was typed once. Read the cell once more and type it twice, or let a second "
        "person check it.",
    )


_RINSES = (StepKind.RINSE, StepKind.FAST_RINSE, StepKind.RECIRCULATE)


def _still_to_go(step: StepRun, planned: PlannedStep, key: str, what: str) -> tuple[str, ...]:
    spec = _spec(planned, key)
    if spec is None or spec.low is None:
        return ()
    entry = current_entries(step).get(key)
    if entry is not None and entry.standing != StepEntry.Standing.WRITTEN:
        return (f"Not proven: {spec.name[:1].lower()}{spec.name[1:]} stands as {entry.words}.",)
    missing = spec.low - (entry.value if entry and entry.value is not None else 0.0)
    if entry is None or missing <= 1e-9 * spec.low:
        return ()
    return (f"Not yet: {units.twin(missing, spec.kind)} still {what}.",)


def mass_fed_kg_100(
    step: StepRun, planned: PlannedStep, written: Mapping[str, StepEntry] | None = None
) -> float:
    """Mass of chemical that went in, as 100 % [kg].

    From the stock drawn, by tank level, where it is written down: the planned mass times drawn over planned volume, since
    strength and density of the stock are the plan's own plant-checked ones. Else from the diluted volume fed, in the same way.
    ``written``: entries by key; None: those that stand now.
    """
    planned_kg = planned.value("chemical_kg_100")
    written = current_entries(step) if written is None else written
    for key, figure in ((DRAWN, "stock_m3"), (FED, "volume_m3")):
        entry = written.get(key)
        if entry is not None and entry.value is not None and figure in planned.figures:
            return planned_kg * entry.value / planned.value(figure)
    return planned_kg


def _spec(planned: PlannedStep, key: str) -> EntrySpec | None:
    return next((spec for spec in planned.entries if spec.key == key), None)
