"""A period of the audit: groups by any one thing, and the batches behind them.

Whole months come from the sums that stand beforehand (``UseMonth``), the days before and after them from the batches: both are whole
numbers of the same rows, so that it makes no difference where they come from (``tests/use/test_sums_are_the_detail.py``).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import date, timedelta
from enum import StrEnum
from typing import Any

from django.db.models import F, Q, QuerySet, Sum
from django.db.models.functions import Abs

from regenplant.core.errors import RecordRefused
from regenplant.core.process.use_audit import NAMES, VARIANCE_STEP, Sums, summed
from regenplant.core.process.vocabulary import Chemical
from regenplant.use.models import UseMonth, UseRow, UseShare
from regenplant.use.watching import Watch, watch_now

LONGEST_BY_DAYS = 62
"""Days up to which a period is divided into days; a longer one into months."""


class By(StrEnum):
    """What the groups are."""

    FAMILY = "family"
    VESSEL = "vessel"
    CLASS = "segregation_class"
    SHIFT = "shift"
    CUSTOMER = "customer"
    RESIN_LOT = "resin_lot"
    CHEMICAL_LOT = "chemical_lot"
    TIME = "time"

    @property
    def label(self) -> str:
        return {
            "family": "resin family",
            "vessel": "vessel",
            "segregation_class": "segregation class",
            "shift": "shift",
            "customer": "customer",
            "resin_lot": "resin lot",
            "chemical_lot": "chemical lot",
            "time": "day or month",
        }[self.value]

    @property
    def is_shared(self) -> bool:
        """Whether a batch is divided among several of them, by volume or mass."""
        return self.value in UseShare.Kind.values


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked: whole days at the plant, both counted in, and what narrows it; "" narrows nothing."""

    first: date
    last: date
    by: By = By.FAMILY
    chemical: str = ""
    family: str = ""
    segregation_class: str = ""
    vessel: str = ""
    shift: str = ""
    customer: str = ""
    resin_lot: str = ""
    chemical_lot: str = ""

    @property
    def narrowed(self) -> tuple[tuple[str, str], ...]:
        """Kind and code of each share that is asked for."""
        pairs = ((kind, str(getattr(self, kind))) for kind in UseShare.Kind.values)
        return tuple((kind, code) for kind, code in pairs if code)

    @property
    def share_kind(self) -> str:
        """The kind of share that is summed; "" for whole batches.

        Raises: RecordRefused where two kinds meet: what one customer's resin took of one lot is not kept.
        """
        kinds = {kind for kind, _ in self.narrowed} | ({self.by.value} if self.by.is_shared else set())
        if len(kinds) > 1:
            names = " and ".join(sorted(By(kind).label for kind in kinds))
            raise RecordRefused(
                f"Shares by {names} are kept each for itself, not together. Choose one of them, or look at the batches.",
                field="by",
                code="two_shares",
            )
        return kinds.pop() if kinds else ""

    @property
    def is_by_days(self) -> bool:
        """Whether the period is divided into days, where it is divided by time."""
        return (self.last - self.first).days < LONGEST_BY_DAYS


@dataclass(frozen=True, slots=True)
class Group:
    """One chemical of one group; ``key`` is its code, a day or a month."""

    key: str
    chemical: Chemical
    sums: Sums

    @property
    def has_theory(self) -> bool:
        return self.sums.theory_grams > 0


@dataclass(frozen=True, slots=True)
class Audit:
    """The answer: groups in order, and the whole of each chemical."""

    question: Question
    watch: Watch
    groups: tuple[Group, ...]
    totals: tuple[Group, ...]
    """One for each chemical, with "" as its key. Of shares too: they add up to it."""

    @property
    def batches(self) -> int:
        return sum(total.sums.batches for total in self.totals)


@dataclass(frozen=True, slots=True)
class UseLine:
    """One chemical of one batch; ``sums`` are its part where a customer or a lot is asked for, else the whole."""

    row: UseRow
    sums: Sums
    is_part: bool = False

    @property
    def chemical(self) -> Chemical:
        return Chemical(self.row.chemical)

    @property
    def variance_frac(self) -> float | None:
        """Of the batch; a part has the variance of its whole."""
        return self.sums.mean_variance_frac

    @property
    def difference_grams(self) -> int:
        """Used minus planned."""
        return self.sums.used_grams - self.sums.planned_grams

    def is_outside(self, watch: Watch) -> bool:
        """Beyond the watch level of a batch."""
        return self.variance_frac is not None and abs(self.variance_frac) > watch.batch_frac


@dataclass(slots=True)
class _Found:
    by_key: dict[tuple[str, str], Sums] = field(default_factory=dict)

    def add(self, rows: Iterable[dict[str, Any]]) -> None:
        for row in rows:
            key = (str(row["group"]), row["of"])
            sums = Sums(*(int(row[f"sum_{name}"]) for name in NAMES))
            self.by_key[key] = self.by_key.get(key, Sums()) + sums


def audit(question: Question) -> Audit:
    """Groups and totals of a period. At most five queries, whatever the number of batches.

    Raises: RecordRefused (``Question.share_kind``).
    """
    order = list(Chemical)
    groups = sorted(
        (Group(key, Chemical(value), sums) for (key, value), sums in _grouped(question, question.by).items()),
        key=lambda group: (order.index(group.chemical), group.key),
    )
    return Audit(question, watch_now(), tuple(groups), tuple(_totals(question, groups)))


def _totals(question: Question, groups: list[Group]) -> Iterable[Group]:
    """Of whole batches the sum of the groups; of shares read once more from the batches, as a batch stands in several groups."""
    if question.by.is_shared and not question.narrowed:
        whole = Question(
            **{
                name: getattr(question, name)
                for name in Question.__dataclass_fields__
                if name not in ("by", *UseShare.Kind.values)
            }
        )
        groups = [
            Group(key, Chemical(value), sums) for (key, value), sums in _grouped(whole, By.FAMILY).items()
        ]
    for chemical in Chemical:
        own = [group.sums for group in groups if group.chemical is chemical]
        if own:
            yield Group("", chemical, summed(own))


def _grouped(question: Question, by: By) -> dict[tuple[str, str], Sums]:
    """Sums by key and chemical."""
    kind = question.share_kind
    found = _Found()
    months = _whole_months(question) if _has_months(question, by, kind) else None
    if months is None:
        found.add(_detail(question, by, kind, question.first, question.last))
    else:
        begin, end = months
        if question.first < begin:
            found.add(_detail(question, by, kind, question.first, begin - timedelta(days=1)))
        found.add(_months(question, by, kind, begin, end))
        if end <= question.last:
            found.add(_detail(question, by, kind, end, question.last))
    return found.by_key


def _has_months(question: Question, by: By, kind: str) -> bool:
    """Whether the months know what is asked: of shares only chemical and family, of resin lots nothing, and no single days."""
    if kind == UseShare.Kind.RESIN_LOT or (by is By.TIME and question.is_by_days):
        return False
    only_of_rows = question.segregation_class or question.vessel or question.shift
    return not (kind and (only_of_rows or by in (By.VESSEL, By.CLASS, By.SHIFT)))


def _whole_months(question: Question) -> tuple[date, date] | None:
    """First day of the first whole month, and first day after the last one; None where no month is whole."""
    begin = question.first if question.first.day == 1 else _next_month(question.first)
    end = (question.last + timedelta(days=1)).replace(day=1)
    return (begin, end) if begin < end else None


def _next_month(day: date) -> date:
    return (day.replace(day=28) + timedelta(days=4)).replace(day=1)


def _summed(rows: QuerySet[Any], group: str, chemical: str) -> Iterable[dict[str, Any]]:
    grouped = rows.order_by().values(group=F(group), of=F(chemical))
    return grouped.annotate(**{f"sum_{name}": Sum(name) for name in NAMES})


def _months(question: Question, by: By, kind: str, begin: date, end: date) -> Iterable[dict[str, Any]]:
    rows = UseMonth.objects.filter(kind=kind, month__gte=begin, month__lt=end)
    rows = rows.filter(**_narrowing(question, ""))
    for _, code in question.narrowed:
        rows = rows.filter(key=_stored(code))
    group = "key" if by.is_shared else "month" if by is By.TIME else by.value
    found = list(_summed(rows, group, "chemical"))
    if by is By.TIME:
        for row in found:
            row["group"] = f"{row['group']:%Y-%m}"
    return found


def _detail(question: Question, by: By, kind: str, first: date, last: date) -> Iterable[dict[str, Any]]:
    rows: QuerySet[Any]
    if kind:
        rows = UseShare.objects.filter(kind=kind, day__gte=first, day__lte=last)
        rows = rows.filter(**_narrowing(question, "row__"))
        for _, code in question.narrowed:
            rows = rows.filter(key=_stored(code))
        group = "key" if by.is_shared else "day" if by is By.TIME else f"row__{by.value}"
        found = list(_summed(rows, group, "row__chemical"))
    else:
        rows = UseRow.objects.filter(day__gte=first, day__lte=last).filter(**_narrowing(question, ""))
        found = list(_summed(rows, "day" if by is By.TIME else by.value, "chemical"))
    if by is By.TIME and not question.is_by_days:
        for row in found:
            row["group"] = f"{row['group']:%Y-%m}"
    return found


def _narrowing(question: Question, prefix: str) -> dict[str, str]:
    names = ("chemical", "family", "segregation_class", "vessel", "shift")
    return {f"{prefix}{name}": value for name in names if (value := getattr(question, name))}


NONE_ON_RECORD = "none"
"""How a share without a code is asked for in an address."""


def _stored(code: str) -> str:
    return "" if code == NONE_ON_RECORD else code


# --- the batches ------------------------------------------------------------------------------------------------------
def _rows(question: Question) -> QuerySet[Any]:
    kind = question.narrowed[0][0] if question.narrowed else ""
    if len(question.narrowed) > 1:
        _ = question.share_kind  # refuses
    if not kind:
        rows = UseRow.objects.filter(day__gte=question.first, day__lte=question.last)
        return rows.filter(**_narrowing(question, ""))
    shares = UseShare.objects.filter(kind=kind, key=_stored(question.narrowed[0][1]))
    return shares.filter(
        day__gte=question.first, day__lte=question.last, **_narrowing(question, "row__")
    ).select_related("row")


def lines(question: Question, *, only_outside: bool = False, watch: Watch | None = None) -> QuerySet[Any]:
    """Rows or shares of the batches asked for, newest first; ``as_line`` makes a line of each."""
    rows = _rows(question)
    if only_outside:
        rows = _outside(rows, watch or watch_now())
    prefix = "row__" if question.narrowed else ""
    return rows.order_by(f"-{prefix}started_at", f"-{prefix}number", f"{prefix}chemical")


def as_line(row: UseRow | UseShare) -> UseLine:
    """A row or a share as a line of the listing."""
    sums = Sums(*(getattr(row, name) for name in NAMES))
    return UseLine(row.row, sums, is_part=True) if isinstance(row, UseShare) else UseLine(row, sums)


def outside_count(question: Question, watch: Watch) -> int:
    """How many lines lie beyond the watch level of a batch. One query."""
    return _outside(_rows(question), watch).count()


def _outside(rows: QuerySet[Any], watch: Watch) -> QuerySet[Any]:
    level = round(watch.batch_frac * VARIANCE_STEP)
    return rows.annotate(off_by=Abs("variance_sum")).filter(Q(off_by__gt=level), compared=1)
