"""The emergency card says whom to call, where to wash, and of every chemical where it stands, how much and what it does."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta

import pytest

from regenplant.chemicals.models import Place
from regenplant.chemicals.selectors import balance_grams
from regenplant.chemicals.services import DataSheetContent, add_data_sheet
from regenplant.documents import emergency_card as card
from regenplant.documents.page import A4, LETTER, PageSize
from regenplant.plant.models import PlantProfile
from tests import factories
from tests.documents.reading import whole_text
from tests.factories import SmallPlant

pytestmark = [pytest.mark.django_db, pytest.mark.requirement("CS-09")]


@pytest.fixture
def plant(db: None) -> SmallPlant:
    plant = factories.small_plant()
    PlantProfile.objects.update(
        call_text="Plant emergency 555", shower_places="Between C1 and C2", spill_text="Shut the red valves"
    )
    sheet = DataSheetContent(
        "hcl", "Northfold (invented)", date(2025, 3, 1), "32 %", "Danger", ("H314", "H335"), (), ("GHS05",), "UN1789"
    )  # fmt: skip
    add_data_sheet(by=plant.by("safety"), sheet=sheet)
    return plant


def test_it_says_everything_a_stranger_needs(plant: SmallPlant) -> None:
    text = whole_text(card.draw_card(card.card_content(plant.now), A4))
    for words in (
        "Plant emergency 555",
        "Between C1 and C2",
        "Shut the red valves",
        "water at once, 15 minutes",
        "Hydrochloric acid",
        "UN1789",
        "H314 Causes severe skin burns and eye damage",
        "DANGER",
        "Northfold (invented), 2025-03-01",
        "No data sheet is in force: treat it as dangerous.",
        "Printed 2026-03-02",
    ):
        assert words in text, words


def test_the_quantities_are_those_of_the_ledger(plant: SmallPlant) -> None:
    """As 100 % from the ledger; as product by dividing through the strength: 100 kg of a 32 % acid hold 32 kg of HCl."""
    rows = {row.tank: row for row in card.stored_chemicals()}
    for place in Place.objects.filter(kind="bulk_tank"):
        row = rows.pop(place.code)
        assert row.kg_100 == balance_grams(place.chemical, place) / 1000.0 > 0
        assert row.strength_frac is not None and row.product_kg is not None
        assert row.product_kg * row.strength_frac == pytest.approx(row.kg_100, rel=1e-12)
    assert rows == {}


def test_what_is_not_known_is_said_and_never_guessed(plant: SmallPlant) -> None:
    row = replace(card.stored_chemicals()[0], strength_frac=None, product_kg=None, product_m3=None)
    assert card.strength_words(row) == "strength not known"
    assert card.product_words(row) == "amount of product not known"
    assert card.product_words(replace(row, kg_100=0.0)) == "empty by the books"
    bare = replace(card.card_content(plant.now), calls=(), places=(), spill=(), stored=(row,))
    text = whole_text(card.draw_card(bare, LETTER))
    assert (
        "Whom to call is not written yet" in text
        and "Look for the green signs" in text
        and "keep upwind" in text
    )


def test_the_same_state_gives_the_same_bytes(plant: SmallPlant) -> None:
    content = card.card_content(plant.now)
    drawn_anew = card.draw_card.__wrapped__(card.card_content(plant.now), A4)
    assert card.draw_card(content, A4) == drawn_anew


def test_it_is_drawn_once_for_the_same_content_and_anew_for_any_other(plant: SmallPlant) -> None:
    content = card.card_content(plant.now)
    assert card.draw_card(content, A4) is card.draw_card(card.card_content(plant.now), A4)
    assert card.draw_card(content, LETTER) != card.draw_card(content, A4)
    later = card.card_content(plant.now + timedelta(minutes=1))
    assert later.printed_at != content.printed_at and later.printed_at in whole_text(
        card.draw_card(later, A4)
    )
    less = replace(content, stored=tuple(replace(row, kg_100=row.kg_100 / 2) for row in content.stored))
    assert whole_text(card.draw_card(less, A4)) != whole_text(card.draw_card(content, A4))


@pytest.mark.parametrize("size", [A4, LETTER])
def test_five_chemicals_stand_on_one_page(plant: SmallPlant, size: PageSize) -> None:
    """With the longest words of the demonstration: four hazards, gear, three lines of place; a card that turns is not read in a hurry."""
    row = card.StoredChemical(
        tank="T-CAUSTIC", spot="Caustic bund, Chemical hall, at the far wall, next to the heater", chemical="Sodium hydroxide (caustic)",
        strength_frac=0.4986, is_strength_checked=True, kg_100=2311.0, product_kg=4634.0, product_m3=3.041, un_number="UN1824",
        signal_word="Danger", hazards=("H290 May be corrosive to metals", "H314 Causes severe skin burns and eye damage"),
        wear="goggles, face shield, gauntlets, apron, boots", sheet="Newt and Daughters (invented), 2025-03-01",
    )  # fmt: skip
    content = replace(
        card.card_content(plant.now),
        calls=("555 from any hall telephone (invented). Outside help: the emergency number of your place.",),
        spill=("Stop the source if you can do it safely. Keep people away and upwind. Shut the floor drain valves. Call 555. Absorb and neutralize only with gear on and by the data sheet.",),
        stored=(row,) * 5,
    )  # fmt: skip
    text = whole_text(card.draw_card(content, size))
    assert "Page 1 of 1" in text and text.count("T-CAUSTIC") == 5
