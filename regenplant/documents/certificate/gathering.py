"""From released records to what a certificate says. Reads only."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from zoneinfo import ZoneInfo

from regenplant import units
from regenplant.batches.models import Batch, BatchTank, RinseReading
from regenplant.batches.points import Points, core_readings, points_of
from regenplant.batches.rinse import (
    end_point,
    judged_steps,
    rinse_sifted,
    shows_resistivity,
)
from regenplant.batches.standing import rinse_began_at
from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.engineering.conductivity_tables import table_limit_siemens_per_m
from regenplant.core.process.grades import claimable, results_of_rinse
from regenplant.core.process.series import WAYS
from regenplant.core.process.sifting import Sifted
from regenplant.core.process.specification import CONDUCTIVITY, Limit
from regenplant.core.process.specification import RinseReading as CoreReading
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.documents.certificate.content import (
    CertificateContent,
    CertifiedBatch,
    CertifiedRinse,
    CertifiedTankLine,
    DrawnPoint,
    JudgedBy,
    Measured,
)
from regenplant.documents.selectors import treatment
from regenplant.documents.texts import moment
from regenplant.drawing.curves import thinned
from regenplant.drawing.rinse import Counts
from regenplant.plant.calibrations import standing_calibrations
from regenplant.plant.models import Instrument, PlantProfile
from regenplant.plant.selectors import plant_day, profile
from regenplant.quality.models import QcMeasurement, decision_of, release_of
from regenplant.quality.specification import (
    applied_names,
    applied_specification,
    applied_version,
    lab_result,
    sample_limits,
)

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
        batches=tuple(_batch(batch, _serials(links, batch), plant) for batch in batches.values()),
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


def _serials(links: Sequence[BatchTank], batch: Batch) -> tuple[str, ...]:
    return tuple(link.visit.tank.serial for link in links if link.batch_id == batch.pk)


def _batch(batch: Batch, serials: Sequence[str], plant: PlantProfile) -> CertifiedBatch:
    version, release, decision = applied_version(batch), release_of(batch), decision_of(batch)
    assert release is not None and decision is not None  # the service has seen to it
    read = _read(batch)
    family = ResinFamily(batch.resin_type.family)
    names = applied_names(batch)
    several = names if len(names) > 1 else ()
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
        measured=(*(_conductivity(read, plant) if read else ()), *_sample(batch, serials, plant)),
        rinse=_rinse(read) if read else None,
        grades=_grades(batch, serials, read),
        strictest_of=tuple(JudgedBy(one.name, one.digest) for one in several),
    )


# --- the rinse --------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class _Read:
    """Every reading of the rinse that stands, by hand and by meter, and what each is good for."""

    batch: Batch
    limit: Limit
    points: Points
    found: Sifted
    begun: datetime

    def mark(self, place: int) -> Counts:
        found = self.found
        if found.is_doubted[place] or found.is_jump[place] or found.is_frozen[place]:
            return Counts.CHECK
        return Counts.YES if found.counts[place] else Counts.INFORMS

    @property
    def held(self) -> list[CoreReading]:
        """The readings that count of the hold window."""
        end = end_point(self.batch, self.points, applied_specification(self.batch))
        if end.held_from_s is None:
            return []
        return core_readings(self.points.where(self.found.counts & (self.points.at_s >= end.held_from_s)))

    @property
    def last(self) -> int | None:
        """Place of the last reading that counts."""
        return next((n for n in range(len(self.points) - 1, -1, -1) if self.found.counts[n]), None)


def _read(batch: Batch) -> _Read | None:
    """None where nothing was read, or no limit is read during the rinse."""
    limit = applied_specification(batch).limit(CONDUCTIVITY)
    begun = rinse_began_at(judged_steps(batch))
    points = points_of(batch)
    if begun is None or limit is None or not len(points):
        return None
    return _Read(batch, limit, points, rinse_sifted(batch, points, applied_specification(batch)), begun)


def _rinse(read: _Read) -> CertifiedRinse:
    """The rinse-down as it was judged."""
    limit = read.limit
    end = end_point(read.batch, read.points, applied_specification(read.batch))
    is_resistivity = shows_resistivity(limit)
    values = read.found.value
    shown = [n for n in range(len(values)) if values[n] > 0.0]  # not what cannot be brought to 25 °C
    kept = thinned([(float(n), float(values[n])) for n in shown], MOST_DRAWN)
    return CertifiedRinse(
        kind="resistivity" if is_resistivity else "conductivity",
        limit=None if limit.high is None else 1.0 / limit.high if is_resistivity else limit.high,
        is_at_least=is_resistivity,
        basis="as read" if limit.table else "at 25 °C",
        rinsed_bv=end.rinsed_bv,
        held_s=end.held_s,
        held_readings=end.held_readings,
        hold_s=end.hold_needed_s,
        held_from_s=end.held_from_s - read.begun.timestamp() if end.held_from_s is not None else None,
        points=tuple(_point(read, int(place)) for place, _ in kept),
        count=len(read.points),
    )


def _point(read: _Read, place: int) -> DrawnPoint:
    value, points = float(read.found.value[place]), read.points
    return DrawnPoint(
        round(float(points.at_s[place]) - read.begun.timestamp(), 3),
        1.0 / value if shows_resistivity(read.limit) else value,
        float(points.rinsed_bv[place]),
        read.mark(place).value,
        is_by_hand=bool(points.is_by_hand[place]),
        limit=_limit_at(read.limit, float(points.temperature_kelvin[place])),
    )


def _limit_at(limit: Limit, kelvin: float) -> float | None:
    """The limit of a table at this temperature [S/m]; None without a table, or below it."""
    table = tuple((line[0], line[1]) for line in limit.table)
    return table_limit_siemens_per_m(table, kelvin) if table and kelvin >= table[0][0] else None


def _conductivity(read: _Read, plant: PlantProfile) -> list[Measured]:
    """The reading that ended the rinse: as the limit looks at it, and at 25 °C as resistivity."""
    place, limit, points = read.last, read.limit, read.points
    if place is None:
        return []
    at = datetime.fromtimestamp(float(points.at_s[place]), tz=UTC)
    instrument = Instrument.objects.get(pk=int(points.instrument_id[place]))
    meter = WAYS[int(points.compensation[place])]
    water = applied_specification(read.batch).compensation
    how = (
        METER_WORDS.get(meter)
        or f"not compensated by the meter, brought to 25 °C as water with {WATER_WORDS[water]}"
    )
    typed = _as_read(read, place, at)

    def measured(name: str, kind: str, value: float, basis: str, low: float | None, words: str) -> Measured:
        return Measured(
            name, kind, value, typed, basis, low, None, words,
            "conductivity cell, read during the rinse-down" if points.is_by_hand[place] else "conductivity cell, logged during the rinse-down",
            instrument.code, calibration_words(instrument, at, bool(points.is_valid[place])), _at(at, plant),
        )  # fmt: skip

    low = 1.0 / limit.high if limit.high is not None and not limit.table else None
    at_25 = measured(
        "resistivity at 25 °C, end of the rinse",
        "resistivity",
        1.0 / float(read.found.at_25[place]),
        how,
        low,
        "",
    )
    if not limit.table:
        return [at_25]
    raw = measured(
        "conductivity as read, end of the rinse",
        "conductivity",
        float(points.conductivity_siemens_per_m[place]),
        "uncompensated, at the temperature read",
        None,
        limit.allowed(),
    )
    return [raw, at_25]


def _as_read(read: _Read, place: int, at: datetime) -> str:
    """What a person wrote down, or what the meter sent, with its temperature."""
    points = read.points
    if points.is_by_hand[place]:
        row = RinseReading.objects.filter(
            batch=read.batch, instrument=int(points.instrument_id[place]), replaced_by__isnull=True
        )
        near = min(row, key=lambda one: abs((one.occurred_at - at).total_seconds()))
        return f"{near.value_as_typed} {near.unit_as_typed} at {near.temperature_as_typed}".strip()
    value = units.format_quantity(float(points.conductivity_siemens_per_m[place]), "conductivity")
    return f"{value} at {units.format_quantity(float(points.temperature_kelvin[place]), 'temperature')}"


# --- the sample -------------------------------------------------------------------------------------------------------
def _sample(batch: Batch, serials: Sequence[str], plant: PlantProfile) -> list[Measured]:
    """Every value measured on the sample, and on the tanks that are certified, that stands and whose instrument was in calibration; of
    each kind the newest."""
    limits = {limit.measurement: limit for limit in sample_limits(batch)}
    newest = {(row.key, _tank_of(row)): row for row in _standing(batch) if _tank_of(row) in ("", *serials)}
    ordered = sorted(newest, key=lambda found: (list(limits).index(found[0]) if found[0] in limits else len(limits), found[1]))  # fmt: skip
    return [_measured(newest[found], limits.get(found[0]), plant) for found in ordered]


def _standing(batch: Batch) -> list[QcMeasurement]:
    """Measurements by an instrument in calibration that no later one replaces, oldest first."""
    rows = QcMeasurement.objects.filter(batch=batch, replaced_by__isnull=True, instrument_was_valid=True)
    return list(rows.select_related("instrument", "tank__visit__tank").order_by("occurred_at", "pk"))


def _tank_of(row: QcMeasurement) -> str:
    """The serial of the tank it was measured on; "" for the batch."""
    return row.tank.visit.tank.serial if row.tank is not None else ""


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
        tank_serial=_tank_of(row),
    )


# --- grades -----------------------------------------------------------------------------------------------------------
def _grades(batch: Batch, serials: Sequence[str], read: _Read | None) -> tuple[str, ...]:
    """Published grades of which every test was done and lies inside, on the sample, in the hold window and on every tank certified."""
    results = [lab_result(row) for row in _standing(batch) if _tank_of(row) in ("", *serials)]
    if read is not None:
        results += results_of_rinse(read.held, applied_specification(batch).compensation)
    return tuple(claim.grade.name for claim in claimable(results, serials))


# --- instruments ------------------------------------------------------------------------------------------------------
def calibration_words(instrument: Instrument, at: datetime, was_valid: bool) -> str:
    """How an instrument stood on the day it measured, by the calibration of then; and what a calibration after it found, where that
    was outside its tolerance."""
    if not was_valid:
        return "out of calibration on that day"
    day = plant_day(at)
    rows = list(standing_calibrations(instrument.pk))
    then = max(
        (row for row in rows if row.done_on <= day <= row.due_on), key=lambda row: row.done_at, default=None
    )
    words = "in calibration on that day"
    if then is not None:
        words += f": calibrated {then.done_on.isoformat()}, due {then.due_on.isoformat()}"
    elif not rows:  # from before calibrations were kept one by one: the two days of the last one are known
        made, due = instrument.calibrated_on, instrument.calibration_due_on
        if made is not None and due is not None and made <= day <= due:
            words += f": calibrated {made.isoformat()}, due {due.isoformat()}"
    later = min((row for row in rows if row.done_on > day), key=lambda row: row.done_at, default=None)
    if later is not None and later.found_within is False:
        words += f"; found outside its tolerance at the calibration of {later.done_on.isoformat()}"
    return words
