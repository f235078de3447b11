"""Paper forms as printed: number, code, cautions and limits on the page, the same bytes for the same form, pages of their own."""

from __future__ import annotations

import pytest

from regenplant.documents.page import A4, LETTER, PageSize
from regenplant.documents.paper_forms import draw_paper_forms
from regenplant.keeping.models import PaperForm
from regenplant.keeping.paper_blank import Printing, blank_form
from regenplant.keeping.paper_content import PaperFormContent
from tests import factories
from tests.documents.reading import codes_by_page, overprinted, page_texts, plain

PRINTED = Printing("2026-03-11 14:05 (UTC+01:00)", "O. Skarn", 5021, "c2d407aa" * 8)


def pages_of(pdf: bytes) -> list[str]:
    return [plain(text) for text in page_texts(pdf)]


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant()


def empty(number: str, kind: str = "rinse_log") -> PaperFormContent:
    return blank_form(number, kind, None, PRINTED)


@pytest.mark.parametrize("size", [A4, LETTER], ids=["a4", "letter"])
@pytest.mark.parametrize("kind", PaperForm.Kind.values)
def test_each_page_carries_the_number_and_where_the_record_stood(
    plant: factories.SmallPlant, kind: str, size: PageSize
) -> None:
    pages = pages_of(draw_paper_forms([empty("P-10012", kind)], size))
    assert all("P-10012" in page and "c2d4 07aa" in page and "O. Skarn" in page for page in pages)
    assert f"Page {len(pages)} of {len(pages)}" in pages[-1]
    assert "Looked over by another person" in pages[-1]


def test_a_form_for_a_batch_carries_its_limits_and_cautions(plant: factories.SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    words = " ".join(pages_of(draw_paper_forms([blank_form("P-10012", "step_record", batch, PRINTED)], A4)))
    assert batch.number in words and "DANGER" in words and "gpm" in words and "L/min" in words
    assert "The SDS, local codes and licensed practice decide." in words


def test_forms_of_a_pad_count_their_own_pages(plant: factories.SmallPlant) -> None:
    pages = pages_of(draw_paper_forms([empty("P-10012"), empty("P-10013")], A4))
    assert len(pages) == 2 and all("Page 1 of 1" in page for page in pages)
    assert "P-10012" in pages[0] and "P-10013" in pages[1] and "P-10013" not in pages[0]


def test_a_second_print_says_that_the_first_may_be_about(plant: factories.SmallPlant) -> None:
    once, twice = (
        draw_paper_forms([empty("P-10012")], A4, prints=[1]),
        draw_paper_forms([empty("P-10012")], A4, prints=[2]),
    )
    assert "Print 2." not in pages_of(once)[0] and "Print 2." in pages_of(twice)[0]
    assert once == draw_paper_forms([empty("P-10012")], A4)


def test_the_code_on_the_form_scans_to_its_number(plant: factories.SmallPlant) -> None:
    found = codes_by_page(draw_paper_forms([empty("P-10012")], A4))
    assert [code for page in found for code in page if "P-10012" in str(code)], found


@pytest.mark.parametrize("kind", PaperForm.Kind.values)
def test_nothing_is_printed_over_anything_else(plant: factories.SmallPlant, kind: str) -> None:
    assert overprinted(draw_paper_forms([empty("P-10012", kind)], LETTER, prints=[2])) == []
