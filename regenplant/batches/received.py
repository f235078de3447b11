"""What a packet's text says, read again: so that the columns beside it can be held against it years later.

Each source has a reader; the app that receives a source registers how its text is read::

    received.read_by("http", lambda log: readings_in(log.received_text))
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from zoneinfo import ZoneInfo

from regenplant.batches.log_files import Start, read_log
from regenplant.batches.log_models import MeterLog
from regenplant.batches.packets import LoggedReading, Packet, columns_of
from regenplant.batches.points import unpacked
from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.engineering.conductivity_columns import at_25_celsius_of
from regenplant.core.engineering.libraries import array_library
from regenplant.core.errors import DomainError
from regenplant.core.process.series import UNCOMPENSATED, way_of

Reader = Callable[[MeterLog], Sequence[LoggedReading]]
_READERS: dict[str, Reader] = {}
CLOSE = 1e-9
"""Relative difference up to which two calculations of the same figure are the same."""


def read_by(source: str, reader: Reader) -> None:
    """Say how what came in from a source is read."""
    _READERS[source] = reader


def reads(source: str) -> bool:
    """Whether somebody said how this source is read."""
    return source in _READERS


def unlike_its_text(log: MeterLog) -> Iterator[str]:
    """In what a packet's columns are not what was received; each for the middle of a sentence."""
    np = array_library()
    try:
        columns = unpacked(log)
    except ValueError:
        yield "holds columns that cannot be read"
        return
    at_s, _, shown, kelvin, at_25 = columns
    if len(at_s) != log.count or not np.isclose(at_s[0], log.first_at.timestamp(), rtol=0.0, atol=1e-3) or not np.isclose(at_s[-1], log.last_at.timestamp(), rtol=0.0, atol=1e-3):  # fmt: skip
        yield "names another number of readings, or other moments, than it holds"
    way = Compensation(log.meter_compensation)
    anew = (
        at_25_celsius_of(shown, kelvin, Compensation(log.water_kind))
        if way_of(way) == UNCOMPENSATED
        else shown
    )
    if not np.allclose(anew, at_25, rtol=CLOSE, atol=0.0, equal_nan=True):
        yield "comes out otherwise at 25 °C than it was stored"
    if not reads(log.source):
        return
    try:
        readings = tuple(_READERS[log.source](log))
        said = columns_of(Packet(log.instrument_id, log.source, log.name, "", readings)) if readings else None
    except DomainError:
        said = None
    if said is None:
        yield "cannot be read from what was received"
        return
    places = np.searchsorted(said.at_s, at_s)
    places = np.minimum(places, len(said.at_s) - 1)
    same = (said.at_s[places] == at_s) & _same(np, said.conductivity_siemens_per_m[places], shown) & _same(np, said.temperature_kelvin[places], kelvin)  # fmt: skip
    if not same.all():
        yield f"holds {int((~same).sum())} readings that were not received so"


def _same(np: object, first: object, second: object) -> object:
    return np.isclose(first, second, rtol=CLOSE, atol=0.0)  # type: ignore[attr-defined]


def _of_a_person(log: MeterLog) -> Sequence[LoggedReading]:
    start = Start(log.counted_from_at, log.counter_at_start_m3)
    return read_log(log.received_text, ZoneInfo(log.time_zone or "UTC"), start).readings


read_by(MeterLog.Source.FILE, _of_a_person)
read_by(MeterLog.Source.PASTE, _of_a_person)
