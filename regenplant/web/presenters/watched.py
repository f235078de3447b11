"""The watched measures in words: what is beyond its level, what was compared, and the way to each."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from django.urls import reverse
from django.utils.http import urlencode

from regenplant import units
from regenplant.chemicals.counts import DayBalance
from regenplant.core.process.reconciliation import Verdict
from regenplant.core.process.watch_measures import level_said, said
from regenplant.use.naming import names_of
from regenplant.use.selectors.question import NONE_ON_RECORD
from regenplant.use.selectors.watched import Figure, Found, UseBeyond
from regenplant.use.watching import Watch
from regenplant.web.presenters.chemical_use import Period
from regenplant.web.presenters.words import counted, sentence_case
from regenplant.web.templatetags.quantities import signed_percent

MOST_LINES = 12
"""Lines of one measure on the page, the worst first."""
OF_WHAT = {"resin lot": "rinses or batches", "batch": "rinses of its lot"}


@dataclass(frozen=True, slots=True)
class WatchedLine:
    """One thing beyond a level."""

    kind: str
    name: str
    figure: str
    of: str
    url: str


@dataclass(frozen=True, slots=True)
class WatchedBlock:
    """One measure: its level, what lies beyond it, and how much was compared."""

    name: str
    how: str
    level: str
    source: str
    lines: tuple[WatchedLine, ...]
    beyond: int
    compared: str
    worst: str
    level_url: str
    level_words: str
    note: str = ""

    @property
    def left_out(self) -> int:
        return self.beyond - len(self.lines)


def blocks(
    found: Sequence[Found],
    use: UseBeyond,
    watch: Watch,
    gaps: Sequence[DayBalance],
    period: Period,
    system: units.UnitSystem,
) -> list[WatchedBlock]:
    """Every measure, in the order a supervisor reads them."""
    return [_use_block(use, watch, period), _gap_block(gaps, period, system), *(_block(one) for one in found)]


def opening(made: Sequence[WatchedBlock], period: Period) -> str:
    """ "3 of 14 watch levels are passed this week."."""
    passed = sum(bool(block.beyond) for block in made)
    if not passed:
        return f"No watch level is passed {period.words}, of {counted(len(made), 'measure', 'measures')}."
    verb = "is" if passed == 1 else "are"
    return f"{passed} of {len(made)} watch levels {verb} passed {period.words}."


# --- the measures beside the use ----------------------------------------------------------------------------------------
def _block(found: Found) -> WatchedBlock:
    measure = found.watched.measure
    source = (
        f"the plant’s own, {found.own.recorded_by.full_name}: {found.own.reason}"
        if found.own
        else "common practice, not a limit"
        if measure.is_practice
        else "a proposal of this program"
    )
    worst = found.figures[0] if found.figures else None
    return WatchedBlock(
        measure.name,
        measure.how,
        level_said(measure, found.level),
        source,
        tuple(_line(found, one) for one in found.beyond[:MOST_LINES]),
        len(found.beyond),
        counted(len(found.figures), "figure", "figures") if found.figures else "nothing to compare",
        f"{said(measure, worst.value)} ({worst.name})" if worst else "",
        reverse("use-watch-measure", args=[found.watched.value]),
        "Set the level",
        found.note,
    )


def _line(found: Found, one: Figure) -> WatchedLine:
    return WatchedLine(
        sentence_case(one.kind) if one.kind else "Whole",
        one.name,
        said(found.watched.measure, one.value),
        str(one.count),
        _way(one),
    )


def _way(one: Figure) -> str:
    if one.kind == "resin lot":
        return reverse("trends-lot", args=[one.key])
    if one.kind == "batch":
        return reverse("batches-detail", args=[one.key])
    if one.kind == "chemical lot":
        return reverse("chemicals-lot", args=[one.key])
    if one.kind == "vessel":
        return f"{reverse('trends-failures')}?{urlencode({'vessel': one.key})}"
    if one.kind == "resin family":
        return f"{reverse('trends-failures')}?{urlencode({'family': one.key})}"
    if one.kind == "customer":
        return reverse("customers-lots", args=[one.key])
    return {
        "instruments": reverse("setup-instruments"),
        "stations": reverse("safety-washing"),
        "excursions": reverse("waste-excursions"),
    }.get(one.kind, "")


# --- use and stock ------------------------------------------------------------------------------------------------------
def _use_block(use: UseBeyond, watch: Watch, period: Period) -> WatchedBlock:
    days = {"first": period.first.isoformat(), "last": period.last.isoformat()}
    lines = []
    if use.outside:
        lines.append(
            WatchedLine(
                "Batches",
                f"outside ±{100 * watch.batch_frac:g} %",
                str(use.outside),
                str(use.lines),
                f"{reverse('chemical-use')}?{urlencode({**days, 'only': 'outside'})}#s-batches",
            )
        )
    for by, group in use.groups[: MOST_LINES - len(lines)]:
        narrow = {by.value: group.key or NONE_ON_RECORD, "chemical": group.chemical.value}
        lines.append(
            WatchedLine(
                sentence_case(by.label),
                f"{names_of(by, [group.key])[group.key]}, {group.chemical.formula}",
                signed_percent(group.sums.variance_frac or 0.0),
                str(group.sums.batches),
                f"{reverse('chemical-use')}?{urlencode({**days, **narrow})}#s-batches",
            )
        )
    return WatchedBlock(
        "Chemicals used against the plan",
        "Of each batch, and of each family, vessel, customer, resin lot and chemical lot over the period.",
        f"±{100 * watch.batch_frac:g} % for a batch, ±{100 * watch.period_frac:g} % for a group",
        "the plant’s own" if watch.is_own else "common practice, not a limit",
        tuple(lines),
        len(use.groups) + bool(use.outside),
        f"{counted(use.lines, 'line', 'lines')}, {counted(use.counted, 'group', 'groups')}",
        lines[bool(use.outside)].figure if use.groups else "",
        reverse("use-watch-levels"),
        "Set the levels",
    )


def _gap_block(gaps: Sequence[DayBalance], period: Period, system: units.UnitSystem) -> WatchedBlock:
    off = [one for one in gaps if one.balance.verdict is Verdict.ABOVE]
    off.sort(key=lambda one: -abs(one.balance.gap_kg))
    lines = tuple(
        WatchedLine(
            "Tank",
            f"{one.place.code}, {one.day.isoformat()}",
            units.format_quantity(one.balance.gap_kg, "mass", system),
            f"{one.days} d",
            reverse("chemicals-count", args=[one.closing.number]),
        )
        for one in off[:MOST_LINES]
    )
    return WatchedBlock(
        "Stock: opening + received − used − closing",
        "From count to count of each tank, against the larger of a share of the use and a volume, beyond what the gauge may be off.",
        "by the plant’s limits for stock",
        "in the limits that two people approve",
        lines,
        len(off),
        counted(len(gaps), "balance", "balances"),
        lines[0].figure if lines else "",
        reverse("setup-limits"),
        "See the limits",
    )
