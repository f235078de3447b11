"""Logs of meters for tests: readings every so often, in the shape a logger writes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from regenplant.batches.models import Batch, MeterLog
from regenplant.batches.services import LoggedReading, Packet, take_in
from regenplant.people.models import Person
from regenplant.plant.services import MeterFeedSettings, register_meter_feed
from tests.factories import SmallPlant


def logged(
    start: datetime,
    values: Sequence[float],
    *,
    every_s: float = 60.0,
    unit: str = "µS/cm",
    celsius: float = 25.0,
) -> tuple[LoggedReading, ...]:
    """One reading for each value, from ``start`` on."""
    return tuple(
        LoggedReading(start + timedelta(seconds=every_s * index), f"{value:.6g}", unit, celsius + 273.15)
        for index, value in enumerate(values)
    )


def packet(
    plant: SmallPlant, readings: tuple[LoggedReading, ...], *, source: str = "file", cell: str = "CELL"
) -> Packet:
    unit = readings[0].unit_text if readings else "µS/cm"
    heading = f"time;conductivity ({unit});temperature (°C)"
    rows = [
        f"{one.at.isoformat()};{one.value_text};{one.temperature_kelvin - 273.15:.6g}" for one in readings
    ]
    text = "\n".join((heading, *rows))
    return Packet(plant.instruments[cell].pk, source, "rinse.csv", text, readings)


def device(plant: SmallPlant, batch: Batch, cell: str = "CELL") -> Person:
    """The account of the in-line meter with this cell at the vessel of the batch."""
    instrument = plant.instruments[cell]
    if not instrument.feeds.exists():
        settings = MeterFeedSettings(cell, f"Outlet by {cell}", instrument.pk, batch.vessel_id)
        register_meter_feed(by=plant.by("supervisor"), feed=settings)
    return instrument.feeds.get().account


def take(
    plant: SmallPlant, batch: Batch, values: Sequence[float], *, source: str = "file", every_s: float = 60.0,
    cell: str = "CELL", unit: str = "µS/cm", celsius: float = 25.0,
) -> MeterLog:  # fmt: skip
    """Values read every minute until now, taken in now; time moves on as far as they need."""
    start = plant.now + timedelta(seconds=every_s)
    plant.forward(seconds=every_s * len(values))
    readings = logged(start, values, every_s=every_s, unit=unit, celsius=celsius)
    by = plant.by("operator")
    if source in ("http", "mqtt"):
        by = replace(by, user=device(plant, batch, cell))
    row: MeterLog = take_in(
        by=by, batch_id=batch.pk, packet=packet(plant, readings, source=source, cell=cell)
    ).result
    return row
