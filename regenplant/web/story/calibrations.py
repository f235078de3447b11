"""Instruments of the story with their calibrations: an old book of them, and one that lately found a cell outside."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

from regenplant.plant import services as plant
from regenplant.plant.calibrations import CALIBRATED_AS
from regenplant.plant.models import Instrument
from regenplant.plant.selectors import plant_day
from regenplant.plant.services import CalibrationEvidence, InstrumentSettings, PointAsTyped
from regenplant.web.story.cast import Stage
from regenplant.web.story.clockwork import Script

EARLIER = timedelta(days=170)
"""How long before the story begins the calibration before was made."""


def put_up_instruments(stage: Stage, at: datetime) -> None:
    """Every instrument with the calibration before, copied from the book, and the one it begins the story with."""
    for item in stage.data["instruments"]:
        outcome = plant.save_instrument(
            by=stage.by("osk", at),
            instrument=InstrumentSettings(
                code=item["code"],
                name=item["name"],
                kind=item["kind"],
                cell_constant_per_cm=item.get("cell_constant_per_cm"),
                compensation=item.get("compensation", ""),
                uncertainty_frac=item.get("uncertainty_frac", 0.01),
                interval_days=item.get("interval_days"),
            ),
        )
        stage.instruments[item["code"]] = outcome.result
        due = plant_day(stage.now + timedelta(days=item["due_in_days"]))
        before = _evidence(item, at - EARLIER, "before")
        if item.get("before"):
            _write(stage, outcome.result, at, at - EARLIER, before, due=plant_day(at))
        _write(stage, outcome.result, at, at, _evidence(item, at, "points"), due=due)


def later_calibration(stage: Stage, code: str, at: datetime) -> Script:
    """Late in the story the cell is calibrated, and what it showed before setting was off."""
    yield at
    item = next(item for item in stage.data["instruments"] if item["code"] == code)
    _write(
        stage,
        stage.instruments[code],
        at,
        at,
        _evidence(item, at, "later"),
        note="Coating on the electrodes, cleaned.",
    )


def _write(
    stage: Stage,
    instrument: Instrument,
    at: datetime,
    done_at: datetime,
    evidence: CalibrationEvidence,
    *,
    due: Any = None,
    note: str = "",
) -> None:
    plant.record_calibration(
        by=stage.by("brae", at),
        instrument_id=instrument.pk,
        calibrated_on=plant_day(done_at),
        due_on=due,
        note=note,
        evidence=evidence,
    )


def _evidence(item: dict[str, Any], done_at: datetime, which: str) -> CalibrationEvidence:
    """The points of this name; without any, the certificate of a laboratory stands for them."""
    _, _, tolerance = CALIBRATED_AS[item["kind"]]
    points = tuple(
        PointAsTyped(point[0], point[1], point[2] if len(point) > 2 else "", tolerance)
        for point in item.get(which, ())
    )
    if not points:
        return CalibrationEvidence(
            done_at=done_at,
            laboratory=item.get("laboratory", "Moorhen Bench Laboratory"),
            certificate=item.get("certificate", f"MB {item['code']}"),
            is_without_points=True,
        )
    return CalibrationEvidence(
        done_at=done_at,
        laboratory=item.get("laboratory", ""),
        reference_kind=item["reference_kind"],
        reference=item["reference"],
        certificate=item["certificate"],
        reference_expires_on=plant_day(done_at + timedelta(days=120)),
        points=points,
    )
