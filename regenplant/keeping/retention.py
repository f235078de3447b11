"""How long records are kept: by class, the longest wins, and a legal hold beats every period.

The periods the program brings are proposals: the plant decides, by versions that another person approves. What may go is worked
out here, for whole families of batches: a batch, what it reworks and what reworks it are kept as long as the last of them.

Nothing goes by itself. What may go goes by one signed act of two people (``services.purge``); ``refuse_purge`` says what stands in
the way of it.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from django.db.models import Count, Q, QuerySet

from regenplant.audit import versions as audited
from regenplant.batches.models import Batch
from regenplant.core.errors import RecordRefused
from regenplant.core.process.vocabulary import SegregationClass
from regenplant.keeping.models import LegalHold, Purge, RetentionVersion
from regenplant.plant.selectors import plant_day


@dataclass(frozen=True, slots=True)
class RecordClass:
    """A class of records with the proposed period, in whole years, and what the proposal rests on."""

    key: str
    title: str
    years: int
    basis: str


_BATCH_BASIS = {
    SegregationClass.POTABLE: "proposal: 5 years; food, dialysis and pharmacy customers fix theirs by contract, at least a year beyond use",
    SegregationClass.HIGH_PURITY: "proposal: 5 years, or the contract",
}
RECORD_CLASSES: tuple[RecordClass, ...] = (
    *(
        RecordClass(
            f"batch_{item.value}",
            f"Batches of class {item.value}: {item.label}",
            5,
            _BATCH_BASIS.get(item, "proposal: 5 years, or the contract (common practice, from memory)"),
        )
        for item in SegregationClass
    ),
    RecordClass("data_sheet", "Safety data sheets", 30, "proposal: 30 years, exposure records (from memory; ask the safety lead)"),
    RecordClass("chemical_lot", "Chemical lots and their strength checks", 5, "proposal: as long as the batches they were used in, at least 5 years"),
    RecordClass("calibration", "Calibrations of instruments", 5, "proposal: as long as the records they support"),
    RecordClass("discharge", "Discharge and neutralization", 5, "proposal: 5 years; 3 are usual for permits (from memory)"),
)  # fmt: skip
YEARS_LOW, YEARS_HIGH = 1, 100
PROPOSALS: dict[str, int] = {item.key: item.years for item in RECORD_CLASSES}


# --- the rules in force -----------------------------------------------------------------------------------------------
def versions() -> QuerySet[RetentionVersion]:
    """Every version of the rules, newest first, with its people."""
    return RetentionVersion.objects.select_related("made_by", "approved_by")


def version_in_force(at: datetime) -> RetentionVersion | None:
    """The newest that is approved and effective; None while the plant has decided nothing."""
    return audited.in_force(RetentionVersion, at)


def years_from(text: str) -> dict[str, int]:
    """What a version says; a class the program got later has its proposal."""
    return {**PROPOSALS, **{key: int(years) for key, years in json.loads(text).items() if key in PROPOSALS}}


def years_in_force(at: datetime) -> dict[str, int]:
    """Years by class at a time: the plant's, else the proposals."""
    version = version_in_force(at)
    return years_from(version.content) if version is not None else PROPOSALS


def newest_years() -> dict[str, int]:
    """What the next draft begins with."""
    newest = audited.newest_approved(RetentionVersion)
    return years_from(newest.content) if newest is not None else PROPOSALS


def years_before(version: RetentionVersion) -> dict[str, int]:
    """What a version is held against: the newest approved one of a lower number, else the proposals."""
    found = audited.approved_before(version)
    return years_from(found.content) if found is not None else PROPOSALS


# --- holds ------------------------------------------------------------------------------------------------------------
def holds() -> QuerySet[LegalHold]:
    """Every hold, those in force first."""
    return LegalHold.objects.select_related("placed_by", "lifted_by").order_by("lifted_at", "-placed_at")


def subjects_of(batch: Batch) -> set[tuple[str, str]]:
    """Everything a hold may name that reaches this batch: itself, its tanks, their customers, its lots, its chemicals."""
    found = {("batch", batch.number)}
    for link in batch.tank_links.all():
        found |= {("tank", link.visit.tank.serial), ("customer", link.visit.customer.code)}
    if batch.lot is not None:
        found.add(("resin_lot", batch.lot.code))
    return found | {("chemical_lot", str(code)) for code in batch.chemical_lots.values()}


# --- what may go ------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Kept:
    """One batch: until when it is kept, and what keeps it beyond that. ``until`` None: it is not at its end yet."""

    number: str
    segregation_class: str
    finished_at: datetime | None
    until: date | None
    years: int
    holds: tuple[str, ...]
    """Each hold in words."""

    def is_past(self, today: date) -> bool:
        """Whether its period is over and nothing holds it."""
        return self.until is not None and self.until < today and not self.holds


def after_years(day: date, years: int) -> date:
    """The same day so many years later; 29 February becomes 1 March."""
    try:
        return day.replace(year=day.year + years)
    except ValueError:
        return date(day.year + years, 3, 1)


def _families(batches: Iterable[Batch]) -> Iterator[list[Batch]]:
    """Batches with what they rework and what reworks them."""
    known = {batch.pk: batch for batch in batches}
    by_root: dict[int, list[Batch]] = {}
    for batch in known.values():
        root = batch
        while root.parent_id is not None:
            root = known[root.parent_id]
        by_root.setdefault(root.pk, []).append(batch)
    yield from by_root.values()


def kept_batches(now: datetime) -> list[Kept]:
    """Every batch, those that may go first, then by the day until which they are kept. A fixed number of queries."""
    years = years_in_force(now)
    in_force: dict[tuple[str, str], list[str]] = {}
    for hold in LegalHold.objects.filter(lifted_at=None):
        in_force.setdefault((hold.subject_kind, hold.subject_key), []).append(f"{hold}: {hold.reason}")
    rows = Batch.objects.defer("plan_text").select_related("lot")
    batches = list(rows.prefetch_related("tank_links__visit__tank", "tank_links__visit__customer"))
    found: list[Kept] = []
    for family in _families(batches):
        longest = max(years[f"batch_{batch.segregation_class}"] for batch in family)
        ends = [batch.finished_at for batch in family]
        known = [moment for moment in ends if moment is not None]
        until = after_years(plant_day(max(known)), longest) if len(known) == len(ends) else None
        held = sorted(
            {words for batch in family for place in subjects_of(batch) for words in in_force.get(place, ())}
        )
        found += [
            Kept(batch.number, batch.segregation_class, batch.finished_at, until, longest, tuple(held))
            for batch in family
        ]
    return sorted(found, key=lambda row: (row.until or date.max, row.number))


def refuse_purge(number: str, now: datetime) -> None:
    """Raise RecordRefused with what stands in the way of removing a batch by its time; see ``period_past``."""
    period_past(number, now)


def period_past(number: str, now: datetime) -> Kept:
    """The batch and its period, when it may go. Raises RecordRefused with what stands in the way of removing a batch: no end, its period, a hold, rules nobody decided."""
    row = next((row for row in kept_batches(now) if row.number == number), None)
    if row is None:
        raise RecordRefused(f"Batch {number} is not known here.", code="unknown")
    if version_in_force(now) is None:
        raise RecordRefused(
            "The plant has not decided how long records are kept; the proposals of this program remove nothing. Have the rules "
            "approved first.",
            code="not_decided",
        )
    if row.until is None:
        raise RecordRefused(
            f"Batch {number}, or a batch it is reworked by, is not at its end.", code="not_ended"
        )
    if row.holds:
        raise RecordRefused(
            f"Batch {number} is under a legal hold: {'; '.join(row.holds)}. Nobody removes it.",
            code="legal_hold",
        )
    today = plant_day(now)
    if not row.is_past(today):
        raise RecordRefused(
            f"Batch {number} is kept {row.years} years, until {row.until}; today is {today}. It may go from "
            f"{row.until + timedelta(days=1)} on.",
            code="kept",
        )
    return row


def in_the_way(number: str, now: datetime) -> str:
    """The sentence of what stands in the way of purging a batch, "" for nothing."""
    try:
        refuse_purge(number, now)
    except RecordRefused as refusal:
        return refusal.message
    return ""


def purge_that_took(number: str) -> Purge | None:
    """The purge with this number, or the one that took the batch, deviation or paper form with it."""
    named = Q(number=number) | Q(batch_number=number) | Q(rows__number=number)
    return purges().filter(pk__in=Purge.objects.filter(named).values("pk")).first()


def purges() -> QuerySet[Purge]:
    """What was purged, newest first, with its people and the number of rows that went."""
    return Purge.objects.select_related(
        "purged_by", "confirmed_by", "signature", "confirmation_signature"
    ).annotate(row_count=Count("rows"))
