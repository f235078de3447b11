"""The label of a metal drum: what drained, since when, what to expect, and that it is no classification.

What metals named a tank and that metals never enter the waste tank: 40 CFR 264.1(g)(6), as in ``core.process.drains``.
"""

from __future__ import annotations

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from regenplant.audit.selectors import newest_act
from regenplant.batches.models import Batch
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.core.process.vocabulary import StepKind
from regenplant.core.process.waste_held import WasteHeld
from regenplant.documents.models import IssuedPaper
from regenplant.documents.services import issue_paper
from regenplant.people.models import Person
from regenplant.waste.models import StepDrain
from tests import factories
from tests.documents.reading import overprinted, page_sizes, whole_text
from tests.waste.metals import flagged_batch

pytestmark = [pytest.mark.django_db, pytest.mark.requirement("EV-02")]


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant()


@pytest.fixture
def batch(plant: factories.SmallPlant) -> Batch:
    return flagged_batch(plant)


def label(plant: factories.SmallPlant, batch: Batch, size: str = "label") -> bytes:
    content: bytes = issue_paper(by=plant.by(), kind="drum_label", key=batch.number, size=size).result.content
    return content


def test_it_says_what_drained_when_and_what_to_expect(plant: factories.SmallPlant, batch: Batch) -> None:
    with pytest.raises(RecordRefused, match="nothing to label"):
        label(plant, batch)
    factories.run_to(plant, batch, StepKind.DISPLACE, finish=True)
    rows = list(StepDrain.objects.filter(batch=batch))
    assert rows and {row.destination for row in rows} == {"metal_drum"}
    text = whole_text(label(plant, batch))
    acid = sum(WasteHeld(1.0, 0.0, None, row.amounts_mol).excess_eq for row in rows)
    assert acid > 0.0 and "acid," in text and "to spare" in text
    for words in (
        "Waste with metals in it", "DANGER", batch.number, "Rinse water of copper plating", "spent acid or caustic and its rinse",
        "Corrosive: burns skin and eyes.", "Never into the waste tank, never into a drain.", "no classification", "Issue 1",
        plant.now.date().isoformat(),
    ):  # fmt: skip
        assert words in text, words
    litres = sum(row.volume_m3 for row in rows) * 1000.0
    assert f"{litres:,.0f}".replace(",", " ") in text.replace("\u2009", " ").replace("\u00a0", " ").replace(
        "\u202f", " "
    )


@pytest.mark.parametrize(("size", "millimetres"), [("label", (100, 150)), ("a5", (148, 210))])
def test_it_fits_its_sheet(
    plant: factories.SmallPlant, batch: Batch, size: str, millimetres: tuple[int, int]
) -> None:
    factories.run_to(plant, batch, StepKind.DISPLACE, finish=True)
    content = label(plant, batch, size)
    (sides,) = page_sizes(content)
    assert sides == pytest.approx([side / 25.4 * 72 for side in millimetres], abs=0.5)
    assert not overprinted(content)


def test_each_drum_has_a_label_of_its_own(plant: factories.SmallPlant, batch: Batch) -> None:
    factories.run_to(plant, batch, StepKind.DISPLACE, finish=True)
    alone = label(plant, batch)
    assert "Drum 1 of" not in whole_text(alone)
    outcome = issue_paper(by=plant.by(), kind="drum_label", key=batch.number, size="label", drums=3)
    content = outcome.result.content
    assert len(page_sizes(content)) == 3 and not overprinted(content)
    text = whole_text(content)
    assert [f"Drum {number} of 3" in text for number in (1, 2, 3, 4)] == [True, True, True, False]
    assert text.count("In all 3 drums") == 3 and text.count("Issue 2") == 3
    line = newest_act("paper.issued")
    assert line is not None and "label of a metal drum for 3 drums printed, issue 2" in line.sentence


@pytest.mark.parametrize("drums", [0, 21])
def test_no_drum_and_too_many_are_refused_and_no_issue_is_counted(
    plant: factories.SmallPlant, batch: Batch, drums: int
) -> None:
    factories.run_to(plant, batch, StepKind.DISPLACE, finish=True)
    with pytest.raises(OutOfRange, match="1 to 20 drums"):
        issue_paper(by=plant.by(), kind="drum_label", key=batch.number, size="label", drums=drums)
    assert not IssuedPaper.objects.filter(kind="drum_label").exists()


@pytest.mark.parametrize("size", ["label", "a5"])
def test_the_last_of_many_drums_fits_too(plant: factories.SmallPlant, batch: Batch, size: str) -> None:
    factories.run_to(plant, batch, StepKind.DISPLACE, finish=True)
    content = issue_paper(
        by=plant.by(), kind="drum_label", key=batch.number, size=size, drums=20
    ).result.content
    assert len(page_sizes(content)) == 20 and "Drum 20 of 20" in whole_text(content)
    assert not overprinted(content)


def test_it_comes_from_the_page_of_the_drains(client_of: Callable[[Person], Client]) -> None:
    plant = factories.plant_today()
    batch = flagged_batch(plant)
    client, url = client_of(plant.people["operator"]), reverse("paper-drum-label", args=[batch.number])
    assert client.get(url).status_code == 404
    factories.run_to(plant, batch, StepKind.BACKWASH, finish=True)
    page = client.get(reverse("waste-batch", args=[batch.number])).content.decode()
    assert url in page and "Metal-bearing." in page
    answer = client.get(url)
    assert answer.status_code == 200 and answer["Content-Type"] == "application/pdf"
    three = client.get(url, {"drums": "3", "size": "a5"})
    assert three.status_code == 200 and len(page_sizes(three.content)) == 3
    for wrong in ("0", "21", "two", "", "1.5"):
        refused = client.get(url, {"drums": wrong})
        assert refused.status_code in (400, 409, 422), (wrong, refused.status_code)
        assert "whole number from 1 to 20" in refused.content.decode(), wrong
