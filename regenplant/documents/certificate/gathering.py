"""From released records to what a certificate says. Reads only."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from zoneinfo import ZoneInfo

from regenplant.batches.models import Batch, BatchTank, RinseReading
from regenplant.batches.rinse import (
    current_readings,
    end_point,
    judged_steps,
    shows_resistivity,
    specification_of,
)
from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.engineering.conductivity_tables import table_limit_siemens_per_m
from regenplant.core.process.specification import CONDUCTIVITY, Limit
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.documents.certificate.content import (
    CertificateContent,
    CertifiedBatch,
    CertifiedRinse,
    CertifiedTankLine,
    DrawnPoint,
    Measured,
)
from regenplant.documents.selectors import treatment
from regenplant.documents.texts import moment
from regenplant.drawing.curves import thinned
from regenplant.drawing.rinse import Counts
from regenplant.plant.models import Instrument, PlantProfile
from regenplant.plant.selectors import plant_day, profile
from regenplant.quality.models import QcMeasurement, decision_of, release_of
from regenplant.quality.specification import sample_limits

MOST_DRAWN = 300
"""So many points of a rinse are kept for its drawing."""
WATER_WORDS = {
    Compensation.ACID: "a trace of acid",
    Compensation.BASE: "a trace of caustic",
    Compensation.NEUTRAL: "a trace of salt",
}
METER_WORDS = {
    Compensation.NEUTRAL: "compensated by the meter for neutral salt",
    Compensation.ACID: "compensated by the meter for a trace of acid",
    Compensation.BASE: "compensated by the meter for a trace of caustic",
    Compensation.FLAT: "compensated by the meter by a flat 2 %/K",
}
UNWRITTEN_METHOD = "method not written down"


def certificate_content(
    links: Sequence[BatchTank], *, number: str, scope: str, issued_at: datetime, issued_by: str, replaces: str
) -> CertificateContent:
    """What a certificate of these filled tanks says. They are of one customer and of released batches (the service has seen to it)."""
    plant = profile()
    batches = {link.batch_id: link.batch for link in links}
    visit = links[0].visit
    sites = {link.visit.site.name if link.visit.site else "" for link in links}
    return CertificateContent(
        plant=plant.name,
        zone=plant.time_zone,
        number=number,
        scope=scope,
        customer=visit.customer.name,
        site=sites.pop() if len(sites) == 1 else "",
        tanks=tuple(_tank(link, plant) for link in links),
        batches=tuple(_batch(batch, plant) for batch in batches.values()),
        issued=_at(issued_at, plant),
        issued_by=issued_by,
        replaces=replaces,
    )


def _at(when: datetime | None, plant: PlantProfile) -> str:
    return moment(when.astimezone(ZoneInfo(plant.time_zone))) if when else ""


def _tank(link: BatchTank, plant: PlantProfile) -> CertifiedTankLine:
    visit = link.visit
    return CertifiedTankLine(
        serial=visit.tank.serial,
        visit=visit.number,
        size=visit.tank.size.code,
        resin_volume_m3=link.filled_m3 or 0.0,
        batch=link.batch.number,
        filled=_at(link.filled_at or visit.refilled_at, plant),
    )


def _batch(batch: Batch, plant: PlantProfile) -> CertifiedBatch:
    version, release, decision = batch.specification_version, release_of(batch), decision_of(batch)
    assert release is not None and decision is not None  # the service has seen to it
    rinse = _rinse(batch)
    family = ResinFamily(batch.resin_type.family)
    return CertifiedBatch(
        number=batch.number,
        resin=batch.resin_type.code,
        family=family.label,
        treatment="Exchanged for new" if family.is_exchanged else treatment(batch),
        lot=batch.lot.code if batch.lot else "",
        specification=f"{version.specification.code} version {version.number}",
        specification_name=version.specification.name,
        specification_digest=version.digest,
        judged=f"{_at(decision.decided_at, plant)} by {decision.signature.printed_name}",
        released=f"{_at(release.released_at, plant)} by {release.signature.printed_name}",
        release_digest=release.signature.digest,
        measured=(*_conductivity(batch, plant), *_sample(batch, plant)),
        rinse=rinse,
    )


# --- the rinse --------------------------------------------------------------------------------------------------------
def _rinse(batch: Batch) -> CertifiedRinse | None:
    """The rinse-down as it was judged; None where nothing was read."""
    limit = specification_of(batch).limit(CONDUCTIVITY)
    begun = next((step.started_at for step in judged_steps(batch) if step.started_at is not None), None)
    rows = list(current_readings(batch))
    if begun is None or limit is None or not rows:
        return None
    end = end_point(batch)
    is_resistivity = shows_resistivity(limit)
    points = [_point(row, begun, limit) for row in rows]
    return CertifiedRinse(
        kind="resistivity" if is_resistivity else "conductivity",
        limit=None if limit.high is None else 1.0 / limit.high if is_resistivity else limit.high,
        is_at_least=is_resistivity,
        basis="as read" if limit.table else "at 25 °C",
        rinsed_bv=end.rinsed_bv,
        held_s=end.held_s,
        held_readings=end.held_readings,
        hold_s=end.hold_needed_s,
        held_from_s=end.held_from_s - begun.timestamp() if end.held_from_s is not None else None,
        points=_fewer(points),
        count=len(points),
    )


def _point(row: RinseReading, begun: datetime, limit: Limit) -> DrawnPoint:
    value = row.conductivity_siemens_per_m if limit.table else row.conductivity_25_siemens_per_m
    counts = (
        Counts.CHECK if row.instrument_check else Counts.YES if row.instrument_was_valid else Counts.INFORMS
    )
    table = tuple((line[0], line[1]) for line in limit.table)
    reaches = bool(table) and row.temperature_kelvin >= table[0][0]
    return DrawnPoint(
        (row.occurred_at - begun).total_seconds(),
        1.0 / value if shows_resistivity(limit) else value,
        row.rinsed_bv,
        counts.value,
        limit=table_limit_siemens_per_m(table, row.temperature_kelvin) if reaches else None,
    )


def _fewer(points: list[DrawnPoint]) -> tuple[DrawnPoint, ...]:
    if len(points) <= MOST_DRAWN:
        return tuple(points)
    kept = {int(n) for n, _ in thinned([(float(n), p.value) for n, p in enumerate(points)], MOST_DRAWN)}
    return tuple(point for n, point in enumerate(points) if n in kept)


def _conductivity(batch: Batch, plant: PlantProfile) -> list[Measured]:
    """The reading that ended the rinse: as the limit looks at it, and at 25 °C as resistivity."""
    specification = specification_of(batch)
    limit = specification.limit(CONDUCTIVITY)
    rows = [row for row in current_readings(batch) if row.instrument_was_valid and not row.instrument_check]
    if limit is None or not rows:
        return []
    row = rows[-1]
    meter = Compensation(row.meter_compensation)
    water = Compensation(row.water_kind)
    how = (
        METER_WORDS.get(meter)
        or f"not compensated by the meter, brought to 25 °C as water with {WATER_WORDS[water]}"
    )
    typed = f"{row.value_as_typed} {row.unit_as_typed} at {row.temperature_as_typed}".strip()
    common = {
        "as_typed": typed,
        "method": "conductivity cell, read during the rinse-down",
        "instrument": row.instrument.code,
        "calibration": calibration_words(row.instrument, row.occurred_at, row.instrument_was_valid),
        "at": _at(row.occurred_at, plant),
    }
    at_25 = Measured(
        name="resistivity at 25 °C, end of the rinse",
        kind="resistivity",
        value=1.0 / row.conductivity_25_siemens_per_m,
        basis=how,
        low=1.0 / limit.high if limit.high is not None and not limit.table else None,
        high=None,
        limit_words="",
        **common,
    )
    if not limit.table:
        return [at_25]
    raw = Measured(
        name="conductivity as read, end of the rinse",
        kind="conductivity",
        value=row.conductivity_siemens_per_m,
        basis="uncompensated, at the temperature read",
        low=None,
        high=None,
        limit_words=limit.allowed(),
        **common,
    )
    return [raw, at_25]


# --- the sample -------------------------------------------------------------------------------------------------------
def _sample(batch: Batch, plant: PlantProfile) -> list[Measured]:
    """Every value measured on the sample that stands and whose instrument was in calibration; of each kind the newest."""
    limits = {limit.measurement: limit for limit in sample_limits(batch)}
    rows = QcMeasurement.objects.filter(batch=batch, replaced_by__isnull=True, instrument_was_valid=True)
    newest = {row.key: row for row in rows.select_related("instrument").order_by("occurred_at", "pk")}
    ordered = [*limits, *(key for key in newest if key not in limits)]
    return [_measured(newest[key], limits.get(key), plant) for key in ordered if key in newest]


def _measured(row: QcMeasurement, limit: Limit | None, plant: PlantProfile) -> Measured:
    return Measured(
        name=limit.name if limit else row.name,
        kind=limit.kind if limit else row.kind,
        value=row.value,
        as_typed=f"{row.value_as_typed} {row.unit_as_typed}".strip(),
        basis="",
        low=limit.low if limit else None,
        high=limit.high if limit else None,
        limit_words="" if limit else "no limit in this specification",
        method=row.method or UNWRITTEN_METHOD,
        instrument=row.instrument.code if row.instrument else "",
        calibration=calibration_words(row.instrument, row.occurred_at, row.instrument_was_valid)
        if row.instrument
        else "",
        at=_at(row.occurred_at, plant),
    )


def calibration_words(instrument: Instrument, at: datetime, was_valid: bool) -> str:
    """How an instrument stood on the day it measured. The days of a calibration are named only where they are those of that day: a
    later calibration says nothing about it."""
    if not was_valid:
        return "out of calibration on that day"
    day = plant_day(at)
    calibrated, due = instrument.calibrated_on, instrument.calibration_due_on
    if calibrated is None or due is None or not _covers(calibrated, due, day):
        return "in calibration on that day"
    return f"in calibration on that day: calibrated {calibrated.isoformat()}, due {due.isoformat()}"


def _covers(calibrated: date, due: date, day: date) -> bool:
    return calibrated <= day <= due
