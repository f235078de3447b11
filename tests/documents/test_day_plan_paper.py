"""The day plan for the wall: every planned batch with a code that scans to it, by the clock; marked while nobody accepted it, and once
another plan holds. Figures are held against the plan as it is kept, counted here again.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterator
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from regenplant.audit.by import By
from regenplant.audit.selectors import newest_act
from regenplant.core.errors import NotAllowed, OutOfRange, RecordRefused
from regenplant.documents.day_plan_content import day_plan_content, plain_name
from regenplant.documents.day_plan_paper import draw_day_plan
from regenplant.documents.issue import Issue
from regenplant.documents.models import IssuedPaper
from regenplant.documents.page import A3_WIDE, A4_WIDE, LETTER_WIDE
from regenplant.documents.services import issue_paper
from regenplant.people.authority import Role
from regenplant.people.models import Person
from regenplant.planning import services
from regenplant.planning.kept import notes_from
from regenplant.planning.models import DayPlan, PlannedBatch
from regenplant.web import codes
from tests import factories, families
from tests.documents.reading import (
    Code,
    codes_by_page,
    overprinted,
    page_sizes,
    page_texts,
    whole_text,
)
from tests.planning.searched import searched_plan
from tests.planning.test_accepting import accepted, made, started
from tests.web.pages import text_of
from tests.web.test_day_plan_large import large_plan

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant()


@pytest.fixture
def draft(plant: factories.SmallPlant) -> DayPlan:
    factories.accepted_tanks(plant, "sac_h", count=4)
    return made(plant)


def paper(plant: factories.SmallPlant, row: DayPlan, size: str = "a4", **more: Any) -> bytes:
    content: bytes = issue_paper(
        by=plant.by(), kind="day_plan", key=row.number, size=size, **more
    ).result.content
    return content


def scanned(pdf: bytes) -> set[str]:
    return {code.payload for page in codes_by_page(pdf, dpi=300) for code in page}


# --- codes ------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("size", ["a4", "a3", "letter"])
def test_each_code_scans_to_its_planned_batch(plant: factories.SmallPlant, draft: DayPlan, size: str) -> None:
    factories.accepted_tanks(plant, "sba_1", count=3)
    row = made(plant)
    rows = accepted(plant, row)
    assert len(rows) > 1
    content = paper(plant, row, size)
    found = {code for page in codes_by_page(content, dpi=300) for code in page}
    assert found == {Code("QR Code", one.code) for one in rows}
    text = whole_text(content)
    for one in rows:
        to = codes.find(one.code.lower())
        assert to is not None
        assert (to.noun, to.url) == ("planned batch", reverse("planned-batch", args=[one.code]))
        assert one.code in text


def test_a_batch_that_runs_has_its_own_code(plant: factories.SmallPlant, draft: DayPlan) -> None:
    planned = accepted(plant, draft)[0]
    batch = started(plant, planned)
    factories.accepted_tanks(plant, "sba_1", count=3)
    again = made(plant)
    assert scanned(paper(plant, again)) == {batch.number}
    text = whole_text(paper(plant, again))
    assert "Batches that go on from before" in text
    assert all(link.visit.tank.serial in text for link in planned.tanks.select_related("visit__tank"))


# --- what it says -----------------------------------------------------------------------------------------------
def test_it_tells_tanks_clock_times_and_amounts_as_the_plan_has_them(
    plant: factories.SmallPlant, draft: DayPlan
) -> None:
    rows = accepted(plant, draft)
    draft.refresh_from_db()
    assert draft.problem is not None
    assert draft.plan is not None
    text = whole_text(paper(plant, draft))
    clock = notes_from(draft.notes).clock
    for batch in draft.plan["batches"]:
        for serial in batch["tanks"]:
            assert serial in text
        for stage in batch["stages"]:
            at = clock.moment(stage["start"]).astimezone(clock.zone)
            said = (
                stage["name"].split(" ", 1)[-1] if stage["name"][0].isdigit() else stage["name"].capitalize()
            )
            assert f"{at:%H:%M} {said}" in text
        for chemical, grams in _amounts(draft.problem, batch):
            assert chemical in text
            assert f"{grams / 1000:.1f} kg" in text
    for one in rows:
        assert one.vessel.code in text
    for words in (
        draft.number, "Page 1 of", "Valid as of", "replaces this sheet", "Issue 1"[1:], "(hold 12 h)", "Operators’ attention: peak",
        "released by a second person, who took no part in it", "Burns skin and eyes: acid", "The SDS, local codes and licensed practice",
        "accepted by",
    ):  # fmt: skip
        assert words in text, words
    assert "DRAFT" not in text
    assert "REPLACED" not in text


def _amounts(problem: dict[str, Any], batch: dict[str, Any]) -> Iterator[tuple[str, int]]:
    """Chemical and grams of a batch, from the kept text alone."""
    tanks = [one for one in problem["tanks"] if one["id"] in batch["tanks"]]
    (vessel,) = [one for one in problem["vessels"] if one["id"] == batch["vessel"]]
    litres = max(sum(one["volume_l"] for one in tanks), vessel["min_fill_l"])
    (recipe,) = [
        one
        for one in problem["vessel_recipes"]
        if (one["vessel"], one["family"]) == (batch["vessel"], tanks[0]["family"])
    ]
    for stage in recipe["stages"]:
        if stage["chemical"] and stage["dose_g_per_l"]:
            yield (
                {"hcl": "Hydrochloric acid", "naoh": "Sodium hydroxide"}[stage["chemical"]],
                math.ceil(stage["dose_g_per_l"] * litres),
            )


def test_a_mixed_bed_says_when_it_begins_at_the_latest(db: None) -> None:
    plant = families.whole_plant()
    families.tanks_for(plant, families.WAYS["mixed bed"])
    row = made(plant)
    (planned,) = accepted(plant, row)
    row.refresh_from_db()
    assert row.problem is not None
    assert row.plan is not None
    (batch,) = row.plan["batches"]
    (recipe,) = [one for one in row.problem["vessel_recipes"] if one["vessel"] == batch["vessel"]]
    minutes = [stage["end"] - stage["start"] for stage in batch["stages"]]
    kept_open = [stage["in_one_opening"] for stage in recipe["stages"]]
    assert sum(kept_open) > 1
    clock = notes_from(row.notes).clock
    text = whole_text(paper(plant, row))
    for at, is_first in enumerate(kept_open):
        if not is_first or (at and kept_open[at - 1]):
            continue
        after = kept_open.index(False, at)
        begins = batch["stages"][at]["start"]
        (closes,) = [one["end"] for one in row.problem["openings"] if one["start"] <= begins < one["end"]]
        latest = closes - sum(minutes[at:after]) - row.problem["slot_min"]
        assert begins <= latest, "the plan itself keeps it"
        first, shut = (clock.moment(one).astimezone(clock.zone) for one in (latest, closes))
        name, reached = (plain_name(batch["stages"][one]["name"]) for one in (at, after))
        assert f"{name} begins by {first:%H:%M} at the latest, so that {reached} has begun" in text
        assert f"before the plant closes at {shut:%H:%M}" in text
    assert f"Mixed bed {planned.code} in {batch['vessel']}" in text
    assert "caustic" in text.split("Burns skin and eyes:")[1]


def test_days_without_work_are_told_in_a_sentence(plant: factories.SmallPlant) -> None:
    plant.forward(days=4, hours=8)  # Friday, 16:00
    factories.accepted_tanks(plant, "sac_h", count=4)
    row = made(plant)
    text = whole_text(paper(plant, row))
    assert "Sat 2026-03-07, Sun 2026-03-08: nothing stands in a vessel, and nothing is to be begun." in text


def test_a_plan_without_a_batch_says_so(plant: factories.SmallPlant) -> None:
    content = paper(plant, made(plant))
    assert len(page_sizes(content)) == 1
    assert "No batch stands in this plan: nothing is to be begun by it." in whole_text(content)
    assert scanned(content) == set()


# --- how it stands ----------------------------------------------------------------------------------------------
def test_a_draft_is_marked_and_carries_no_codes(plant: factories.SmallPlant, draft: DayPlan) -> None:
    content = paper(plant, draft)
    pages = page_texts(content)
    assert all("Day plan, DRAFT" in page for page in pages)
    assert "DRAFT, not accepted. Nobody works by it" in pages[0]
    assert "no code yet" in whole_text(content)
    assert scanned(content) == set()


def test_one_that_another_replaced_says_by_which(plant: factories.SmallPlant, draft: DayPlan) -> None:
    accepted(plant, draft)
    again = made(plant)
    accepted(plant, again)
    text = whole_text(paper(plant, draft))
    assert f"REPLACED by {again.number}" in text
    assert "Do not work by this sheet." in text
    assert "replaced" in text.split("By the clock")[1]
    assert "REPLACED" not in whole_text(paper(plant, again))


def test_one_that_is_set_aside_says_so(plant: factories.SmallPlant, draft: DayPlan) -> None:
    services.set_plan_aside(by=plant.by("planner"), number=draft.number, version=draft.version)
    assert "SET ASIDE. Do not work by this sheet." in whole_text(paper(plant, draft))


def test_a_batch_that_was_started_or_cancelled_says_so(plant: factories.SmallPlant, draft: DayPlan) -> None:
    factories.accepted_tanks(plant, "sba_1", count=3)
    row = made(plant)
    first, second = accepted(plant, row)[:2]
    batch = started(plant, first)
    services.cancel_planned(by=plant.by("planner"), planned_code=second.code, reason="The truck is away")
    text = whole_text(paper(plant, row))
    assert f"started as {batch.number}" in text
    assert "cancelled" in text


# --- printing ---------------------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-24")
def test_each_print_is_an_issue_of_its_own_and_an_act(plant: factories.SmallPlant, draft: DayPlan) -> None:
    accepted(plant, draft)
    for number in (1, 2):
        text = whole_text(paper(plant, draft))
        assert f"issue {number}" in text
        row = IssuedPaper.objects.get(kind="day_plan", subject_key=draft.number, issue_number=number)
        assert row.chain_head[:4] in text
    act = newest_act("paper.issued")
    assert act is not None
    assert f"Day plan {draft.number}: day plan for the wall printed, issue 2, A4 landscape" in act.sentence


def test_the_same_issue_is_the_same_bytes(plant: factories.SmallPlant, draft: DayPlan) -> None:
    issue = Issue(1, "2026-03-02 08:00+00:00", "A. Person", 7, "ab" * 32, 1)
    first, second = (
        draw_day_plan(day_plan_content(draft.number, issue), A4_WIDE, "metric") for _ in range(2)
    )
    assert first == second


def test_a_larger_sheet_is_the_same_enlarged(plant: factories.SmallPlant, draft: DayPlan) -> None:
    accepted(plant, draft)
    small, large = paper(plant, draft, "a4"), paper(plant, draft, "a3")
    assert all(size == pytest.approx((A4_WIDE.width, A4_WIDE.height), abs=0.5) for size in page_sizes(small))
    assert all(size == pytest.approx((A3_WIDE.width, A3_WIDE.height), abs=0.5) for size in page_sizes(large))
    assert (
        whole_text(large).replace("issue 2", "issue 1").split("Record")[0]
        == whole_text(small).split("Record")[0]
    )
    letter = paper(plant, draft, "letter", system="us")
    assert all(
        size == pytest.approx((LETTER_WIDE.width, LETTER_WIDE.height), abs=0.5) for size in page_sizes(letter)
    )
    for content in (small, large, letter):
        assert overprinted(content) == []
    with pytest.raises(OutOfRange, match="Choose a4 or a3 or letter"):
        paper(plant, draft, "label")


def test_what_cannot_be_printed_is_refused(plant: factories.SmallPlant) -> None:
    with pytest.raises(RecordRefused, match="no day plan DP-999"):
        issue_paper(by=plant.by(), kind="day_plan", key="DP-999")
    row: DayPlan = services.begin_plan(by=plant.by("planner"), seconds=5).result
    with pytest.raises(RecordRefused, match="still being searched"):
        paper(plant, row)
    DayPlan.objects.update(state=DayPlan.State.FAILED, failure="It broke off")
    with pytest.raises(RecordRefused, match="holds no plan to print"):
        paper(plant, row)
    assert not IssuedPaper.objects.exists()


def test_only_who_may_print_papers_prints_it(plant: factories.SmallPlant, draft: DayPlan) -> None:
    other = factories.person(Role.ADMINISTRATOR)
    with pytest.raises(NotAllowed):
        issue_paper(by=By(other, at=plant.now), kind="day_plan", key=draft.number)
    assert not IssuedPaper.objects.exists()


def test_the_pages_lead_to_it(client_of: Callable[[Person], Client]) -> None:
    plant = factories.plant_today()
    factories.accepted_tanks(plant, "sac_h", count=3)
    by = plant.by("planner", at=timezone.now())
    row = searched_plan(plant)
    url = reverse("paper-day-plan", args=[row.number])
    client = client_of(plant.people["operator"])
    assert url in client.get(reverse("day-plan-one", args=[row.number])).content.decode()
    assert url not in client.get(reverse("day-plan")).content.decode()
    services.accept_plan(by=by, number=row.number, version=row.version)
    assert url in client.get(reverse("day-plan")).content.decode()
    answer = client.get(url)
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/pdf")
    assert PlannedBatch.objects.get().code in whole_text(answer.content)
    assert page_sizes(client.get(url, {"size": "a3"}).content)[0][0] == pytest.approx(A3_WIDE.width, abs=0.5)
    other = client_of(factories.person(Role.ADMINISTRATOR, at=timezone.now() - timedelta(hours=1)))
    page = other.get(reverse("day-plan"))
    assert url not in page.content.decode()
    assert "Print it for the wall" in text_of(page)
    assert other.get(url).status_code == 403


def test_a_plan_of_six_hundred_tanks_is_drawn_without_overprinting_in_time() -> None:
    """Bound: 12 s of this program's own time; nobody waits for it but who prints."""
    plant = factories.small_plant()
    row = large_plan(plant.people["planner"])
    begun = time.process_time()
    content = paper(plant, row)
    took = time.process_time() - begun
    text = whole_text(content)
    assert row.plan is not None
    assert all(serial in text for batch in row.plan["batches"] for serial in batch["tanks"])
    assert overprinted(content) == []
    assert took < 12.0, f"{took:.1f} s"
