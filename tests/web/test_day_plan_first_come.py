"""The page of a plan holds it against the whiteboard way."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from django.test import Client

from regenplant.core.scheduling.first_come import first_come
from regenplant.people.models import Person
from regenplant.planning.first_come import Against, Way, against_first_come
from regenplant.planning.models import DayPlan
from regenplant.planning.selectors import shown
from regenplant.planning.totals import Totals
from regenplant.web.presenters.day_plan_first_come import beside_first_come
from tests import factories
from tests.planning.searched import searched_plan
from tests.web.pages import text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant(now=factories.hours_ago(4))


@pytest.fixture
def found(plant: factories.SmallPlant) -> DayPlan:
    factories.accepted_tanks(plant, "sac_h", count=5)
    factories.accepted_tanks(plant, "sba_1", count=4)
    return searched_plan(plant, steps=20)


def test_the_page_fetches_the_table_and_leads_to_it_without_script(
    plant: factories.SmallPlant, found: DayPlan, client_of: Callable[[Person], Client]
) -> None:
    client, url = client_of(plant.people["operator"]), f"/day-plan/{found.number}/first-come/"
    page = client.get(f"/day-plan/{found.number}/").content.decode()
    assert f'hx-get="{url}"' in page
    assert f'href="{url}"' in page
    answer = client.get(url)
    assert answer.status_code == 200
    text = text_of(answer)
    against = against_first_come(shown(found))
    for words in (
        "Tanks on time",
        "Operators at batches, h",
        "All ready, h after midnight",
        "First come keeps every limit too",
    ):
        assert words in text
    assert f"{against.plan.operator_h:.1f}" in text
    assert against.plan.on_time + shown(found).score.late_tanks == 9
    DayPlan.objects.update(state=DayPlan.State.RUNNING)
    assert client.get(url).status_code == 404
    assert client.get("/day-plan/DP-999/first-come/").status_code == 404


def test_first_come_takes_the_tanks_as_they_came(plant: factories.SmallPlant, found: DayPlan) -> None:
    """Round trips are numbered at the dock, so the oldest of a kind stands in the first batch of its kind."""
    view = shown(found)
    numbers = sorted(view.names.visits, key=lambda serial: view.names.visits[serial])
    plan = first_come(replace(view.problem, pins=(), standing=()), numbers)
    first = {}
    families = {tank.id: tank.family for tank in view.problem.tanks}
    for batch in plan.batches:
        first.setdefault(families[batch.tanks[0]], batch.tanks[0])
    for family, serial in first.items():
        assert serial == next(one for one in numbers if families[one] == family)


def way(**changes: float) -> Way:
    totals = Totals(10, 2, 8.0, 3, 20.0, 400.0, {"hcl": 50.0}, 10.0, 5.0)
    figures = {
        "operator_h": 5.0,
        "technician_h": 1.0,
        "changeovers": 2,
        "waivers": 0,
        "on_time": 8,
        "without_batch": 0,
    }
    own = {name: value for name, value in changes.items() if name in figures}
    rest = {name: value for name, value in changes.items() if name not in figures}
    return Way(replace(totals, **rest), **{**figures, **own})  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("plan", "says"),
    [
        (way(), "Both come to the same: looking ahead gains nothing here."),
        (
            way(on_time=10, late_tanks=0, weighted_late_h=0.0, batches=2),
            "The plan has 2 tanks more on time, 8.0 h less lateness by weight and one batch fewer.",
        ),
        (
            way(on_time=9, late_tanks=1, weighted_late_h=9.0, water_m3=12.0, changeovers=3),
            "The plan has one tank more on time and 1.0 h more lateness by weight. First come is better in changeovers and water.",
        ),
    ],
)
def test_the_sentence_names_where_first_come_is_better(plan: Way, says: str) -> None:
    assert beside_first_come(Against(way(), plan), "metric").sentence == says
