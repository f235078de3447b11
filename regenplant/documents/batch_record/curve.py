"""The rinse-down on paper: the drawing of the page, over minutes since the rinse began."""

from __future__ import annotations

from regenplant.documents.batch_record.content import OUT_OF_CALIBRATION, RecordReading, Rinse
from regenplant.documents.faces import SMALL
from regenplant.documents.flow import Block, paragraph, stacked
from regenplant.documents.scene_on_paper import scene_block
from regenplant.drawing.rinse import Counts, RinseDown, RinseReading, rinse_chart

HEIGHT_PX = 300


def rinse_curve(rinse: Rinse, width: float, system: str) -> Block | None:
    """The curve; None while nothing is read or no time is known."""
    readings = _readings(rinse)
    if not readings:
        return None
    drawn = RinseDown(
        title="Rinse-down",
        kind=rinse.kind,
        readings=readings,
        limit=rinse.limit,
        is_at_least=rinse.is_at_least,
        basis="as read" if rinse.limit is None and rinse.range is not None else "at 25 °C",
    )
    return drawing(drawn, width, system)


def drawing(rinse: RinseDown, width: float, system: str, height_px: int = HEIGHT_PX) -> Block:
    """A rinse-down with what its axes count above it."""
    chart = rinse_chart(rinse, system=system, height=height_px)
    return stacked([paragraph(chart.caption, SMALL, width), scene_block(chart.whole, width)], 2)


def _readings(rinse: Rinse) -> tuple[RinseReading, ...]:
    """What people wrote and what meters logged, in the order of time."""
    by_hand = [_drawn(reading) for reading in rinse.readings if reading.minutes is not None]
    moments = {round(reading.elapsed_s, 3) for reading in by_hand}
    logged = [
        RinseReading(60.0 * minutes, value, is_by_hand=False)
        for minutes, value in rinse.logged
        if round(60.0 * minutes, 3) not in moments
    ]
    return tuple(sorted((*by_hand, *logged), key=lambda reading: reading.elapsed_s))


def _drawn(reading: RecordReading) -> RinseReading:
    assert reading.minutes is not None
    counts = Counts.YES
    if reading.doubts:
        counts = Counts.INFORMS if reading.doubts == OUT_OF_CALIBRATION else Counts.CHECK
    return RinseReading(reading.minutes * 60.0, reading.value, rinsed_bv=reading.rinsed_bv, counts=counts)
