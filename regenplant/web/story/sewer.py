"""The sewer in the story: a permit that two people wrote down, excursions, and the month that is signed."""

from __future__ import annotations

from datetime import date, datetime, timedelta

from regenplant.core.process.discharge import PermitContent
from regenplant.people.approvals import approval_of
from regenplant.plant import services as plant
from regenplant.waste import services as waste
from regenplant.waste.models import Discharge
from regenplant.waste.month import month_of
from regenplant.web.story.cast import Stage
from regenplant.web.story.clockwork import Script

MINUTE = timedelta(minutes=1)


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
