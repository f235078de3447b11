"""A filled tank that is withdrawn: by a person, or because its batch was amended to fail; put back, or emptied.

As with shipping, a visit knows no batch: what it is at comes in as a fact from the services of the batch.
"""

from __future__ import annotations

from typing import Any

from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.process.intake import SHORTEST_REASON
from regenplant.core.process.lifecycle import VisitAction, VisitSnapshot
from regenplant.tanks.models import TankVisit
from regenplant.tanks.services._moves import move_visit, related_of, subject_of
from regenplant.tanks.services._rules import reason_of

EMPTY_AGAIN: dict[str, Any] = {
    "is_shell_sound": None,
    "refilled_at": None,
    "refilled_lot": None,
    "refilled_volume_m3": None,
    "released_at": None,
}
"""What a visit says when its filled tank is emptied again: the shell is looked at anew before anything goes in."""


@use_case("tank.withdrawn", permission="tank.hold")
def withdraw_tank(*, by: By, visit_id: int, reason: str, version: int | None = None) -> Outcome:
    """Withdraw a filled tank. Raises: RecordRefused without a reason, TransitionRefused unless it is filled, StaleRecord."""
    words = reason_of(reason, least=SHORTEST_REASON)
    return _moved(by, visit_id, VisitAction.WITHDRAW, VisitSnapshot(), words, version=version, reason=words)


@use_case("tank.failed", permission="qc.judge")
def fail_tank(*, by: By, visit_id: int, reason: str, batch_has_failed: bool) -> Outcome:
    """Withdraw a filled tank because its batch failed. Raises: TransitionRefused unless the batch did."""
    snapshot = VisitSnapshot(batch_has_failed=batch_has_failed)
    return _moved(by, visit_id, VisitAction.FAIL, snapshot, reason, reason=reason)


@use_case("tank.put_back", permission="tank.lift_hold")
def put_tank_back(
    *, by: By, visit_id: int, reason: str, batch_has_failed: bool, was_left_out: bool, took_part: bool
) -> Outcome:
    """A withdrawn tank is filled and good again. Raises: RecordRefused without a reason, TransitionRefused."""
    words = reason_of(reason, least=SHORTEST_REASON)
    snapshot = VisitSnapshot(
        batch_has_failed=batch_has_failed, was_left_out=was_left_out, is_put_back_by_part=took_part
    )
    return _moved(by, visit_id, VisitAction.PUT_BACK, snapshot, words, reason="")


@use_case("tank.discarded", permission="batch.scrap")
def discard_resin(*, by: By, visit_id: int, reason: str) -> Outcome:
    """The resin of a withdrawn tank is thrown away; the empty shell stays. Raises: RecordRefused, TransitionRefused."""
    words = reason_of(reason, least=SHORTEST_REASON)
    fields = {"reason": "", "emptied_at": by.happened_at, **EMPTY_AGAIN}
    return _moved(by, visit_id, VisitAction.DISCARD, VisitSnapshot(), words, **fields)


def _moved(
    by: By,
    visit_id: int,
    action: VisitAction,
    snapshot: VisitSnapshot,
    said: str,
    *,
    version: int | None = None,
    **fields: Any,
) -> Outcome:
    visit = TankVisit.objects.select_related("tank__size", "customer", "resin_type").get(pk=visit_id)
    before = {"state": visit.state}
    move_visit(by=by, visit=visit, action=action, snapshot=snapshot, version=version, **fields)
    return Outcome(
        subject_of(visit),
        before=before,
        after={"state": visit.state},
        reason=said,
        related=related_of(visit),
        result=visit,
    )


say("tank.withdrawn", "{subject}, filled, was withdrawn")
say("tank.failed", "{subject} was withdrawn: its batch failed")
say("tank.put_back", "{subject} was put back among the filled tanks")
say("tank.discarded", "{subject}: its resin was thrown away, the shell is empty")
