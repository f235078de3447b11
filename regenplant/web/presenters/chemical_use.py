"""The audit of use in words and drawings: the period, the opening sentence, groups and batches against their plan."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo
from enum import StrEnum

from regenplant import units
from regenplant.core.process.use_audit import Sums
from regenplant.core.process.vocabulary import Chemical
from regenplant.drawing.against_plan import MOST, AgainstPlan, against_plan
from regenplant.drawing.scene import Scene
from regenplant.use.naming import chart_name
from regenplant.use.selectors import NONE_ON_RECORD, Audit, By, Group, UseLine
from regenplant.use.watching import Watch
from regenplant.web.drawing.dots import BatchDose, dots_on_plan
from regenplant.web.presenters.words import counted, joined, monday_of, sentence_case

SHORT = {
    Chemical.HYDROCHLORIC_ACID: "acid",
    Chemical.SULFURIC_ACID: "sulfuric acid",
    Chemical.SODIUM_HYDROXIDE: "caustic",
    Chemical.SODIUM_CARBONATE: "soda ash",
    Chemical.AMMONIA: "ammonia",
    Chemical.SODIUM_CHLORIDE: "salt",
    Chemical.SODIUM_DITHIONITE: "dithionite",
    Chemical.SODIUM_HYPOCHLORITE: "hypochlorite",
    Chemical.PERACETIC_ACID: "peracetic acid",
}
"""What people on the floor call a chemical."""


class PeriodName(StrEnum):
    THIS_WEEK = "this_week"
    LAST_WEEK = "last_week"
    LAST_30_DAYS = "30_days"
    LAST_MONTH = "last_month"
    YEAR = "year"
    DATES = "dates"

    @property
    def label(self) -> str:
        return _LABELS[self]


_LABELS = {
    PeriodName.THIS_WEEK: "This week",
    PeriodName.LAST_WEEK: "Last week",
    PeriodName.LAST_30_DAYS: "30 days",
    PeriodName.LAST_MONTH: "Last month",
    PeriodName.YEAR: "12 months",
    PeriodName.DATES: "Dates",
}
_WORDS = {
    PeriodName.THIS_WEEK: "this week",
    PeriodName.LAST_WEEK: "last week",
    PeriodName.LAST_30_DAYS: "in the last 30 days",
    PeriodName.LAST_MONTH: "last month",
    PeriodName.YEAR: "in the last 12 months",
}


@dataclass(frozen=True, slots=True)
class Period:
    """Whole days at the plant, both counted in."""

    name: PeriodName
    first: date
    last: date

    @property
    def words(self) -> str:
        """ "this week", "from 2026-03-02 to 2026-03-08"."""
        if self.name is PeriodName.DATES:
            if self.first == self.last:
                return f"on {self.first.isoformat()}"
            return f"from {self.first.isoformat()} to {self.last.isoformat()}"
        return _WORDS[self.name]

    def bounds(self, zone: tzinfo) -> tuple[datetime, datetime]:
        """From the first midnight up to, not including, the midnight after the last day."""
        return (
            datetime.combine(self.first, time(), zone),
            datetime.combine(self.last + timedelta(days=1), time(), zone),
        )


def period_named(name: PeriodName, today: date) -> Period:
    """A period that ends with ``today``, with last week's Sunday or with the last day of last month. ``DATES`` alone is today."""
    monday, month = monday_of(today), today.replace(day=1)
    end_of_last = month - timedelta(days=1)
    first, last = {
        PeriodName.THIS_WEEK: (monday, today),
        PeriodName.LAST_WEEK: (monday - timedelta(days=7), monday - timedelta(days=1)),
        PeriodName.LAST_30_DAYS: (today - timedelta(days=29), today),
        PeriodName.LAST_MONTH: (end_of_last.replace(day=1), end_of_last),
        PeriodName.YEAR: (month.replace(year=month.year - 1), today),
        PeriodName.DATES: (today, today),
    }[name]
    return Period(name, first, last)


# --- sentences ------------------------------------------------------------------------------------------------------
def opening_sentence(found: Audit, outside: int, period: Period) -> str:
    """ "Acid 3.2 % over plan this week; one batch is outside ±5 %."."""
    if not found.totals:
        return f"No batch took a chemical {period.words}."
    parts = joined(f"{SHORT[total.chemical]} {_against_plan(total.sums)}" for total in found.totals)
    verb = "is" if outside == 1 else "are"
    band = f"±{100 * found.watch.batch_frac:g}{units.NO_BREAK_SPACE}%"
    tail = (
        f"{counted(outside, 'batch', 'batches')} {verb} outside {band}"
        if outside
        else f"every batch is inside {band}"
    )
    return f"{sentence_case(parts)} {period.words}; {tail}."


def _against_plan(sums: Sums) -> str:
    if sums.variance_frac is None:
        return "without a plan"
    percent = 100 * sums.variance_frac
    text = f"{abs(percent):.1f}"
    if text == "0.0":
        return "as planned"
    return f"{text}{units.NO_BREAK_SPACE}% {'over' if percent > 0 else 'under'} plan"


def is_off(sums: Sums, watch: Watch) -> bool:
    """Beyond the watch level of a period."""
    return sums.variance_frac is not None and abs(sums.variance_frac) > watch.period_frac


def watch_sentence(watch: Watch) -> str:
    """What the watch levels are and where they come from."""
    levels = (
        f"Watch levels: ±{100 * watch.batch_frac:g} % for a batch, ±{100 * watch.period_frac:g} % for a group over a period; shifts begin "
        f"at {', '.join(watch.shifts)}."
    )
    own = "The plant’s own." if watch.is_own else "Common practice, not a limit of the process."
    return f"{levels} {own}"


def table_caption(period: Period, lines: Sequence[UseLine]) -> str:
    """What the table lists, with its spread on this page."""
    said = f"Chemicals as 100 %, per batch, {period.words}"
    shares = [100 * line.variance_frac for line in lines if line.variance_frac is not None]
    if not shares:
        return f"{said}."
    low, high = (f"{share:+.1f}".replace("-", units.MINUS) for share in (min(shares), max(shares)))
    return f"{said}; used minus plan from {low} to {high} % on this page."


# --- drawings -------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class UseChart:
    """One drawing of one chemical."""

    chemical: Chemical
    title: str
    caption: str
    scene: Scene


def group_charts(found: Audit, names: Mapping[str, str]) -> tuple[UseChart, ...]:
    """Of each chemical its groups against their plan, those that used most first; of one group alone the table says all. By time the order
    of time stays."""
    charts = []
    for total in found.totals:
        own = [
            group
            for group in found.groups
            if group.chemical is total.chemical and group.sums.variance_frac is not None
        ]
        if len(own) < 2:
            continue
        is_time = found.question.by is By.TIME
        shown = own if is_time else sorted(own, key=lambda group: (-group.sums.used_grams, group.key))
        marks = [
            AgainstPlan(chart_name(found.question.by, group.key, names), group.sums.variance_frac or 0.0)
            for group in shown
        ]
        left = (
            f"; the {'newest' if is_time else 'largest'} {len(shown)}"
            if found.left_out and len(shown) == MOST
            else ""
        )
        charts.append(
            UseChart(
                total.chemical,
                total.chemical.label,
                f"used against plan, by {found.question.by.label}, band ±{100 * found.watch.period_frac:g}{units.NO_BREAK_SPACE}%{left}",
                against_plan(marks, title=total.chemical.label, band_frac=found.watch.period_frac),
            )
        )
    return tuple(charts)


def dose_charts(lines: Sequence[UseLine], watch: Watch, system: str) -> tuple[UseChart, ...]:
    """One drawing for each chemical of the batches listed on this page, from the oldest on."""
    charts = []
    for chemical in Chemical:
        own = [line for line in reversed(lines) if line.chemical is chemical]
        doses = [
            BatchDose(line.row.number, line.sums.planned_kg_per_m3, line.sums.used_kg_per_m3)
            for line in own
            if line.sums.planned_kg_per_m3 and line.sums.used_kg_per_m3 is not None
        ]
        if doses:
            scene = dots_on_plan(
                doses,
                title=f"{chemical.label} as 100 % per resin volume",
                band_frac=watch.batch_frac,
                system=system,
            )
            unit = units.unit_text("dose", system)
            caption = f"{unit} as 100 % {chemical.formula} per resin as loaded, the batches listed below, oldest left"
            charts.append(UseChart(chemical, chemical.label, caption, scene))
    return tuple(charts)


def cost_words(sums: Sums, currency: str) -> str:
    """ "1 240.50 EUR"; how much of the mass has a price where not all has; "" without any."""
    if not currency or not sums.priced_grams:
        return ""
    said = f"{sums.cost_milli / 1000:,.2f}".replace(",", units.NO_BREAK_SPACE)
    part = (
        f", {100 * sums.priced_grams / sums.used_grams:.0f} % priced"
        if sums.priced_grams < sums.used_grams
        else ""
    )
    return f"{said}{units.NO_BREAK_SPACE}{currency}{part}"


def group_query(question_by: By, group: Group) -> dict[str, str]:
    """What narrows the page to this group: its own field and its chemical."""
    if question_by is By.TIME:
        return {"chemical": group.chemical.value, **_days(group.key)}
    return {"chemical": group.chemical.value, question_by.value: group.key or NONE_ON_RECORD}


def _days(key: str) -> dict[str, str]:
    if len(key) == 7:
        first = date.fromisoformat(f"{key}-01")
        last = (first.replace(day=28) + timedelta(days=4)).replace(day=1) - timedelta(days=1)
        return {"first": first.isoformat(), "last": last.isoformat()}
    return {"first": key, "last": key}
