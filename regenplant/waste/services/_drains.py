"""What a step drained, written in the act that ended it: where it went, and the waste tank if it went there."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from regenplant.audit.by import By
from regenplant.batches.endings import DRAWN, FED, mass_fed_kg_100
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch, StepEntry, StepRun
from regenplant.batches.moves import current_entries
from regenplant.batches.rinse import PASSED
from regenplant.batches.routes import destination_of, what_drains
from regenplant.batches.timing import worked_s
from regenplant.core.process.drained_steps import DrainedStep, as_run, planned_drains, split_by_time
from regenplant.core.process.drains import Destination
from regenplant.core.process.lifecycle import StepState
from regenplant.core.process.plan import BatchPlan, PlannedStep
from regenplant.core.process.recipes import CHEMICAL_STEPS
from regenplant.core.process.waste_held import poured_in
from regenplant.plant.models import WasteTank
from regenplant.plant.selectors import waste_tank
from regenplant.waste.models import StepDrain, WasteMovement
from regenplant.waste.services._moving import held_now, tank_of, write_movement
from regenplant.waste.stretches import worked_into

Behind = Mapping[int, tuple[StepRun, Mapping[str, StepEntry]]]
"""By number: a step with the entries of it that count."""
_KEPT: dict[str, dict[int, DrainedStep]] = {}


def drains_of_plan(batch: Batch) -> dict[int, DrainedStep]:
    """What each step of a batch drains as planned; worked out once per plan."""
    if batch.plan_digest not in _KEPT:
        if len(_KEPT) > 256:
            _KEPT.clear()
        _KEPT[batch.plan_digest] = planned_drains(plan_of(batch))
    return _KEPT[batch.plan_digest]


def keep_drain(by: By, batch: Batch, step: StepRun) -> None:
    """Write what the step drained, once. A batch given up while it ran: as far as was written down, else by the clock."""
    plan = plan_of(batch)
    destination = destination_of(step, batch)
    if what_drains(plan, step.number) is None or destination is None:
        return
    planned = drains_of_plan(batch).get(step.number)
    if planned is None:  # a rinse that goes on: clean water behind the plan, its volume as written
        planned = continued(batch, step)
    given_up = step.state == StepState.RUNNING
    frac = _by_the_clock(by, step) if given_up else None
    ran = ran_as_written(planned, plan, step, entries_behind(batch, planned), given_up_frac=frac)
    StepDrain.objects.create(
        batch=batch,
        step_number=step.number,
        destination=destination.value,
        volume_m3=ran.volume_m3,
        waste_m3=ran.waste_m3,
        amounts_mol=dict(ran.amounts_mol),
        is_known=ran.is_known,
        temperature_kelvin=ran.temperature_kelvin,
        was_given_up=given_up,
        drained_at=by.happened_at,
        drained_by=by.user,
    )
    if destination is Destination.NEUTRALIZATION and ran.waste_m3 > 0.0:
        _into_the_tanks(by, batch, step, ran)


def continued(batch: Batch, step: StepRun) -> DrainedStep:
    """A rinse that went on behind the plan: clean water."""
    last = max(
        (one for one in drains_of_plan(batch).values()), key=lambda one: one.number
    )  # its last rinse: the same water
    return DrainedStep(
        step.number,
        what_drains(plan_of(batch), step.number) or last.drained,
        0.0,
        0.0,
        last.temperature_kelvin,
    )


def ran_as_written(
    planned: DrainedStep,
    plan: BatchPlan,
    step: StepRun,
    behind: Behind,
    *,
    given_up_frac: float | None = None,
) -> DrainedStep:
    """What a step drained by these entries. ``given_up_frac``: how far it had run by the clock when its batch was given up.

    Where they say that the volume was not measured, of the step or of the chemical that it carries, the plan's is counted, and its
    composition as unknown: nobody knows it.
    """
    of_plan, written = plan.step(step.number), behind[step.number][1]
    fracs, is_known = dict[int, float](), True
    for source, (row, entries) in behind.items():
        of_source = plan.step(source)
        is_known = is_known and not _is_left_out(of_source, entries)
        if source != step.number and of_source.value("chemical_kg_100") > 0.0:
            fracs[source] = mass_fed_kg_100(row, of_source, entries) / of_source.value("chemical_kg_100")
    passed = _value(written, FED if of_plan.kind in CHEMICAL_STEPS else PASSED)
    fed = None
    if of_plan.kind in CHEMICAL_STEPS and of_plan.chemical is not None:
        fed = mass_fed_kg_100(step, of_plan, written)
        if given_up_frac is not None and _value(written, DRAWN) is None and passed is None:
            fed *= given_up_frac
    elif given_up_frac is not None and passed is None:
        passed = planned.volume_m3 * given_up_frac
    ran = as_run(planned, of_plan, fed_kg_100=fed, passed_m3=passed, fed_fracs=fracs)
    return replace(ran, is_known=ran.is_known and is_known)


def entries_behind(batch: Batch, planned: DrainedStep) -> dict[int, tuple[StepRun, dict[str, StepEntry]]]:
    """The step itself and those whose chemical it carries, by number, each with its present entries."""
    steps = batch.steps.filter(number__in={planned.number, *planned.by_source})
    return {step.number: (step, current_entries(step)) for step in steps}


def _is_left_out(of_plan: PlannedStep, written: Mapping[str, StepEntry]) -> bool:
    """Whether somebody said of every volume of the step that was asked for that it was not done, or does not apply."""
    keys = (DRAWN, FED) if of_plan.kind in CHEMICAL_STEPS else (PASSED,)
    found = [written[key] for key in keys if key in written]
    return bool(found) and all(entry.value is None for entry in found)


def _by_the_clock(by: By, step: StepRun) -> float:
    """Share of the planned time that the step has run; a hold does not count."""
    if step.started_at is None or step.planned_duration_s <= 0.0:
        return 0.0
    ran_s = worked_s(step, step.batch.holds.all(), by.happened_at)
    return min(max(ran_s / step.planned_duration_s, 0.0), 1.0)


def _value(written: Mapping[str, StepEntry], key: str) -> float | None:
    entry = written.get(key)
    return entry.value if entry is not None else None


def _into_the_tanks(by: By, batch: Batch, step: StepRun, ran: DrainedStep) -> None:
    """Into the tank to which the drains ran; where they were switched meanwhile, into each by the time the step worked."""
    times = worked_into(step, batch.holds.all(), by.happened_at)
    if not times:
        found = waste_tank()
        if found is None:  # taken out of the set-up since the plan was made; the drain itself is kept
            return
        times = {found.pk: 1.0}
    parts = split_by_time(ran, list(times.values()))
    for key, part in zip(times, parts, strict=True):
        if part.waste_m3 > 0.0:
            _into_the_tank(by, batch, step, part, tank_of(key), is_part=len(times) > 1)


def _into_the_tank(
    by: By, batch: Batch, step: StepRun, ran: DrainedStep, tank: WasteTank, *, is_part: bool
) -> None:
    before = held_now(tank)
    after = poured_in(before, ran.waste_m3, ran.amounts_mol, ran.temperature_kelvin, is_known=ran.is_known)
    write_movement(
        by=by,
        tank=tank,
        kind=WasteMovement.Kind.DRAIN,
        before=before,
        after=after,
        temperature_kelvin=ran.temperature_kelvin,
        batch=batch,
        step_number=step.number,
        reference=f"{batch.number} step {step.number}{', in part' if is_part else ''}",
    )
