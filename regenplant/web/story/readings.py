"""How the rinses of the story are read: by hand, by the meter at the outlet that sends for itself, by a logger whose file is handed in."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from random import Random
from typing import Protocol
from zoneinfo import ZoneInfo

from regenplant import units
from regenplant.batches import services as batches
from regenplant.batches.log_files import read_log
from regenplant.batches.models import Batch
from regenplant.core.engineering.conductivity import Compensation, from_25_celsius
from regenplant.plant.models import Instrument, MeterFeed
from regenplant.web.api import taking
from regenplant.web.api.reading import readings_of
from regenplant.web.story.cast import Stage
from regenplant.web.story.rinsing import Curve

MINUTE = timedelta(minutes=1)
EVERY = timedelta(seconds=20)
"""Between two readings of a meter or logger."""
BY_HAND_FRAC, BY_METER_FRAC = 0.012, 0.005
"""Scatter of a reading."""


@dataclass(frozen=True, slots=True)
class Shown:
    """What a meter showed: conductivity as it shows it [S/m], temperature [°C], water since the rinse began [L]."""

    at: datetime
    siemens_per_m: float
    celsius: float
    litres: float


@dataclass(slots=True)
class Water:
    """The water behind a rinse and what a cell shows of it."""

    curve: Curve
    dice: Random
    kind: Compensation
    cell: Instrument
    begun: datetime
    flow_m3_per_s: float
    celsius: float = 18.6

    def shown(self, moment: datetime, scatter_frac: float) -> Shown:
        self.celsius += 0.02 * self.dice.gauss(18.8 - self.celsius, 1.0)
        value = self.curve.at(moment) * self.dice.gauss(1.0, scatter_frac)
        if self.cell.compensation == Compensation.NONE:
            kelvin = units.convert(self.celsius, "degC", "kelvin")
            value = from_25_celsius(value, kelvin, self.kind).value
        litres = self.flow_m3_per_s * (moment - self.begun).total_seconds() * 1000
        return Shown(moment, value, self.celsius, litres)


class Reading(Protocol):
    """One way to read a rinse."""

    first: timedelta
    """After the rinse began."""
    every: timedelta

    def take(self, moment: datetime) -> float:
        """Read at this moment, or all since the last one. Returns the highest conductivity at 25 °C among them [S/m]."""

    def close(self, moment: datetime) -> None:
        """The rinse ends now."""


@dataclass(slots=True)
class ByHand:
    stage: Stage
    who: str
    batch: Batch
    water: Water
    first: timedelta = 3 * MINUTE
    every: timedelta = 4 * MINUTE

    def take(self, moment: datetime) -> float:
        shown = self.water.shown(moment, BY_HAND_FRAC)
        text = f"{shown.siemens_per_m * 1e4:.4g} µS/cm"
        batches.record_reading(
            by=self.stage.by(self.who, moment),
            batch_id=self.batch.pk,
            reading=batches.ReadingAsTyped(
                value_text=text,
                temperature_text=f"{shown.celsius:.1f} °C",
                instrument_id=self.water.cell.pk,
                again_text=text,
            ),
        )
        return self.water.curve.at(moment) * (1.0 + 2.5 * BY_HAND_FRAC)

    def close(self, moment: datetime) -> None:
        return


@dataclass(slots=True)
class ByMeter:
    """The packets of a meter that sends every few minutes what it read since."""

    stage: Stage
    feed: MeterFeed
    water: Water
    first: timedelta = 5 * MINUTE
    every: timedelta = 5 * MINUTE
    sent_until: datetime | None = None

    def take(self, moment: datetime) -> float:
        since = self.sent_until or self.water.begun
        send(self.stage, self.feed, _between(self.water, since, moment), moment)
        self.sent_until = moment
        return self.water.curve.at(since) * (1.0 + 3.0 * BY_METER_FRAC)

    def close(self, moment: datetime) -> None:
        if moment - (self.sent_until or self.water.begun) >= EVERY:
            self.take(moment)


@dataclass(slots=True)
class ByLogger:
    """Nobody writes while it runs; the logger's file is handed in when the rinse is over."""

    stage: Stage
    who: str
    batch: Batch
    water: Water
    first: timedelta = 5 * MINUTE
    every: timedelta = 5 * MINUTE
    kept: list[Shown] = field(default_factory=list)

    def take(self, moment: datetime) -> float:
        since = self.kept[-1].at if self.kept else self.water.begun
        self.kept += _between(self.water, since, moment)
        return self.water.curve.at(since) * (1.0 + 3.0 * BY_METER_FRAC)

    def close(self, moment: datetime) -> None:
        hand_in_log(self.stage, self.who, self.batch, self.water.cell, self.kept, moment)


def _between(water: Water, since: datetime, until: datetime) -> list[Shown]:
    """All since then, none at that moment itself."""
    count = int((until - since) / EVERY)
    return [water.shown(since + number * EVERY, BY_METER_FRAC) for number in range(1, count + 1)]


def send(stage: Stage, feed: MeterFeed, shown: Sequence[Shown], at: datetime) -> None:
    """One packet, the way the endpoint and the listener take it."""
    in_ohms = feed.instrument.compensation == "neutral"
    text = json.dumps(
        {
            "readings": [
                {
                    "at": f"{one.at:%Y-%m-%dT%H:%M:%S}Z",
                    "value": f"{1e-4 / one.siemens_per_m:.4g}"
                    if in_ohms
                    else f"{one.siemens_per_m * 1e4:.4g}",
                    "unit": "Mohm cm" if in_ohms else "uS/cm",
                    "temperature_c": round(one.celsius, 2),
                    "totalizer_l": round(one.litres, 1),
                }
                for one in shown
            ]
        }
    )
    rinse = taking.rinse_at(feed)
    found = taking.sort_out(readings_of(text.encode()).readings, feed, rinse, at)
    if rinse is not None and found.fit:
        taking.take(
            by=stage.by_meter(feed, at),
            feed=feed,
            rinse=rinse,
            readings=found.fit,
            source="mqtt" if feed.topic else "http",
            name=feed.code,
            received_text=text,
        )


def hand_in_log(
    stage: Stage, who: str, batch: Batch, cell: Instrument, shown: Sequence[Shown], at: datetime
) -> None:
    """What a logger beside the cell kept, as the file that a person hands in."""
    lines = [
        f"# logger beside {cell.code} (invented)",
        "time;conductivity (µS/cm);temperature (°C);water passed (L)",
    ]
    lines += [
        f"{one.at:%Y-%m-%d %H:%M:%S}+00:00;{one.siemens_per_m * 1e4:.4g};{one.celsius:.1f};{one.litres:.0f}"
        for one in shown
    ]
    text = "\n".join(lines) + "\n"
    batches.take_in(
        by=stage.by(who, at),
        batch_id=batch.pk,
        packet=batches.Packet(
            instrument_id=cell.pk,
            source="file",
            name=f"{batch.vessel.code}-{at:%Y%m%d}.csv",
            received_text=text,
            readings=read_log(text, ZoneInfo("UTC")).readings,
            time_zone="UTC",
        ),
    )
