"""The monthly discharge report as a paper: what it says, who signed, and that a print of the same issue is the same bytes."""

from __future__ import annotations

import re
from dataclasses import replace

import pypdfium2
import pytest

from regenplant.documents.discharge_report import draw_discharge_report
from regenplant.documents.issue import Issue
from regenplant.documents.models import IssuedPaper
from regenplant.documents.page import A4, LETTER
from regenplant.documents.services import issue_paper
from regenplant.waste import services
from regenplant.waste.models import DischargeReport
from regenplant.waste.month import content_of, month_of
from tests import factories
from tests.documents.reading import overprinted, page_texts, whole_text
from tests.factories import SmallPlant
from tests.waste.sewer import discharged, plant_with_permit

pytestmark = pytest.mark.django_db
ISSUE = Issue(1, "2026-03-02 14:05+00:00", "Printer", 7, "ab" * 32, 1)


@pytest.fixture
def plant() -> SmallPlant:
    made = plant_with_permit(chloride_kg_per_day=60.0, volume_m3_per_day=5.0)
    discharged(made, 0.8)
    services.report_excursion(by=made.by(), words="foam at the outlet for a minute")
    return made


def signed(plant: SmallPlant) -> DischargeReport:
    permit = factories.permit(plant, "supervisor", services.REPORT_MEANING)
    return services.sign_month(by=plant.by("supervisor"), month=month_of(plant.now), permit=permit).result


def test_the_paper_says_what_was_signed_and_a_print_is_always_the_same(plant: SmallPlant) -> None:
    report = signed(plant)
    was = draw_discharge_report(report, content_of(report), ISSUE, A4, "metric")
    discharged(plant, 0.3)
    again = draw_discharge_report(DischargeReport.objects.get(), content_of(report), ISSUE, A4, "metric")
    assert was == again
    words = whole_text(was)
    for said in (
        "Discharge report", report.month, "One discharge. One excursion.", "DC-10001", "7.10 – 7.20", "none outside", "of 60",
        "foam at the outlet", "open", "None is averaged", "Supervisor 1", "discharge report read and signed",
    ):  # fmt: skip
        assert said in words, said


def test_it_is_issued_and_counted_like_every_paper(plant: SmallPlant) -> None:
    report = signed(plant)
    for expected in (1, 2):
        issued = issue_paper(
            by=plant.by("supervisor"), kind="discharge_report", key=report.key, size=LETTER.key, system="us"
        )
        assert issued.result.issue_number == expected
    assert IssuedPaper.objects.filter(kind="discharge_report", subject_key=report.key).count() == 2


def test_no_figure_is_parted_from_its_unit(plant: SmallPlant) -> None:
    """ "US gal" is one unit: it stands on the line of its number, as it is read from the page."""
    report = signed(plant)
    for size in (A4, LETTER):
        pdf = draw_discharge_report(report, content_of(report), ISSUE, size, "us")
        assert not overprinted(pdf)
        lines = [
            line
            for page in pypdfium2.PdfDocument(pdf)
            for line in page.get_textpage().get_text_range().splitlines()
        ]
        with_gallons = [line for line in lines if "gal" in line]
        assert len(with_gallons) >= 3
        assert all(re.search(r"\d[^\n]*US.gal", line) for line in with_gallons), with_gallons


def test_the_signature_never_stands_alone_on_a_page(plant: SmallPlant) -> None:
    report = signed(plant)
    content = content_of(report)
    opened = set()
    for count in range(1, 30):
        longer = replace(content, excursions=content.excursions * count)
        last = page_texts(draw_discharge_report(report, longer, ISSUE, A4, "metric"))[-1]
        assert "What it rests on" in last and "Meaning" in last, count
        opened.add("foam at the outlet" in last)
    assert opened == {True, False}, "at some length the page break falls before what the report rests on"
