"""The rinse-down page of one batch: readings, end point, and earlier rinses of the same pool as ghosts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db.models import Q, QuerySet

from regenplant.batches.log_models import ForecastMade
from regenplant.batches.models import Batch, MeterLog, RinseReading, RinseStanding, StepRun
from regenplant.batches.rinse import (
    EndPoint,
    judged_steps,
    rinse_flow_m3_per_s,
    running_rinse,
    shows_resistivity,
    specification_of,
)
from regenplant.batches.standing import curve_of_batch, end_point_in, fresh, rinse_began_at
from regenplant.core.process.lifecycle import BatchState, StepState
from regenplant.core.process.specification import CONDUCTIVITY, Limit, Specification
from regenplant.plant.models import Instrument
from regenplant.plant.selectors import is_instrument_valid, plant_day


@dataclass(frozen=True, slots=True)
class Cell:
    """An instrument to choose from, and whether its readings count today."""

    instrument: Instrument
    is_valid: bool


@dataclass(frozen=True, slots=True)
class Ghost:
    """An earlier rinse of the same pool: minutes since its fast rinse began, value in the limit's own quantity."""

    batch_number: str
    points: tuple[tuple[float, float], ...]
    volumes: tuple[tuple[float, float], ...] = ()
    """The same over the bed volumes passed."""
    is_same_lot: bool = False


@dataclass(frozen=True, slots=True)
class RinsePage:
    batch: Batch
    specification: Specification
    limit: Limit | None
    end_point: EndPoint
    readings: tuple[RinseReading, ...]
    """Every reading, newest first, replaced ones included."""
    is_resistivity: bool
    """Whether ``points`` and ghosts are resistivity [ohm m]; else conductivity [S/m]."""
    points: tuple[tuple[float, float], ...]
    """(minutes since the rinse began, value) of the readings that stand and are believable, thinned where they are very many."""
    rinse_started_at: datetime | None
    """When the first judged rinse began."""
    flow_m3_per_s: float | None
    """Of the rinse that runs or ran last, as last written down, else as planned; None before the rinse."""
    is_rinsing: bool
    cells: tuple[Cell, ...]
    ghosts: tuple[Ghost, ...]
    took_readings: tuple[str, ...]
    """Names of everybody who took readings: none of them releases this batch."""
    steps: tuple[StepRun, ...] = ()
    """The rinses whose readings are judged, in order: a fast rinse, a recirculation. The end point ends the last."""
    step: StepRun | None = None
    """The one that runs, else the last that began, else the first; None where nothing is rinsed down."""
    logs: tuple[MeterLog, ...] = ()
    """Packets of readings from meters, newest first, without what they hold."""
    standing: RinseStanding | None = None
    """How the rinse stands, worked out from all readings: to show, not to decide by."""


def rinse_page(batch: Batch, now: datetime) -> RinsePage:
    """The rinse-down of one batch as of ``now``. It reads what people wrote down and how the rinse stands, never all readings of
    a meter."""
    specification = specification_of(batch)
    limit = specification.limit(CONDUCTIVITY)
    steps = judged_steps(batch)
    begun = [step for step in steps if step.started_at is not None]
    running = next((one for one in steps if one.state == StepState.RUNNING), None)
    step = running or (begun[-1] if begun else next(iter(steps), None))
    started = rinse_began_at(steps)
    standing = fresh(batch, now, steps)
    every = batch.readings.select_related("instrument", "entered_by", "replaces", "replaced_by").order_by(
        "-occurred_at", "-id"
    )
    logs = tuple(logs_of(batch)) if standing.logs else ()
    today = plant_day(now)
    cells = Instrument.objects.filter(kind=Instrument.Kind.CONDUCTIVITY, is_active=True)
    return RinsePage(
        batch=batch,
        specification=specification,
        limit=limit,
        end_point=end_point_in(standing),
        readings=tuple(every),
        is_resistivity=shows_resistivity(limit),
        points=shown_points(standing.curve, limit),
        rinse_started_at=started,
        flow_m3_per_s=rinse_flow_m3_per_s(batch, step) if step and started else None,
        is_rinsing=batch.state == BatchState.RINSING and step is not None and step.state == StepState.RUNNING,
        cells=tuple(Cell(cell, is_instrument_valid(cell, today)) for cell in cells),
        ghosts=_ghosts(batch, limit, standing.lot_code),
        steps=tuple(steps),
        step=step,
        took_readings=_who_took(tuple(every), logs),
        logs=logs,
        standing=standing,
    )


def basis_of_rinse(batch: Batch) -> str:
    """What the kept standing of the rinse was worked out from, as a digest; "" where none is kept. It changes with every reading, packet
    and correction."""
    kept = RinseStanding.objects.filter(batch=batch).values_list("basis", flat=True).first()
    return kept or ""


def newest_forecasts(batch: Batch, count: int = 12) -> list[ForecastMade]:
    """The forecasts made last, oldest first."""
    return list(ForecastMade.objects.filter(batch=batch).order_by("-at", "-id")[:count])[::-1]


def logs_of(batch: Batch) -> QuerySet[MeterLog]:
    """Packets of a batch, newest first, without the text and the columns they hold."""
    return (
        MeterLog.objects.filter(batch=batch)
        .select_related("instrument", "entered_by", "step")
        .prefetch_related("set_asides__set_aside_by")
        .defer("received_text", "columns")
        .order_by("-first_at", "-id")
    )


def rinse_running_in(vessel_id: int) -> Batch | None:
    """The batch whose judged rinse runs in this vessel now; None where none does."""
    found = (
        Batch.objects.filter(state=BatchState.RINSING)
        .filter(Q(vessel=vessel_id) | Q(anion_vessel=vessel_id))
        .prefetch_related("steps")
    )
    return next((batch for batch in found if running_rinse(batch) is not None), None)


def _who_took(readings: tuple[RinseReading, ...], logs: tuple[MeterLog, ...]) -> tuple[str, ...]:
    """Names in order of what they read or handed in first; a meter's own account takes part in nothing."""
    found = [
        (row.occurred_at, row.entered_by.full_name) for row in readings if not hasattr(row, "replaced_by")
    ]
    found += [(log.first_at, log.entered_by.full_name) for log in logs if not log.is_of_a_meter]
    return tuple(dict.fromkeys(name for _, name in sorted(found)))


def shown_points(curve: list[list[float]], limit: Limit | None) -> tuple[tuple[float, float], ...]:
    """Rows of a curve as the limit looks at them; without a limit the conductivity at 25 °C."""
    column = RAW if limit is not None and limit.table else AT_25
    is_reciprocal = shows_resistivity(limit)
    return tuple((row[MINUTES], 1.0 / row[column] if is_reciprocal else row[column]) for row in curve)


MINUTES, PASSED, AT_25, RAW, KELVIN = range(5)
"""Places in a row of ``RinseStanding.curve``."""
GHOST_ROWS = 120
"""Points of a thin line at most."""


def _ghosts(batch: Batch, limit: Limit | None, lot_code: str, count: int = 5) -> tuple[Ghost, ...]:
    """Rinses of the same resin type and class that ended before this one: of the last twenty those of the same lot first, newest
    first; two queries where their standing is kept."""
    pool = Batch.objects.filter(
        resin_type=batch.resin_type, segregation_class=batch.segregation_class, rinsed_at__isnull=False
    ).exclude(pk=batch.pk)
    if batch.rinsed_at is not None:
        pool = pool.filter(rinsed_at__lte=batch.rinsed_at)
    newest = pool.order_by("-rinsed_at").values_list("pk", "rinse_standing__lot_code")[: 4 * count]
    same = {pk for pk, lot in newest if lot_code and lot == lot_code}
    wanted = sorted((pk for pk, _ in newest), key=lambda pk: pk not in same)[:count]
    rows = Batch.objects.select_related("rinse_standing", "specification_version").in_bulk(wanted)
    found = []
    for pk in wanted:
        old = rows[pk]
        kept = getattr(old, "rinse_standing", None)
        curve = kept.curve if kept is not None else curve_of_batch(old)
        if curve:
            thin = curve[:: -(-len(curve) // GHOST_ROWS)]
            points = shown_points(thin, limit)
            volumes = tuple((row[PASSED], value) for row, (_, value) in zip(thin, points, strict=True))
            found.append(Ghost(old.number, points, volumes, pk in same))
    return tuple(found)
