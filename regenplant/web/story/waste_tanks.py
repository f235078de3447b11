"""The two waste tanks of the story: the drains run to one while the other is treated by its plan, proven and discharged.

What the meter shows follows from what the books predict, a little off each time; the books follow from what the batches drained. So
nothing here knows a pH beforehand.
"""

from __future__ import annotations

from collections.abc import Generator
from datetime import datetime, timedelta

from regenplant.batches.waste_room import committed_m3
from regenplant.plant.models import WasteTank
from regenplant.plant.permit import permit_in_force
from regenplant.plant.selectors import waste_tank
from regenplant.waste import services as waste
from regenplant.waste.discharges import draining_now, open_discharge, standing_at
from regenplant.waste.models import Discharge
from regenplant.waste.receiving import stop_for
from regenplant.waste.selectors import last_movement
from regenplant.waste.treatment import Treatment, treatment_of
from regenplant.web.story.cast import Stage
from regenplant.web.story.clockwork import Script

MINUTE = timedelta(minutes=1)
LARGE = "N1"
FULL_FRAC = 0.12
"""Of what is planned in at most: from here on the large tank is left as soon as nothing drains."""
COMING_FRAC = 0.4
"""Share of the small tank that begun batches may still want when the drains are let run to it."""
CALM_BEFORE_NOW = timedelta(hours=20)
"""Before now the drains stay with the large tank: what is under way today wants its room, some 85 m³ together."""
LEFT_M3 = 1.0
"""What stays below the outlet."""
MOST_TREATMENTS = 4
INSIDE_BY = 0.3
"""So far inside the permit's window the tank is taken to be done [pH]."""
COOLED_KELVIN = 302.15
"""A tank that stood is no warmer; the books count no loss to the air."""
OFF_BY = (0.03, -0.05, 0.02)
METER = "PH-1"
Moments = Generator[datetime, None, datetime]


def waste_tanks(stage: Stage, at: datetime) -> Script:
    """Looked at every hour: what fills up rests once nothing drains, what rests is treated and goes, and the drains run back."""
    while True:
        at += timedelta(hours=1)
        yield at
        receiving, other = _pair()
        if (
            not draining_now(at)
            and not stop_for(other, at)
            and (why := _why_switch(stage, at, receiving, other))
        ):
            waste.run_drains_to(by=stage.by("tarn", at), waste_tank_id=other.pk, reason=why)
            receiving, other = other, receiving
        if other.level_m3 > 2.0 * LEFT_M3 and open_discharge(other) is None:
            at = yield from let_go(stage, at, other)


def _pair() -> tuple[WasteTank, WasteTank]:
    """The tank to which the drains run, and the one that rests."""
    receiving = waste_tank()
    assert receiving is not None
    return receiving, WasteTank.objects.exclude(pk=receiving.pk).get()


def _why_switch(stage: Stage, at: datetime, receiving: WasteTank, other: WasteTank) -> str:
    """The large tank is left while it is treated, unless much is coming; the small one as soon as the large one has room."""
    if receiving.code == LARGE:
        is_full = receiving.level_m3 > FULL_FRAC * receiving.planned_most_m3
        has_room = other.level_m3 <= 2.0 * LEFT_M3 and committed_m3() < COMING_FRAC * other.planned_most_m3
        is_early = at < stage.now - CALM_BEFORE_NOW
        return (
            f"{receiving.code} is to be treated and proven now." if is_full and has_room and is_early else ""
        )
    return f"{other.code} has room again." if other.level_m3 < 0.5 * other.planned_most_m3 else ""


def let_go(stage: Stage, at: datetime, tank: WasteTank) -> Moments:
    """Treated in stages with a measured pH between, mixed and read, released by another person, closed with what went.

    The first one of the story is read once too early, after its first stage: that reading stands, and what comes later begins anew.
    """
    row = None
    for turn in range(MOST_TREATMENTS + 1):
        at += 26 * MINUTE
        yield at
        needs = _measured(stage, at, tank)
        if needs.plan is None or turn == MOST_TREATMENTS:
            return at  # nothing can be said of it yet; it is looked at again
        if _is_inside(needs, at):
            break
        if turn == 1 and row is None and not Discharge.objects.exists():
            row = _opened(stage, at, tank)
            at += 16 * MINUTE
            yield at
            _read(stage, row, at)
        if not _treated(stage, at, needs, first_only=turn == 0):
            return at
    row = row or open_discharge(tank) or _opened(stage, at, tank)
    at += 6 * MINUTE
    for _ in range(2):
        at += 11 * MINUTE
        yield at
        _read(stage, row, at)
    at += 2 * MINUTE
    yield at
    if standing_at(row, at).blockers:
        waste.give_up_discharge(
            by=stage.by("sallow", at),
            discharge_id=row.pk,
            reason="It may not go today; it is mixed and read again.",
        )
        return at + timedelta(hours=5)
    waste.release_discharge(
        by=stage.by("quill", at),
        discharge_id=row.pk,
        permit=stage.permit("quill", waste.RELEASE_MEANING, at),
    )
    at += 50 * MINUTE
    yield at
    waste.close_discharge(by=stage.by("sallow", at), discharge_id=row.pk, volume_m3=row.planned_volume_m3)
    return at


def _ph(tank: WasteTank, needs: Treatment) -> float:
    """What a meter shows of a tank of which the books predict a pH: a little off, to the hundredth."""
    assert needs.plan is not None
    last = last_movement(tank)
    off = OFF_BY[(last.number if last is not None else 0) % len(OFF_BY)]
    return round(min(max(needs.plan.stream.ph.value + off, 0.0), 14.0), 2)


def _kelvin(needs: Treatment) -> float:
    return min(needs.standing.temperature_kelvin or COOLED_KELVIN, COOLED_KELVIN)


def _measured(stage: Stage, at: datetime, tank: WasteTank) -> Treatment:
    """Level, temperature and pH, written down where the books say what they should be; the tank as it stands after it."""
    needs = treatment_of(tank, at)
    if needs.plan is None:
        return needs
    waste.set_waste_level(
        by=stage.by("sallow", at),
        waste_tank_id=tank.pk,
        level_m3=needs.standing.volume_m3,
        reading=waste.WasteReading(_kelvin(needs), _ph(tank, needs), stage.instruments[METER].pk),
        note="mixed for 25 min",
    )
    tank.refresh_from_db()
    return treatment_of(tank, at)


def _is_inside(needs: Treatment, at: datetime) -> bool:
    permit, measured = permit_in_force(at).content, needs.measured
    return (
        measured is not None
        and measured.ph is not None
        and permit.ph_low + INSIDE_BY <= measured.ph <= permit.ph_high - INSIDE_BY
    )


def _treated(stage: Stage, at: datetime, needs: Treatment, *, first_only: bool) -> bool:
    """The first stage, then what is still missing in a closed tank, by the dosing pump's counter; whether anything was given."""
    plan = needs.plan
    if plan is None or plan.stages is None or plan.first_stock_m3 is None or plan.second_stock_m3 is None:
        return False
    volume = plan.first_stock_m3.value
    if not first_only:
        whole_eq = plan.stages.first_eq.value + plan.stages.second_eq.value
        volume = (volume + plan.second_stock_m3.value) * min(abs(plan.needed_eq.value) / whole_eq, 1.0)
    volume = round(volume, 6)
    if volume <= 0.0:
        return False
    waste.treat_waste(
        by=stage.by("sallow", at),
        waste_tank_id=needs.standing.tank.pk,
        chemical=plan.chemical,
        volume_m3=volume,
        volume_again_m3=volume,
        note="first stage" if first_only else "second stage, by the measured pH",
    )
    return True


def _opened(stage: Stage, at: datetime, tank: WasteTank) -> Discharge:
    tank.refresh_from_db()
    row: Discharge = waste.open_discharge(
        by=stage.by("sallow", at), tank_id=tank.pk, planned_volume_m3=tank.level_m3 - LEFT_M3
    ).result
    return row


def _read(stage: Stage, row: Discharge, at: datetime) -> None:
    needs = treatment_of(WasteTank.objects.get(pk=row.tank_id), at)
    if needs.plan is None:
        return
    ph = round(_ph(row.tank, needs) + 0.01 * (row.readings.count() % 2), 2)
    kelvin = _kelvin(needs)
    waste.record_reading(
        by=stage.by("sallow", at),
        discharge_id=row.pk,
        reading=waste.ReadingAsRead(ph, kelvin, f"{ph:.2f}", f"{kelvin - 273.15:.1f} °C"),
        instrument_id=stage.instruments[METER].pk,
    )


def begun(stage: Stage, at: datetime) -> Script:
    """Today's: whatever stands in the tank to which the drains run is looked at once, while they still run."""
    yield at
    receiving, other = _pair()
    tank = other if other.level_m3 > 2.0 * LEFT_M3 else receiving
    if Discharge.objects.filter(state__in=("open", "released")).exists() or tank.level_m3 <= LEFT_M3:
        return
    if treatment_of(tank, at).plan is None:
        return
    row = waste.open_discharge(
        by=stage.by("sallow", at), tank_id=tank.pk, planned_volume_m3=0.5 * tank.level_m3
    ).result
    at += 17 * MINUTE
    yield at
    row.refresh_from_db()
    if row.state == Discharge.State.OPEN:
        _read(stage, row, at)
