"""Instruments: what a calibration says against its points, and how an instrument stands against its calibrations."""

from __future__ import annotations

from collections.abc import Iterator

from regenplant.audit.verifying.registry import Check, Finding, Look, register
from regenplant.core.process.calibration import found_within, left_within
from regenplant.plant.calibrations import core_points, standing_of
from regenplant.plant.models import Calibration, Instrument


def check_calibrations(look: Look) -> Iterator[Finding]:
    """Found and left, worked out anew from the points; a calibration that left outside has its time out of service."""
    rows = Calibration.objects.select_related("instrument").prefetch_related("points").order_by("pk")
    for row in rows.iterator(200):
        look.saw()
        name = f"calibration of {row.instrument.code} on {row.done_on}"
        points = core_points(row.points.all())
        if (row.found_within, row.left_within) != (found_within(points), left_within(points)):
            yield Finding("calibration", f"The {name} does not say what its points say.")
        if not row.is_good and not hasattr(row, "time_out"):
            yield Finding("calibration", f"The {name} left it outside, and it was not taken out of service.")


def check_instruments(look: Look) -> Iterator[Finding]:
    """The days and the time out of service an instrument shows, against its rows."""
    for row in Instrument.objects.order_by("pk").iterator(200):
        look.saw()
        stands = standing_of(row)
        if (row.calibrated_on, row.calibration_due_on, row.out_of_service_at) != (
            stands.calibrated_on,
            stands.due_on,
            stands.out_since,
        ):
            yield Finding("instrument", f"Instrument {row.code} does not stand as its calibrations say.")


register(Check("calibration", "Calibrations", "calibrations", check_calibrations), place=46)
register(Check("instrument", "Instruments", "instruments", check_instruments), place=47)
