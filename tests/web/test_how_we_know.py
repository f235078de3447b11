"""The page "How we know" and the README say what the tests of the core saw, and nothing else."""

from __future__ import annotations

import json
from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import reverse

from tests import outside
from tests.core.reference_rows import REFERENCE
from tests.outside_groups import GROUPS
from tests.web.pages import text_of

STORED = json.loads(outside.STORED.read_text(encoding="utf-8"))


def test_the_stored_figures_add_up() -> None:
    rows = STORED["rows"]
    assert STORED["values"] == sum(row["values"] for row in rows) >= 1000
    assert STORED["read"] + STORED["computed"] == STORED["values"]
    assert [row["key"] for row in rows] == [group.key for group in GROUPS]
    assert all(0.0 <= row["worst_share_of_allowed"] <= 1.0 for row in rows)


@pytest.mark.parametrize("row", STORED["rows"], ids=lambda row: row["key"])
def test_the_worst_row_stands_in_the_reference_files(row: dict[str, object]) -> None:
    worst = row["worst_row"]
    assert isinstance(worst, dict)
    found = [
        file.name
        for file in REFERENCE.glob("*.csv")
        if f"\n{worst['id']}," in file.read_text(encoding="utf-8")
    ]
    assert len(found) >= 1, f"{worst['id']} stands in no file of tests/reference"


def test_the_readme_shows_the_stored_figures() -> None:
    text = outside.README.read_text(encoding="utf-8")
    block = text.split(outside.BEGIN)[1].split(outside.END)[0].strip()
    assert block == outside.readme_table(STORED)


def test_a_changed_deviation_or_a_lost_row_is_noticed() -> None:
    changed = json.loads(json.dumps(STORED))
    changed["rows"][0]["worst"] += 1.0
    changed["rows"].pop()
    found = outside.differences(STORED, changed)
    assert any("worst is" in line for line in found) and any("not in the file" in line for line in found)
    assert outside.differences(STORED, STORED) == []


def test_the_page_shows_every_quantity_with_its_figures(
    operator: object, client_of: Callable[[object], Client]
) -> None:
    page = client_of(operator).get(reverse("how-we-know"))
    text = text_of(page)
    assert page.status_code == 200 and f"{STORED['values']:,} outside values".replace(",", " ") in text
    for row in STORED["rows"]:
        assert row["title"] in text
    assert client_of(operator).get(reverse("how-we-know-json")).json() == STORED


def test_methods_are_those_of_the_bench_today() -> None:
    for row, group in zip(STORED["rows"], GROUPS, strict=True):
        for method, name in zip(row["methods"], group.bench, strict=True):
            assert method == outside.method_of(name)


@pytest.mark.parametrize("page", ["bench", "setup"])
def test_the_bench_and_the_setup_lead_there(
    operator: object, client_of: Callable[[object], Client], page: str
) -> None:
    assert f'href="{reverse("how-we-know")}"' in client_of(operator).get(reverse(page)).content.decode()
