"""The page of the coming two weeks: what it says in each state, its drawings, its file."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client
from django.utils import timezone

from regenplant.chemicals import services as chemicals
from regenplant.chemicals.models import Place
from regenplant.drawing.coming_days import HoursLine, StockLine, hours_scene, stock_scene
from regenplant.people.models import Person
from regenplant.planning import services
from regenplant.planning.models import DayPlan
from regenplant.plant.days import plant_day
from tests import factories
from tests.factories import SmallPlant
from tests.planning.searched import searched_plan
from tests.web.pages import text_of

ADDRESS = "/day-plan/coming/"
As = Callable[[str], Client]


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=factories.hours_ago(4))


def accepted(plant: SmallPlant) -> DayPlan:
    factories.accepted_tanks(plant, "sac_h", count=3)
    by = plant.by("planner", at=timezone.now())
    row = searched_plan(plant)
    services.accept_plan(by=by, number=row.number, version=row.version)
    return row


def low_mark(plant: SmallPlant, chemical: str, kilograms: float) -> Place:
    place = Place.objects.get(kind="bulk_tank", chemical=chemical)
    Place.objects.filter(pk=place.pk).update(low_stock_grams_100=round(kilograms * 1000))
    return place


def test_without_plan_and_record_it_says_what_is_missing(as_: As) -> None:
    page = text_of(as_("operator").get(ADDRESS))
    assert "Nothing has to be ordered in these two weeks." in page
    assert "no plan was accepted and the record is too short" in page
    assert "nothing says how many hours the coming days need" in page
    assert "No low mark is recorded for this tank" in page
    assert "The record holds no whole day with batches yet" in page
    assert page.count("nothing says") >= 14, "every day of the table"


def test_the_plan_is_named_with_its_last_day_and_the_tank_to_order_for(as_: As, plant: SmallPlant) -> None:
    place = low_mark(plant, "hcl", 2_999.9)
    row = accepted(plant)
    page = text_of(as_("operator").get(ADDRESS))
    assert f"Order now for {place.code}." in page
    assert f"from plan {row.number}" in page and f"plan {row.number}" in page
    assert "The bottleneck is" in page and "in the plan" in page
    assert "Nobody recorded how long a delivery takes; reckoned is with 5 days" in page


def test_a_delivery_is_shown_with_the_day_from_which_it_counts(as_: As, plant: SmallPlant) -> None:
    place = low_mark(plant, "hcl", 500.0)
    today = plant_day(timezone.now())
    row = chemicals.expect_delivery(
        by=plant.by(at=timezone.now()), place_id=place.pk, order_number="4711 / 2", grams_100=400_000,
        due_on=today + timedelta(days=3),
    ).result  # fmt: skip
    page = text_of(as_("operator").get(ADDRESS))
    assert (
        f"{row.number}: 400.0 kg as 100 % is expected {today + timedelta(days=3)} and counts from the day after."
        in page
    )
    type(row).objects.filter(pk=row.pk).update(due_on=today - timedelta(days=1))
    page = text_of(as_("operator").get(ADDRESS))
    assert f"was due {today - timedelta(days=1)} and does not count until it is received." in page
    assert f"{row.number} is overdue: ask for it." in page


def test_the_file_holds_a_row_for_each_day_and_agrees_with_the_page(as_: As, plant: SmallPlant) -> None:
    row = accepted(plant)
    answer = as_("operator").get(ADDRESS, {"_export": "csv"})
    assert answer.headers["Content-Type"] == "text/csv; charset=utf-8"
    head, *lines = csv.reader(io.StringIO(answer.content.decode("utf-8-sig")))
    assert [line[0] for line in lines] == [
        (plant_day(timezone.now()) + timedelta(days=number)).isoformat() for number in range(14)
    ]
    assert lines[0][1] == f"plan {row.number}" and lines[-1][1] == "nothing says"
    column = head.index("B-HCL, kg as 100 %")
    assert float(lines[-1][column]) < 3_000.0, "the plan draws"
    assert {len(line) for line in lines} == {len(head)}


def test_its_home_leads_to_it_and_masses_follow_the_persons_units(as_: As, plant: SmallPlant) -> None:
    """3,000 kg are 6,614 lb (0.45359237 kg/lb); the file stays in kilograms."""
    assert ADDRESS in as_("planner").get("/day-plan/").content.decode()
    Person.objects.filter(pk=plant.people["planner"].pk).update(unit_system="us")
    client = as_("planner")
    page = text_of(client.get(ADDRESS))
    assert "B-HCL, lb" in page and re.search(r"6\s614", page)
    assert "3000.0" in client.get(ADDRESS, {"_export": "csv"}).content.decode()


# --- drawings -------------------------------------------------------------------------------------------------------------
DAYS = [date(2026, 3, 2) + timedelta(days=number) for number in range(4)]


def stock(**change: Any) -> StockLine:
    values: dict[str, Any] = {
        "name": "Acid", "days": DAYS, "likely": [100.0, 90.0, 40.0, 30.0], "fewest": [100.0, 80.0, 20.0, 0.0],
        "most": [100.0, 95.0, 60.0, 55.0], "low": 50.0, "planned": 2, "arrivals": [(1, "E-10001"), (9, "E-10002")], "unit": "kg",
    }  # fmt: skip
    return StockLine(**{**values, **change})


def test_a_stock_is_whole_where_a_plan_says_it_and_broken_behind() -> None:
    drawn = stock_scene(stock())
    svg = str(drawn.to_svg())
    assert svg.count('class="ln"') == svg.count('class="fc"') == svg.count('class="band"') == 1
    assert "E-10001" in svg and "E-10002" not in svg, "a delivery after these days is not drawn"
    assert "likely under its low mark on 2026-03-04" in drawn.label
    assert "likely above its low mark all the time" in stock_scene(stock(low=10.0)).label


@pytest.mark.parametrize(("planned", "whole", "broken"), [(0, 0, 1), (1, 0, 1), (4, 1, 0)])
def test_a_stock_without_plan_or_with_nothing_behind_it(planned: int, whole: int, broken: int) -> None:
    svg = str(stock_scene(stock(planned=planned, low=0.0, arrivals=[])).to_svg())
    assert (svg.count('class="ln"'), svg.count('class="fc"'), svg.count('class="forbid"')) == (
        whole,
        broken,
        0,
    )


def test_hours_beyond_are_hatched_and_days_that_nothing_says_have_no_bar() -> None:
    hours = HoursLine(
        "operators", DAYS, [8.0, 6.0, 5.0, None], [16.0, 4.0, 16.0, None], [0.0, 2.0, 0.0, 0.0], 1
    )
    drawn = hours_scene(hours)
    svg = str(drawn.to_svg())
    assert (svg.count('class="bar-run"'), svg.count('class="bar-clean"'), svg.count('class="bar-lock"')) == (
        1,
        2,
        1,
    )
    assert svg.count('class="lim"') == 3
    assert "beyond the working hours on 2026-03-03" in drawn.label


def test_an_empty_stock_is_drawn_without_a_fault() -> None:
    empty = [0.0] * 4
    assert stock_scene(stock(likely=empty, fewest=empty, most=empty, low=0.0)).items
