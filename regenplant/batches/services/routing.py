"""Choosing where a step drains, as far as the class table allows (EV-01, EV-02)."""

from __future__ import annotations

from regenplant.audit.by import By
from regenplant.audit.records import one_of, words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import StepRun
from regenplant.batches.moves import locked, touch
from regenplant.batches.routes import destination_of, metal_flag_of, route_refusal, what_drains
from regenplant.batches.services._subject import batch_subject
from regenplant.core.errors import RecordRefused
from regenplant.core.process.drains import Destination
from regenplant.core.process.lifecycle import StepState


@use_case("step.routed", permission="step.route")
def route_step(*, by: By, step_id: int, destination: str, reason: str, version: int | None = None) -> Outcome:
    """A step that has not started drains somewhere else than usual; ``result`` is the step.

    Raises: RecordRefused for a step that drains nothing or has started, a destination the class table does not allow, a missing
    reason; StaleRecord.
    """
    step = StepRun.objects.select_related("batch").get(pk=step_id)
    batch = locked(step.batch_id, version)
    one_of(destination, [item.value for item in Destination], "The destination", field="destination")
    wanted, before = Destination(destination), destination_of(step, batch)
    words = words_of(reason, "The reason", field="reason", most=300, least=10)
    if what_drains(plan_of(batch), step.number) is None:
        raise RecordRefused(f"{step.name} drains nothing.", code="no_drain")
    if step.state != StepState.WAITING:
        raise RecordRefused(
            f"{step.name} is {step.state}. Where a step drains is chosen before it starts.",
            code="has_started",
        )
    refused = route_refusal(step, batch, wanted, metal=metal_flag_of(batch), now=by.at)
    if refused:
        raise RecordRefused(refused, code="destination", field="destination")
    StepRun.objects.filter(pk=step.pk, state=StepState.WAITING).update(drains_to=wanted.value)
    touch(batch)
    step.refresh_from_db()
    return Outcome(
        subject=batch_subject(batch),
        before={"drains_to": before.value if before else ""},
        after={"drains_to": wanted.value},
        facts={"number": step.number, "name": step.name, "to": wanted.label},
        reason=words,
        result=step,
    )


say("step.routed", "{subject}: step {number}, {name}, drains to: {to}")
