"""A log before it is taken in: what of it is new, what it shows, what of it does not count and why. Nothing is changed here."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime

from regenplant.audit.by import By
from regenplant.batches.models import Batch
from regenplant.batches.packets import Packet, Raw, cell_of, columns_of, series_of_raw, what_is_new
from regenplant.batches.rinse import specification_of
from regenplant.batches.standing import MOST_ROWS, thinned_places
from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.engineering.libraries import array_library
from regenplant.core.process.series import way_of
from regenplant.core.process.sifting import sifted
from regenplant.plant.models import Instrument
from regenplant.plant.selectors import is_instrument_valid, plant_day


@dataclass(frozen=True, slots=True)
class LogPreview:
    """What taking a packet in would keep."""

    instrument: Instrument
    is_valid: bool
    """In calibration on the days of the first and of the last reading."""
    received: int
    kept: int
    known_already: int
    same_moment: int
    """Of those known already: how many show another figure than what is kept of their moment."""
    outside: int
    first_at: datetime
    last_at: datetime
    lowest_siemens_per_m: float
    highest_siemens_per_m: float
    """At 25 °C, of the readings that are believable; equal to ``newest`` where there is one only [S/m]."""
    newest_siemens_per_m: float
    coldest_kelvin: float
    warmest_kelvin: float
    rinsed_bv: float
    """Bed volumes at the last reading [-]."""
    counting: int
    """Readings that count."""
    not_counted: tuple[str, ...]
    """Why others do not, each as a sentence."""
    points: tuple[tuple[float, float, float], ...]
    """(minutes since the rinse began, at 25 °C [S/m], as shown [S/m]) of the believable ones, thinned."""


def preview_of(batch: Batch, packet: Packet, by: By) -> LogPreview:
    """What taking this packet in now would keep.

    Raises: UnitNotUnderstood, RecordRefused, as taking it in would.
    """
    np = array_library()
    instrument = cell_of(packet.instrument_id)
    step, columns, left_out = what_is_new(by, batch, instrument, columns_of(packet))
    at_s, rinsed, shown, kelvin, at_25 = columns
    first, last = (datetime.fromtimestamp(float(moment), tz=UTC) for moment in (at_s[0], at_s[-1]))
    valid = all(is_instrument_valid(instrument, plant_day(moment), moment) for moment in (first, last))
    meter = Compensation(instrument.compensation or Compensation.NONE)
    raw = Raw(at_s, shown, kelvin, np.full(len(at_s), np.nan))
    found = sifted(series_of_raw(raw, rinsed, way_of(meter), instrument.code, valid), specification_of(batch))
    believable = np.flatnonzero(~(found.is_doubted | found.is_jump) & np.isfinite(at_25))
    seen = at_25[believable] if len(believable) else np.array([np.nan])
    assert step.started_at is not None
    began = step.started_at.timestamp()
    rows = believable[thinned_places(at_25[believable], MOST_ROWS)] if len(believable) else believable
    return LogPreview(
        instrument=instrument,
        is_valid=valid,
        received=len(packet.readings),
        kept=len(at_s),
        known_already=left_out.known_already,
        same_moment=left_out.same_moment,
        outside=left_out.outside,
        first_at=first,
        last_at=last,
        lowest_siemens_per_m=float(seen.min()),
        highest_siemens_per_m=float(seen.max()),
        newest_siemens_per_m=float(seen[-1]),
        coldest_kelvin=float(kelvin.min()),
        warmest_kelvin=float(kelvin.max()),
        rinsed_bv=float(rinsed[-1]),
        counting=int(found.counts.sum()),
        not_counted=(*found.left_out, *found.checks),
        points=tuple(
            ((float(at_s[row]) - began) / 60.0, float(at_25[row]), float(shown[row])) for row in rows.tolist()
        ),
    )
