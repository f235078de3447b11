"""Records of the dock as sentences and pairs for its pages."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.http import HttpRequest
from django.utils import timezone

from regenplant import units
from regenplant.audit.use_case import Outcome
from regenplant.core.process.intake import usual_weight_kg
from regenplant.core.process.lifecycle import VisitAction, VisitState
from regenplant.core.process.vocabulary import IonicForm, SegregationClass
from regenplant.tanks.models import IntakeInspection, TankVisit
from regenplant.tanks.selectors import DockTank, IntakePage, TankHistory
from regenplant.units import UnitSystem
from regenplant.web.rights import right


def counted(number: int, noun: str, *, plural: str = "") -> str:
    """ "1 tank", "3 tanks", "no tank"."""
    if number == 0:
        return f"no {noun}"
    return f"{number} {noun if number == 1 else plural or noun + 's'}"


def dock_sentence(tanks: Sequence[DockTank]) -> str:
    if not tanks:
        return "No tank stands at the door. Scan the first one of the next truck."
    held = sum(1 for tank in tanks if tank.is_held)
    open_ones = len(tanks) - held
    parts = [f"{counted(open_ones, 'tank').capitalize()} to look over"] if open_ones else []
    if held:
        parts.append(f"{held} held" if parts else f"{counted(held, 'tank').capitalize()} held")
    return f"{', '.join(parts)}."


def visit_sentence(page: IntakePage) -> str:
    """What it is and when it was here before: "Last here 2026-01-22, class D. 3 tanks at the door."."""
    visit = page.visit
    state = VisitState(visit.state)
    if state is VisitState.HELD or state is VisitState.REFUSED:
        now = (
            f"{state.value.capitalize()}: {visit.reason}" if visit.reason else f"{state.value.capitalize()}."
        )
    elif state is VisitState.RECEIVED:
        now = "Looked over, waits for the verdict." if page.look else "Waits for its look-over."
    else:
        now = (
            f"{state.value.capitalize()} to class {visit.segregation_class}."
            if state is VisitState.ACCEPTED
            else f"Now {state.value}."
        )
    before = (
        f"Last here {timezone.localtime(page.last_here.received_at):%Y-%m-%d}"
        if page.last_here
        else "Here for the first time"
    )
    door = f" {counted(page.at_dock, 'tank').capitalize()} at the door." if page.is_at_dock else ""
    return f"{now} {before}, class {visit.tank.segregation_class}.{door}"


def tank_facts(page: IntakePage) -> list[tuple[str, str]]:
    visit, tank = page.visit, page.visit.tank
    own = SegregationClass(tank.segregation_class)
    when = timezone.localtime(visit.received_at)
    rows = [
        (
            "Tank",
            f"{tank.size.code} in, {units.twin(visit.resin_volume_m3, 'resin_volume')}, {IonicForm(visit.resin_volume_form).label}",
        ),
        ("Resin", f"{visit.resin_type.code}, {visit.resin_type.get_family_display()}"),
        ("Class", f"{own.value} · {own.label}"),
        ("Came from", ", ".join(filter(None, (visit.customer.name, visit.site.name if visit.site else "")))),
        ("Why", visit.return_reason),
        ("Customer’s words", f"“{visit.customer_words}”" if visit.customer_words else ""),
        ("Declared service", visit.customer.declared_service),
        ("Dedicated to", tank.dedicated_to.name if tank.dedicated_to else ""),
        ("Received", f"{when:%a %Y-%m-%d %H:%M}, {visit.received_by.full_name}"),
        ("Bay", visit.bay),
        ("Promised for", f"{timezone.localtime(visit.due_at):%a %Y-%m-%d %H:%M}" if visit.due_at else ""),
    ]
    return [(term, value) for term, value in rows if value]


def look_facts(look: IntakeInspection, system: UnitSystem) -> list[tuple[str, str]]:
    rows = [
        ("Shell", look.shell),
        ("Head, riser, threads, seals", look.head_and_fittings),
        ("Smell", look.odour),
        ("Colour of the first water", look.water_colour),
        ("First drain pH", "" if look.first_drain_ph is not None else "not measured"),
        ("Oxidizer strip", look.oxidizer_strip),
        (
            "Weight",
            units.twin(look.weight_kg, "mass", system) if look.weight_kg is not None else "not weighed",
        ),
        ("Foreign material", look.foreign_material),
        ("Note", look.note),
        ("Written", f"{timezone.localtime(look.inspected_at):%H:%M}, {look.inspected_by.full_name}"),
    ]
    return [(term, value) for term, value in rows if value]


def usual_weight_sentence(page: IntakePage, system: UnitSystem) -> str:
    """What a full tank of this size usually weighs: a help, no limit."""
    size = page.visit.tank.size
    low, high = (units.format_quantity(value, "mass", system) for value in usual_weight_kg(size.gross_m3))
    return f"A full {size.code} usually weighs {low} to {high} (trade custom, no limit)."


def receive_sentence(history: TankHistory) -> str:
    """What comes back, before anything is written."""
    tank, last = history.tank, history.last
    before = (
        f"last here {timezone.localtime(last.received_at):%Y-%m-%d}" if last else "here for the first time"
    )
    return f"{tank.resin_type.code}, class {tank.segregation_class}, {before}."


def class_of(page: IntakePage) -> str:
    """The class a right is asked in: the visit's own, else its tank's."""
    return page.visit.segregation_class or page.visit.tank.segregation_class


@dataclass(frozen=True, slots=True)
class Verdict:
    """One of the three buttons: is it here at all, may it be pressed, and if not, why."""

    is_possible: bool
    is_open: bool
    reason: str = ""


def verdict_of(page: IntakePage, action: VisitAction, request: HttpRequest) -> Verdict:
    """Whether this person may take this action now; else the sentence beside the greyed button."""
    offer = next((one for one in page.offers if one.action is action), None)
    if offer is None:
        return Verdict(False, False)
    held = right(request, offer.permission, class_of(page))
    if not held.is_held:
        return Verdict(True, False, held.reason)
    return Verdict(True, offer.is_open, " ".join(blocker.sentence for blocker in offer.blockers))


# --- receipts -----------------------------------------------------------------------------------------------------------
def received_sentence(visit: TankVisit) -> str:
    if visit.state == VisitState.HELD.value:
        return f"Written: {visit.tank.serial} received as {visit.number} and held. {visit.reason} Call the safety lead."
    return f"Written: {visit.tank.serial} received as {visit.number}. Look it over next."


def looked_sentence(serial: str, outcome: Outcome) -> str:
    stops = outcome.facts["findings_that_stop"]
    if stops:
        return f"Written. {serial} is held: {' '.join(stops)} Call the safety lead."
    return f"Written: {serial} was looked over, nothing stops it."


def judged_sentence(outcome: Outcome) -> str:
    serial, state = outcome.subject[2], outcome.after["state"]
    if state == VisitState.ACCEPTED.value:
        return f"Written: {serial} is accepted to class {outcome.after['segregation_class']} and waits for a batch."
    if state == VisitState.HELD.value:
        return f"Written: {serial} is held. {outcome.reason}"
    return f"Written: {serial} is refused and goes into no batch. {outcome.reason}"
