"""The rinse-down page of one batch: readings, end point, and earlier rinses of the same pool as ghosts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from regenplant.batches.models import Batch, RinseReading, StepRun
from regenplant.batches.rinse import (
    EndPoint,
    current_readings,
    end_point,
    judged_steps,
    rinse_flow_m3_per_s,
    shows_resistivity,
    specification_of,
)
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
    """(minutes since the rinse began, value) of the readings that stand."""
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


def rinse_page(batch: Batch, now: datetime) -> RinsePage:
    """The rinse-down of one batch as of ``now``."""
    specification = specification_of(batch)
    limit = specification.limit(CONDUCTIVITY)
    steps = judged_steps(batch)
    begun = [step for step in steps if step.started_at is not None]
    running = next((one for one in steps if one.state == StepState.RUNNING), None)
    step = running or (begun[-1] if begun else next(iter(steps), None))
    started = begun[0].started_at if begun else None
    standing = list(current_readings(batch))
    every = batch.readings.select_related("instrument", "entered_by", "replaces", "replaced_by").order_by(
        "-occurred_at", "-id"
    )
    today = plant_day(now)
    cells = Instrument.objects.filter(kind=Instrument.Kind.CONDUCTIVITY, is_active=True)
    return RinsePage(
        batch=batch,
        specification=specification,
        limit=limit,
        end_point=end_point(batch),
        readings=tuple(every),
        is_resistivity=shows_resistivity(limit),
        points=_points(standing, started, limit),
        rinse_started_at=started,
        flow_m3_per_s=rinse_flow_m3_per_s(batch, step) if step and started else None,
        is_rinsing=batch.state == BatchState.RINSING and step is not None and step.state == StepState.RUNNING,
        cells=tuple(Cell(cell, is_instrument_valid(cell, today)) for cell in cells),
        ghosts=_ghosts(batch, limit),
        steps=tuple(steps),
        step=step,
        took_readings=tuple(dict.fromkeys(row.entered_by.full_name for row in standing)),
    )


def _points(
    rows: list[RinseReading], started: datetime | None, limit: Limit | None
) -> tuple[tuple[float, float], ...]:
    if started is None:
        return ()
    return tuple(((row.occurred_at - started).total_seconds() / 60.0, _value(row, limit)) for row in rows)


def _value(row: RinseReading, limit: Limit | None) -> float:
    """As the limit looks at it; without a limit the conductivity at 25 °C."""
    is_raw = limit is not None and bool(limit.table)
    conductivity = row.conductivity_siemens_per_m if is_raw else row.conductivity_25_siemens_per_m
    return 1.0 / conductivity if shows_resistivity(limit) else conductivity


def _ghosts(batch: Batch, limit: Limit | None, count: int = 5) -> tuple[Ghost, ...]:
    """The last rinses of the same resin type and class that ended, newest first; two queries."""
    earlier = list(
        Batch.objects.filter(
            resin_type=batch.resin_type, segregation_class=batch.segregation_class, rinsed_at__isnull=False
        )
        .exclude(pk=batch.pk)
        .order_by("-rinsed_at")[:count]
    )
    rows = (
        RinseReading.objects.filter(batch__in=earlier, replaced_by__isnull=True)
        .select_related("step")
        .order_by("batch_id", "occurred_at")
    )
    by_batch: dict[int, list[RinseReading]] = {}
    for row in rows:
        by_batch.setdefault(row.batch_id, []).append(row)
    return tuple(
        Ghost(
            old.number,
            _points(by_batch[old.pk], by_batch[old.pk][0].step.started_at, limit),
            tuple((row.rinsed_bv, _value(row, limit)) for row in by_batch[old.pk]),
        )
        for old in earlier
        if old.pk in by_batch
    )
