"""What a signed report of use says, gathered once and frozen: whole numbers as they stood, so that a reprint years later says the same."""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from datetime import date

from regenplant.core.process.canonical import canonical_text, digest
from regenplant.core.process.use_audit import Sums
from regenplant.plant.selectors import profile
from regenplant.use.naming import names_of
from regenplant.use.pricing import PriceList
from regenplant.use.selectors.audit import Group, as_line, audit, lines, outside_count
from regenplant.use.selectors.question import By, Question

MOST_OUTSIDE = 200
"""Batches beyond the watch level that a report names; of more it says how many."""
MOST_GROUPS = 200
NARROWING = ("chemical", "family", "segregation_class", "vessel", "shift", "customer", "resin_lot", "chemical_lot")  # fmt: skip


@dataclass(frozen=True, slots=True)
class ReportGroup:
    """One line of totals or groups."""

    key: str
    chemical: str
    sums: Sums


@dataclass(frozen=True, slots=True)
class ReportLine:
    """One chemical of one batch that lies beyond the watch level."""

    number: str
    day: str
    family: str
    vessel: str
    chemical: str
    sums: Sums


@dataclass(frozen=True, slots=True)
class ReportContent:
    """The whole report. Days are ISO dates, masses grams as 100 %, costs thousandths of the currency."""

    number: str
    plant: str
    zone: str
    first: str
    last: str
    by: str
    narrowed: tuple[tuple[str, str], ...]
    """Field of the question and its value."""
    batch_frac: float
    period_frac: float
    is_own_watch: bool
    currency: str
    totals: tuple[ReportGroup, ...]
    groups: tuple[ReportGroup, ...]
    groups_left_out: int
    outside: tuple[ReportLine, ...]
    outside_in_all: int
    made_by: str
    made_at: str
    remarks: str
    names: tuple[tuple[str, str], ...] = ()
    """How the groups were called then, by key; () in reports of an older program, which are called as they are called today."""


def mark_of(content: ReportContent) -> str:
    """What the page showed, as a digest without what signing adds: number, person, time and remarks."""
    return digest(canonical_text(replace(content, number="", made_by="", made_at="", remarks="")))


def report_content(question: Question) -> ReportContent:
    """The report of a period as it stands now, not yet numbered and signed. Raises: RecordRefused (``crossed.parts_of``)."""
    found, plant = audit(question), profile()
    largest = sorted(found.groups, key=lambda group: (-group.sums.used_grams, group.key))[:MOST_GROUPS]
    kept = set(map(id, largest))
    outside = lines(question, only_outside=True, watch=found.watch)[:MOST_OUTSIDE]
    return ReportContent(
        number="",
        plant=plant.name,
        zone=plant.time_zone,
        first=question.first.isoformat(),
        last=question.last.isoformat(),
        by=question.by.value,
        narrowed=tuple((name, value) for name in NARROWING if (value := getattr(question, name))),
        batch_frac=found.watch.batch_frac,
        period_frac=found.watch.period_frac,
        is_own_watch=found.watch.is_own,
        currency=PriceList().currency,
        totals=tuple(_group(total) for total in found.totals),
        groups=tuple(_group(group) for group in found.groups if id(group) in kept),
        groups_left_out=len(found.groups) - len(largest),
        outside=tuple(
            ReportLine(
                line.row.number, line.row.day.isoformat(), line.row.family, line.row.vessel, line.row.chemical, line.sums
            )
            for line in map(as_line, outside)
        ),
        outside_in_all=outside_count(question, found.watch),
        made_by="",
        made_at="",
        remarks="",
        names=tuple(sorted(names_of(question.by, (group.key for group in largest)).items())),
    )  # fmt: skip


def _group(group: Group) -> ReportGroup:
    return ReportGroup(group.key, group.chemical.value, group.sums)


def question_of(content: ReportContent) -> Question:
    """The question a report answers, to look at its period as it stands today."""
    known = {one.name for one in fields(Question)}
    return Question(
        date.fromisoformat(content.first),
        date.fromisoformat(content.last),
        By(content.by),
        **{name: value for name, value in content.narrowed if name in known},
    )


def group_names(content: ReportContent) -> dict[str, str]:
    """Names of the groups by key, as they were when the report was signed."""
    return dict(content.names) or names_of(By(content.by), (one.key for one in content.groups))
