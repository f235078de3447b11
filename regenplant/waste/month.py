"""What a monthly discharge report says: gathered from the record, frozen as canonical text, read back from it.

No pH is averaged anywhere: of each discharge the report names the lowest and the highest good reading and counts those outside.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from zoneinfo import ZoneInfo

from regenplant.core.errors import RecordRefused
from regenplant.core.process.canonical import canonical_text, digest, from_plain
from regenplant.core.process.sewer_budget import IONS, Loads, total
from regenplant.plant.days import plant_day, profile, start_of_day
from regenplant.plant.permit import content_from, permit_in_force
from regenplant.waste.discharge_models import Discharge, DischargeReading
from regenplant.waste.discharges import BrineGone, brine_drained, discharges, is_proof, total_brine
from regenplant.waste.excursion_models import Excursion
from regenplant.waste.report_models import DischargeReport

_MONTH = re.compile(r"20\d\d-(0[1-9]|1[0-2])")


@dataclass(frozen=True, slots=True)
class DischargeLine:
    """One discharge that ended in the month. Moments are ISO 8601 in the plant's zone."""

    number: str
    tank: str
    ended_at: str
    day: str
    volume_m3: float
    ph_lowest: float | None
    ph_highest: float | None
    warmest_kelvin: float | None
    readings: int
    readings_outside: int
    instruments: tuple[str, ...]
    loads: Loads
    by_analysis: tuple[str, ...]
    """Ions whose mass is by an analysis of the tank; the others are by its worked-out composition."""
    released_by: str
    permit: str
    unknown_frac: float = 0.0
    """Share of the tank of unknown composition, counted like the rest of it."""


@dataclass(frozen=True, slots=True)
class DayLine:
    """One plant day on which something went, with what the permit took on it. None: no limit."""

    day: str
    count: int
    volume_m3: float
    volume_most_m3: float | None
    loads: Loads
    """Of the discharges and of the brine together [kg]."""
    budget_kg: dict[str, float]
    brine_m3: float = 0.0
    """Of the volume, brine that drained to the sewer without a waste tank [m^3]."""

    @property
    def is_over(self) -> bool:
        """Whether the day took more than the permit allows."""
        most = self.volume_most_m3
        return (most is not None and self.volume_m3 > most * (1.0 + 1e-9)) or any(
            self.loads.of(ion) > limit * (1.0 + 1e-9) for ion, limit in self.budget_kg.items()
        )


@dataclass(frozen=True, slots=True)
class ExcursionLine:
    number: str
    happened_at: str
    kind: str
    words: str
    discharge: str
    follow_ups: int
    cause: str
    told: str
    closed: str
    """Who closed it and when; "" while it is open."""


@dataclass(frozen=True, slots=True)
class MonthContent:
    """One month as it stood when it was signed."""

    plant: str
    zone: str
    month: str
    stood_at: str
    is_over: bool
    """False: the month was not over when this was signed."""
    permits: tuple[str, ...]
    discharges: tuple[DischargeLine, ...]
    days: tuple[DayLine, ...]
    excursions: tuple[ExcursionLine, ...]

    @property
    def volume_m3(self) -> float:
        return sum((line.volume_m3 for line in self.days), 0.0)

    @property
    def loads(self) -> Loads:
        return total(line.loads for line in self.days)


def first_day(month: str) -> date:
    """The first day of "2026-11". Raises: RecordRefused for what is no month."""
    if not _MONTH.fullmatch(month):
        raise RecordRefused(
            f"“{month[:12]}” is no month. Write it as 2026-11.", field="month", code="no_month"
        )
    return date(int(month[:4]), int(month[5:]), 1)


def next_month(day: date) -> date:
    return (day.replace(day=1) + timedelta(days=32)).replace(day=1)


def month_of(moment: datetime) -> str:
    """The month at the plant: "2026-11"."""
    return f"{plant_day(moment):%Y-%m}"


def months_with_discharges(now: datetime) -> list[str]:
    """Months in which something was discharged or went outside, the present one too, newest first."""
    ended = Discharge.objects.filter(ended_at__isnull=False).values_list("ended_at", flat=True)
    moments = [at for at in ended if at is not None]
    happened = Excursion.objects.values_list("happened_at", flat=True)
    return sorted({month_of(moment) for moment in (now, *moments, *happened)}, reverse=True)


def content_at(month: str, now: datetime) -> MonthContent:
    """The month as it stands now. Raises: RecordRefused for no month, or one that is still to come."""
    begins = first_day(month)
    ends = next_month(begins)
    if begins > plant_day(now):
        raise RecordRefused(f"{month} is still to come.", field="month", code="to_come")
    plant = profile()
    zone = ZoneInfo(plant.time_zone)
    low, high = start_of_day(begins), start_of_day(ends)
    rows = list(
        discharges()
        .filter(state=Discharge.State.CLOSED.value, ended_at__gte=low, ended_at__lt=high)
        .select_related("permit_version")
        .prefetch_related("readings__instrument")
        .order_by("ended_at", "pk")
    )
    lines = tuple(_discharge_line(row, zone) for row in rows)
    found = Excursion.objects.filter(happened_at__gte=low, happened_at__lt=high)
    return MonthContent(
        plant=plant.name,
        zone=plant.time_zone,
        month=month,
        stood_at=_local(now, zone),
        is_over=plant_day(now) >= ends,
        permits=tuple(dict.fromkeys(line.permit for line in lines)),
        discharges=lines,
        days=_day_lines(zip(rows, lines, strict=True), brine_drained(low, high), zone),
        excursions=tuple(
            _excursion_line(row, zone)
            for row in found.select_related("discharge", "closed_by")
            .prefetch_related("follow_ups")
            .order_by("happened_at", "pk")
        ),
    )


def content_of(report: DischargeReport) -> MonthContent:
    """What a signed report says."""
    return from_plain(MonthContent, json.loads(report.content))


def shown_mark(content: MonthContent) -> str:
    """What a page that showed this content carries: the same as long as nothing but the clock moved on."""
    return digest(canonical_text(replace(content, stood_at="")))


def reports_of(month: str) -> list[DischargeReport]:
    """The signed reports of a month, newest first."""
    return list(DischargeReport.objects.filter(month=month).select_related("made_by", "signature"))


def report_with(key: str) -> DischargeReport | None:
    """The report with this key, "2026-11/1"; None where there is none."""
    month, _, revision = key.partition("/")
    if not (revision.isascii() and revision.isdigit() and len(revision) < 5):
        return None
    return (
        DischargeReport.objects.select_related("made_by", "signature")
        .filter(month=month, revision=int(revision))
        .first()
    )


def _local(moment: datetime, zone: ZoneInfo) -> str:
    return moment.astimezone(zone).isoformat(sep=" ", timespec="minutes")


def _discharge_line(row: Discharge, zone: ZoneInfo) -> DischargeLine:
    readings = list(row.readings.all())
    good = _counting(row, readings)
    permit = content_from(row.permit_text)
    version = f", version {row.permit_version.number}" if row.permit_version else ""
    assert row.ended_at is not None
    return DischargeLine(
        number=row.number,
        tank=row.tank.code,
        ended_at=_local(row.ended_at, zone),
        day=row.ended_at.astimezone(zone).date().isoformat(),
        volume_m3=row.volume_m3 or 0.0,
        ph_lowest=min((one.ph for one in good), default=None),
        ph_highest=max((one.ph for one in good), default=None),
        warmest_kelvin=max((one.temperature_kelvin for one in good), default=None),
        readings=len(readings),
        readings_outside=sum(bool(one.fault) for one in readings),
        instruments=tuple(dict.fromkeys(one.instrument.code for one in good)),
        loads=Loads(*(getattr(row, f"{ion}_kg") or 0.0 for ion in IONS)),
        by_analysis=tuple(ion for ion in IONS if ion in row.measured_kg_per_m3),
        released_by=row.signature.printed_name if row.signature else "",
        permit=f"Permit {permit.number}{version}",
        unknown_frac=row.unknown_frac,
    )


def _counting(row: Discharge, readings: Iterable[DischargeReading]) -> list[DischargeReading]:
    """Readings that prove something and came after the last one outside before the release, or while it ran."""
    rows = list(readings)
    outside = [one.taken_at for one in rows if one.fault and not one.while_running]
    since = max(outside, default=None)
    return [
        one for one in rows if not one.fault and is_proof(one) and (since is None or one.taken_at > since)
    ]


def _day_lines(
    pairs: Iterable[tuple[Discharge, DischargeLine]], brine: Iterable[BrineGone], zone: ZoneInfo
) -> tuple[DayLine, ...]:
    """One line for each day on which something went; the permit in force at its end is its measure."""
    discharged: dict[str, list[DischargeLine]] = {}
    drained: dict[str, list[BrineGone]] = {}
    for _, line in pairs:
        discharged.setdefault(line.day, []).append(line)
    for one in brine:
        drained.setdefault(one.at.astimezone(zone).date().isoformat(), []).append(one)
    found = []
    for day in sorted({*discharged, *drained}):
        own, of_brine = discharged.get(day, []), total_brine(drained.get(day, []))
        ends = start_of_day(date.fromisoformat(day) + timedelta(days=1)) - timedelta(seconds=1)
        permit = permit_in_force(ends).content
        found.append(
            DayLine(
                day=day,
                count=len(own),
                volume_m3=sum((line.volume_m3 for line in own), of_brine.volume_m3),
                volume_most_m3=permit.volume_m3_per_day,
                loads=total(line.loads for line in own) + of_brine.loads,
                budget_kg=permit.budget_kg(),
                brine_m3=of_brine.volume_m3,
            )
        )
    return tuple(found)


def _excursion_line(row: Excursion, zone: ZoneInfo) -> ExcursionLine:
    return ExcursionLine(
        number=row.number,
        happened_at=_local(row.happened_at, zone),
        kind=row.get_kind_display(),
        words=row.words,
        discharge=row.discharge.number if row.discharge else "",
        follow_ups=len(row.follow_ups.all()),
        cause=row.cause,
        told=row.told,
        closed=f"{row.closed_by.full_name}, {_local(row.closed_at, zone)}"
        if row.closed_by and row.closed_at
        else "",
    )
