"""To which waste tank the drains run: the valves are changed over by a person, who says so here."""

from __future__ import annotations

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.records import words_of, write_changed
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused, StaleRecord
from regenplant.core.process.wording import listed
from regenplant.plant.models import WasteTank
from regenplant.plant.selectors import waste_tank
from regenplant.waste.discharges import draining_now
from regenplant.waste.receiving import stop_for
from regenplant.waste.services._moving import tank_of


@use_case("waste.drains_switched", permission="waste.switch")
def run_drains_to(
    *,
    by: By,
    waste_tank_id: int,
    reason: str,
    while_draining: bool = False,
    shown_receiving: str | None = None,
    version: int | None = None,
) -> Outcome:
    """From now on what steps drain comes into this tank, and the room of plans is its room. ``result`` is the tank.

    ``while_draining``: somebody says plainly that the valves were changed over while a step drains; that step is then booked into both
    tanks, by the time it worked before and after (``stretches.worked_into``). ``shown_receiving``: code of the tank that received on the page; None: not asked.
    Raises: RecordRefused where it receives already, a discharge of it is under way, a step drains now, or what is coming finds less room
    there than where it runs now; StaleRecord.
    """
    tank = tank_of(waste_tank_id)
    before = waste_tank()
    words = words_of(reason, "The reason", field="reason", most=300, least=5)
    if before is not None and shown_receiving is not None and before.code != shown_receiving:
        raise StaleRecord(
            f"The drains run to {before.code} by now; when you opened this page they ran to {shown_receiving}. "
            "What you typed still stands here. Look at the present state, then say it again.",
            seen=shown_receiving,
            present=before.code,
        )
    if stop := stop_for(tank, by.at):
        raise RecordRefused(stop, code="not_this_tank")
    draining = draining_now(by.at)
    if draining and not while_draining:
        raise RecordRefused(
            f"{listed(draining)} drains now. Let the step end first, or say that the valves were changed over while it drains: "
            "that step is then booked into both tanks, by the time it worked before and after.",
            code="drains_now",
            field="while_draining",
        )
    if before is not None and before.receives:
        write_changed(before, {"receives": False}, version=None, label=f"Waste tank {before.code}")
    write_changed(tank, {"receives": True}, version=version, label=f"Waste tank {tank.code}")
    return Outcome(
        subject=("waste_tank", str(tank.pk), tank.code),
        before={"receives": before.code if before is not None else ""},
        after={"receives": tank.code},
        facts={
            "old": before.code if before is not None else "nowhere",
            "draining": f", while {listed(draining)} drained" if draining else "",
            "shown": units.twin(tank.level_m3, "liquid_volume"),
        },
        reason=words,
        related=(("waste_tank", str(before.pk)),) if before is not None else (),
        result=WasteTank.objects.get(pk=tank.pk),
    )


say(
    "waste.drains_switched", "The drains run to {subject} now, which holds {shown}; before to {old}{draining}"
)
