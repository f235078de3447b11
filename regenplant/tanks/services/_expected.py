"""A tank that was expected comes: called by the act that receives it, never alone."""

from __future__ import annotations

from datetime import datetime

from regenplant.audit.records import write_changed
from regenplant.tanks.models import ExpectedTank, Tank, TankVisit

State = ExpectedTank.State


def settle_expected_tank(visit: TankVisit) -> ExpectedTank | None:
    """The tank came, as this round trip. None where nobody expected it."""
    row = ExpectedTank.objects.filter(tank_id=visit.tank_id, state=State.EXPECTED).first()
    if row is not None:
        write_changed(
            row,
            {"state": State.CAME.value, "visit": visit},
            version=None,
            label=f"Expected tank {row.number}",
        )
    return row


def promised(tank: Tank) -> datetime | None:
    """For when an expected tank is promised; None where it is not expected, or nobody promised."""
    return (
        ExpectedTank.objects.filter(tank=tank, state=State.EXPECTED).values_list("due_at", flat=True).first()
    )
