"""The feed analysis through HTTP: written as laboratories report it, refused when it does not balance, taken off again."""

from __future__ import annotations

import pytest
from django.urls import reverse

from regenplant.plant.models import PlantProfile
from tests import factories
from tests.web.pages import form_data, text_of

pytestmark = pytest.mark.django_db
FEED = {
    "calcium_eq_per_m3": "62 mg/L as CaCO3",
    "magnesium_eq_per_m3": "4.86 mg/L",
    "sodium_eq_per_m3": "5 meq/L",
    "alkalinity_eq_per_m3": "165 mg/L as CaCO3",
    "chloride_eq_per_m3": "53 mg/L",
    "sulfate_eq_per_m3": "72 mg/L",
    "nitrate_eq_per_m3": "0.2 meq/L",
    "carbon_dioxide_mol_per_m3": "0.3 mmol/L",
    "silica_mol_per_m3": "9 mg/L",
    "basis": "Test laboratory, 2026-02-20",
}
"""An invented well."""


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.small_plant()


@pytest.fixture
def supervisor_client(plant, client_of):
    return client_of(plant.people["supervisor"])


def write(client, **change: str):
    url = reverse("setup-plant-feed")
    shown = form_data(client.get(url).context["form"])
    return client.post(url, {**shown, **FEED, **change})


def test_figures_are_understood_as_laboratories_write_them(supervisor_client):
    """62 mg/L as CaCO3 over 50.04 mg/meq; 4.86 mg/L over 12.15 mg/meq; 72 mg/L over 48.03; 9 mg/L over 60.08 mg/mmol: by hand."""
    assert write(supervisor_client).status_code == 302
    plant = PlantProfile.objects.get()
    assert plant.feed_calcium_eq_per_m3 == pytest.approx(62 / 50.04, rel=1e-3)
    assert plant.feed_magnesium_eq_per_m3 == pytest.approx(4.86 / 12.15, rel=1e-3)
    assert plant.feed_sulfate_eq_per_m3 == pytest.approx(72 / 48.03, rel=1e-3)
    assert plant.feed_silica_mol_per_m3 == pytest.approx(9 / 60.08, rel=1e-3)
    text = text_of(supervisor_client.get(reverse("setup-plant")))
    assert "Test laboratory, 2026-02-20" in text
    assert "% apart, at most 10 %." in text
    assert "conductivity at 25 °C" in text


def test_the_line_under_a_field_says_what_a_mass_means_for_this_ion(supervisor_client):
    url = reverse("setup-plant-feed-understood")
    name = "sulfate_eq_per_m3"
    assert "1.499 meq/L" in text_of(supervisor_client.get(url, {"name": name, name: "72 mg/L"}))
    assert "furlong" in text_of(supervisor_client.get(url, {"name": name, name: "3 furlongs"}))
    assert supervisor_client.get(url, {"name": "iron"}).status_code == 404


def test_charges_that_do_not_balance_are_refused_and_nothing_typed_is_lost(supervisor_client):
    answer = write(supervisor_client, sodium_eq_per_m3="1 meq/L")
    assert answer.status_code == 422
    assert "do not balance" in text_of(answer)
    assert answer.context["form"]["calcium_eq_per_m3"].value() == "62 mg/L as CaCO3"
    assert PlantProfile.objects.get().feed_basis == ""


def test_an_analysis_nobody_signs_for_is_refused(supervisor_client):
    assert write(supervisor_client, basis="").status_code == 422


def test_opening_and_sending_the_form_again_rounds_nothing(supervisor_client):
    write(supervisor_client)
    before = PlantProfile.objects.get().feed_calcium_eq_per_m3
    url = reverse("setup-plant-feed")
    shown = form_data(supervisor_client.get(url).context["form"])
    assert supervisor_client.post(url, {**shown, "basis": "Test laboratory, 2026-03-01"}).status_code == 302
    assert PlantProfile.objects.get().feed_calcium_eq_per_m3 == before


def test_it_is_taken_off_with_a_reason_and_there_is_nothing_to_take_off_twice(supervisor_client):
    write(supervisor_client)
    url = reverse("setup-plant-feed-remove")
    version = PlantProfile.objects.get().version
    assert supervisor_client.post(url, {"reason": "", "version": version}).status_code == 422
    answer = supervisor_client.post(url, {"reason": "the well was changed", "version": version})
    assert answer.status_code == 302
    assert "None is on record." in text_of(supervisor_client.get(reverse("setup-plant")))
    assert supervisor_client.get(url).status_code == 404


def test_an_operator_sees_it_and_does_not_change_it(plant, client_of):
    client = client_of(plant.people["operator"])
    assert client.get(reverse("setup-plant")).status_code == 200
    assert write(client).status_code == 403
