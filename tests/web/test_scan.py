"""The scan box: every kind of code leads to its page, an unknown one is said to be unknown, and nothing is changed."""

from __future__ import annotations

import pytest
from django.urls import reverse

from regenplant.audit.selectors import chain_head
from regenplant.web import codes
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant(now=factories.hours_ago(2))


@pytest.fixture
def client(plant, client_of):
    return client_of(plant.people["operator"])


def scan(client, code):
    return client.get(reverse("scan"), {"code": code})


def test_every_kind_of_code_is_found(plant):
    batch = factories.frozen_batch(plant, "sac_h")
    visit = factories.received_tank(plant, "sac_h")
    known = {
        visit.tank.serial: "tank", visit.number: "visit", batch.number: "batch", "C1": "vessel", "LOT-HCL": "chemical lot",
        "CELL": "instrument",
    }  # fmt: skip
    for code, noun in known.items():
        assert codes.find(code).noun == noun, code


@pytest.mark.parametrize("shape", ["{}", " {} ", "{}\n", "\t{}"])
def test_case_and_spaces_do_not_matter(client, plant, shape):
    visit = factories.received_tank(plant, "sac_h")
    expected = reverse("tanks-detail", args=[visit.tank.serial])
    assert scan(client, shape.format(visit.tank.serial.lower()))["Location"] == expected
    spaced = visit.tank.serial.replace("-", " - ")
    assert scan(client, shape.format(spaced))["Location"] == expected


def test_a_visit_leads_to_intake(client, plant):
    visit = factories.received_tank(plant, "sac_h")
    assert scan(client, visit.number)["Location"] == reverse("intake-visit", args=[visit.number])


def test_a_scan_changes_nothing(client, plant):
    visit = factories.received_tank(plant, "sac_h")
    before = chain_head()
    scan(client, visit.number), scan(client, "T-nothing"), scan(client, "")
    assert chain_head() == before


def test_an_unknown_code_is_said_to_be_unknown_with_what_looks_like_it(client, plant):
    visit = factories.received_tank(plant, "sac_h")
    slip = f"{visit.tank.serial[:-2]}{visit.tank.serial[-1]}{visit.tank.serial[-2]}"
    response = scan(client, slip)
    page = response.content.decode()
    assert response.status_code == 404
    assert "That code fits no tank, batch or paper here. Type the number under the bars." in page
    assert visit.tank.serial in page


@pytest.mark.parametrize(
    "code",
    ["<script>alert(1)</script>", "x" * 5000, "%", "' OR 1=1", "\x00\x00", "https://example.invalid/T-20417"],
)
def test_a_nasty_code_is_only_text(client, plant, code):
    response = scan(client, code)
    assert response.status_code == 404
    assert "<script>alert" not in response.content.decode()


def test_an_empty_scan_asks_for_a_code(client):
    response = scan(client, "  ")
    assert response.status_code == 200 and "Scan any code" in response.content.decode()


def test_a_scan_is_for_signed_in_people_and_only_by_get(client, plant, django_user_model):
    from django.test import Client

    assert Client().get(reverse("scan"), {"code": "C1"}).status_code == 302
    assert client.post(reverse("scan"), {"code": "C1"}).status_code == 405


def test_a_thing_without_a_page_of_its_own_is_still_identified(client, plant, monkeypatch):
    monkeypatch.setattr(codes, "KINDS", (codes.Kind("vessel", codes.Vessel, "code", "no-such-page"),))
    response = scan(client, "c1")
    assert response.status_code == 200 and "C1 is a vessel" in response.content.decode()
