"""Refused tanks: they stand in quarantine until somebody writes where they went."""

from __future__ import annotations

from datetime import date

from regenplant.audit.by import By
from regenplant.audit.records import words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused, StaleRecord
from regenplant.core.process.lifecycle import VisitState
from regenplant.plant.selectors import plant_day
from regenplant.safety.models import RefusedAway
from regenplant.tanks.models import TankVisit


@use_case("refused_tank.left", permission="tank.let_go")
def let_refused_tank_go(
    *, by: By, visit_id: int, went_to: str, left_on: date, paper_number: str = ""
) -> Outcome:
    """Write down that a refused tank left the plant: to whom, on which day, with which paper.

    Raises: RecordRefused (not refused, a day to come or before it came), StaleRecord when it is written already.
    """
    visit = TankVisit.objects.select_related("tank", "customer").filter(pk=visit_id).first()
    if visit is None:
        raise RecordRefused("This tank is not known here.", code="unknown")
    serial = visit.tank.serial
    if visit.state != VisitState.REFUSED:
        raise RecordRefused(
            f"{serial} is {visit.state}, not refused. Only a refused tank leaves by this way.",
            code="not_refused",
        )
    away = RefusedAway.objects.filter(visit=visit).first()
    if away is not None:
        raise StaleRecord(f"{serial} left on {away.left_on}, to {away.went_to}. It is written already.")
    came, today = plant_day(visit.received_at), plant_day(by.at)
    if not came <= left_on <= today:
        raise RecordRefused(
            f"{serial} cannot have left on {left_on}: it came on {came}, and today is {today}.",
            field="left_on",
        )
    row = RefusedAway.objects.create(
        visit=visit,
        went_to=words_of(went_to, "To whom it went", field="went_to", most=160, least=3),
        paper_number=words_of(paper_number, "The number of the paper", field="paper_number", most=60),
        left_on=left_on,
        written_by=by.user,
        written_at=by.at,
    )
    return Outcome(
        subject=("tank_visit", visit.number, serial),
        after={"left_on": left_on.isoformat(), "went_to": row.went_to},
        facts={"paper": f", with paper {row.paper_number}" if row.paper_number else ""},
        related=(("tank", serial),),
        result=row,
    )


say("refused_tank.left", "{subject}, refused, left the plant on {left_on}, to {went_to}{paper}")
