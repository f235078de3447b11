"""One day of a plan alone on paper, and tanks that are not here when the paper is printed: in words, with what to do."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date, timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from regenplant.audit.selectors import newest_act
from regenplant.core.errors import OutOfRange
from regenplant.documents.models import IssuedPaper
from regenplant.documents.services import issue_paper
from regenplant.people.models import Person
from regenplant.planning import services
from regenplant.planning.members import members
from regenplant.planning.models import DayPlan, PlannedBatch
from regenplant.planning.selectors import waiting_batches
from regenplant.tanks import services as tank_services
from regenplant.tanks.models import ExpectedTank
from tests import factories
from tests.documents.reading import codes_by_page, overprinted, page_texts, whole_text
from tests.planning.searched import searched_plan
from tests.planning.test_accepting import accepted, made, started
from tests.planning.test_awaited import received
from tests.tanks.test_expecting import away, expected
from tests.web.pages import text_of

pytestmark = pytest.mark.django_db
SATURDAY = date(2026, 3, 7)


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant()


@pytest.fixture
def of_days(plant: factories.SmallPlant) -> DayPlan:
    """More batches than one vessel takes in a day, made on Thursday: with a day on which nothing is done."""
    plant.forward(days=3)
    factories.accepted_tanks(plant, "sac_h", count=24)
    row = made(plant)
    accepted(plant, row)
    return row


def paper(plant: factories.SmallPlant, row: DayPlan, **more: Any) -> bytes:
    content: bytes = issue_paper(by=plant.by(), kind="day_plan", key=row.number, **more).result.content
    return content


def day_of(planned: PlannedBatch) -> date:
    return timezone.localtime(planned.starts_at).date()


def scanned(pdf: bytes) -> set[str]:
    return {code.payload for page in codes_by_page(pdf, dpi=300) for code in page}


# --- one day ----------------------------------------------------------------------------------------------------
def test_one_day_is_printed_as_it_stands_in_the_whole(plant: factories.SmallPlant, of_days: DayPlan) -> None:
    rows = list(PlannedBatch.objects.all())
    days = sorted({day_of(one) for one in rows})
    assert len(days) > 1
    whole = paper(plant, of_days)
    for day in days:
        alone = paper(plant, of_days, day=day)
        assert all(f"{day:%a %Y-%m-%d}" in page for page in page_texts(alone))
        begins = {one.code for one in rows if day_of(one) == day}
        assert begins <= scanned(alone) <= scanned(whole)
        assert not {one.code for one in rows if day_of(one) > day} & scanned(alone)
        assert overprinted(alone) == []
        text = whole_text(alone)
        assert f"One day of it alone; the plan goes from {days[0]:%a %Y-%m-%d} to" in text
        assert "Every later print of this day" in text
        act = newest_act("paper.issued")
        assert act is not None and f"day plan for the wall, {day:%Y-%m-%d} alone printed" in act.sentence
    assert "One day of it alone" not in whole_text(whole)
    numbers = [one.issue_number for one in IssuedPaper.objects.order_by("pk")]
    assert numbers == list(range(1, len(days) + 2)), "counted with the whole plan"


def test_a_day_without_work_says_so(plant: factories.SmallPlant, of_days: DayPlan) -> None:
    alone = paper(plant, of_days, day=SATURDAY)
    assert "Nothing stands in a vessel on this day, and nothing is to be begun." in whole_text(alone)
    assert scanned(alone) == set()


def test_a_day_that_the_plan_does_not_hold_is_refused_with_its_days(
    plant: factories.SmallPlant, of_days: DayPlan
) -> None:
    with pytest.raises(
        OutOfRange, match=r"holds no Wed 2026-03-04; its days are Thu 2026-03-05 to .*Nothing was printed"
    ):
        paper(plant, of_days, day=date(2026, 3, 4))
    assert not IssuedPaper.objects.exists()


def test_a_plan_without_a_batch_has_no_day(plant: factories.SmallPlant) -> None:
    with pytest.raises(OutOfRange, match="no batch stands in it"):
        paper(plant, made(plant), day=SATURDAY)


def test_pages_offer_each_day_and_a_bad_one_in_the_address_is_told(
    client_of: Callable[[Person], Client],
) -> None:
    plant = factories.plant_today()
    factories.accepted_tanks(plant, "sac_h", count=3)
    row = searched_plan(plant)
    client = client_of(plant.people["operator"])
    page = client.get(reverse("day-plan-one", args=[row.number])).content.decode()
    today = timezone.localdate()
    url = reverse("paper-day-plan", args=[row.number])
    assert f'action="{url}"' in page
    assert f'<option value="{today:%Y-%m-%d}">{today:%a %Y-%m-%d}, today, alone</option>' in page
    answer = client.get(url, {"day": f"{today:%Y-%m-%d}", "size": ""})
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/pdf")
    assert f"{today:%a %Y-%m-%d}" in whole_text(answer.content)
    count = IssuedPaper.objects.count()
    for bad, says in (
        ("next tuesday", "“next tuesday” is no day; a day is written as 2026-12-01"),
        ("2026-02-30", "“2026-02-30” is no day"),
        (f"{today + timedelta(days=40):%Y-%m-%d}", f"{row.number} holds no"),
    ):
        refused = client.get(url, {"day": bad})
        assert refused.status_code == 400
        assert says in text_of(refused)
    assert IssuedPaper.objects.count() == count, "nothing was printed"


def test_the_day_that_is_drawn_is_printed_from_the_first_page(client_of: Callable[[Person], Client]) -> None:
    plant = factories.plant_today()
    factories.accepted_tanks(plant, "sac_h", count=3)
    row = searched_plan(plant)
    services.accept_plan(by=plant.by("planner", at=timezone.now()), number=row.number, version=row.version)
    client = client_of(plant.people["operator"])
    page = client.get(reverse("day-plan"))
    drawn = page.context["drawn"].day
    url = f"{reverse('paper-day-plan', args=[row.number])}?day={drawn:%Y-%m-%d}"
    assert url in page.content.decode()
    assert client.get(url)["Content-Type"] == "application/pdf"


# --- tanks that are not here ------------------------------------------------------------------------------------
@pytest.fixture
def coming(plant: factories.SmallPlant) -> list[ExpectedTank]:
    """One tank that waits, and three that come in three hours."""
    factories.accepted_tanks(plant, "sac_h", count=1)
    return expected(plant, away(plant, 3), due_at=plant.now + timedelta(days=2))


def test_tanks_on_their_way_are_marked_in_words_with_what_to_do(
    plant: factories.SmallPlant, coming: list[ExpectedTank]
) -> None:
    row = made(plant)
    assert "(on its way, expected 11:00)" in whole_text(paper(plant, row)), "of a draft too"
    accepted(plant, row)
    first, second, third = coming
    held = next(one for one in waiting_batches() if any(item.expected for item in members(one)))
    content = paper(plant, row)
    text = whole_text(content)
    for one in coming:
        assert f"{one.tank.serial} (on its way, expected 11:00)" in text
    waits = next(one.tank.serial for one in members(held) if one.expected is None)
    assert f"{waits} (" not in text
    assert f"Not here yet. {held.code} in {held.vessel.code} with" in text
    assert (
        "If one did not come or is not accepted, put no other tank in its place: tell whoever plans." in text
    )
    assert "only if what is there still reaches the minimum fill of the vessel" in text
    assert overprinted(content) == []
    tank_services.call_off_expected_tank(
        by=plant.by("planner"), expected_number=first.number, reason="it is not exhausted yet"
    )
    plant.now = second.expected_at
    received(plant, second, judged=False)
    plant.forward(minutes=20)
    text = whole_text(paper(plant, row))
    assert f"{first.tank.serial} (called off, does not come)" in text
    assert f"{second.tank.serial} (at the door, not judged)" in text
    assert f"{third.tank.serial} (expected 11:00, not here)" in text


def test_tanks_that_came_and_a_batch_that_was_started_are_not_marked(
    plant: factories.SmallPlant, coming: list[ExpectedTank]
) -> None:
    row = made(plant)
    accepted(plant, row)
    held = next(one for one in waiting_batches() if any(item.expected for item in members(one)))
    plant.now = coming[0].expected_at
    visits = [received(plant, one) for one in coming]
    text = whole_text(paper(plant, row))
    assert "Not here yet" not in text
    assert "(on its way" not in text
    plant.now = max(plant.now, held.starts_at)
    ours = [one.visit.pk for one in members(PlannedBatch.objects.get(pk=held.pk)) if one.visit]
    assert {visit.pk for visit in visits} <= set(ours)
    batch = started(plant, held, visit_ids=ours)
    text = whole_text(paper(plant, row))
    assert f"started as {batch.number}" in text
    assert "Not here yet" not in text
