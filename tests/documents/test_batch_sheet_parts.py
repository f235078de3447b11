"""The batch sheet in its two parts: the work order that goes to the vessel, and the calculation appendix."""

from __future__ import annotations

import re
from functools import lru_cache

import pytest
from django.test import Client
from django.urls import reverse

from regenplant.core.process.vocabulary import StepKind
from regenplant.documents.batch_sheet import Wanted, draw_batch_sheet
from regenplant.documents.batch_sheet_closing import SIGNATURES
from regenplant.documents.models import IssuedPaper
from regenplant.documents.page import A4, LETTER
from regenplant.documents.services import issue_paper
from regenplant.quality import services as quality_services
from regenplant.quality.signed_content import RELEASE_MEANING
from tests import factories
from tests.documents import examples
from tests.documents.drawn import sheet_of
from tests.documents.reading import overprinted, page_texts, plain, whole_text

CODES = ["OH2-NAOH-80", "FB-NH3-27", "SAN-NA-NAOCL", "MB-APART-110", "GAC-EXCHANGE"]
APPENDIX = "Calculation appendix of B-10412"


@lru_cache(maxsize=32)
def part_of(code: str, wanted: Wanted) -> bytes:
    return draw_batch_sheet(examples.content_of(code), A4, "metric", wanted)


@pytest.mark.parametrize("code", CODES)
def test_the_first_page_says_which_pages_are_the_work_order_and_which_the_appendix(code):
    pages = page_texts(sheet_of(code, "a4", "metric"))
    told = re.search(
        r"Work order: pages 1 to (\d+), .* Calculation appendix: pages (\d+) to (\d+),", pages[0]
    )
    assert told is not None
    last, first, end = (int(number) for number in told.groups())
    assert (first, end) == (last + 1, len(pages))
    assert APPENDIX in pages[first - 1]
    assert sum(APPENDIX in text for text in pages) == 1
    assert SIGNATURES[-1][0] in pages[last - 1], "the work order ends with the sign-off"


@pytest.mark.parametrize("code", CODES)
def test_the_foot_counts_the_pages_of_the_part_beside_those_of_the_paper(code):
    order, appendix = (page_texts(part_of(code, part)) for part in (Wanted.WORK_ORDER, Wanted.APPENDIX))
    whole = page_texts(sheet_of(code, "a4", "metric"))
    assert len(whole) == len(order) + len(appendix)
    for number, text in enumerate(whole, start=1):
        assert f"Page {number} of {len(whole)}" in text
        where = (
            f"work order, {number} of {len(order)}"
            if number <= len(order)
            else f"appendix, {number - len(order)} of {len(appendix)}"
        )
        assert where in text


@pytest.mark.parametrize("code", CODES)
def test_the_work_order_alone_is_whole_and_says_that_the_appendix_is_apart(code):
    plan, pages = examples.plan_of(code), page_texts(part_of(code, Wanted.WORK_ORDER))
    text = " ".join(pages)
    assert f"Work order: pages 1 to {len(pages)}, complete" in pages[0]
    assert "is printed apart" in pages[0]
    assert all(plain(step.instruction) in text for step in plan.steps)
    assert all(plain(meaning) in text for _, meaning, _ in SIGNATURES)
    assert "How every figure was found" not in text and APPENDIX not in text
    assert overprinted(part_of(code, Wanted.WORK_ORDER)) == []


@pytest.mark.parametrize("code", CODES)
def test_nothing_is_written_on_the_appendix(code):
    text = whole_text(part_of(code, Wanted.APPENDIX))
    assert "Nothing is written on these pages" in text
    assert "How every figure was found" in text and "Checks when the plan was frozen" in text
    assert not any(word in text for word in ("Initials", "Step started", "Name, printed", "Remarks"))


def test_the_parts_carry_the_digest_of_the_whole_paper():
    """Both say the same content: one digest stands on both, so they can be laid together again."""
    found = {
        re.search(r"paper ((?:[0-9a-f]{4} ?){4})", text).group(1)
        for wanted in (Wanted.WORK_ORDER, Wanted.APPENDIX)
        for text in page_texts(part_of("OH2-NAOH-80", wanted))
    }
    assert len(found) == 1


# A sheet for the operator is short: head and totals, about one page for a step, QC and sign-off
@pytest.mark.parametrize("code", list(examples.RECIPES))
def test_a_work_order_is_not_much_more_than_a_page_for_each_step(code):
    pages = page_texts(part_of(code, Wanted.WORK_ORDER))
    assert len(pages) <= 3 + 1.15 * len(examples.plan_of(code).steps)


# --- issued from the record -------------------------------------------------------------------------------------
@pytest.fixture
def plant(db):
    return factories.small_plant()


def test_a_part_is_an_issue_of_its_own_kind_counted_with_the_sheet(plant):
    """Two papers of one batch with the same issue number would be taken for the same."""
    batch = factories.frozen_batch(plant, "sac_h")
    kinds = ("batch_sheet", "work_order", "calculation", "work_order")
    issues = [issue_paper(by=plant.by(), kind=kind, key=batch.number).result.issue_number for kind in kinds]
    assert issues == [1, 2, 3, 4]
    assert [row.kind for row in IssuedPaper.objects.order_by("issue_number")] == list(kinds)


@pytest.mark.parametrize(("name", "words"), [("paper-work-order", "Step started"), ("paper-calculation", "How every figure was found")])  # fmt: skip
def test_each_part_is_handed_out_by_the_batch_page(plant, name, words):
    batch = factories.frozen_batch(plant, "sac_h")
    client = Client()
    client.force_login(plant.people["operator"])
    page = client.get(reverse("batches-detail", args=[batch.number])).content.decode()
    assert reverse(name, args=[batch.number]) in page
    response = client.get(reverse(name, args=[batch.number]))
    assert response.status_code == 200 and response["Content-Type"] == "application/pdf"
    assert words in whole_text(response.content)


# --- under way and over -----------------------------------------------------------------------------------------
def test_a_sheet_printed_under_way_repeats_no_step_and_names_what_deviated(plant):
    """A blank acid step on a second print of a running batch would invite a second dose."""
    batch = factories.frozen_batch(plant, "sac_h")
    acid = factories.run_to(plant, batch, StepKind.INJECT)
    text = whole_text(issue_paper(by=plant.by(), kind="work_order", key=batch.number).result.content)
    behind = batch.steps.filter(number__lt=acid.number).count()
    assert text.count("do not do it again") == behind
    assert text.count("Do not start it again; go on from the record.") == 1
    assert text.count("Step started") == batch.steps.count() - behind
    assert "Vessel empty, rinsed" not in text


def test_a_closed_batch_prints_a_copy_for_the_file(plant):
    batch = factories.filled_batch(plant, "sac_h")
    assert "Copy for the file" not in whole_text(
        issue_paper(by=plant.by(), kind="work_order", key=batch.number).result.content
    )
    factories.reviewed(plant, batch)
    permit = factories.permit(plant, "qc 2", RELEASE_MEANING)
    quality_services.release_batch(by=plant.by("qc 2"), batch_id=batch.pk, permit=permit)
    first = page_texts(issue_paper(by=plant.by(), kind="work_order", key=batch.number).result.content)[0]
    assert "Copy for the file: nobody works on this batch any more." in first


def test_the_parts_come_on_letter_paper_too():
    pdf = draw_batch_sheet(examples.content_of("OH2-NAOH-80"), LETTER, "us", Wanted.WORK_ORDER)
    assert "Work order: pages 1 to" in page_texts(pdf)[0]
