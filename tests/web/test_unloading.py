"""The lock on a delivery through HTTP: the whole way, the wrong connection, and who may do what."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from regenplant.chemicals import services
from regenplant.chemicals.models import ChemicalLot, Place, Unloading
from tests import factories
from tests.factories import SmallPlant
from tests.web.pages import errors_of, form_data, text_of

pytestmark = [pytest.mark.django_db, pytest.mark.requirement("CS-01")]


@pytest.fixture
def plant(db: None) -> SmallPlant:
    plant = factories.small_plant(now=factories.hours_ago(2))
    for code, un_number in (("B-HCL", "UN1789"), ("B-NAOH", "UN1824")):
        services.set_fill_connection(
            by=plant.by("supervisor"), place_id=Place.objects.get(code=code).pk, connection_code=f"FILL-{code}",
            un_number=un_number, ullage_margin_m3=0.2,
        )  # fmt: skip
    return plant


def papers(**change: Any) -> dict[str, Any]:
    place = Place.objects.get(code="B-HCL")
    return {
        "order_line": "4711 / 2", "chemical": "hcl", "un_number": "UN1789", "place": place.pk, "code": "A-118",
        "supplier_lot": "S-90", "certificate_strength_frac": "32 %", "quantity_pure": "100 kg", **change,
    }  # fmt: skip


def opened(client: Client) -> Unloading:
    answer = client.post(reverse("chemicals-unloading-new"), papers())
    assert answer.status_code == 302, errors_of(answer)
    row = Unloading.objects.get()
    assert answer.url == reverse("chemicals-unloading", args=[row.number])
    return row


def address(row: Unloading, what: str) -> str:
    return reverse(f"chemicals-unloading-{what}", args=[row.number])


def sampled(client: Client, row: Unloading) -> None:
    answer = client.post(address(row, "sample"), {"density": "1159 kg/m3", "temperature_kelvin": "20 °C"})
    assert answer.status_code == 302, errors_of(answer)


def test_the_whole_way_at_one_terminal(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    first = as_("operator")
    row = opened(first)
    sampled(first, row)
    scan = {
        "scanned": "FILL-B-HCL",
        "second_username": plant.people["operator 2"].username,
        "second_password": factories.PASSWORD,
    }
    assert first.post(address(row, "scan"), scan).status_code == 302
    page = first.get(address(row, "unlock"))
    sent = {
        **form_data(page.context["form"]),
        "username": plant.people["operator"].username,
        "password": factories.PASSWORD,
    }
    assert first.post(address(row, "unlock"), sent).status_code == 302
    row.refresh_from_db()
    assert (row.state, row.confirmed_by) == ("unlocked", plant.people["operator 2"])
    assert row.lot is not None and row.lot.code == "A-118"
    assert "Unlocked" in text_of(first.get(reverse("chemicals-unloading", args=[row.number])))


def test_a_sample_that_agreed_stays_done_when_the_scan_stops_the_delivery(
    as_: Callable[[str], Client],
) -> None:
    row = opened(as_("operator"))
    sampled(as_("operator"), row)
    words = text_of(as_("operator 2").post(address(row, "scan"), {"scanned": "fill-b-naoh"}, follow=True))
    assert "Done Sample" in words and "Not yet Fill connection" in words


def test_a_second_person_at_their_own_terminal_scans_the_wrong_connection(
    as_: Callable[[str], Client],
) -> None:
    row = opened(as_("operator"))
    answer = as_("operator 2").post(address(row, "scan"), {"scanned": "fill-b-naoh"}, follow=True)
    words = text_of(answer)
    assert "Stopped" in words and "Connect nothing" in words and "B-NAOH" in words
    assert "is stopped" in text_of(as_("supervisor").get(reverse("chemicals")))
    refused = as_("operator").post(
        address(row, "sample"), {"density": "1159 kg/m3", "temperature_kelvin": "20 °C"}
    )
    assert refused.status_code == 422 and "never unlocked" in text_of(refused)
    said = as_("supervisor").post(
        address(row, "answer"), {"answer": "The label had fallen off. Both are new."}, follow=True
    )
    assert "Answered by" in text_of(said)
    assert "is stopped" not in text_of(as_("supervisor").get(reverse("chemicals")))
    assert not ChemicalLot.objects.filter(code="A-118").exists()


def test_the_page_that_receives_without_the_lock_is_refused(
    plant: SmallPlant, as_: Callable[[str], Client]
) -> None:
    sent = {
        **papers(), "second_person": plant.people["operator 2"].pk, "is_connection_right": "on", "act": "show",
    }  # fmt: skip
    client = as_("operator")
    shown = client.post(reverse("chemicals-receive"), sent)
    answer = client.post(
        reverse("chemicals-receive"), {**sent, "act": "write", "shown": shown.context["shown_mark"]}
    )
    assert answer.status_code == 422 and "is locked" in text_of(answer)
    assert not ChemicalLot.objects.filter(code="A-118").exists()


@pytest.mark.parametrize("what", ["", "sample", "scan", "unlock", "stop"])
def test_everybody_reads_and_who_may_not_cannot_write(
    plant: SmallPlant, as_: Callable[[str], Client], what: str
) -> None:
    row = opened(as_("operator"))
    url = address(row, what) if what else reverse("chemicals-unloading", args=[row.number])
    for who in ("operator", "operator 2", "planner", "supervisor"):
        assert as_(who).get(url).status_code == 200
    if what in ("sample", "scan"):
        sent = {"density": "1159 kg/m3", "temperature_kelvin": "20 °C", "scanned": "FILL-B-HCL"}
        assert as_("planner").post(url, sent).status_code == 403
    row.refresh_from_db()
    assert (row.state, row.sampled_by, row.confirmed_by) == ("open", None, None)


def test_a_quantity_is_written_one_way(as_: Callable[[str], Client]) -> None:
    answer = as_("operator").post(reverse("chemicals-unloading-new"), papers(quantity_product="300 kg"))
    assert answer.status_code == 422 and not Unloading.objects.exists()


def test_a_supervisor_sets_the_connection_of_a_tank(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    client = as_("supervisor")
    url = reverse("chemicals-place-connection", args=["B-NAOH"])
    sent = {
        **form_data(client.get(url).context["form"]),
        "connection_code": "fill-9",
        "receipt_tolerance_frac": "1.5 %",
    }
    assert client.post(url, sent).status_code == 302
    place = Place.objects.get(code="B-NAOH")
    assert place.connection_code == "FILL-9" and place.receipt_tolerance_frac == pytest.approx(0.015)
    assert place.ullage_margin_m3 == 0.2
    assert as_("operator").post(url, sent).status_code == 403


def test_a_tank_without_a_code_says_on_the_page_where_to_set_one(
    plant: SmallPlant, as_: Callable[[str], Client]
) -> None:
    bare = Place.objects.get(code="B-NACL")
    answer = as_("operator").post(
        reverse("chemicals-unloading-new"), papers(chemical="nacl", place=bare.pk, code="N-1")
    )
    assert answer.status_code == 422
    assert "under Chemicals, Tanks, B-NACL, “Fill connection”" in errors_of(answer)["place"][0]
    page = text_of(as_("operator").get(reverse("chemicals-place", args=["B-NACL"])))
    assert "nothing is unloaded into it by hose until it has one" in page
    sent = {
        "code": "N-1", "chemical": "nacl", "place": bare.pk, "certificate_strength_frac": "20 %", "quantity_pure": "100 kg",
        "second_person": plant.people["operator 2"].pk, "is_connection_right": "on", "act": "show",
    }  # fmt: skip
    client, url = as_("operator"), reverse("chemicals-receive")
    shown = client.post(url, sent)
    answer = client.post(url, {**sent, "act": "write", "shown": shown.context["shown_mark"]})
    assert answer.status_code == 422 and "no code" in errors_of(answer)["place"][0]
    assert not ChemicalLot.objects.filter(code="N-1").exists()
