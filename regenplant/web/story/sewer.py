"""The sewer in the story: a permit that two people wrote down, and discharges when the waste tank fills up."""

from __future__ import annotations

from datetime import date, datetime, timedelta
from typing import Any

from regenplant.core.process.discharge import PermitContent
from regenplant.people.approvals import approval_of
from regenplant.plant import services as plant
from regenplant.plant.models import WasteTank
from regenplant.waste import services as waste
from regenplant.waste.discharges import MOST_UNKNOWN_FRAC, standing_at
from regenplant.waste.models import Discharge
from regenplant.waste.month import month_of
from regenplant.web.story.cast import Stage
from regenplant.web.story.clockwork import Script

MINUTE = timedelta(minutes=1)
FULL_FRAC, LEFT_M3 = 0.45, 3.0
"""Above this share of its room the tank is discharged, down to this [m^3]."""
MOST_TRIES = 20
METER = "PH-1"
ANALYSIS = {"chloride": 6.2, "sodium": 4.4, "sulfate": 0.8, "tds": 12.1}
"""What the invented laboratory found in water that nobody had followed [kg/m^3]."""


def put_up_permit(stage: Stage, at: datetime) -> None:
    """The permit as the town of nowhere gave it: typed by one, held against the paper by another."""
    content = PermitContent(
        number="NOWHERE-17 (invented)",
        authority="Sewer office of an invented town",
        expires_on=date(at.year + 2, 6, 30).isoformat(),
        ph_low=6.0,
        ph_high=9.0,
        volume_m3_per_day=80.0,
        chloride_kg_per_day=3000.0,
        tds_kg_per_day=6000.0,
    )
    draft = plant.draft_permit(
        by=stage.by("osk", at), content=content, reason="Paper of the sewer office, invented"
    ).result
    plant.approve_permit(
        by=stage.by("quill", at), version_id=draft.pk, permit=stage.permit("quill", approval_of(draft), at)
    )


def discharges(stage: Stage, at: datetime) -> Script:
    """Looks at the level every few hours, and discharges when it is high."""
    while True:
        at += timedelta(hours=3)
        yield at
        tank = WasteTank.objects.order_by("code").first()
        if tank is not None and tank.level_m3 > FULL_FRAC * (tank.capacity_m3 - tank.reserve_m3):
            at = yield from discharge(stage, at, tank)


def discharge(stage: Stage, at: datetime, tank: WasteTank) -> Any:
    """Mixed, read until two good readings stand, released by another person, and closed with what went."""
    is_first = not Discharge.objects.exists()
    row = waste.open_discharge(
        by=stage.by("sallow", at), tank_id=tank.pk, planned_volume_m3=tank.level_m3 - LEFT_M3
    ).result
    acid = 5.4 if is_first else None
    for turn in range(MOST_TRIES):
        at += 16 * MINUTE
        yield at
        _read(stage, row, acid or 7.0 + 0.1 * (turn % 4), at)
        acid = None
        at += 11 * MINUTE
        yield at
        _read(stage, row, 7.2, at)
        at += 2 * MINUTE
        yield at
        measured = ANALYSIS if standing_at(row, at).unknown_frac > MOST_UNKNOWN_FRAC else {}
        if not standing_at(row, at, measured).blockers:
            waste.release_discharge(
                by=stage.by("quill", at),
                discharge_id=row.pk,
                permit=stage.permit("quill", waste.RELEASE_MEANING, at),
                measured_kg_per_m3=measured,
            )
            at += 50 * MINUTE
            yield at
            waste.close_discharge(
                by=stage.by("sallow", at), discharge_id=row.pk, volume_m3=row.planned_volume_m3
            )
            return at
    waste.give_up_discharge(
        by=stage.by("sallow", at),
        discharge_id=row.pk,
        reason="Too much drains into the tank; it is mixed and read again later.",
    )
    return at


def _read(stage: Stage, row: Discharge, ph: float, at: datetime) -> None:
    waste.record_reading(
        by=stage.by("sallow", at),
        discharge_id=row.pk,
        reading=waste.ReadingAsRead(ph, 299.15, f"{ph:.1f}", "26 °C"),
        instrument_id=stage.instruments[METER].pk,
    )


def excursions(stage: Stage, at: datetime) -> Script:
    """A rinse that went to the sewer too early, looked into and closed; and one that still waits."""
    yield at
    row = waste.report_excursion(
        by=stage.by("tarn", at),
        words="The rinse of C1 ran to the sewer at pH 4.6 for about two minutes, until the valve was changed over.",
    ).result
    at += 25 * MINUTE
    yield at
    waste.follow_up(
        by=stage.by("osk", at),
        excursion_id=row.pk,
        words="The valve is marked now, and the change-over is read aloud by two.",
    )
    at += timedelta(hours=4)
    yield at
    waste.close_excursion(
        by=stage.by("quill", at),
        excursion_id=row.pk,
        permit=stage.permit("quill", waste.CLOSED_MEANING, at),
        cause="The drain was changed over before its pH was read.",
        told="The sewer office by telephone on the same day, as the invented permit asks.",
    )


def open_excursion(stage: Stage, at: datetime) -> Script:
    """Yesterday's, which nobody closed yet."""
    yield at
    waste.report_excursion(
        by=stage.by("sallow", at),
        words="Foam at the outlet of the rinse drain for a minute; pH was not read.",
    )


def signed_month(stage: Stage, at: datetime) -> Script:
    """The month so far, signed."""
    while Discharge.objects.filter(state=Discharge.State.RELEASED).exists():
        at += 20 * MINUTE
        yield at
    yield at
    waste.sign_month(
        by=stage.by("vale", at),
        month=month_of(at),
        permit=stage.permit("vale", waste.REPORT_MEANING, at),
    )
