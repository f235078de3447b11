"""The one writer of a visit's state."""

from __future__ import annotations

from typing import Any

from django.db.models import F
from django.utils import timezone

from regenplant.audit.by import By
from regenplant.audit.selectors import story
from regenplant.audit.use_case import require
from regenplant.core.errors import StaleRecord
from regenplant.core.process.lifecycle import VISIT, VisitAction, VisitSnapshot, VisitState
from regenplant.tanks.models import TankVisit

SUBJECT = "tank_visit"


def move_visit(
    *,
    by: By,
    visit: TankVisit,
    action: VisitAction,
    snapshot: VisitSnapshot,
    version: int | None = None,
    **fields: Any,
) -> VisitState:
    """Move a visit by one action of the lifecycle and write ``fields`` with it; the given object then reads as stored.

    Compare-and-set on state and version: of two people who press at the same time one wins, the other is told.
    ``version`` is the one the person saw; None where the caller has just read the row in its own transaction.
    Raises: NotAllowed without the permission of this very move, TransitionRefused, StaleRecord.
    """
    old = VisitState(visit.state)
    require_version(visit, version)
    require(by, VISIT.rule(old, action).permission, visit.segregation_class or visit.tank.segregation_class)
    new = VISIT.transition(old, action, snapshot)
    write_visit(visit, state=new.value, **fields)
    return new


def hold_now(by: By, visit: TankVisit, sentences: tuple[str, ...]) -> None:
    """Hold a visit for reasons the program found, within the act that found them."""
    longest = TankVisit._meta.get_field("reason").max_length or 300
    text = " ".join(sentences)
    reason = text if len(text) <= longest else f"{text[: longest - 1]}…"
    move_visit(by=by, visit=visit, action=VisitAction.HOLD, snapshot=VisitSnapshot(), reason=reason)


def write_visit(visit: TankVisit, **fields: Any) -> None:
    """Write fields of a visit if nobody changed it since it was read, and count its version up."""
    seen = TankVisit.objects.filter(pk=visit.pk, state=visit.state, version=visit.version)
    if seen.update(version=F("version") + 1, **fields) != 1:
        raise StaleRecord(_changed_meanwhile(visit))
    visit.version += 1
    for name, value in fields.items():
        setattr(visit, name, value)


def require_version(visit: TankVisit, version: int | None) -> None:
    """Raise StaleRecord unless the person saw the newest version."""
    if version is not None and version != visit.version:
        raise StaleRecord(
            _changed_meanwhile(visit),
            seen=version,
            present=visit.version,
            table=TankVisit._meta.db_table,
            key=str(visit.pk),
        )


def subject_of(visit: TankVisit) -> tuple[str, str, str]:
    return SUBJECT, visit.number, visit.tank.serial


def related_of(visit: TankVisit) -> tuple[tuple[str, str], ...]:
    """The tank and the customer, so that their stories hold this act too."""
    return ("tank", visit.tank.serial), ("customer", visit.customer.code)


def _changed_meanwhile(visit: TankVisit) -> str:
    last = story([(SUBJECT, visit.number)], newest_first=True, limit=1)
    what = f" {last[0].who} at {timezone.localtime(last[0].at):%H:%M}: {last[0].sentence}." if last else ""
    return f"{visit.number} was changed since you opened it; nothing of yours was written.{what} Look again, then decide."
