"""What a step drained, written in the act that ended it: where it went, and the waste tank if it went there."""

from __future__ import annotations

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
from regenplant.core.process.plan import PlannedStep
from regenplant.core.process.recipes import CHEMICAL_STEPS
from regenplant.core.process.waste_held import poured_in
from regenplant.plant.models import WasteTank
from regenplant.plant.selectors import waste_tank
from regenplant.waste.models import StepDrain, WasteMovement
from regenplant.waste.services._moving import held_now, tank_of, write_movement
from regenplant.waste.stretches import worked_into

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
        planned = _continued(batch, step)
    given_up = step.state == StepState.RUNNING
    ran = _as_run(by, planned, plan.step(step.number), step, given_up=given_up)
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


def _continued(batch: Batch, step: StepRun) -> DrainedStep:
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


def _as_run(
    by: By, planned: DrainedStep, of_plan: PlannedStep, step: StepRun, *, given_up: bool
) -> DrainedStep:
    written = current_entries(step)
    passed = _value(written, FED if of_plan.kind in CHEMICAL_STEPS else PASSED)
    fed = None
    if of_plan.kind in CHEMICAL_STEPS and of_plan.chemical is not None:
        fed = mass_fed_kg_100(step, of_plan)
        if given_up and _value(written, DRAWN) is None and passed is None:
            fed *= _by_the_clock(by, step)
    elif given_up and passed is None:
        passed = planned.volume_m3 * _by_the_clock(by, step)
    return as_run(planned, of_plan, fed_kg_100=fed, passed_m3=passed)


def _by_the_clock(by: By, step: StepRun) -> float:
    """Share of the planned time that the step has run; a hold does not count."""
    if step.started_at is None or step.planned_duration_s <= 0.0:
        return 0.0
    ran_s = worked_s(step, step.batch.holds.all(), by.happened_at)
    return min(max(ran_s / step.planned_duration_s, 0.0), 1.0)


def _value(written: dict[str, StepEntry], key: str) -> float | None:
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
