"""Labels of chemical lots: their codes come from the supplier's data sheet in force, and an old label is printed again as it was.

The data sheets are invented; hazard statements behind the codes are the open GHS texts that the project's table holds.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from django.test import Client
from django.urls import reverse

from regenplant.audit import chain
from regenplant.chemicals import services as chemical_services
from regenplant.chemicals.models import ChemicalLot
from regenplant.chemicals.services.data_sheets import DataSheetContent
from regenplant.core.errors import RecordRefused
from regenplant.documents.models import IssuedPaper
from regenplant.documents.services import print_chemical_label
from tests import factories
from tests.documents.reading import whole_text

pytestmark = [pytest.mark.django_db, pytest.mark.requirement("CS-07")]

SHEET = DataSheetContent(
    chemical="hcl", supplier="Moonbase Acids (invented)", revised_on=date(2026, 1, 5), strength_text="32 %",
    signal_word="Danger", hazard_codes=("H290", "H314"), precaution_codes=("P280",), pictograms=("GHS05",),
    un_number="UN1789", packing_group="II", protective_equipment="goggles, face shield, gloves, apron",
)  # fmt: skip


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant()


def add(plant: factories.SmallPlant, sheet: DataSheetContent) -> int:
    return int(chemical_services.add_data_sheet(by=plant.by("safety"), sheet=sheet).result.pk)


@pytest.fixture
def lot(plant: factories.SmallPlant) -> ChemicalLot:
    sheet = add(plant, SHEET)
    lot = ChemicalLot.objects.get(code="LOT-HCL")
    ChemicalLot.objects.filter(pk=lot.pk).update(data_sheet_id=sheet)
    lot.refresh_from_db()
    return lot


def text_of(plant: factories.SmallPlant, lot: ChemicalLot, like: int | None = None) -> str:
    printed = print_chemical_label(by=plant.by(), lot_code=lot.code, like_issue=like).result
    return whole_text(printed.content)


def test_a_label_says_what_it_is_how_strong_and_what_the_sheet_says(
    plant: factories.SmallPlant, lot: ChemicalLot
) -> None:
    text = text_of(plant, lot)
    for words in (
        "Hydrochloric acid", "Lot LOT-HCL", "DANGER", "H314 Causes severe skin burns and eye damage.", "P280", "UN1789",
        "packing group II", "goggles, face shield", "Moonbase Acids (invented), 32 %, revision 2026-01-05", "Issue 1",
        "local codes and licensed practice decide",
    ):  # fmt: skip
        assert words in text, words
    strength = lot.checks.order_by("-pk")[0].strength_frac
    assert f"{strength * 100:.2f}" in text


def test_a_revised_sheet_changes_the_next_label_and_an_old_one_is_printed_again_as_it_was(
    plant: factories.SmallPlant, lot: ChemicalLot
) -> None:
    first = text_of(plant, lot)
    add(
        plant,
        replace(
            SHEET,
            revised_on=date(2026, 2, 1),
            hazard_codes=("H290", "H314", "H335"),
            pictograms=("GHS05", "GHS07"),
        ),
    )
    second = text_of(plant, lot)
    assert "H335" not in first and "H335" in second and "revision 2026-02-01" in second
    again = text_of(plant, lot, like=1)
    assert "H335" not in again and "revision 2026-01-05" in again and "Issue 3" in again
    assert list(chain.verify()) == []
    rows = IssuedPaper.objects.filter(kind="chemical_label", subject_key=lot.code).order_by("issue_number")
    assert [row.issue_number for row in rows] == [1, 2, 3]


def test_without_a_data_sheet_no_label_is_printed(plant: factories.SmallPlant) -> None:
    lot = ChemicalLot.objects.get(code="LOT-HCL")
    assert lot.data_sheet is None
    with pytest.raises(RecordRefused, match="No supplier’s data sheet is in force for lot LOT-HCL"):
        print_chemical_label(by=plant.by(), lot_code=lot.code)
    assert not IssuedPaper.objects.filter(kind="chemical_label").exists()


def test_a_withdrawn_sheet_prints_no_new_label_but_the_old_one(
    plant: factories.SmallPlant, lot: ChemicalLot
) -> None:
    text_of(plant, lot)
    assert lot.data_sheet_id is not None
    chemical_services.withdraw_data_sheet(
        by=plant.by("safety"), data_sheet_id=lot.data_sheet_id, reason="the supplier is called back"
    )
    with pytest.raises(RecordRefused, match="in force"):
        print_chemical_label(by=plant.by(), lot_code=lot.code)
    assert "H314" in text_of(plant, lot, like=1)


@pytest.mark.parametrize("issue", [2, 0])
def test_an_issue_that_never_was_is_refused(
    plant: factories.SmallPlant, lot: ChemicalLot, issue: int
) -> None:
    text_of(plant, lot)
    with pytest.raises(RecordRefused, match=f"No label of lot LOT-HCL was printed as issue {issue}"):
        print_chemical_label(by=plant.by(), lot_code=lot.code, like_issue=issue)


def test_a_sheet_with_every_code_still_fits(plant: factories.SmallPlant, lot: ChemicalLot) -> None:
    from regenplant.chemicals.statements import STATEMENTS

    hazards = tuple(code for code in STATEMENTS if code.startswith("H"))
    precautions = tuple(code for code in STATEMENTS if code.startswith("P"))
    add(
        plant, replace(SHEET, revised_on=date(2026, 2, 2), hazard_codes=hazards, precaution_codes=precautions)
    )
    text = text_of(plant, lot)
    assert all(code in text for code in (*hazards, *precautions))


def test_the_page_of_the_lot_prints_labels(
    plant: factories.SmallPlant, lot: ChemicalLot, client: Client
) -> None:
    client.force_login(plant.people["operator"])
    page = client.get(reverse("chemicals-lot", args=[lot.code])).content.decode()
    url = reverse("paper-chemical-label", args=[lot.code])
    assert f'href="{url}"' in page and "Labels printed before" not in page
    answer = client.get(url)
    assert answer["Content-Type"] == "application/pdf" and answer.content.startswith(b"%PDF")
    assert f"{url}?like=1" in client.get(reverse("chemicals-lot", args=[lot.code])).content.decode()
    assert "Issue 2" in whole_text(client.get(f"{url}?like=1").content)
    count = IssuedPaper.objects.count()
    for like in ("", "old", "-1", "9" * 12):
        assert client.get(url, {"like": like}).status_code == 404
    assert IssuedPaper.objects.count() == count
