"""The one place that opens an excursion, as an act of its own inside whatever act found it."""

from __future__ import annotations

from datetime import datetime

from regenplant.audit.by import By
from regenplant.audit.numbering import next_number
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.waste.discharge_models import Discharge
from regenplant.waste.excursion_models import Excursion


@use_case("excursion.opened", permission="")
def open_excursion(
    *, by: By, kind: Excursion.Kind, happened_at: datetime, words: str, discharge: Discharge | None = None
) -> Outcome:
    """Open an excursion; whoever does what shows it opens it. ``result`` is the excursion."""
    row = Excursion.objects.create(
        number=next_number(Excursion, "number", "EX", 10001),
        kind=kind.value,
        discharge=discharge,
        happened_at=happened_at,
        words=words[:400],
        reported_by=by.user,
        reported_at=by.at,
    )
    return Outcome(
        subject=("excursion", row.number, row.number),
        after={"kind": row.kind},
        facts={"words": row.words},
        related=(("discharge", discharge.number),) if discharge is not None else (),
        result=row,
    )


say("excursion.opened", "Excursion {subject} was opened: {words}")
