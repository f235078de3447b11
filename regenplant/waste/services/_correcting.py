"""The books of the waste after an entry was corrected: what the step drained, and what of it still stands in the waste tanks."""

from __future__ import annotations

from collections.abc import Mapping
from textwrap import shorten

from django.db.models import QuerySet

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.batches.endings import DRAWN, FED
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch, StepEntry, StepRun
from regenplant.batches.moves import current_entries
from regenplant.batches.rinse import PASSED
from regenplant.batches.timing import worked_s
from regenplant.core.process.drained_steps import DrainedStep
from regenplant.core.process.drains import Destination
from regenplant.core.process.waste_held import put_right
from regenplant.plant.models import WasteTank
from regenplant.waste.held import still_there
from regenplant.waste.models import StepDrain, WasteMovement
from regenplant.waste.services._drains import (
    Behind,
    continued,
    drains_of_plan,
    entries_behind,
    ran_as_written,
)
from regenplant.waste.services._moving import held_now, tank_of, write_movement
from regenplant.waste.stretches import worked_into

SAME = 1e-9
"""Cubic metres and moles: a difference below it is the noise of sums."""


def follow_entry(by: By, batch: Batch, step: StepRun, entry: StepEntry) -> None:
    """Put the books right where the corrected entry says how much a step drained that has ended, or how much chemical one drained that
    ran behind it; nothing where they agree.
    """
    if entry.key not in (FED, DRAWN, PASSED) or entry.replaces is None:
        return
    now = current_entries(step)
    if now[entry.key].pk != entry.pk:  # an older running total: the newest one counts
        return
    then = {**now, entry.key: entry.replaces}
    words = f"step {step.number}, {entry.name}: {entry.words} instead of {entry.replaces.words}"
    for drain in _written_at_its_end().filter(batch=batch).order_by("step_number"):
        planned = drains_of_plan(batch).get(drain.step_number) or continued(batch, step)
        if step.number not in (drain.step_number, *planned.by_source):
            continue
        behind: Behind = entries_behind(batch, planned)
        old = _ran(batch, drain, planned, {**behind, step.number: (step, then)})
        new = _ran(batch, drain, planned, behind)
        if not _is_same(old, new):
            correct_drain(
                by=by, batch_id=batch.pk, step_number=drain.step_number, old=old, new=new,
                reason=shorten(words, 300, placeholder=" …"),
            )  # fmt: skip


def _written_at_its_end() -> QuerySet[StepDrain]:
    return StepDrain.objects.select_related("batch").filter(corrected_at__isnull=True)


def _ran(batch: Batch, drain: StepDrain, planned: DrainedStep, behind: Behind) -> DrainedStep:
    step, frac = behind[drain.step_number][0], None
    if drain.was_given_up:
        ran_s = worked_s(step, batch.holds.all(), drain.drained_at)
        frac = min(max(ran_s / step.planned_duration_s, 0.0), 1.0) if step.planned_duration_s > 0.0 else 0.0
    return ran_as_written(planned, plan_of(batch), step, behind, given_up_frac=frac)


def _is_same(old: DrainedStep, new: DrainedStep) -> bool:
    volumes = abs(new.volume_m3 - old.volume_m3) < SAME and abs(new.waste_m3 - old.waste_m3) < SAME
    return volumes and not _more_mol(old, new) and old.is_known == new.is_known


def _more_mol(old: DrainedStep, new: DrainedStep) -> dict[str, float]:
    names = sorted({*old.amounts_mol, *new.amounts_mol})
    more = {name: new.amounts_mol.get(name, 0.0) - old.amounts_mol.get(name, 0.0) for name in names}
    return {name: moles for name, moles in more.items() if abs(moles) >= SAME}


@use_case("waste.drain_corrected", permission="entry.record")
def correct_drain(
    *, by: By, batch_id: int, step_number: int, old: DrainedStep, new: DrainedStep, reason: str
) -> Outcome:
    """What was written of a step was corrected after it had drained: the difference is a row of its drain, and of each waste tank as far
    as it still stands there. What left with a discharge is in the record of that discharge, which stays as it was signed.
    ``result`` is the row of the drain.
    """
    drain = _written_at_its_end().get(batch=batch_id, step_number=step_number)
    more = _more_mol(old, new)
    row = StepDrain.objects.create(
        batch=drain.batch,
        step_number=drain.step_number,
        destination=drain.destination,
        volume_m3=new.volume_m3 - old.volume_m3,
        waste_m3=new.waste_m3 - old.waste_m3,
        amounts_mol=more,
        is_known=new.is_known,
        temperature_kelvin=drain.temperature_kelvin,
        was_given_up=drain.was_given_up,
        drained_at=drain.drained_at,
        drained_by=by.user,
        corrected_at=by.at,
        reason=reason,
    )
    gone = 0.0
    if drain.destination == Destination.NEUTRALIZATION:
        gone = _into_the_books(by, drain, old, new, more, reason)
    return Outcome(
        subject=("batch", str(drain.batch_id), drain.batch.number),
        before={"waste_m3": old.waste_m3},
        after={"waste_m3": new.waste_m3},
        facts={
            "step": drain.step_number,
            "drained": _drained(old, new),
            "unknown": "" if new.is_known else "; its composition counts as unknown",
            "gone": f"; {gone:.0%} of it had left the waste tank before, and its record stays"
            if gone >= 0.005
            else "",
        },
        reason=reason,
        result=row,
    )


def _into_the_books(
    by: By, drain: StepDrain, old: DrainedStep, new: DrainedStep, more: Mapping[str, float], reason: str
) -> float:
    """The share of what the step drained that had left the tanks by now, by volume."""
    unknown = (0.0 if new.is_known else new.waste_m3) - (0.0 if old.is_known else old.waste_m3)
    gone = 0.0
    for tank, share, since in _tanks_of(drain):
        there = still_there(tank, since)
        gone += share * (1.0 - there.frac)
        part = share * there.frac
        if part <= 0.0:
            continue
        before = held_now(tank)
        after = put_right(
            before,
            0.0 if there.level_was_read else part * (new.waste_m3 - old.waste_m3),
            {name: part * moles for name, moles in more.items()},
            part * unknown,
        )
        write_movement(
            by=by,
            tank=tank,
            kind=WasteMovement.Kind.CORRECTION,
            before=before,
            after=after,
            batch=drain.batch,
            step_number=drain.step_number,
            reference=f"{drain.batch.number} step {drain.step_number}",
            reason=reason,
        )
    return gone


def _tanks_of(drain: StepDrain) -> list[tuple[WasteTank, float, int]]:
    """Each waste tank into which the step drained, its share, and the movement with which it came."""
    rows = list(
        WasteMovement.objects.filter(
            kind=WasteMovement.Kind.DRAIN, batch=drain.batch, step_number=drain.step_number
        ).order_by("number")
    )
    whole = sum(row.volume_m3 for row in rows)
    if whole > 0.0:
        return [(tank_of(row.tank_id), row.volume_m3 / whole, row.number) for row in rows]
    return _tanks_by_time(drain)


def _tanks_by_time(drain: StepDrain) -> list[tuple[WasteTank, float, int]]:
    """Of a step of which nothing was booked: the tanks to which the drains ran while it worked."""
    step = drain.batch.steps.get(number=drain.step_number)
    times = worked_into(step, drain.batch.holds.all(), drain.drained_at)
    found = []
    for key, worked in times.items():
        tank = tank_of(key)
        earlier = WasteMovement.objects.filter(tank=tank, moved_at__lte=drain.drained_at)
        last = earlier.order_by("-number").values_list("number", flat=True).first()
        found.append((tank, worked / sum(times.values()), last or 0))
    return found


def _drained(old: DrainedStep, new: DrainedStep) -> str:
    shown, was = (units.twin(one.volume_m3, "liquid_volume") for one in (new, old))
    return f"drained {shown}, not {was}" if shown != was else f"drained other ions in its {shown}"


say(
    "waste.drain_corrected",
    "{subject}: step {step} {drained}, as its entry was corrected{unknown}{gone} ({reason})",
)
