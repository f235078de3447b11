"""A tank goes down a class with the resin that comes back into it. Never up: that takes the verdict at intake."""

from __future__ import annotations

from django.db.models import F

from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused
from regenplant.core.process.downgrading import classes_below
from regenplant.core.process.lifecycle import VisitState
from regenplant.core.process.vocabulary import SegregationClass
from regenplant.tanks.models import Tank, TankVisit
from regenplant.tanks.services._moves import related_of, subject_of, write_visit


@use_case("tank.downgraded", permission="qc.judge")
def downgrade_tank(*, by: By, visit_id: int, to_class: str, batch_was_downgraded: bool) -> Outcome:
    """The empty tank of a batch that went down takes its resin back in the lower class; its pooling key changes with it.

    Raises: RecordRefused unless the batch went down, the tank is empty, and the class is a lower one.
    """
    visit = TankVisit.objects.select_related("tank", "customer").get(pk=visit_id)
    before = visit.segregation_class
    if not batch_was_downgraded or visit.state != VisitState.EMPTIED:
        raise RecordRefused(
            f"{visit.tank.serial} is {visit.state}. Its class goes down while it stands empty and its batch goes down.",
            code="not_empty",
        )
    allowed = [item.value for item in classes_below(SegregationClass(before))[1:]]
    if to_class not in allowed:
        raise RecordRefused(
            f"{visit.tank.serial} is class {before}; it does not become class {to_class}. A class never goes up.",
            code="upgrade",
            field="to_class",
        )
    write_visit(visit, segregation_class=to_class)
    Tank.objects.filter(pk=visit.tank_id).update(segregation_class=to_class, version=F("version") + 1)
    return Outcome(
        subject_of(visit),
        before={"segregation_class": before},
        after={"segregation_class": to_class},
        facts={"from_class": before, "to_class": to_class},
        related=related_of(visit),
        result=visit,
    )


say("tank.downgraded", "{subject} went down from class {from_class} to class {to_class} with its resin")
