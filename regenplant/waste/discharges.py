"""Reading discharges: how one stands now, what keeps it from being released, and what went on a day. Nothing is changed here."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta

from django.db.models import Count, QuerySet, Sum

from regenplant.core.process.discharge import Judged, PermitContent, TankReading, judge, why_not_in_force
from regenplant.core.process.drains import Destination
from regenplant.core.process.lifecycle import StepState
from regenplant.core.process.sewer_budget import (
    IONS,
    WORDS,
    BudgetLine,
    Loads,
    budget_lines,
    share_that_fits,
    too_much,
    total,
)
from regenplant.core.process.waste_held import ION_WEIGHTS_KG_PER_MOL
from regenplant.core.process.wording import listed, say
from regenplant.plant.days import start_of_day
from regenplant.plant.models import WasteTank
from regenplant.plant.permit import Permit, content_from, permit_in_force
from regenplant.plant.selectors import plant_day, waste_tank
from regenplant.waste.discharge_models import Discharge, DischargeReading
from regenplant.waste.models import StepDrain, WasteMovement
from regenplant.waste.selectors import coming, standing
from regenplant.waste.stretches import worked_into

State = Discharge.State
UNDER_WAY = (State.OPEN.value, State.RELEASED.value)
MOST_UNKNOWN_FRAC = 0.5
"""Share of the tank of unknown composition above which the day's masses cannot be told; a proposal of this program."""
INFLOW = (WasteMovement.Kind.DRAIN, WasteMovement.Kind.TREATMENT)


def discharges() -> QuerySet[Discharge]:
    """Every discharge, newest first, with its tank and people."""
    return Discharge.objects.select_related(
        "tank", "opened_by", "released_by", "closed_by", "signature", "second_signature"
    )


def discharge_of(number: str) -> Discharge | None:
    return discharges().filter(number=number.upper()).first()


def open_discharge(tank: WasteTank) -> Discharge | None:
    """The discharge that is under way at this tank."""
    return discharges().filter(tank=tank, state__in=UNDER_WAY).first()


def readings_of(discharge: Discharge) -> list[DischargeReading]:
    return list(discharge.readings.select_related("instrument", "entered_by").order_by("number"))


def is_proof(row: DischargeReading) -> bool:
    """Whether the reading can prove anything: of a valid instrument, and written when it was taken."""
    return row.instrument_was_valid and not row.is_late


def core_readings(rows: Sequence[DischargeReading]) -> tuple[TankReading, ...]:
    return tuple(
        TankReading(row.taken_at.timestamp(), row.ph, row.temperature_kelvin, is_proof(row)) for row in rows
    )


def last_inflow_at(tank: WasteTank) -> datetime | None:
    """When something last came into the tank: drained from a batch, or treatment."""
    kinds = [kind.value for kind in INFLOW]
    return (
        WasteMovement.objects.filter(tank=tank, kind__in=kinds)
        .order_by("-moved_at")
        .values_list("moved_at", flat=True)
        .first()
    )


def draining_now(now: datetime) -> tuple[str, ...]:
    """Batches of which a step drains to the waste tank right now, by number."""
    running = (one for one in coming(now) if one.step.state == StepState.RUNNING)
    return tuple(dict.fromkeys(one.batch.number for one in running))


def draining_into(tank: WasteTank, now: datetime) -> tuple[str, ...]:
    """``draining_now``, where it comes into this tank, or came before the drains were switched: that part is booked at its end."""
    if _receives(tank):
        return draining_now(now)
    running = (one for one in coming(now) if one.step.state == StepState.RUNNING)
    found = (
        one.batch.number for one in running if tank.pk in worked_into(one.step, one.batch.holds.all(), now)
    )
    return tuple(dict.fromkeys(found))


def _receives(tank: WasteTank) -> bool:
    receiving = waste_tank()
    return receiving is not None and receiving.pk == tank.pk


# --- a day --------------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class DayGone:
    """What went to the sewer on one plant day: discharges of waste tanks, and brine that drained there directly."""

    day: date
    loads: Loads
    volume_m3: float
    count: int
    """Discharges."""


def gone_on(day: date) -> DayGone:
    """Discharges whose outlet was shut on this plant day, and brine that drained to the sewer on it."""
    begins, ends = start_of_day(day), start_of_day(day + timedelta(days=1))
    rows = Discharge.objects.filter(state=State.CLOSED.value, ended_at__gte=begins, ended_at__lt=ends)
    sums = rows.aggregate(*(Sum(f"{ion}_kg") for ion in IONS), volume=Sum("volume_m3"), count=Count("pk"))
    brine = total_brine(brine_drained(begins, ends))
    loads = Loads(*(sums[f"{ion}_kg__sum"] or 0.0 for ion in IONS)) + brine.loads
    return DayGone(day, loads, (sums["volume"] or 0.0) + brine.volume_m3, sums["count"])


@dataclass(frozen=True, slots=True)
class BrineGone:
    """Brine of one step that went to the sewer without a waste tank."""

    at: datetime
    volume_m3: float
    loads: Loads


def brine_drained(begins: datetime, ends: datetime) -> tuple[BrineGone, ...]:
    """Brine that drained directly to the sewer, from ``begins`` on and before ``ends``, in the order of time."""
    rows = StepDrain.objects.filter(
        destination=Destination.BRINE_SEWER.value, drained_at__gte=begins, drained_at__lt=ends
    )
    return tuple(
        BrineGone(at, volume, loads_of_amounts(amounts))
        for at, volume, amounts in rows.order_by("drained_at", "pk").values_list(
            "drained_at", "waste_m3", "amounts_mol"
        )
    )


def total_brine(parts: Sequence[BrineGone]) -> BrineGone:
    """All of it; ``at`` says nothing then."""
    return BrineGone(
        datetime.min.replace(tzinfo=UTC),
        sum((one.volume_m3 for one in parts), 0.0),
        total(one.loads for one in parts),
    )


def loads_of_amounts(amounts_mol: Mapping[str, float]) -> Loads:
    """Masses of ions by total [mol to kg]."""
    mass = {name: moles * ION_WEIGHTS_KG_PER_MOL[name] for name, moles in amounts_mol.items()}
    return Loads(
        mass.get("chloride", 0.0), mass.get("sodium", 0.0), mass.get("sulfate", 0.0), sum(mass.values())
    )


# --- how a discharge stands -----------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class DischargeStanding:
    """An open or released discharge as it stands at a moment."""

    permit: Permit
    readings: tuple[DischargeReading, ...]
    judged: Judged
    concentrations: Mapping[str, float]
    """By ion [kg/m^3]."""
    unknown_frac: float
    lines: tuple[BudgetLine, ...]
    gone: DayGone
    blockers: tuple[str, ...]
    """Why it is not released now, each a sentence; empty: it may be."""

    def loads(self, volume_m3: float) -> Loads:
        """What this volume takes with it."""
        return loads_in(self.concentrations, volume_m3)


def loads_in(concentrations: Mapping[str, float], volume_m3: float) -> Loads:
    return Loads(*(concentrations.get(ion, 0.0) * volume_m3 for ion in IONS))


def concentrations_of(tank: WasteTank, measured: Mapping[str, float]) -> tuple[dict[str, float], float]:
    """Concentrations by ion, the analysis before the worked-out composition [kg/m^3], and the share of unknown composition.

    Water of which nobody knows the composition counts like the rest of the tank.
    """
    held = standing(tank)
    known_m3 = held.volume_m3 - held.unknown_m3
    worked = {ion: getattr(held, f"{ion}_kg") / known_m3 if known_m3 > 0.0 else 0.0 for ion in IONS}
    unknown = held.unknown_m3 / held.volume_m3 if held.volume_m3 > 0.0 else 1.0
    return {**worked, **measured}, unknown


def standing_at(
    discharge: Discharge,
    now: datetime,
    measured: Mapping[str, float] | None = None,
    rows: Sequence[DischargeReading] | None = None,
) -> DischargeStanding:
    """How a discharge stands. ``measured``: the analysis that is to stand with it, by ion [kg/m^3]."""
    measured = discharge.measured_kg_per_m3 if measured is None else measured
    permit = permit_in_force(now)
    content = permit.content if discharge.state == State.OPEN else content_from(discharge.permit_text or "{}")
    rows = readings_of(discharge) if rows is None else rows
    inflow = last_inflow_at(discharge.tank)
    judged = judge(
        content,
        core_readings(rows),
        mixing_since_s=discharge.mixing_since.timestamp() if discharge.mixing_since else None,
        changed_at_s=inflow.timestamp() if inflow else None,
        now_s=now.timestamp(),
    )
    gone = gone_on(plant_day(now))
    concentrations, unknown = concentrations_of(discharge.tank, measured)
    wanted = loads_in(concentrations, discharge.planned_volume_m3)
    lines = budget_lines(content.budget_kg(), gone=gone.loads, wanted=wanted)
    blockers = _blockers(discharge, content, now, judged, gone, lines, unknown, measured)
    return DischargeStanding(permit, tuple(rows), judged, concentrations, unknown, lines, gone, blockers)


def _blockers(
    discharge: Discharge,
    content: PermitContent,
    now: datetime,
    judged: Judged,
    gone: DayGone,
    lines: Sequence[BudgetLine],
    unknown_frac: float,
    measured: Mapping[str, float],
) -> tuple[str, ...]:
    said = [why_not_in_force(content, plant_day(now))]
    if draining := draining_into(discharge.tank, now):
        drains, code = listed(draining), discharge.tank.code
        said.append(
            f"{drains} drains to {code} now. Let it end, then mix and read anew."
            if _receives(discharge.tank)
            else f"{drains} drained to {code} until the drains were switched; the books count that part when the step ends. "
            "Let it end, then mix and read anew."
        )
    said.extend(judged.missing)
    tank, planned = discharge.tank, discharge.planned_volume_m3
    if planned > tank.level_m3:
        said.append(
            f"{say(planned, 'liquid_volume')} are to go; {tank.code} holds {say(tank.level_m3, 'liquid_volume')}. Give this one up and open another."
        )
    most = content.volume_m3_per_day
    if most is not None and gone.volume_m3 + planned > most:
        said.append(
            f"The permit takes {say(most, 'liquid_volume')} a day; {say(gone.volume_m3, 'liquid_volume')} went today, so "
            f"{say(max(most - gone.volume_m3, 0.0), 'liquid_volume')} are left of the {say(planned, 'liquid_volume')} wanted."
        )
    said.append(_over_budget(lines, planned))
    unmeasured = [line.ion for line in lines if line.ion not in measured]
    if unmeasured and unknown_frac > MOST_UNKNOWN_FRAC:
        said.append(
            f"{say(unknown_frac, 'fraction')} of what stands in {tank.code} is of unknown composition, so its "
            f"{listed([WORDS[ion] for ion in unmeasured])} cannot be told. Have it analysed and write the result with the release."
        )
    return tuple(words for words in said if words)


def _over_budget(lines: Sequence[BudgetLine], planned_m3: float) -> str:
    found = too_much(lines)
    if not found:
        return ""
    fits_m3 = share_that_fits(lines) * planned_m3
    split = (
        f"Split it: {say(fits_m3, 'liquid_volume')} fit into today, the rest goes another day."
        if fits_m3 > 0.0
        else "Nothing more goes today."
    )
    return f"Over the day’s budget: {found}. {split}"
