"""Trends as rows of tables: the rinses of a series, and yields."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from regenplant.quality.rinse_series import Rinse, Series
from regenplant.quality.yields import YieldLine
from regenplant.web.presenters.trends import family_short, figure, point_words


@dataclass(frozen=True, slots=True)
class RinseRow:
    """One rinse of a series in its table."""

    rinse: Rinse
    smooth: str
    says: str
    is_called: bool

    @classmethod
    def of(cls, one: Series, index: int) -> RinseRow:
        smooth = one.chart.smooth[index] if one.chart.smooth else None
        return cls(
            one.rinses[index],
            figure(smooth, one.measure) if smooth is not None else "",
            point_words(one, index),
            bool(one.chart.rules_at(index)),
        )


@dataclass(frozen=True, slots=True)
class YieldRow:
    """A yield in a table: name, counts, and the exact interval of its true value."""

    name: str
    of_all: str
    """ "43 of 44"."""
    yield_frac: float
    between: str
    is_low: bool


def yield_rows(
    lines: Sequence[YieldLine], *, are_families: bool = False, newest_first: bool = False
) -> list[YieldRow]:
    rows = [
        YieldRow(
            family_short(line.name) if are_families else line.name,
            f"{line.passed} of {line.batches}",
            line.yield_frac,
            _between(line),
            line.is_low,
        )
        for line in lines
    ]
    return rows[::-1] if newest_first else rows


def _between(line: YieldLine) -> str:
    if line.share is None:
        return ""
    low, high = line.share.interval
    return f"{100 * low:.0f} to {100 * high:.0f}"
