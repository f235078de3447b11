"""Investigations and traces through HTTP: the page, its files, the paper, the picture."""

from __future__ import annotations

import csv
import io
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from regenplant.batches.models import Batch
from regenplant.documents.models import IssuedPaper
from regenplant.quality.tracing import Column, Edge, Kind, Node, Trace
from regenplant.tanks import services as tank_services
from regenplant.web.drawing.trace import MOST, trace_scene
from regenplant.web.tables.export import typed
from tests import factories, families
from tests.documents.reading import plain, whole_text
from tests.factories import SmallPlant
from tests.web.pages import text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=factories.hours_ago(20))


@pytest.fixture
def released(plant: SmallPlant) -> Batch:
    batch = factories.frozen_batch(plant, "sac_h")
    families.to_release(plant, batch)
    link = batch.tank_links.filter(is_filled=True).select_related("visit__tank").order_by("position")[0]
    tank_services.ship_tank(by=plant.by("planner"), visit_id=link.visit_id, version=link.visit.version)
    return Batch.objects.get(pk=batch.pk)


@pytest.fixture
def other(plant: SmallPlant, released: Batch) -> Batch:
    batch = factories.frozen_batch(plant, "sba_1")
    families.to_release(plant, batch)
    return Batch.objects.get(pk=batch.pk)


@pytest.fixture
def reader(plant: SmallPlant, client_of) -> Client:  # type: ignore[no-untyped-def]
    return client_of(plant.people["supervisor"])


def asked(name: str, **data: Any) -> str:
    query = "&".join(f"{key}={value}" for key, value in data.items())
    return f"{reverse(name)}?{query}"


@pytest.mark.requirement("ER-28")
def test_an_investigation_shows_the_tanks_to_call_back_and_who_shared_what(
    reader: Client, released: Batch, other: Batch
) -> None:
    page = reader.get(asked("tracing-investigation", kind="batch", code=released.number.lower()))
    text = text_of(page)
    assert f"Investigation: batch {released.number}" in text and "1 tank left the plant." in text
    assert "3 tanks of the pool, 1 of them shipped" in text
    assert other.number in text and "instrument CELL" in text and "LOT-HCL" in text
    only = text_of(
        reader.get(asked("tracing-investigation", kind="batch", code=released.number, share="instrument"))
    )
    assert other.number in only
    vessel = text_of(
        reader.get(asked("tracing-investigation", kind="batch", code=released.number, share="vessel"))
    )
    assert other.number not in vessel


@pytest.mark.requirement("ER-28")
def test_the_recall_list_is_a_file_with_customer_site_and_day(reader: Client, released: Batch) -> None:
    answer = reader.get(asked("tracing-recall", kind="batch", code=released.number, _export="csv"))
    assert answer["Content-Type"].startswith("text/csv") and "recall" in answer["Content-Disposition"]
    head, *rows = csv.reader(io.StringIO(answer.content.decode("utf-8-sig")))
    assert head[:4] == ["Tank", "Customer", "Site", "Shipped"] and {"Batch", "Lot", "Visit", "Why"} < set(
        head
    )
    assert len(rows) == 3 and {typed(row[1]) for row in rows} == {"Moonbase Test Kitchen"}
    assert sum(1 for row in rows if row[3][:4].isdigit()) == 1
    shown = reader.get(asked("tracing-recall", kind="batch", code=released.number))
    assert shown.status_code == 302 and shown["Location"].endswith("#recall")


def test_the_batches_are_a_file_too(reader: Client, released: Batch, other: Batch) -> None:
    answer = reader.get(asked("tracing-investigation", kind="vessel", code="A1", _export="csv"))
    _, *rows = csv.reader(io.StringIO(answer.content.decode("utf-8-sig")))
    assert [row[0] for row in rows] == [other.number] and rows[0][2] == "vessel A1"


@pytest.mark.requirement("ER-28")
def test_the_paper_lists_the_same_and_is_counted_as_an_issue(
    reader: Client, released: Batch, other: Batch
) -> None:
    answer = reader.get(asked("tracing-paper", kind="batch", code=released.number, days=14))
    assert answer["Content-Type"] == "application/pdf"
    paper = plain(whole_text(answer.content))
    serials = [link.visit.tank.serial for link in released.tank_links.select_related("visit__tank")]
    assert all(serial in paper for serial in serials) and other.number in paper
    assert (
        "Moonbase Test Kitchen" in paper
        and "still here" in paper
        and "Nobody is told by this paper." in paper
    )
    issue = IssuedPaper.objects.get(kind="investigation")
    assert issue.subject_key == f"batch:{released.number}:14"
    story = text_of(reader.get(reverse("batches-history", args=[released.number])))
    assert "investigation printed" in story


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ({"kind": "batch", "code": "B-99999"}, "There is no batch B-99999 here."),
        ({"kind": "vessel", "code": "Z9"}, "There is no vessel Z9 here."),
        ({"kind": "batch", "code": ""}, "Nothing is written here yet"),
        ({"kind": "weather", "code": "rain"}, "no choice here"),
        ({"kind": "vessel", "code": "C1", "days": "0"}, "Choose 1 to"),
        ({"kind": "vessel", "code": "C1", "days": "x"}, "no whole number"),
    ],
)
def test_what_cannot_be_investigated_is_said_beside_the_field(
    reader: Client, plant: SmallPlant, data: dict[str, str], words: str
) -> None:
    for name in ("tracing-investigation", "tracing-recall", "tracing-paper"):
        answer = reader.get(asked(name, **data))
        assert answer.status_code == 422 and words in text_of(answer), name
    assert not IssuedPaper.objects.filter(kind="investigation").exists()


@pytest.mark.requirement("ER-28")
@pytest.mark.parametrize("kind", ["batch", "tank", "resin_lot", "chemical_lot", "customer"])
def test_a_trace_shows_list_and_picture_from_every_end(reader: Client, released: Batch, kind: str) -> None:
    assert released.lot is not None
    serial = released.tank_links.select_related("visit__tank").order_by("position")[0].visit.tank.serial
    code = {
        "batch": released.number, "tank": serial, "resin_lot": released.lot.code, "chemical_lot": "LOT-HCL", "customer": "MOON",
    }[kind]  # fmt: skip
    page = reader.get(asked("tracing-trace", kind=kind, code=code))
    text = text_of(page)
    assert (
        f"Trace of {code}" in text
        and released.number in text
        and serial in text
        and released.lot.code in text
    )
    assert '<svg class="draw"' in page.content.decode() and "shipped to one customer" in text


def test_what_cannot_be_traced_is_said(reader: Client, plant: SmallPlant) -> None:
    for kind, code, words in (
        ("tank", "T-0", "There is no tank T-0 here."),
        ("tank", "", "Nothing is written here yet"),
    ):
        answer = reader.get(asked("tracing-trace", kind=kind, code=code))
        assert answer.status_code == 422 and words in text_of(answer)


def test_the_start_offers_failed_batches_and_is_for_people_who_are_signed_in(
    client: Client, reader: Client, plant: SmallPlant
) -> None:
    assert "No batch has failed." in text_of(reader.get(reverse("tracing")))
    for name in ("tracing", "tracing-investigation", "tracing-recall", "tracing-paper", "tracing-trace"):
        assert client.get(reverse(name)).status_code == 302


def test_a_picture_of_thirty_things_stays_within_its_columns() -> None:
    nodes = [Node(Column.TANKS, Kind.TANK, f"T-{n}") for n in range(30)]
    batch = Node(Column.BATCHES, Kind.BATCH, "B-1", "released")
    trace = Trace(Kind.BATCH, "B-1", (*nodes, batch), tuple(Edge(node.key, batch.key, 1) for node in nodes))
    scene = trace_scene(trace)
    svg = scene.to_svg()
    assert svg.count("<rect") == MOST + 1 and svg.count("<line") == MOST and f"and {30 - MOST} more" in svg
    assert scene.height < 600 and "30 tanks, 1 batches" in scene.label
