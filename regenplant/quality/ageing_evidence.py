"""What the plant's own record says of the capacity of a lot: laboratory tests, rinses, loads, each as a piece of evidence with words."""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from regenplant.core.process.resin_ageing import (
    Belief,
    Curve,
    Evidence,
    Part,
    from_load,
    from_rinse,
    from_test,
    learned_slope,
    prior,
    stands_apart,
)
from regenplant.core.process.resin_tests import METHOD_SD_FRAC, Property
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.quality.ageing_lines import YEAR, Line
from regenplant.quality.models import ResinFigure
from regenplant.quality.rinse_series import Rinse, Series

LOAD_SD_FRAC = 0.10
"""A load by water meter and feed analysis: common practice; the customer's own water may differ from the analysis."""
LOADS_FROM = timedelta(days=365)
"""Loads older than this say little of today; this program's choice."""
LOAD_LOW, LOAD_HIGH = 0.02, 1.5
"""A load outside these shares of new is a slip of the throughput or other water; shown, and not counted. This program's choice."""
LAST_RINSES = 5
"""So many of the newest rinses say where a line stands; this program's choice."""
LEAST_SHARE = 0.5
"""A sample of resin that makes up less than half of the lot now says too little of it; this program's choice."""


@dataclass(frozen=True, slots=True)
class Piece:
    """One piece of evidence, used or not. ``page``: what it leads to, as (kind, key); kinds are "sample", "trend", "batch"."""

    evidence: Evidence | None
    what: str
    is_used: bool
    why_not: str = ""
    page: tuple[str, str] = ("", "")
    is_apart: bool = False
    """Whether it lies far from what was expected."""


def at(parts: Sequence[Part], moment: datetime, now: datetime) -> tuple[Part, ...]:
    """The parts as old as they were then; what had not come yet counts as new."""
    back = max(0.0, (now - moment) / YEAR)
    return tuple(
        Part(
            part.share_frac,
            None if part.age_years is None else max(0.0, part.age_years - back),
            part.is_at_least,
        )
        for part in parts
    )


# --- laboratory ------------------------------------------------------------------------------------------------------------
def of_tests(
    figures: Iterable[ResinFigure],
    line: Line,
    family: ResinFamily,
    curve: Curve,
    before: Belief,
    now: datetime,
) -> list[Piece]:
    """Capacity tests of the lot and of lots it was made from, newest of each property first."""
    rows = [row for row in figures if Property(row.property).is_capacity]
    rows.sort(key=lambda row: (row.sample.taken_at, row.pk), reverse=True)
    has_splitting = any(row.property == Property.SALT_SPLITTING for row in rows)
    found: list[Piece] = []
    used: set[str] = set()
    for row in rows:
        about = Property(row.property)
        share = line.shares.get(row.sample.lot_id, 0.0)
        what = _test_words(row, about, share)
        why_not = _why_not(
            row, about, family, share, has_splitting=has_splitting, is_newest=about not in used
        )
        if why_not or row.new_value is None:
            found.append(
                Piece(None, what, is_used=False, why_not=why_not, page=("sample", row.sample.number))
            )
            continue
        used.add(about)
        then = prior(curve, at(line.parts(now), row.sample.taken_at, now))
        piece = from_test(
            row.sample.number, row.value, row.new_value, row.sd_frac or METHOD_SD_FRAC,
            share_frac=min(1.0, share), then=then, now=before,
        )  # fmt: skip
        found.append(
            Piece(
                piece,
                what,
                is_used=True,
                page=("sample", row.sample.number),
                is_apart=stands_apart(piece, before),
            )
        )
    return found


def _test_words(row: ResinFigure, about: Property, share: float) -> str:
    """ "Salt splitting, 82 % of new, sampled 2026-02-03 (78 % of this resin)"."""
    ratio = f", {row.value / row.new_value:.0%} of new" if row.new_value else ""
    of = "" if share > 0.995 else f"; {share:.0%} of this lot is that resin"
    return f"{about.label}{ratio}, sampled {row.sample.taken_at:%Y-%m-%d}{of}"


def _why_not(
    row: ResinFigure,
    about: Property,
    family: ResinFamily,
    share: float,
    *,
    has_splitting: bool,
    is_newest: bool,
) -> str:
    """Why a capacity test is not counted; "" where it is."""
    if row.new_value is None:
        return "the figure of new resin is not known"
    if not is_newest:
        return "a newer test stands in its place"
    if share < LEAST_SHARE:
        return "less than half of this lot is the resin that was sampled"
    strong_base = family.is_anion and family is not ResinFamily.WBA
    if about is Property.TOTAL_CAPACITY and (strong_base or has_splitting):
        return (
            "salt splitting counts, total capacity does not tell strong base from weak"
            if strong_base
            else "salt splitting counts in its place"
        )
    return ""


# --- rinses ----------------------------------------------------------------------------------------------------------------
def of_rinses(
    series: Series | None, line: Line, curve: Curve, before: Belief, now: datetime, slope: tuple[float, float]
) -> list[Piece]:
    """The rise of the rinse of anion resin; of cation resin it is a sign of fouling and says nothing of capacity."""
    if series is None:
        return []
    rise = rise_of(series, now)
    page = ("trend", series.line)
    if rise is None or series.limits is None:
        return [
            Piece(
                None,
                f"Rinses by {series.recipe}: too few yet",
                is_used=False,
                why_not="a line needs eight",
                page=page,
            )
        ]
    what = f"Rinses by {series.recipe} stand {'+' if rise >= 0 else '−'}{abs(rise):.0%} against the first {series.limits.count}"
    if curve is Curve.CATION:
        return [
            Piece(
                None,
                what,
                is_used=False,
                why_not="of cation resin a sign of fouling, no measure of capacity",
                page=page,
            )
        ]
    counted = _counted(series)[: series.limits.count]
    first = prior(curve, at(line.parts(now), counted[-1].ended_at, now)) if counted else before
    piece = from_rinse("rinses", min(10.0, max(-0.9, rise)), first, *slope)
    return [Piece(piece, what, is_used=True, page=page, is_apart=stands_apart(piece, before))]


def slope_of(
    curve: Curve, tested: Iterable[tuple[Line, ResinFigure, Series | None]], but: str, now: datetime
) -> tuple[float, float]:
    """Loss of capacity for each share that the rinse rises, from salt-splitting tests of other lines than ``but``."""
    pairs = []
    for line, row, series in tested:
        if series is None or series.line == but or series.limits is None or not row.new_value:
            continue
        rise = rise_of(series, row.sample.taken_at)
        counted = _counted(series)
        if rise is None or not counted:
            continue
        first = prior(curve, at(line.parts(now), counted[0].ended_at, now))
        pairs.append((rise, 1.0 - row.value / row.new_value / first.mean))
    return learned_slope(pairs)


def rise_of(series: Series, until: datetime) -> float | None:
    """Median of the last rinses up to a moment over the mean of the first ones, less 1; None where there are too few.

    The weighted mean of the chart would say too little: it takes a jump for no more than the upper limit.
    """
    limits = series.limits
    volumes = [
        one.rinsed_bv for one in _counted(series) if one.ended_at <= until and one.rinsed_bv is not None
    ]
    if limits is None or limits.centre <= 0.0 or len(volumes) < limits.count:
        return None
    return statistics.median(volumes[-LAST_RINSES:]) / limits.centre - 1.0


def _counted(series: Series) -> list[Rinse]:
    return [one for one in series.rinses if one.is_reached and not one.is_rework]


# --- loads -----------------------------------------------------------------------------------------------------------------
def of_loads(rinses: Iterable[Rinse], before: Belief, now: datetime) -> list[Piece]:
    """Loads the line took in the last year: those of exhausted tanks together as one measure, of the others the largest as a bound.

    All of them rest on the same meter and analysis, so that many say hardly more than one.
    """
    rows = [one for one in rinses if one.load_frac is not None and one.ended_at >= now - LOADS_FROM]
    odd = [one for one in rows if not LOAD_LOW <= (one.load_frac or 0.0) <= LOAD_HIGH]
    rows = [one for one in rows if one not in odd]
    found: list[Piece] = []
    whole = [one for one in rows if one.is_load_whole]
    if whole:
        mean = sum(one.load_frac or 0.0 for one in whole) / len(whole)
        piece = from_load("loads", mean, 1.0, LOAD_SD_FRAC, was_exhausted=True)
        what = f"{len(whole)} exhausted batch{'es' if len(whole) != 1 else ''} of the last year took {mean:.0%} of what new resin takes"
        found.append(
            Piece(
                piece,
                what,
                is_used=True,
                page=("batch", whole[-1].number),
                is_apart=stands_apart(piece, before),
            )
        )
    part = [one for one in rows if not one.is_load_whole]
    if part:
        most = max(part, key=lambda one: one.load_frac or 0.0)
        piece = from_load("load_at_least", most.load_frac or 0.0, 1.0, LOAD_SD_FRAC, was_exhausted=False)
        what = f"Batch {most.number} took {most.load_frac:.0%} of what new resin takes, and was not exhausted: at least so much"
        found.append(
            Piece(
                piece, what, is_used=True, page=("batch", most.number), is_apart=stands_apart(piece, before)
            )
        )
    for one in odd:
        found.append(
            Piece(
                None,
                f"Batch {one.number} took {one.load_frac:.0%} of what new resin takes",
                is_used=False,
                why_not="this cannot be: look at the throughput and the feed",
                page=("batch", one.number),
            )
        )
    return found
