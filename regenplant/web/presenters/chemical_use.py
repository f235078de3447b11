"""Chemical use in words and drawings: the period, the opening sentence, the dots on plan."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, tzinfo
from enum import StrEnum

from regenplant import units
from regenplant.batches.selectors.use import (
    WATCH_BATCH_FRAC,
    WATCH_PERIOD_FRAC,
    ChemicalUse,
    UseLine,
    UseTotal,
)
from regenplant.core.process.vocabulary import Chemical
from regenplant.drawing.scene import Scene
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
    DATES = "dates"

    @property
    def label(self) -> str:
        return {"this_week": "This week", "last_week": "Last week", "30_days": "30 days", "dates": "Dates"}[
            self
        ]


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
        return {"this_week": "this week", "last_week": "last week", "30_days": "in the last 30 days"}[
            self.name
        ]

    def bounds(self, zone: tzinfo) -> tuple[datetime, datetime]:
        """From the first midnight up to, not including, the midnight after the last day."""
        return (
            datetime.combine(self.first, time(), zone),
            datetime.combine(self.last + timedelta(days=1), time(), zone),
        )


def period_named(name: PeriodName, today: date) -> Period:
    """A period that ends with ``today`` or with last week's Sunday. ``DATES`` alone is today."""
    monday = monday_of(today)
    first, last = {
        PeriodName.THIS_WEEK: (monday, today),
        PeriodName.LAST_WEEK: (monday - timedelta(days=7), monday - timedelta(days=1)),
        PeriodName.LAST_30_DAYS: (today - timedelta(days=29), today),
        PeriodName.DATES: (today, today),
    }[name]
    return Period(name, first, last)


# --- sentences ------------------------------------------------------------------------------------------------------
def opening_sentence(use: ChemicalUse, period: Period) -> str:
    """ "Acid 3.2 % over plan this week; one batch is outside ±5 %."."""
    if not use.lines:
        return f"No batch took a chemical {period.words}."
    parts = joined(f"{SHORT[total.chemical]} {_against_plan(total)}" for total in use.by_chemical)
    outside = len(use.outside)
    verb = "is" if outside == 1 else "are"
    band = f"±{100 * WATCH_BATCH_FRAC:g}{units.NO_BREAK_SPACE}%"
    tail = (
        f"{counted(outside, 'batch', 'batches')} {verb} outside {band}"
        if outside
        else f"every batch is inside {band}"
    )
    return f"{sentence_case(parts)} {period.words}; {tail}."


def _against_plan(total: UseTotal) -> str:
    percent = 100 * total.variance_frac
    text = f"{abs(percent):.1f}"
    if text == "0.0":
        return "as planned"
    return f"{text}{units.NO_BREAK_SPACE}% {'over' if percent > 0 else 'under'} plan"


def chart_caption(chemical: Chemical) -> str:
    """What the axis of the dots counts."""
    return f"as 100 % {chemical.formula} per resin volume, oldest left"


def total_is_off(total: UseTotal) -> bool:
    """Beyond the watch level of a period."""
    return abs(total.variance_frac) > WATCH_PERIOD_FRAC


def watch_sentence() -> str:
    """Where the watch levels come from."""
    batch, week = 100 * WATCH_BATCH_FRAC, 100 * WATCH_PERIOD_FRAC
    return f"Watch levels: ±{batch:g} % for a batch, ±{week:g} % for a week. Common practice, not a limit of the process."


def table_caption(period: Period, lines: Sequence[UseLine]) -> str:
    """What the table lists, with its spread."""
    said = f"Chemicals as 100 %, per batch, {period.words}"
    if not lines:
        return f"{said}."
    shares = [100 * line.variance_frac for line in lines]
    low, high = (f"{share:+.1f}".replace("-", units.MINUS) for share in (min(shares), max(shares)))
    return f"{said}; used minus plan from {low} to {high} %."


# --- drawings -------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class DoseChart:
    """The dots of one chemical."""

    chemical: Chemical
    title: str
    caption: str
    scene: Scene


def dose_charts(use: ChemicalUse, system: str) -> tuple[DoseChart, ...]:
    """One drawing for each chemical, its batches from the oldest on."""
    return tuple(_dose_chart(total.chemical, use.lines, system) for total in use.by_chemical)


def _dose_chart(chemical: Chemical, lines: Sequence[UseLine], system: str) -> DoseChart:
    own = [line for line in reversed(lines) if line.chemical is chemical]
    doses = [BatchDose(line.batch.number, line.planned_kg_per_m3, line.used_kg_per_m3) for line in own]
    title = f"{chemical.label} as 100 % per resin volume"
    unit = units.unit_text("dose", system)
    scene = dots_on_plan(doses, title=title, band_frac=WATCH_BATCH_FRAC, system=system)
    return DoseChart(chemical, chemical.label, f"{unit} {chart_caption(chemical)}", scene)
