"""Tank visit: one round trip of one tank."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from regenplant.core.process.lifecycle.table import Blocker, Lifecycle, Rule


class VisitState(StrEnum):
    RECEIVED = "received"
    ACCEPTED = "accepted"
    HELD = "held"
    REFUSED = "refused"
    EMPTIED = "emptied"
    REFILLED = "refilled"
    RELEASED = "released"
    SHIPPED = "shipped"
    WITHDRAWN = "withdrawn"
    """Filled, and not to leave: withdrawn by a person, or its batch was amended to fail. It leaves only empty, or put back."""


class VisitAction(StrEnum):
    ACCEPT = "accept"
    HOLD = "hold"
    REFUSE = "refuse"
    EMPTY = "empty"
    REFILL = "refill"
    RELEASE = "release"
    SHIP = "ship"
    WITHDRAW = "withdraw"
    FAIL = "fail"
    PUT_BACK = "put_back"
    DISCARD = "discard"


@dataclass(frozen=True, slots=True)
class VisitSnapshot:
    """What the guards of a tank visit look at."""

    is_inspected: bool = False
    findings_that_stop: tuple[str, ...] = ()
    """Sentences of the intake findings that forbid acceptance."""
    is_shell_sound: bool | None = None
    is_class_known: bool = False
    class_may_be_regenerated: bool = False
    class_stop: str = ""
    """Why this class is not accepted now, as a sentence; "" for the usual words."""
    is_in_batch: bool = False
    batch_has_passed: bool = False
    batch_is_released: bool = False
    batch_has_failed: bool = False
    """The decision on the batch that filled it was amended to fail."""
    was_left_out: bool = False
    """Its batch was released while the tank was withdrawn, so that no release covers it."""
    is_put_back_by_part: bool = False
    """The acting person took part in the batch that filled it."""
    shipping_stops: tuple[str, ...] = ()
    """What rooms above hold against its leaving, as sentences."""


def _inspected(snapshot: VisitSnapshot) -> Blocker | None:
    if snapshot.is_inspected:
        return None
    return Blocker("not_inspected", "The intake inspection is not written down yet.")


def _nothing_stops(snapshot: VisitSnapshot) -> Blocker | None:
    if not snapshot.findings_that_stop:
        return None
    return Blocker(
        "finding_stops", " ".join(snapshot.findings_that_stop) + " Hold the tank and call the safety lead."
    )


def _class_fits(snapshot: VisitSnapshot) -> Blocker | None:
    if not snapshot.is_class_known:
        return Blocker("class_unknown", "No segregation class is chosen. It is never guessed.")
    if not snapshot.class_may_be_regenerated:
        return Blocker(
            "class_not_regenerated",
            snapshot.class_stop or "This class is not regenerated without a written disposition.",
        )
    return None


def _in_batch(snapshot: VisitSnapshot) -> Blocker | None:
    if snapshot.is_in_batch:
        return None
    return Blocker("not_in_batch", "This tank belongs to no batch. A tank is emptied into a batch.")


def _shell_sound(snapshot: VisitSnapshot) -> Blocker | None:
    if snapshot.is_shell_sound is None:
        return Blocker("shell_not_inspected", "The empty shell is not inspected yet.")
    if not snapshot.is_shell_sound:
        return Blocker("shell_unsound", "The shell is not sound. It is not filled again.")
    return None


def _batch_passed(snapshot: VisitSnapshot) -> Blocker | None:
    if snapshot.batch_has_passed:
        return None
    return Blocker("batch_not_passed", "The batch that fills this tank has not passed QC.")


def _batch_released(snapshot: VisitSnapshot) -> Blocker | None:
    if snapshot.batch_is_released:
        return None
    return Blocker(
        "batch_not_released",
        "The batch in this tank is not released. Only the release of the batch releases it.",
    )


def _batch_failed(snapshot: VisitSnapshot) -> Blocker | None:
    if snapshot.batch_has_failed:
        return None
    return Blocker("batch_not_failed", "The batch in this tank has not failed.")


def _batch_stands(snapshot: VisitSnapshot) -> Blocker | None:
    if not snapshot.batch_has_failed:
        return None
    return Blocker(
        "batch_failed", "The batch in this tank failed. Its resin is reworked or scrapped, never shipped."
    )


def _not_left_out(snapshot: VisitSnapshot) -> Blocker | None:
    if not snapshot.was_left_out:
        return None
    return Blocker(
        "left_out",
        "Its batch was released without this tank, so no release covers it. Its resin is emptied out, not shipped.",
    )


def _put_back_by_another(snapshot: VisitSnapshot) -> Blocker | None:
    if not snapshot.is_put_back_by_part:
        return None
    return Blocker(
        "own_work", "You took part in the batch that filled this tank, so another person puts it back."
    )


def _nothing_stops_shipping(snapshot: VisitSnapshot) -> Blocker | None:
    if not snapshot.shipping_stops:
        return None
    return Blocker("not_to_ship", " ".join(snapshot.shipping_stops))


VISIT: Lifecycle[VisitState, VisitAction, VisitSnapshot] = Lifecycle(
    "tank",
    VisitState.RECEIVED,
    {
        (VisitState.RECEIVED, VisitAction.ACCEPT): Rule(
            VisitState.ACCEPTED, "tank.judge", (_inspected, _nothing_stops, _class_fits)
        ),
        (VisitState.RECEIVED, VisitAction.HOLD): Rule(VisitState.HELD, "tank.hold"),
        (VisitState.RECEIVED, VisitAction.REFUSE): Rule(VisitState.REFUSED, "tank.judge"),
        (VisitState.HELD, VisitAction.ACCEPT): Rule(
            VisitState.ACCEPTED, "tank.lift_hold", (_inspected, _nothing_stops, _class_fits)
        ),
        (VisitState.HELD, VisitAction.REFUSE): Rule(VisitState.REFUSED, "tank.judge"),
        (VisitState.ACCEPTED, VisitAction.HOLD): Rule(VisitState.HELD, "tank.hold"),
        (VisitState.ACCEPTED, VisitAction.EMPTY): Rule(VisitState.EMPTIED, "batch.run", (_in_batch,)),
        (VisitState.EMPTIED, VisitAction.REFILL): Rule(
            VisitState.REFILLED, "batch.run", (_batch_passed, _shell_sound)
        ),
        (VisitState.REFILLED, VisitAction.RELEASE): Rule(
            VisitState.RELEASED, "batch.release", (_batch_released,)
        ),
        (VisitState.RELEASED, VisitAction.SHIP): Rule(
            VisitState.SHIPPED, "tank.ship", (_nothing_stops_shipping,)
        ),
        (VisitState.REFILLED, VisitAction.WITHDRAW): Rule(VisitState.WITHDRAWN, "tank.hold"),
        (VisitState.RELEASED, VisitAction.WITHDRAW): Rule(VisitState.WITHDRAWN, "tank.hold"),
        (VisitState.REFILLED, VisitAction.FAIL): Rule(VisitState.WITHDRAWN, "qc.judge", (_batch_failed,)),
        (VisitState.RELEASED, VisitAction.FAIL): Rule(VisitState.WITHDRAWN, "qc.judge", (_batch_failed,)),
        (VisitState.WITHDRAWN, VisitAction.PUT_BACK): Rule(
            VisitState.REFILLED, "tank.lift_hold", (_batch_stands, _not_left_out, _put_back_by_another)
        ),
        (VisitState.WITHDRAWN, VisitAction.EMPTY): Rule(VisitState.EMPTIED, "batch.run", (_in_batch,)),
        (VisitState.WITHDRAWN, VisitAction.DISCARD): Rule(VisitState.EMPTIED, "batch.scrap"),
    },
)
