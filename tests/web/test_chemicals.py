"""Chemicals through HTTP: stock, deliveries in two steps, strength checks, the ledger, tanks and data sheets."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from regenplant.chemicals import services
from regenplant.chemicals.models import ChemicalLot, DataSheet, Movement, Place, StockCount, StrengthCheck
from regenplant.web.areas.chemicals.forms import (
    AmountForm,
    CountForm,
    EmptyForm,
    PlaceForm,
    ReceiveForm,
    SheetForm,
    StrengthForm,
    TakeBackForm,
)
from tests import factories
from tests.factories import SmallPlant
from tests.web.pages import errors_of, form_data, in_two_steps, text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=factories.hours_ago(2))


@pytest.fixture
def used(plant: SmallPlant) -> Movement:
    return services.draw_for_batch(
        by=plant.by(), chemical="hcl", grams_100=80_000, reference="B-10001"
    ).result


PAGES = [
    ("chemicals", []), ("chemicals-receive", []), ("chemicals-lots", []), ("chemicals-lot", ["LOT-HCL"]),
    ("chemicals-lot-check", ["LOT-HCL"]), ("chemicals-lot-use", ["LOT-HCL"]), ("chemicals-movements", []),
    ("chemicals-movement-correct", [1]), ("chemicals-places", []), ("chemicals-place-new", []), ("chemicals-place", ["B-HCL"]),
    ("chemicals-place-count", ["B-HCL"]), ("chemicals-sheets", []), ("chemicals-sheet-new", []),
]  # fmt: skip


# --- reading ----------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("who", ["operator", "planner", "supervisor"])
def test_everybody_reads_chemicals(plant: SmallPlant, as_: Callable[[str], Client], who: str) -> None:
    client = as_(who)
    for name, arguments in PAGES:
        assert client.get(reverse(name, args=arguments)).status_code == 200, name


def test_a_stranger_reads_nothing(client: Client, plant: SmallPlant) -> None:
    for name, arguments in PAGES:
        answer = client.get(reverse(name, args=arguments))
        assert answer.status_code == 302 and reverse("sign-in") in answer["Location"], name


@pytest.mark.parametrize(
    ("name", "arguments"),
    [
        ("chemicals-lot", ["NONE"]),
        ("chemicals-movement-correct", [999]),
        ("chemicals-place", ["SUPPLIER"]),
        ("chemicals-sheet-withdraw", [9]),
    ],
)
def test_what_is_not_there_is_not_found(
    plant: SmallPlant, as_: Callable[[str], Client], name: str, arguments: list[Any]
) -> None:
    assert as_("supervisor").get(reverse(name, args=arguments)).status_code == 404


def test_the_stock_page_shows_both_strengths_and_the_age_of_the_check(
    plant: SmallPlant, as_: Callable[[str], Client]
) -> None:
    shown = text_of(as_("operator").get(reverse("chemicals")))
    found = StrengthCheck.objects.get(lot__code="LOT-HCL").strength_frac * 100
    assert f"Plant check {found:.2f} %" in shown and "Certificate 32.00 %" in shown
    assert "Checked today, at most 7 days allowed" in shown
    assert "Every chemical stands over its low mark" in shown


def test_the_stock_page_calls_for_a_person(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    place = Place.objects.get(code="B-HCL")
    services.change_place(
        by=plant.by("supervisor"),
        place_id=place.pk,
        name=place.name,
        capacity_m3=40.0,
        low_stock_grams_100=9_000_000,
    )
    shown = text_of(as_("operator").get(reverse("chemicals")))
    assert (
        "Hydrochloric acid stands under its low mark. Order." in shown
        and "One chemical needs a person: hydrochloric acid." in shown
    )


def test_the_stock_page_takes_as_many_queries_for_many_lots(
    plant: SmallPlant, as_: Callable[[str], Client], django_assert_max_num_queries: Callable[..., Any]
) -> None:
    client, place = as_("operator"), Place.objects.get(code="B-HCL")
    for number in range(12):
        services.receive_delivery(
            by=plant.by(),
            code=f"L-{number}",
            chemical="hcl",
            certificate_strength_frac=0.32,
            place_id=place.pk,
            grams_100=1000,
            is_packaged=True,
        )
    with django_assert_max_num_queries(28):
        client.get(reverse("chemicals"))


# --- receiving --------------------------------------------------------------------------------------------------------
def delivery(plant: SmallPlant, **changed: Any) -> dict[str, Any]:
    return {
        "code": "A-118", "chemical": "hcl", "place": Place.objects.get(code="B-HCL").pk, "certificate_strength_frac": "31.5 %",
        "quantity_volume": "1000 gal", "quantity_product": "", "quantity_pure": "", "supplier_lot": "inv 7", "data_sheet": "",
        "second_person": plant.people["supervisor"].pk, "is_connection_right": "on", "is_packaged": "on",
        "act": "show",
    } | changed  # fmt: skip


def test_a_delivery_is_shown_as_100_before_it_is_written(
    plant: SmallPlant, as_: Callable[[str], Client]
) -> None:
    """1 000 US gal are 3.7854 m³; 31.5 % acid of about 1 156.5 kg/m³ (table rows 30 % 1149, 32 % 1159, read) hold 1 379 kg."""
    client, url = as_("operator"), reverse("chemicals-receive")
    form = client.get(url).context["form"]
    assert isinstance(form, ReceiveForm) and isinstance(form, AmountForm)
    shown = client.post(url, delivery(plant))
    assert shown.status_code == 200 and not ChemicalLot.objects.filter(code="A-118").exists()
    assert shown.context["amount"].value == pytest.approx(3.7854 * 0.315 * 1156.5, rel=2e-3)
    text = text_of(shown)
    assert "Write it down" in text and "DANGER" in text and "working" in text
    assert in_two_steps(client, url, delivery(plant)).status_code == 302
    lot = ChemicalLot.objects.get(code="A-118")
    assert lot.movements.get().grams_100 == round(shown.context["amount"].value * 1000)


@pytest.mark.parametrize(
    ("changed", "field", "words"),
    [
        ({"code": ""}, "code", "Nothing is written here yet"),
        ({"code": "LOT-HCL"}, "code", "exists already"),
        ({"chemical": ""}, "chemical", "Nothing is written here yet"),
        (
            {"chemical": "naoh", "certificate_strength_frac": "50 %"},
            "place",
            "Stop. Connect nothing. Call the supervisor.",
        ),
        ({"place": 9999}, "place", "This is no choice here"),
        ({"certificate_strength_frac": "315 %"}, "certificate_strength_frac", "cannot be a strength"),
        ({"certificate_strength_frac": "42 %"}, "quantity_volume", "density is known here"),
        ({"quantity_volume": ""}, "__all__", "Write one of the three"),
        ({"quantity_product": "4000 kg"}, "__all__", "Write one of the three"),
        ({"quantity_volume": "-5 L"}, "quantity_volume", "cannot be a volume"),
        ({"quantity_volume": "five"}, "quantity_volume", "is not a number with a unit"),
        ({"quantity_volume": "20 kg"}, "quantity_volume", "is not a volume"),
        ({"quantity_volume": "40 m3"}, "__all__", "Do not unload more than there is room for"),
        ({"is_connection_right": ""}, "is_connection_right", "stop, connect nothing, call the supervisor"),
        ({"second_person": ""}, "second_person", "Nothing is written here yet"),
        ({"supplier_lot": "x" * 61}, "supplier_lot", "61 characters are written, at most 60"),
    ],
)
def test_a_bad_delivery_is_refused_beside_its_field_and_nothing_is_lost(
    plant: SmallPlant, as_: Callable[[str], Client], changed: dict[str, Any], field: str, words: str
) -> None:
    before = Movement.objects.count()
    answer = in_two_steps(as_("operator"), reverse("chemicals-receive"), delivery(plant, **changed))
    assert answer.status_code == 422
    assert words in " ".join(errors_of(answer)[field]), errors_of(answer)
    assert 'value="inv 7"' in answer.content.decode() or "supplier_lot" in changed
    assert Movement.objects.count() == before


def test_the_person_who_writes_is_not_the_second_person(
    plant: SmallPlant, as_: Callable[[str], Client]
) -> None:
    own = plant.people["operator"].pk
    answer = as_("operator").post(reverse("chemicals-receive"), delivery(plant, second_person=own))
    assert "This is no choice here" in errors_of(answer)["second_person"][0]


def test_a_planner_receives_nothing(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    assert "This takes an operator or supervisor." in text_of(
        as_("planner").get(reverse("chemicals-receive"))
    )
    answer = in_two_steps(as_("planner"), reverse("chemicals-receive"), delivery(plant))
    assert answer.status_code == 403 and not ChemicalLot.objects.filter(code="A-118").exists()


def test_a_delivery_sent_twice_is_written_once(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    client, url = as_("operator"), reverse("chemicals-receive")
    in_two_steps(client, url, delivery(plant))
    second = in_two_steps(client, url, delivery(plant))
    assert second.status_code == 422 and "exists already" in errors_of(second)["code"][0]
    assert ChemicalLot.objects.filter(code="A-118").count() == 1


# --- strength ---------------------------------------------------------------------------------------------------------
READING = {
    "density": "1.159 g/mL",
    "baume": "",
    "strength_frac": "",
    "temperature_kelvin": "68 F",
    "act": "show",
}


def test_a_strength_is_shown_with_its_working_before_it_is_written(
    plant: SmallPlant, as_: Callable[[str], Client]
) -> None:
    """HCl of 1 159 kg/m³ at 20 °C is 32 wt%: hydrochloric acid property table, read; 0.3 points for its 0.1 %."""
    client, url = as_("qc"), reverse("chemicals-lot-check", args=["LOT-HCL"])
    assert isinstance(client.get(url).context["form"], StrengthForm)
    before = StrengthCheck.objects.count()
    shown = client.post(url, READING)
    assert shown.status_code == 200 and StrengthCheck.objects.count() == before
    assert shown.context["found"] == pytest.approx(0.32, abs=0.003)
    assert "Laliberté" in text_of(shown) and "Write it down" in text_of(shown)
    assert in_two_steps(client, url, READING).status_code == 302
    check = StrengthCheck.objects.order_by("-pk")[0]
    assert (check.value_as_typed, check.unit_as_typed, check.method) == ("1.159", "g/mL", "density")
    assert check.temperature_kelvin == pytest.approx(293.15)


@pytest.mark.parametrize("shown", [{}, {"shown": "0.32"}, {"shown": "x"}])
def test_what_was_not_shown_is_not_written(
    plant: SmallPlant, as_: Callable[[str], Client], shown: dict[str, str]
) -> None:
    """A field changed after looking: the new meaning is shown instead of being written unseen."""
    before = StrengthCheck.objects.count()
    answer = as_("qc").post(
        reverse("chemicals-lot-check", args=["LOT-HCL"]),
        READING | {"density": "1.150 g/mL", "act": "write"} | shown,
    )
    assert answer.status_code == 200 and "changed since it was shown" in text_of(answer)
    assert StrengthCheck.objects.count() == before


def test_a_titration_far_from_the_certificate_is_said_aloud(
    plant: SmallPlant, as_: Callable[[str], Client]
) -> None:
    shown = as_("qc").post(
        reverse("chemicals-lot-check", args=["LOT-HCL"]), READING | {"density": "", "strength_frac": "29.5 %"}
    )
    assert "2.5 points under the certificate" in text_of(shown)


def test_degrees_baume_are_taken(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    client, url = as_("operator"), reverse("chemicals-lot-check", args=["LOT-HCL"])
    reading = READING | {"density": "", "baume": "20.1", "temperature_kelvin": "60 F"}
    assert in_two_steps(client, url, reading).status_code == 302
    assert StrengthCheck.objects.order_by("-pk")[0].method == "baume"


@pytest.mark.parametrize(
    ("changed", "field", "words"),
    [
        ({"density": ""}, "__all__", "Write one of the three"),
        ({"strength_frac": "32 %", "baume": "20"}, "__all__", "Write one of the three"),
        ({"density": "950 kg/m3"}, "__all__", "density of HCl"),
        ({"density": "1.5 g/mL"}, "__all__", "density of HCl"),
        ({"density": "heavy"}, "density", "is not a number with a unit"),
        ({"density": "12 kg"}, "density", "is not a density"),
        ({"density": "", "baume": "80"}, "baume", "70"),
        ({"density": "", "baume": "x"}, "baume", "This is no number"),
        ({"temperature_kelvin": ""}, "temperature_kelvin", "Nothing is written here yet"),
        ({"temperature_kelvin": "90 C"}, "__all__", "known here from"),
        ({"temperature_kelvin": "900 C"}, "temperature_kelvin", "cannot be a temperature"),
        ({"density": "", "strength_frac": "0.01 %"}, "strength_frac", "Less than that is water"),
    ],
)
def test_a_bad_reading_is_refused_beside_its_field(
    plant: SmallPlant, as_: Callable[[str], Client], changed: dict[str, Any], field: str, words: str
) -> None:
    before = StrengthCheck.objects.count()
    answer = in_two_steps(as_("qc"), reverse("chemicals-lot-check", args=["LOT-HCL"]), READING | changed)
    assert answer.status_code == 422
    assert words in " ".join(errors_of(answer)[field]), errors_of(answer)
    assert StrengthCheck.objects.count() == before


def test_who_may_not_check_sees_why(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    url = reverse("chemicals-lot-check", args=["LOT-HCL"])
    assert "This takes an operator, QC technician or supervisor." in text_of(as_("planner").get(url))
    assert in_two_steps(as_("planner"), url, READING).status_code == 403


def test_a_lot_is_put_in_use_after_its_check(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    client = as_("qc")
    in_two_steps(as_("operator"), reverse("chemicals-receive"), delivery(plant))
    url = reverse("chemicals-lot-use", args=["A-118"])
    assert isinstance(client.get(url).context["form"], EmptyForm)
    refused = client.post(url, {})
    assert refused.status_code == 422 and "never the certificate: check it first" in text_of(refused)
    in_two_steps(client, reverse("chemicals-lot-check", args=["A-118"]), READING)
    assert client.post(url, {}).status_code == 302
    assert (
        ChemicalLot.objects.get(code="A-118").is_in_use
        and ChemicalLot.objects.get(code="LOT-HCL").is_finished
    )
    assert "in use already" in text_of(client.post(url, {}))


def test_a_lot_without_a_data_sheet_says_so(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    assert "No data sheet is named for this lot" in text_of(
        as_("operator").get(reverse("chemicals-lot", args=["lot-hcl"]))
    )


# --- ledger -----------------------------------------------------------------------------------------------------------
def test_a_movement_is_taken_back_by_a_supervisor(
    plant: SmallPlant, used: Movement, as_: Callable[[str], Client]
) -> None:
    url = reverse("chemicals-movement-correct", args=[used.number])
    assert isinstance(as_("supervisor").get(url).context["form"], TakeBackForm)
    assert as_("operator").post(url, {"category": "place", "reason": "Wrong batch"}).status_code == 403
    assert (
        "Nothing is written here yet" in errors_of(as_("supervisor").post(url, {"reason": ""}))["reason"][0]
    )
    assert "category" in errors_of(as_("supervisor").post(url, {"reason": "Wrong batch"}))
    assert as_("supervisor").post(url, {"category": "place", "reason": "Wrong batch"}).status_code == 302
    again = as_("supervisor").post(url, {"category": "place", "reason": "Wrong batch"})
    assert "was corrected already" in text_of(again)
    shown = text_of(as_("supervisor").get(reverse("chemicals-movements")))
    assert (
        f"taken back by {Movement.objects.get(corrects=used).number}" in shown
        and f"takes back {used.number}: written to the wrong tank or batch: Wrong batch" in shown
    )


def test_the_ledger_is_filtered_sorted_and_exported(
    plant: SmallPlant, used: Movement, as_: Callable[[str], Client]
) -> None:
    client, url = as_("planner"), reverse("chemicals-movements")
    assert "B-10001" in text_of(client.get(url + "?q=b-10001"))
    assert "No movement fits" in text_of(client.get(url + "?q=b-99999"))
    assert "No movement fits" in text_of(client.get(url + "?chemical=h2so4"))
    assert client.get(url + "?chemical=%27%3B&sort=-nonsense&page=99").status_code == 200
    rows = client.get(url + "?_export=csv&q=B-10001").content.decode("utf-8-sig").splitlines()
    assert len(rows) == 2 and ",Hydrochloric acid,B-HCL,BATCHES,80.0,B-10001,LOT-HCL," in rows[1]


def test_the_balances_stand_below_the_ledger(
    plant: SmallPlant, used: Movement, as_: Callable[[str], Client]
) -> None:
    shown = text_of(as_("planner").get(reverse("chemicals-movements") + "?chemical=hcl"))
    assert (
        "BATCHES · Used in batches 80.0" in shown
        and "SUPPLIER · Suppliers −3 000" in shown
        and "B-HCL · Bulk hcl 2 920" in shown
    )


# --- tanks ------------------------------------------------------------------------------------------------------------
def test_a_count_shows_the_gap_before_it_is_written(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    client, url = as_("supervisor"), reverse("chemicals-place-count", args=["B-HCL"])
    assert isinstance(client.get(url).context["form"], CountForm)
    data = {"quantity_pure": "2950 kg", "reason": "Level stick", "act": "show"}
    assert "50.0 kg · 110.2 lb as 100 % less than the books say" in text_of(client.post(url, data))
    assert not Place.objects.filter(kind="unexplained").exists()
    assert in_two_steps(client, url, data).status_code == 302
    count = StockCount.objects.get()
    assert (count.gap_grams_100, count.is_within) == (-50_000, False) and not Place.objects.filter(
        kind="unexplained"
    ).exists()
    assert in_two_steps(as_("planner"), url, data).status_code == 403
    assert "Write one of the three" in text_of(client.post(url, {"reason": "Level stick"}))


def test_a_tank_is_added_and_changed(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    client, url = as_("supervisor"), reverse("chemicals-place-new")
    assert isinstance(client.get(url).context["form"], PlaceForm)
    data = {
        "code": "T-9",
        "name": "Second acid",
        "chemical": "hcl",
        "capacity_m3": "2000 gal",
        "low_stock": "1000 lb",
    }
    assert client.post(url, data).status_code == 302
    place = Place.objects.get(code="T-9")
    assert place.low_stock_grams_100 == 453_592  # 1 lb is 453.59237 g exactly
    assert "exists already" in errors_of(client.post(url, data))["code"][0]
    change = reverse("chemicals-place", args=["T-9"])
    shown = form_data(client.get(change).context["form"])
    assert client.post(change, shown | {"name": "Spare acid", "chemical": "naoh"}).status_code == 302
    place.refresh_from_db()
    assert (place.name, place.chemical, place.low_stock_grams_100) == ("Spare acid", "hcl", 453_592)
    assert client.post(change, shown | {"name": "Other"}).status_code == 409
    assert as_("operator").post(url, data | {"code": "T-10"}).status_code == 403


# --- data sheets ------------------------------------------------------------------------------------------------------
SHEET = {
    "chemical": "hcl", "supplier": "Northfold (invented)", "revised_on": "2025-03-01", "strength_text": "32 %", "signal_word": "Danger",
    "hazard_codes": "H290, H314 H335", "precaution_codes": "P280 P305 + P351 + P338", "pictograms": ["GHS05", "GHS07"],
    "un_number": "UN1789", "packing_group": "II", "protective_equipment": "Face shield, gauntlets",
}  # fmt: skip


def test_a_sheet_is_added_and_its_codes_are_shown_as_printed(
    plant: SmallPlant, as_: Callable[[str], Client]
) -> None:
    client, url = as_("safety"), reverse("chemicals-sheet-new")
    assert isinstance(client.get(url).context["form"], SheetForm)
    assert client.post(url, SHEET).status_code == 302
    sheet = DataSheet.objects.get()
    assert (sheet.hazard_codes, sheet.precaution_codes) == (
        ["H290", "H314", "H335"],
        ["P280", "P305+P351+P338"],
    )
    shown = text_of(as_("operator").get(reverse("chemicals-sheets")))
    assert (
        "H314 Causes severe skin burns and eye damage." in shown
        and "data sheet of Northfold (invented), 2025-03-01" in shown
    )
    withdraw = reverse("chemicals-sheet-withdraw", args=[sheet.pk])
    assert as_("operator").post(withdraw, {"reason": "Not used"}).status_code == 403
    client.post(withdraw, {"reason": "Supplier changed"})
    sheet.refresh_from_db()
    assert not sheet.is_in_force


@pytest.mark.parametrize(
    ("changed", "field", "words"),
    [
        ({"revised_on": "March"}, "revised_on", "This is no day"),
        ({"revised_on": "2199-01-01"}, "revised_on", "still to come"),
        ({"hazard_codes": "corrosive"}, "hazard_codes", "is no hazard code"),
        ({"precaution_codes": "gloves"}, "precaution_codes", "is no precaution code"),
        ({"signal_word": ""}, "signal_word", "so a signal word does too"),
        ({"pictograms": ["GHS99"]}, "pictograms", "is no choice here"),
        ({"supplier": ""}, "supplier", "Nothing is written here yet"),
    ],
)
def test_a_bad_sheet_is_refused_beside_its_field(
    plant: SmallPlant, as_: Callable[[str], Client], changed: dict[str, Any], field: str, words: str
) -> None:
    answer = as_("safety").post(reverse("chemicals-sheet-new"), SHEET | changed)
    assert answer.status_code == 422 and words in " ".join(errors_of(answer)[field])
    assert not DataSheet.objects.exists()


def test_an_operator_adds_no_sheet(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    assert as_("operator").post(reverse("chemicals-sheet-new"), SHEET).status_code == 403
