"""The sewer in the story: a permit that two people wrote down, and discharges when the waste tank fills up."""

from __future__ import annotations

from collections.abc import Generator
from datetime import date, datetime, timedelta

from regenplant.batches.models import Batch
from regenplant.core.process.discharge import PermitContent
from regenplant.core.process.lifecycle import BatchState
from regenplant.people.approvals import approval_of
from regenplant.plant import services as plant
from regenplant.plant.models import WasteTank
from regenplant.waste import services as waste
from regenplant.waste.discharges import MOST_UNKNOWN_FRAC, draining_now, standing_at
from regenplant.waste.models import Discharge
from regenplant.waste.month import month_of
from regenplant.web.story.cast import Stage
from regenplant.web.story.clockwork import Script

MINUTE = timedelta(minutes=1)
MUCH_M3, LEFT_M3 = 6.0, 1.5
"""Above the first the tank is discharged, down to the second [m^3]."""
BUSY = (BatchState.READY, BatchState.RUNNING, BatchState.RINSING, BatchState.HELD)
MOST_WAITS = 30
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
    """Whenever nothing drains and much stands in the tank, most often at night: looked at every hour."""
    while True:
        at += timedelta(hours=1)
        yield at
        tank = WasteTank.objects.order_by("code").first()
        if tank is not None and tank.level_m3 > MUCH_M3 and not _is_busy():
            at = yield from discharge(stage, at, tank)


def _is_busy() -> bool:
    """Whether a batch drains, or will before the tank was mixed, read and released."""
    return Batch.objects.filter(state__in=BUSY).exists()


def discharge(stage: Stage, at: datetime, tank: WasteTank) -> Generator[datetime, None, datetime]:
    """Mixed once nothing drains, read until two good readings stand, released by another person, and closed with what went."""
    for _ in range(MOST_WAITS):
        if not draining_now(at):
            break
        at += 20 * MINUTE
        yield at
    tank.refresh_from_db()
    is_first = not Discharge.objects.exists()
    row = waste.open_discharge(
        by=stage.by("sallow", at), tank_id=tank.pk, planned_volume_m3=tank.level_m3 - LEFT_M3
    ).result
    readings = ("5.4", "7.1", "7.2") if is_first else ("7.3", "7.2")
    at += 6 * MINUTE
    for ph in readings:
        at += 11 * MINUTE
        yield at
        _read(stage, row, ph, at)
    at += 2 * MINUTE
    yield at
    measured = ANALYSIS if standing_at(row, at).unknown_frac > MOST_UNKNOWN_FRAC else {}
    if standing_at(row, at, measured).blockers:
        waste.give_up_discharge(
            by=stage.by("sallow", at),
            discharge_id=row.pk,
            reason="A batch drains into the tank; it is mixed and read again later.",
        )
        return at
    waste.release_discharge(
        by=stage.by("quill", at),
        discharge_id=row.pk,
        permit=stage.permit("quill", waste.RELEASE_MEANING, at),
        measured_kg_per_m3=measured,
    )
    at += 50 * MINUTE
    yield at
    waste.close_discharge(by=stage.by("sallow", at), discharge_id=row.pk, volume_m3=row.planned_volume_m3)
    return at


def begun(stage: Stage, at: datetime) -> Script:
    """Today’s: opened and read once, while batches still drain into the tank."""
    yield at
    tank = WasteTank.objects.order_by("code").first()
    if tank is None or tank.level_m3 <= 1.0:
        return
    row = waste.open_discharge(
        by=stage.by("sallow", at), tank_id=tank.pk, planned_volume_m3=0.5 * tank.level_m3
    ).result
    at += 17 * MINUTE
    yield at
    _read(stage, row, "6.4", at)


def _read(stage: Stage, row: Discharge, ph: str, at: datetime) -> None:
    waste.record_reading(
        by=stage.by("sallow", at),
        discharge_id=row.pk,
        reading=waste.ReadingAsRead(float(ph), 299.15, ph, "26 °C"),
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
