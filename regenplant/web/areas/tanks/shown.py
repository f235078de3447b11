"""Tanks as sentences, pairs and chips for their pages."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from django.http import HttpRequest
from django.utils import timezone

from regenplant import units
from regenplant.audit.use_case import Outcome
from regenplant.core.process.lifecycle import VisitState
from regenplant.core.process.vocabulary import SegregationClass
from regenplant.tanks.models import CustomerRush, Tank
from regenplant.tanks.selectors import AWAY, TankHistory
from regenplant.web.areas.intake.shown import counted
from regenplant.web.listing import Chip, chips

STATE_CHIPS = (
    ("received", "Received"),
    ("held", "Held"),
    ("accepted", "Accepted"),
    ("emptied", "Emptied"),
    ("refilled", "Refilled"),
    ("released", "Released"),
    ("withdrawn", "Withdrawn"),
    (AWAY, "Away"),
)


def state_chips(request: HttpRequest, counts: dict[str, int]) -> list[Chip]:
    """A chip per state with its number of tanks and its shape, keeping every other filter of the address."""
    marks = {item.value for item in VisitState}
    known = counts | {"": sum(counts.values())}
    values = ["", *(state for state, _ in STATE_CHIPS)]
    return [
        replace(chip, count=known.get(value, 0), mark=value if value in marks else "")
        for value, chip in zip(values, chips(request, "state", STATE_CHIPS), strict=True)
    ]


def tanks_sentence(counts: dict[str, int]) -> str:
    """ "148 tanks, 52 of them here: 3 held, 12 accepted and waiting for a batch."."""
    total, away = sum(counts.values()), counts.get(AWAY, 0)
    if not total:
        return "No tank is registered yet."
    parts = [f"{counts[state]} {words}" for state, words in _HERE.items() if counts.get(state)]
    here = f", {total - away} of them here{': ' + ', '.join(parts) if parts else ''}"
    return f"{counted(total, 'tank').capitalize()}{here if total > away else ', all away'}."


_HERE = {
    "received": "to look over",
    "held": "held",
    "accepted": "accepted",
    "emptied": "emptied",
    "refilled": "refilled",
    "released": "ready to ship",
    "withdrawn": "withdrawn",
}


def tank_sentence(history: TankHistory) -> str:
    """ "9 round trips, class D, now waiting for a batch."."""
    trips = counted(history.round_trips, "round trip").capitalize()
    tank, visit = history.tank, history.now
    if tank.is_retired:
        now = "retired"
    elif visit is None:
        last = history.last
        now = (
            "never here yet"
            if last is None
            else "refused and gone"
            if last.state == "refused"
            else f"at {last.customer.name}"
        )
    else:
        now = f"now {_NOW[VisitState(visit.state)]}"
    return f"{trips}, class {tank.segregation_class}, {now}."


_NOW = {
    VisitState.RECEIVED: "at the door",
    VisitState.HELD: "held",
    VisitState.ACCEPTED: "waiting for a batch",
    VisitState.EMPTIED: "empty, its resin in a batch",
    VisitState.REFILLED: "refilled, waiting for the release",
    VisitState.RELEASED: "released, ready to ship",
    VisitState.WITHDRAWN: "filled and withdrawn, not to be shipped",
}


def tank_facts(tank: Tank) -> list[tuple[str, str]]:
    own = SegregationClass(tank.segregation_class)
    rows = [
        ("Size", f"{tank.size.code} in, cylinder {units.twin(tank.size.gross_m3, 'resin_volume')}"),
        ("Resin", f"{tank.resin_type.code}, {tank.resin_type.get_family_display()}, {tank.resin_type.grade}"),
        ("Usual volume", f"{units.twin(tank.resin_volume_m3, 'resin_volume')}, settled, exhausted form"),
        ("Class", f"{own.value} · {own.label}"),
        ("Dedicated to", tank.dedicated_to.name if tank.dedicated_to else ""),
        (
            "Shell inspected",
            f"{tank.shell_inspected_on:%Y-%m-%d}" if tank.shell_inspected_on else "not recorded",
        ),
        ("Neck band", tank.neck_band),
    ]
    return [(term, value) for term, value in rows if value]


def customer_sentence(customer: Any) -> str:
    """How many of a customer's tanks are here; ``customer`` comes from ``customer_rows``."""
    here = counted(customer.tanks_here, "tank").capitalize()
    return f"{here} here now, {counted(customer.tanks_dedicated, 'dedicated tank')}."


def rush_since(row: CustomerRush) -> str:
    """Since when tanks of a customer count as rush, who said so, and when it ended."""
    said = f"{timezone.localtime(row.made_at):%Y-%m-%d %H:%M}, {row.made_by.full_name}"
    return f"{said}; ended {timezone.localtime(row.ended_at):%Y-%m-%d %H:%M}" if row.ended_at else said


# --- receipts -----------------------------------------------------------------------------------------------------------
def shipped_sentence(outcome: Outcome) -> str:
    return f"Written: {outcome.subject[2]} is shipped to {outcome.facts['customer']}."


def withdrawn_sentence(outcome: Outcome) -> str:
    return f"Written: {outcome.facts['tank']} is withdrawn and stays here."


def put_back_sentence(outcome: Outcome) -> str:
    return f"Written: {outcome.facts['tank']} is put back among the filled tanks."


def discarded_sentence(outcome: Outcome) -> str:
    return f"Written: the resin of {outcome.facts['tank']} is thrown away; its shell is empty."


def shell_sentence(outcome: Outcome) -> str:
    verdict = "sound" if outcome.facts["is_shell_sound"] else "not sound and is not filled again"
    return f"Written: the shell of {outcome.subject[2]} is {verdict}."
