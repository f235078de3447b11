"""A period of the audit: groups by any one thing, and the batches behind them.

Whole months come from the sums that stand beforehand (``UseMonth``), the days before and after them from the batches: both are whole
numbers of the same rows, so that it makes no difference where they come from (``tests/use/test_sums_are_the_detail.py``).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from heapq import nsmallest
from typing import Any

from django.db import connection
from django.db.models import Count, Q, QuerySet, Sum, Window
from django.db.models.functions import Abs

from regenplant.core.process.use_audit import NAMES, VARIANCE_STEP, Sums, summed
from regenplant.core.process.vocabulary import Chemical
from regenplant.use.models import UseMonth, UseRow, UseShare
from regenplant.use.selectors.crossed import Part, of_whole_row, parts_of, sums_of
from regenplant.use.selectors.question import By, Question, stored_code
from regenplant.use.watching import Watch, watch_now


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
    left_out: int = 0
    """Groups that were not asked for: the smaller ones beyond ``most``, of time the older ones."""

    @property
    def lines(self) -> int:
        """How many lines ``lines`` lists: one for each chemical of a batch."""
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


def audit(question: Question, *, most: int | None = None) -> Audit:
    """Groups and totals of a period, in a handful of queries whatever the number of batches. With ``most``, of each chemical only so many
    groups: those that used most, of time the newest; the totals are of all.

    Raises: RecordRefused (``crossed.parts_of``).
    """
    if question.is_crossed:
        return _audit_of_parts(question, most)
    is_of_shares = question.by.is_shared and not question.narrowed
    whole = list(_totals_of_rows(question)) if is_of_shares else []
    keep = _largest(question, most, [total.chemical for total in whole]) if most and is_of_shares else None
    found = _grouped(question, question.by, keep)
    left_out = 0 if keep is None else keep.left_out
    order = list(Chemical)
    groups = sorted(
        (Group(key, Chemical(value), sums) for (key, value), sums in found.items()),
        key=lambda group: (order.index(group.chemical), group.key),
    )
    totals = tuple(whole or _together(groups))
    if most and keep is None:
        kept = set(map(id, _most_of(groups, most, question.by)))
        left_out, groups = len(groups) - len(kept), [group for group in groups if id(group) in kept]
    return Audit(question, watch_now(), tuple(groups), totals, left_out)


def _audit_of_parts(question: Question, most: int | None) -> Audit:
    """The answer where customers and lots are asked for together: added up from the parts of each batch."""
    parts = parts_of(question)
    by_group: dict[tuple[str, Chemical], list[Part]] = {}
    for part in parts:
        by_group.setdefault((_key_of_part(question, part), Chemical(part.row.chemical)), []).append(part)
    order = list(Chemical)
    groups = [
        Group(key, chemical, summed(part.sums for part in _rows_of_parts(own)))
        for (key, chemical), own in sorted(
            by_group.items(), key=lambda item: (order.index(item[0][1]), item[0][0])
        )
    ]
    whole = [
        Group("", chemical, summed(part.sums for part in own))
        for chemical in order
        if (own := [part for part in _rows_of_parts(parts) if part.row.chemical == chemical])
    ]
    kept = set(map(id, _most_of(groups, most, question.by))) if most else set(map(id, groups))
    shown = tuple(group for group in groups if id(group) in kept)
    return Audit(question, watch_now(), shown, tuple(whole), len(groups) - len(shown))


def _key_of_part(question: Question, part: Part) -> str:
    if question.by.is_shared:
        return part.keys[question.by.value]
    return _key(
        question,
        question.by,
        part.row.day if question.by is By.TIME else getattr(part.row, question.by.value),
    )


def _rows_of_parts(parts: list[Part]) -> list[Part]:
    """One part for each row, in the same order."""
    by_row: dict[int, list[Part]] = {}
    for part in parts:
        by_row.setdefault(part.row.pk, []).append(part)
    return [of_whole_row(own) for own in by_row.values()]


def _most_of(groups: list[Group], most: int, by: By) -> Iterable[Group]:
    for chemical in Chemical:
        own = [group for group in groups if group.chemical is chemical]
        if by is By.TIME:
            yield from own[-most:]
        else:
            yield from sorted(own, key=lambda group: (-group.sums.used_grams, group.key))[:most]


@dataclass(frozen=True, slots=True)
class _Keep:
    """Groups by key and chemical that are asked for, and how many there are beside them."""

    pairs: frozenset[tuple[str, str]]
    left_out: int

    @property
    def keys(self) -> list[str]:
        return sorted({key for key, _ in self.pairs})


def _largest(question: Question, most: int, chemicals: Iterable[Chemical]) -> _Keep:
    """Which customers or lots used most of each chemical: found first and alone, so that the sums of thousands are not made for a page of a
    dozen."""
    sources = [source.rows.order_by() for source in _sources(question, question.by, question.share_kind)]
    return _ranked_there(sources[0], most, chemicals) if len(sources) == 1 else _ranked_here(sources, most)


def _ranked_there(rows: QuerySet[Any], most: int, chemicals: Iterable[Chemical]) -> _Keep:
    """By the database, which hands over a dozen rows instead of every lot of a year."""
    pairs: set[tuple[str, str]] = set()
    count = 0
    for chemical in chemicals:
        own = rows.filter(chemical=chemical.value)
        by_key = own.values_list("key").annotate(sum_used=Sum("used_grams"), groups=Window(Count("*")))
        largest = _unconverted(by_key.order_by("-sum_used", "key")[:most])
        pairs.update((key, chemical.value) for key, _, _ in largest)
        count += largest[0][2] if largest else 0
    return _Keep(frozenset(pairs), count - len(pairs))


def _ranked_here(sources: Iterable[QuerySet[Any]], most: int) -> _Keep:
    """Where months and single days have to be added up first."""
    used: dict[str, dict[str, int]] = {}
    for rows in sources:
        by_key = rows.values_list("chemical", "key").annotate(sum_used=Sum("used_grams"))
        for value, key, grams in _unconverted(by_key):
            own = used.setdefault(value, {})
            own[key] = own.get(key, 0) + int(grams)
    pairs = frozenset(
        (key, value)
        for value, own in used.items()
        for key in nsmallest(most, own, key=lambda key: (-own[key], key))
    )
    return _Keep(pairs, sum(map(len, used.values())) - len(pairs))


def _unconverted(rows: QuerySet[Any]) -> list[Any]:
    """Rows as the database gives them, all at once: to convert each of twenty thousand sums takes longer than to make them."""
    text, parameters = rows.query.sql_with_params()
    with connection.cursor() as cursor:
        cursor.execute(text, parameters)
        found: list[Any] = cursor.fetchall()
    return found


def _totals_of_rows(question: Question) -> Iterable[Group]:
    """Of shares: read from the batches, as a batch stands in several groups."""
    by_family = _grouped(replace(question, by=By.FAMILY), By.FAMILY)
    return _together([Group(key, Chemical(value), sums) for (key, value), sums in by_family.items()])


def _together(groups: Sequence[Group]) -> Iterable[Group]:
    """Of each chemical all groups as one."""
    for chemical in Chemical:
        own = [group.sums for group in groups if group.chemical is chemical]
        if own:
            yield Group("", chemical, summed(own))


@dataclass(frozen=True, slots=True)
class _Source:
    """Rows, shares or months of a part of the period, and under which name their group stands."""

    rows: QuerySet[Any]
    group: str


def _sources(question: Question, by: By, kind: str) -> Iterable[_Source]:
    """Where the period is read from: whole months where they know what is asked, the days before and after them singly."""
    months = _whole_months(question) if _has_months(question, by, kind) else None
    if months is None:
        yield _detail(question, by, kind, question.first, question.last)
        return
    begin, end = months
    if question.first < begin:
        yield _detail(question, by, kind, question.first, begin - timedelta(days=1))
    yield _months(question, by, kind, begin, end)
    if end <= question.last:
        yield _detail(question, by, kind, end, question.last)


def _grouped(question: Question, by: By, keep: _Keep | None = None) -> dict[tuple[str, str], Sums]:
    """Sums by key and chemical; with ``keep`` only of those."""
    found: dict[tuple[str, str], Sums] = {}
    for source in _sources(question, by, question.share_kind):
        rows = source.rows if keep is None else source.rows.filter(key__in=keep.keys)
        listed = rows.order_by().values_list(source.group, "chemical")
        for group, chemical, *sums in listed.annotate(**{f"sum_{name}": Sum(name) for name in NAMES}):
            key = _key(question, by, group), str(chemical)
            if keep is None or key in keep.pairs:
                found[key] = found.get(key, Sums()) + Sums(*map(int, sums))
    return found


def _key(question: Question, by: By, group: Any) -> str:
    if by is By.TIME and not question.is_by_days:
        return f"{group:%Y-%m}"
    return str(group)


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


def _months(question: Question, by: By, kind: str, begin: date, end: date) -> _Source:
    rows = UseMonth.objects.filter(kind=kind, month__gte=begin, month__lt=end)
    rows = rows.filter(**_narrowing(question, is_share=False))
    for _, code in question.narrowed:
        rows = rows.filter(key=stored_code(code))
    return _Source(rows, "key" if by.is_shared else "month" if by is By.TIME else by.value)


def _detail(question: Question, by: By, kind: str, first: date, last: date) -> _Source:
    rows: QuerySet[Any]
    if not kind:
        rows = UseRow.objects.filter(day__gte=first, day__lte=last)
        rows = rows.filter(**_narrowing(question, is_share=False))
        return _Source(rows, "day" if by is By.TIME else by.value)
    rows = UseShare.objects.filter(kind=kind, day__gte=first, day__lte=last)
    rows = rows.filter(**_narrowing(question, is_share=True))
    for _, code in question.narrowed:
        rows = rows.filter(key=stored_code(code))
    return _Source(rows, "key" if by.is_shared else "day" if by is By.TIME else f"row__{by.value}")


def _narrowing(question: Question, *, is_share: bool) -> dict[str, str]:
    """What narrows rows or months; of shares all but the chemical stands in their row."""
    wanted = {name: value for name in question.NARROWED_ROWS if (value := getattr(question, name))}
    return {
        f"row__{name}" if is_share and name != "chemical" else name: value for name, value in wanted.items()
    }


# --- the batches ------------------------------------------------------------------------------------------------------
def _rows(question: Question) -> QuerySet[Any]:
    kind = question.narrowed[0][0] if question.narrowed else ""
    if not kind:
        rows = UseRow.objects.filter(day__gte=question.first, day__lte=question.last)
        return rows.filter(**_narrowing(question, is_share=False))
    shares = UseShare.objects.filter(kind=kind, key=stored_code(question.narrowed[0][1]))
    return shares.filter(
        day__gte=question.first, day__lte=question.last, **_narrowing(question, is_share=True)
    ).select_related("row")


def lines(
    question: Question, *, only_outside: bool = False, watch: Watch | None = None
) -> QuerySet[Any] | list[UseLine]:
    """Rows or shares of the batches asked for, newest first; ``as_line`` makes a line of each. Of a crossed question the lines themselves."""
    if question.is_crossed:
        level = watch or watch_now()
        parts = [UseLine(part.row, part.sums, is_part=True) for part in _rows_of_parts(parts_of(question))]
        return [line for line in parts if not only_outside or line.is_outside(level)]
    rows = _rows(question)
    if only_outside:
        rows = _outside(rows, watch or watch_now())
    prefix = "row__" if question.narrowed else ""
    # by day first, which both rows and shares know: a page is read off their index, however many lie behind it
    return rows.order_by("-day", f"-{prefix}started_at", f"-{prefix}number", "chemical")


def as_line(row: UseRow | UseShare | UseLine) -> UseLine:
    """A row or a share as a line of the listing."""
    if isinstance(row, UseLine):
        return row
    sums = sums_of(row)
    return UseLine(row.row, sums, is_part=True) if isinstance(row, UseShare) else UseLine(row, sums)


def outside_count(question: Question, watch: Watch) -> int:
    """How many lines lie beyond the watch level of a batch. One query."""
    if question.is_crossed:
        return len(lines(question, only_outside=True, watch=watch))
    return _outside(_rows(question), watch).count()


def _outside(rows: QuerySet[Any], watch: Watch) -> QuerySet[Any]:
    level = round(watch.batch_frac * VARIANCE_STEP)
    return rows.annotate(off_by=Abs("variance_sum")).filter(Q(off_by__gt=level), compared=1)
