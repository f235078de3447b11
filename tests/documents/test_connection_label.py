"""Labels of fill connections: what goes in and what never, a code that scans back, and an old label printed again as it was.

The data sheets are invented. Names and the pair that gives chlorine are those of the table of storage (test_storing).
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from django.test import Client
from django.urls import reverse

from regenplant.audit import chain
from regenplant.chemicals import services as chemical_services
from regenplant.chemicals.models import Place
from regenplant.core.errors import NotAllowed, OutOfRange, RecordRefused
from regenplant.documents.models import IssuedPaper
from regenplant.documents.services import print_chemical_label, print_connection_label
from tests import factories
from tests.documents.reading import codes_by_page, overprinted, page_sizes, whole_text
from tests.documents.test_chemical_label import SHEET, add

pytestmark = [pytest.mark.django_db, pytest.mark.requirement("CS-01"), pytest.mark.requirement("CS-07")]


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant()


@pytest.fixture
def tank(plant: factories.SmallPlant) -> Place:
    """The acid's tank with a coded connection and a data sheet, and a bleach tank elsewhere."""
    add(plant, SHEET)
    by = plant.by("supervisor")
    acid = Place.objects.get(code="B-HCL")
    bleach = chemical_services.add_place(
        by=by, code="B-BLEACH", name="Bleach", kind="bulk_tank", chemical="naocl", capacity_m3=2.0
    ).result
    for place, code, number in ((acid, "FILL-ACID", "UN1789"), (bleach, "FILL-BLEACH", "UN1791")):
        chemical_services.set_fill_connection(
            by=by, place_id=place.pk, connection_code=code, un_number=number, ullage_margin_m3=0.5
        )
    acid.refresh_from_db()
    return acid


def text_of(plant: factories.SmallPlant, like: int | None = None) -> str:
    return whole_text(
        print_connection_label(by=plant.by(), tank_code="B-HCL", like_issue=like).result.content
    )


def test_it_says_what_goes_in_what_never_and_where_that_stands(
    plant: factories.SmallPlant, tank: Place
) -> None:
    text = text_of(plant)
    for words in (
        "Fill connection", "Hydrochloric acid", "UN1789", "Tank B-HCL", "Code FILL-ACID", "DANGER",
        "H314 Causes severe skin burns and eye damage.", "Never connect",
        "Sodium hypochlorite: chlorine gas. Here: B-BLEACH (FILL-BLEACH).", "Sodium dithionite (hydrosulfite): sulfur dioxide gas.",
        "Connect nothing before the lock of the delivery is signed open.", "goggles, face shield", "Issue 1",
        "Moonbase Acids (invented), 32 %, revision 2026-01-05", "local codes and licensed practice decide",
    ):  # fmt: skip
        assert words in text, words


@pytest.mark.parametrize(("size", "millimetres"), [("label", (100, 150)), ("a5", (148, 210))])
def test_its_code_scans_back_and_nothing_lies_on_another(
    plant: factories.SmallPlant, tank: Place, size: str, millimetres: tuple[int, int]
) -> None:
    pdf = print_connection_label(by=plant.by(), tank_code="b-hcl", size=size).result.content
    (found,) = codes_by_page(pdf)
    assert [code.payload for code in found] == ["FILL-ACID"]
    assert overprinted(pdf) == []
    (sides,) = page_sizes(pdf)
    assert [round(side * 25.4 / 72) for side in sides] == list(millimetres)


def test_a_revised_sheet_changes_the_next_one_and_an_old_one_is_printed_again_as_it_was(
    plant: factories.SmallPlant, tank: Place
) -> None:
    first = text_of(plant)
    add(plant, replace(SHEET, hazard_codes=("H290", "H314", "H335"), revised_on=factories.START.date()))
    chemical_services.set_fill_connection(
        by=plant.by("supervisor"),
        place_id=tank.pk,
        connection_code="FILL-7",
        un_number="UN1789",
        ullage_margin_m3=0.5,
    )
    second, again = text_of(plant), text_of(plant, like=1)
    assert "H335" not in first and "H335" in second and "Code FILL-7" in second
    assert "H335" not in again and "Code FILL-ACID" in again and "Issue 3" in again
    rows = IssuedPaper.objects.filter(kind="connection_label", subject_key="B-HCL")
    assert sorted(row.issue_number for row in rows) == [1, 2, 3] and list(chain.verify()) == []


def test_without_a_code_a_sheet_a_tank_a_size_or_an_issue_nothing_is_printed(
    plant: factories.SmallPlant, tank: Place
) -> None:
    for arguments, error, words in (
        ({"tank_code": "B-NAOH"}, RecordRefused, "has no code yet"),
        ({"tank_code": "B-BLEACH"}, RecordRefused, "No data sheet of sodium hypochlorite is in force"),
        ({"tank_code": "DRAIN"}, RecordRefused, "no bulk tank DRAIN"),
        ({"tank_code": "B-HCL", "size": "letter"}, OutOfRange, "does not come in the size"),
        ({"tank_code": "B-HCL", "like_issue": 4}, RecordRefused, "was printed as issue 4"),
    ):
        with pytest.raises(error, match=words):
            print_connection_label(by=plant.by(), **arguments)
    assert not IssuedPaper.objects.filter(kind="connection_label").exists()
    with pytest.raises(NotAllowed):
        print_connection_label(by=plant.by("administrator"), tank_code="B-HCL")


def test_the_page_of_the_connection_prints_it_and_an_earlier_one(
    plant: factories.SmallPlant, tank: Place, client: Client
) -> None:
    client.force_login(plant.people["supervisor"])
    page = reverse("chemicals-place-connection", args=["B-HCL"])
    url = reverse("paper-connection-label", args=["B-HCL"])
    assert f'href="{url}"' in client.get(page).content.decode()
    assert "Code FILL-ACID" in whole_text(client.get(url).content)
    shown = client.get(page).content.decode()
    assert f"{url}?like=1" in shown and "Sodium hypochlorite: chlorine gas. Here in B-BLEACH" in shown
    assert "Issue 2" in whole_text(client.get(f"{url}?like=1").content)
    assert client.get(url, {"like": "old"}).status_code == 404


# --- labels of containers, in three sizes -----------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("size", "millimetres"), [("small", (74, 105)), ("label", (100, 150)), ("a5", (148, 210))]
)
def test_the_label_of_a_lot_comes_in_three_sizes_with_notes_and_a_code_that_scans_back(
    plant: factories.SmallPlant, size: str, millimetres: tuple[int, int]
) -> None:
    sheet = add(plant, replace(SHEET, hazard_notes="Fumes in moist air. Never with bleach: chlorine."))
    lot = plant.lots["hcl"]
    chemical_services.name_data_sheet(by=plant.by("safety"), lot_id=lot.pk, data_sheet_id=sheet)
    pdf = print_chemical_label(by=plant.by(), lot_code=lot.code, size=size).result.content
    (found,) = codes_by_page(pdf, dpi=300)
    assert [code.payload for code in found] == [lot.code]
    assert overprinted(pdf) == [] and "Never with bleach: chlorine." in whole_text(pdf)
    (sides,) = page_sizes(pdf)
    assert [round(side * 25.4 / 72) for side in sides] == list(millimetres)


def test_a_sheet_with_more_codes_than_a_small_label_holds_is_refused_and_fits_a_larger_one(
    plant: factories.SmallPlant,
) -> None:
    from regenplant.chemicals.statements import STATEMENTS

    hazards = tuple(code for code in STATEMENTS if code.startswith("H"))
    precautions = tuple(code for code in STATEMENTS if code.startswith("P"))
    sheet = add(plant, replace(SHEET, hazard_codes=hazards, precaution_codes=precautions))
    lot = plant.lots["hcl"]
    chemical_services.name_data_sheet(by=plant.by("safety"), lot_id=lot.pk, data_sheet_id=sheet)
    with pytest.raises(RecordRefused, match="Choose a larger one"):
        print_chemical_label(by=plant.by(), lot_code=lot.code, size="small")
    assert "P501" in whole_text(
        print_chemical_label(by=plant.by(), lot_code=lot.code, size="a5").result.content
    )
