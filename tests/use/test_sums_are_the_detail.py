"""Sums of months and days against the rows themselves, added up here in plain Python, for periods that begin and end anywhere."""

from __future__ import annotations

import random
from collections import defaultdict
from collections.abc import Callable, Iterator
from datetime import date, timedelta

import pytest

from regenplant.core.process.use_audit import SPLIT
from regenplant.use.models import UseMonth, UseRow, UseShare
from regenplant.use.selectors import By, Question, as_line, audit, lines, outside_count
from regenplant.use.watching import watch_now
from tests.use.many import Spread, build

pytestmark = pytest.mark.django_db
FIRST = date(2025, 1, 20)


@pytest.fixture
def many(db: None) -> date:
    """Six hundred batches over ten months; gives the last day."""
    build(Spread(600, FIRST, 2.0))
    return UseRow.objects.latest("day").day


def periods(last: date) -> Iterator[tuple[date, date]]:
    dice = random.Random(3)
    yield FIRST, last
    yield date(2025, 3, 1), date(2025, 3, 31)
    yield date(2025, 2, 28), date(2025, 4, 1)
    yield date(2025, 3, 2), date(2025, 3, 30)
    for _ in range(6):
        first = FIRST + timedelta(days=dice.randrange(300))
        yield first, first + timedelta(days=dice.randrange(200))


def by_hand(
    question: Question, key: Callable[[UseRow], dict[str, float]]
) -> dict[tuple[str, str], list[int]]:
    """Used and planned grams, volume, batches by key and chemical: rows read one by one."""
    found: dict[tuple[str, str], list[int]] = defaultdict(lambda: [0, 0, 0])
    for row in UseRow.objects.all():
        inside = question.first <= row.day <= question.last
        narrowed = all(
            getattr(row, name) == value
            for name in ("chemical", "family", "segregation_class", "vessel", "shift")
            if (value := getattr(question, name))
        )
        if inside and narrowed:
            for one in key(row):
                sums = found[one, row.chemical]
                sums[0] += row.used_grams
                sums[1] += row.planned_grams
                sums[2] += 1
    return dict(found)


@pytest.mark.parametrize("by", [By.FAMILY, By.VESSEL, By.CLASS, By.SHIFT])
@pytest.mark.parametrize("narrow", [{}, {"chemical": "hcl"}, {"vessel": "M1"}, {"shift": "06:00–14:00"}])
def test_groups_are_the_sums_of_their_rows(many: date, by: By, narrow: dict[str, str]) -> None:
    for first, last in periods(many):
        question = Question(first, last, by, **narrow)
        found = {
            (group.key, group.chemical.value): [
                group.sums.used_grams,
                group.sums.planned_grams,
                group.sums.batches,
            ]
            for group in audit(question).groups
        }
        assert found == by_hand(question, lambda row: {str(getattr(row, by.value)): 1.0}), (first, last)


def test_time_is_days_in_a_short_period_and_months_in_a_long_one(many: date) -> None:
    for first, last in periods(many):
        question = Question(first, last, By.TIME)
        length = 10 if question.is_by_days else 7
        found = {(group.key, group.chemical.value): group.sums.used_grams for group in audit(question).groups}
        expected = by_hand(question, lambda row: {row.day.isoformat()[:length]: 1.0})  # noqa: B023
        assert found == {key: sums[0] for key, sums in expected.items()}, (first, last)


@pytest.mark.parametrize("kind", UseShare.Kind.values)
def test_shares_of_a_kind_are_the_whole_of_every_period(many: date, kind: str) -> None:
    for first, last in periods(many):
        found = audit(Question(first, last, By(kind)))
        whole = audit(Question(first, last))
        assert [total.sums for total in found.totals] == [total.sums for total in whole.totals]
        for total in found.totals:
            own = [group.sums for group in found.groups if group.chemical is total.chemical]
            for name in SPLIT:
                assert sum(getattr(sums, name) for sums in own) == getattr(total.sums, name), (first, name)


def test_one_customer_alone_is_its_group(many: date) -> None:
    question = Question(FIRST, many, By.CUSTOMER)
    groups = [group for group in audit(question).groups if group.chemical == "hcl"][:5]
    for group in groups:
        alone = audit(Question(FIRST, many, By.FAMILY, customer=group.key, chemical="hcl"))
        assert sum(one.sums.used_grams for one in alone.groups) == group.sums.used_grams
        listed = [as_line(row) for row in lines(Question(FIRST, many, customer=group.key, chemical="hcl"))]
        assert sum(line.sums.used_grams for line in listed) == group.sums.used_grams
        assert len(listed) == group.sums.batches


def test_what_is_outside_is_counted_as_it_is_listed(many: date) -> None:
    for first, last in periods(many):
        question, watch = Question(first, last), watch_now()
        everything = [as_line(row) for row in lines(question)]
        outside = [line for line in everything if line.is_outside(watch)]
        assert outside_count(question, watch) == len(outside)
        assert [as_line(row).row.pk for row in lines(question, only_outside=True)] == [
            line.row.pk for line in outside
        ]


@pytest.mark.requirement("CS-10")
def test_months_hold_every_row_once(many: date) -> None:
    assert sum(month.used_grams for month in UseMonth.objects.filter(kind="")) == sum(
        UseRow.objects.values_list("used_grams", flat=True)
    )


def test_a_period_asks_the_same_few_queries_however_many_batches(
    many: date, django_assert_max_num_queries
) -> None:  # type: ignore[no-untyped-def]
    with django_assert_max_num_queries(4):
        audit(Question(FIRST + timedelta(days=3), many - timedelta(days=3)))


@pytest.mark.parametrize("by", list(By))
def test_a_page_shows_the_largest_of_each_chemical_with_the_totals_of_all(many: date, by: By) -> None:
    for first, last in periods(many):
        question, most = Question(first, last, by), 5
        whole, page = audit(question), audit(question, most=most)
        assert page.totals == whole.totals and page.left_out == len(whole.groups) - len(page.groups)
        expected = []
        for total in whole.totals:
            own = [group for group in whole.groups if group.chemical is total.chemical]
            if by is By.TIME:
                expected += own[-most:]
            else:
                largest = sorted(own, key=lambda group: (-group.sums.used_grams, group.key))[:most]
                expected += [group for group in own if group in largest]
        assert list(page.groups) == expected, (first, last)


def test_pages_are_counted_by_the_sums(many: date) -> None:
    for first, last in periods(many):
        for narrow in (
            {},
            {"chemical": "hcl"},
            {"customer": "K-007"},
            {"vessel": "M1", "shift": "06:00–14:00"},
        ):
            for by in (By.FAMILY, By.CUSTOMER) if "customer" not in narrow else (By.TIME, By.CUSTOMER):
                question = Question(first, last, by, **narrow)
                assert audit(question, most=3).lines == lines(question).count(), (first, last, narrow, by)
