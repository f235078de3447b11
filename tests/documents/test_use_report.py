"""The signed audit of use on paper: the same figures in every print, whatever happened since, and no figure broken over two lines."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date

import pytest

from regenplant import units
from regenplant.documents.faces import STRONG, Span, broken
from regenplant.documents.issue import Issue
from regenplant.documents.use_report import (
    MARK_SIDE,
    MARK_WIDTH,
    SIZES,
    VARIANCE_WIDTH,
    UseReportPaper,
    draw_use_report,
    percent,
)
from regenplant.people.models import Signature
from regenplant.tanks.models import Customer
from regenplant.use.report_content import ReportContent, report_content
from regenplant.use.selectors import By
from regenplant.use.services import enter_price
from tests import factories
from tests.documents.reading import page_texts
from tests.factories import SmallPlant
from tests.use.made import injected, whole

pytestmark = pytest.mark.django_db
FIRST = Issue(1, "2026-03-09 10:00", "Ida Example", 40, "ab" * 32, 1)
SECOND = Issue(2, "2026-11-02 16:30", "Otto Example", 900, "cd" * 32, 1)


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=factories.hours_ago(9))


@pytest.fixture
def content(plant: SmallPlant) -> ReportContent:
    injected(plant, "sac_h", 1.098)
    injected(plant, "sac_na")
    enter_price(
        by=plant.by("supervisor"), chemical="hcl", price="0.137", currency="EUR", basis="product",
        from_day=date(2020, 1, 1), reason="an invented contract",
    )  # fmt: skip
    found = report_content(whole(plant, By.CUSTOMER))
    return replace(found, number="U-10001", made_by="Ida Example", made_at="2026-03-09T09:00:00+00:00")


def printed(content: ReportContent, issue: Issue, system: units.UnitSystem = "metric") -> bytes:
    signature = Signature(
        printed_name="Ida Example", roles="supervisor", meaning="looked through", digest="12" * 32
    )
    return draw_use_report(UseReportPaper(content, signature, issue), SIZES[0], system)


@pytest.mark.requirement("CS-11")
def test_two_prints_are_the_same_to_the_byte_but_for_their_issue(
    plant: SmallPlant, content: ReportContent
) -> None:
    first = printed(content, FIRST)
    assert plant.customer is not None
    Customer.objects.filter(pk=plant.customer.pk).update(name="Renamed Works (invented)")
    enter_price(
        by=plant.by("supervisor"), chemical="hcl", price="9.99", currency="EUR", basis="product",
        from_day=date(2020, 1, 1), reason="a later invented contract",
    )  # fmt: skip
    assert printed(content, FIRST) == first
    one, two = page_texts(first), page_texts(printed(content, SECOND))
    assert [_without_foot(page) for page in one] == [_without_foot(page) for page in two] and one != two
    assert "Renamed" not in " ".join(two) and plant.customer.name in " ".join(two)


def _without_foot(page: str) -> str:
    return re.sub(r"Record \d+: [0-9a-f ]+|Issue \d+, printed \S+ \S+ by \w+ \w+", "", page)


def test_a_difference_beyond_the_level_stands_on_one_line(content: ReportContent) -> None:
    for value in (-0.098, 0.123, -1.0, 1.0, -0.9999, 0.0):
        room = MARK_WIDTH + VARIANCE_WIDTH - 6 - MARK_SIDE - 5
        assert len(broken((Span(percent(value), STRONG),), room)) == 1, percent(value)
    assert "+9.8 %" in " ".join(page_texts(printed(content, FIRST)))


@pytest.mark.parametrize("system", ["metric", "us"])
def test_every_figure_of_the_frozen_content_stands_on_the_paper(
    content: ReportContent, system: units.UnitSystem
) -> None:
    text = " ".join(page_texts(printed(content, FIRST, system)))
    assert content.totals and len(content.groups) >= 2
    for one in (*content.totals, *content.groups):
        for grams in (one.sums.planned_grams, one.sums.used_grams):
            assert grams and units.format_quantity(grams / 1000.0, "mass", system, with_unit=False) in text
