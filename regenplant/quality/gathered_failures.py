"""Failed and given-up batches: what is known of their cause, and where they gather beyond chance."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from django.db.models import QuerySet

from regenplant.batches.models import Batch, Deviation
from regenplant.core.process.shares import Share, share_of
from regenplant.quality.models import RinseOutcome
from regenplant.quality.rinse_series import PASS, Rinse, rinses
from regenplant.quality.yields import FEWEST_FOR_YIELD


@dataclass(frozen=True, slots=True)
class Failure:
    """A batch that failed or was given up, with what is known of its cause by now."""

    rinse: Rinse
    cause_category: str = ""
    """One of ``batches.causes.CAUSES``; "" while nobody said."""
    cause: str = ""
    reworked_by: str = ""
    """Number of the batch that reworks it."""


@dataclass(frozen=True, slots=True)
class FailureCount:
    """Failures of one lot, vessel or cause. ``share`` compares with all batches; None for causes, and while there are too few."""

    name: str
    failed: int
    batches: int | None
    share: Share | None = None

    @property
    def is_many(self) -> bool:
        """More than chance explains."""
        return self.share is not None and self.share.count > self.share.high


@dataclass(frozen=True, slots=True)
class Failures:
    """Failed and given-up batches of a window, and of how many batches they are."""

    lines: tuple[Failure, ...]
    """Newest first."""
    batches: int
    by_lot: tuple[FailureCount, ...] = ()
    by_chemical_lot: tuple[FailureCount, ...] = ()
    by_vessel: tuple[FailureCount, ...] = ()
    by_cause: tuple[FailureCount, ...] = ()
    vessels: tuple[str, ...] = field(default=())
    """Every vessel of the window, for the filter."""

    @property
    def gathered(self) -> tuple[FailureCount, ...]:
        """Where failures gather beyond chance."""
        groups = (self.by_lot, self.by_chemical_lot, self.by_vessel)
        return tuple(count for counts in groups for count in counts if count.is_many)


@dataclass(frozen=True, slots=True)
class Wanted:
    """What narrows the failures; empty means all."""

    family: str = ""
    vessel: str = ""
    cause: str = ""


def failures(start: datetime, end: datetime, wanted: Wanted = Wanted()) -> Failures:
    """Failed and given-up batches of the window with where they gather. Three queries."""
    window = RinseOutcome.objects.filter(ended_at__gte=start, ended_at__lt=end)
    every = rinses(window)
    found = [
        rinse
        for rinse in every
        if wanted.family in ("", rinse.family) and wanted.vessel in ("", rinse.vessel)
    ]
    bad = window.exclude(verdict=PASS)
    causes = _causes(bad)
    lines = [
        Failure(rinse, *causes.get(rinse.number, ("", "", "")))
        for rinse in reversed(found)
        if rinse.verdict != PASS
    ]
    if wanted.cause:
        lines = [line for line in lines if (line.cause_category or "unsaid") == wanted.cause]
    failed = [line.rinse for line in lines]
    by_cause = Counter(line.cause_category for line in lines)
    return Failures(
        lines=tuple(lines),
        batches=len(found),
        by_lot=_gathered(failed, found, lambda rinse: [rinse.line] if rinse.line else []),
        by_chemical_lot=_gathered(failed, found, lambda rinse: rinse.chemical_lots),
        by_vessel=_gathered(failed, found, lambda rinse: [rinse.vessel]),
        by_cause=tuple(FailureCount(name, count, None) for name, count in by_cause.most_common()),
        vessels=tuple(sorted({rinse.vessel for rinse in every})),
    )


def _gathered(
    failed: Sequence[Rinse], every: Sequence[Rinse], names: Callable[[Rinse], Iterable[str]]
) -> tuple[FailureCount, ...]:
    bad = Counter(name for rinse in failed for name in names(rinse))
    of_all = Counter(name for rinse in every for name in names(rinse))
    overall = len(failed) / len(every) if len(every) >= FEWEST_FOR_YIELD else None
    return tuple(
        FailureCount(
            name,
            count,
            of_all[name],
            share_of(count, of_all[name], overall) if overall is not None else None,
        )
        for name, count in sorted(bad.items(), key=lambda item: (-item[1], item[0]))
    )


def _causes(bad: QuerySet[RinseOutcome]) -> dict[str, tuple[str, str, str]]:
    """Kind of cause, cause in words and number of the rework, by the number of the failed batch. Two queries.

    What the rework says of its cause stands; else what was decided about the newest deviation that names one.
    """
    numbers = bad.values("number")
    found: dict[str, tuple[str, str, str]] = {}
    decided = Deviation.objects.filter(batch__number__in=numbers).exclude(cause_category="")
    for number, kind, words in decided.order_by("opened_at", "id").values_list(
        "batch__number", "cause_category", "cause"
    ):
        found[number] = (kind, words, "")
    reworks = Batch.objects.filter(parent__number__in=numbers).order_by("planned_at", "id")
    rows: Iterable[Any] = reworks.values_list(
        "parent__number", "rework_cause_category", "rework_cause", "number"
    )
    for number, kind, words, child in rows:
        before = found.get(number, ("", "", ""))
        found[number] = (kind or before[0], words or before[1], child)
    return found
