"""Tanks and customers through HTTP: listings, histories, exports, and their few acts."""

from __future__ import annotations

import csv
import io
from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone
from openpyxl import load_workbook

from regenplant.resins import services as resin_services
from regenplant.tanks import services
from regenplant.tanks.models import Customer, Tank, TankVisit
from tests import factories

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.tank_plant(timezone.now() - timedelta(hours=2))


@pytest.fixture
def sign_in(plant, client_of):
    return lambda who="operator": client_of(plant.people[who])


@pytest.fixture
def tank(plant) -> Tank:
    return services.add_tank(
        by=plant.by("planner"),
        size_id=plant.size.pk,
        resin_type_id=plant.types["sba_1"].pk,
        segregation_class="D",
    ).result


def text_of(response: Any) -> str:
    return " ".join(response.content.decode().replace("\u00a0", " ").replace("\u202f", " ").split())


def rows_of(response: Any) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(response.content.decode("utf-8-sig"))))


# --- listing ------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("name", ["tanks", "tanks-new", "customers", "customers-new"])
def test_signed_out_people_are_asked_to_sign_in(client, name):
    assert client.get(reverse(name)).status_code == 302


@pytest.mark.parametrize("who", ["operator", "qc", "supervisor", "planner", "safety"])
def test_everybody_signed_in_may_read(sign_in, tank, who):
    client = sign_in(who)
    for address in (reverse("tanks"), reverse("tanks-detail", args=[tank.serial]), reverse("customers")):
        assert client.get(address).status_code == 200


def test_the_listing_takes_as_many_queries_for_forty_tanks_as_for_two(
    sign_in, plant, tank, django_assert_max_num_queries
):
    client = sign_in()
    factories.received_tank(plant, "sac_h")
    client.get(reverse("tanks"))
    with django_assert_max_num_queries(40) as few:
        client.get(reverse("tanks"))
    for _ in range(20):
        factories.received_tank(plant, "sac_h")
    with django_assert_max_num_queries(len(few)):
        client.get(reverse("tanks"))


def test_filters_narrow_and_stay_in_the_addresses_of_sorting_and_chips(sign_in, plant, tank):
    visit = factories.received_tank(plant, "sac_h")
    page = text_of(sign_in().get(reverse("tanks"), {"family": "sac_h", "sort": "-serial"}))
    assert visit.tank.serial in page and tank.serial not in page
    assert "family=sac_h" in page and "1 tank." in page


@pytest.mark.parametrize(
    "query",
    [
        {"find": "' OR 1=1 --"}, {"find": "x" * 500}, {"find": "\x00"}, {"segregation_class": "Q"}, {"family": "9"},
        {"customer": "abc"}, {"customer": "-1"}, {"state": "'; --"}, {"sort": "nonsense"}, {"sort": "password"},
        {"page": "abc"}, {"page": "-1"}, {"page": "999999999999"}, {"_export": "exe"}, {"per_page": "100000"},
    ],
)  # fmt: skip
def test_no_query_breaks_the_listing(sign_in, tank, query):
    assert sign_in().get(reverse("tanks"), query).status_code == 200


@pytest.mark.parametrize("text", ["moon", "' OR 1=1", "x" * 500, "\x00", "%"])
def test_no_text_breaks_the_list_of_customers(sign_in, plant, text):
    assert sign_in().get(reverse("customers"), {"text": text}).status_code == 200


def test_a_filter_that_is_no_choice_says_so(sign_in, tank):
    assert "is no choice here" in text_of(sign_in().get(reverse("tanks"), {"segregation_class": "Q"}))


def test_an_empty_listing_says_what_to_do(sign_in, tank):
    assert "No tank fits what is chosen" in text_of(
        sign_in().get(reverse("tanks"), {"find": "nothing like it"})
    )


# --- exports ------------------------------------------------------------------------------------------------------------
def test_csv_holds_every_filtered_row_with_units_in_the_head(sign_in, plant, tank):
    for _ in range(30):
        factories.received_tank(plant, "sac_h")
    response = sign_in().get(reverse("tanks"), {"family": "sac_h", "_export": "csv"})
    rows = rows_of(response)
    assert response["Content-Type"] == "text/csv; charset=utf-8" and len(rows) == 30
    assert float(rows[0]["Resin, L"]) == pytest.approx(102.0)
    assert rows[0]["Now"] == "Received" and rows[0]["Family"] == "Strong-acid cation, hydrogen form"
    assert rows[0]["Came in"].startswith("20") and "T" in rows[0]["Came in"]


def test_a_reader_of_us_units_gets_cubic_feet(sign_in, plant, tank):
    person = plant.people["operator"]
    person.unit_system = "us"
    person.save(update_fields=["unit_system"])
    (row,) = rows_of(sign_in().get(reverse("tanks"), {"_export": "csv"}))
    assert float(row["Resin, ft³"]) == pytest.approx(
        3.60210, abs=1e-5
    )  # 102 L at 28.316846592 L per cubic foot


def test_what_looks_like_a_formula_is_only_text(sign_in, plant):
    """A spreadsheet would run it: CSV gets an apostrophe, XLSX a text cell."""
    services.add_customer(by=plant.by("planner"), code="EVIL", name="=cmd()|calc", declared_service="+1")
    (row,) = [
        row
        for row in rows_of(sign_in().get(reverse("customers"), {"_export": "csv"}))
        if row["Code"] == "EVIL"
    ]
    assert (row["Customer"], row["Declared service"]) == ("'=cmd()|calc", "'+1")
    book = load_workbook(io.BytesIO(sign_in().get(reverse("customers"), {"_export": "xlsx"}).content))
    cells = [cell for cell in book.active["B"] if cell.value == "=cmd()|calc"]
    assert [cell.data_type for cell in cells] == ["s"]


# --- history ------------------------------------------------------------------------------------------------------------
def test_the_history_tells_now_visits_resin_and_story(sign_in, plant):
    visit = factories.accepted_tank(plant, "sac_h")
    page = text_of(sign_in().get(reverse("tanks-detail", args=[visit.tank.serial.lower()])))
    assert "1 round trip, class D, now waiting for a batch." in page
    assert visit.number in page and "was accepted to class D" in page and "No lot is recorded" in page


def test_the_history_shows_where_the_resin_came_from(sign_in, plant):
    by = plant.by("supervisor")
    resin = {"resin_type_id": plant.types["sac_h"].pk, "segregation_class": "D", "volume_form": "H"}
    old = resin_services.receive_new_lot(
        by=by, code="L-OLD", volume_m3=1.0, origin="delivered new", **resin
    ).result
    new = resin_services.mix_lot(
        by=by, code="L-NEW", volume_m3=1.0, origin="made for this test", parents=[(old.pk, 1.0)], cycles=1,
        capacity_factor=1.0, **resin,
    ).result  # fmt: skip
    tank = services.add_tank(
        by=plant.by("planner"), size_id=plant.size.pk, resin_type_id=plant.types["sac_h"].pk, segregation_class="D",
        resin_lot_id=new.pk,
    ).result  # fmt: skip
    page = text_of(sign_in().get(reverse("tanks-detail", args=[tank.serial])))
    assert "L-NEW" in page and "100.0 %" in page and "L-OLD" in page


@pytest.mark.parametrize("serial", ["T-1", "<script>", "x" * 300, "..", "%27", "%00"])
def test_a_tank_that_is_not_here_is_a_clear_404(sign_in, tank, serial):
    assert sign_in().get(f"/tanks/{serial}/").status_code == 404


# --- registering and correcting -----------------------------------------------------------------------------------------
def tank_data(plant, **changed):
    return {
        "serial": "T-20417", "size": plant.size.pk, "resin_type": plant.types["sac_h"].pk, "segregation_class": "D",
        "dedicated_to": "", "resin_volume": "", "neck_band": "",
    } | changed  # fmt: skip


def test_a_tank_is_registered_once(sign_in, plant):
    client = sign_in("planner")
    assert client.post(reverse("tanks-new"), tank_data(plant)).status_code == 302
    again = client.post(reverse("tanks-new"), tank_data(plant))
    assert again.status_code == 422 and "Tank T-20417 exists already" in text_of(again)
    assert Tank.objects.count() == 1


def test_the_next_serial_is_proposed(sign_in, tank):
    assert sign_in("planner").get(reverse("tanks-new")).context["form"]["serial"].value() == "T-20002"


def test_an_operator_may_not_register(sign_in, plant):
    client = sign_in("operator")
    assert "This takes" in text_of(client.get(reverse("tanks-new")))
    assert client.post(reverse("tanks-new"), tank_data(plant)).status_code == 403
    assert not Tank.objects.exists()


@pytest.mark.parametrize(
    ("field", "value", "sentence"),
    [
        ("serial", "", "it is needed"),
        ("serial", "T 1 !", "no label carries"),
        ("serial", "B-10412", "reads as a visit, batch, deviation or sample number"),
        ("serial", "S" * 25, "at most 24"),
        ("size", "", "it is needed"),
        ("resin_type", "77777", "no choice here"),
        ("segregation_class", "", "it is needed"),
        ("segregation_class", "Z", "is no choice here"),
        ("segregation_class", "A", "belongs to one customer"),
        ("resin_volume", "5 gpm", "is not a resin volume"),
        ("resin_volume", "-3 L", "cannot be a resin volume"),
        ("resin_volume", "40000 L", "at most 95% of the cylinder"),
        ("neck_band", "n" * 41, "at most 40"),
    ],
)
def test_a_wrong_tank_is_told_beside_its_field(sign_in, plant, field, value, sentence):
    response = sign_in("planner").post(reverse("tanks-new"), tank_data(plant, **{field: value}))
    assert response.status_code == 422 and sentence in text_of(response)
    assert not Tank.objects.exists()


def change_data(tank, **changed):
    return {
        "version": tank.version, "resin_type": tank.resin_type_id, "resin_volume": "95 L", "neck_band": "white",
        "reason": "counted again",
    } | changed  # fmt: skip


def test_a_correction_is_written_once_and_the_second_page_is_told(sign_in, tank):
    address = reverse("tanks-change", args=[tank.serial])
    assert sign_in("planner").post(address, change_data(tank)).status_code == 302
    stale = sign_in("supervisor").post(address, change_data(tank, neck_band="black"))
    assert stale.status_code == 409 and "was changed since you opened it" in text_of(stale)
    assert Tank.objects.get(pk=tank.pk).neck_band == "white"


def test_a_retired_tank_is_not_offered_for_receiving(sign_in, tank):
    sign_in("planner").post(reverse("tanks-change", args=[tank.serial]), change_data(tank, is_retired="on"))
    page = text_of(sign_in().get(reverse("tanks-detail", args=[tank.serial])))
    assert "Receive: it is retired" in page and "was retired" in page


# --- shell and shipping -------------------------------------------------------------------------------------------------
@pytest.fixture
def emptied(plant) -> TankVisit:
    visit = factories.accepted_tank(plant, "sac_h")
    services.empty_tank(by=plant.by(), visit_id=visit.pk, is_in_batch=True)
    return TankVisit.objects.get(pk=visit.pk)


@pytest.fixture
def released(plant, emptied) -> TankVisit:
    lot = resin_services.receive_new_lot(
        by=plant.by("supervisor"), code="L-1", resin_type_id=plant.types["sac_h"].pk, segregation_class="D", volume_m3=1.0,
        volume_form="H", origin="delivered new",
    ).result  # fmt: skip
    services.record_shell(by=plant.by(), visit_id=emptied.pk, is_sound=True)
    services.refill_tank(
        by=plant.by(), visit_id=emptied.pk, lot_id=lot.pk, volume_m3=0.1, batch_has_passed=True
    )
    services.release_tank(by=plant.by("qc"), visit_id=emptied.pk, batch_is_released=True)
    return TankVisit.objects.get(pk=emptied.pk)


def test_the_shell_is_written_down_on_the_tanks_page(sign_in, emptied):
    address = reverse("tanks-shell", args=[emptied.tank.serial])
    refused = sign_in().post(address, {"version": emptied.version, "is_sound": "no", "note": ""})
    assert refused.status_code == 422 and "What is wrong with the shell is empty" in text_of(refused)
    assert (
        sign_in().post(address, {"version": emptied.version, "is_sound": "yes", "note": ""}).status_code
        == 302
    )
    assert TankVisit.objects.get(pk=emptied.pk).is_shell_sound is True


@pytest.mark.parametrize(
    "data", [{"version": "1"}, {"version": "", "is_sound": "yes"}, {"version": "1", "is_sound": "perhaps"}]
)
def test_a_wrong_shell_entry_is_refused(sign_in, emptied, data):
    assert sign_in().post(reverse("tanks-shell", args=[emptied.tank.serial]), data).status_code == 422
    assert TankVisit.objects.get(pk=emptied.pk).is_shell_sound is None


def test_a_released_tank_is_shipped_once(sign_in, released):
    address = reverse("tanks-ship", args=[released.tank.serial])
    assert "Ship it" in text_of(sign_in().get(reverse("tanks-detail", args=[released.tank.serial])))
    assert sign_in().post(address, {"version": released.version}).status_code == 302
    again = sign_in().post(address, {"version": released.version})
    assert again.status_code == 422 and "is not here, so nothing was written" in text_of(again)
    assert TankVisit.objects.get(pk=released.pk).state == "shipped"


def test_who_may_not_ship_sees_why_and_is_refused(sign_in, released):
    client = sign_in("qc")
    assert "Ship it: This takes" in text_of(client.get(reverse("tanks-detail", args=[released.tank.serial])))
    assert (
        client.post(
            reverse("tanks-ship", args=[released.tank.serial]), {"version": released.version}
        ).status_code
        == 403
    )
    assert TankVisit.objects.get(pk=released.pk).state == "released"


def test_a_tank_that_is_not_released_is_not_shipped(sign_in, emptied):
    response = sign_in().post(reverse("tanks-ship", args=[emptied.tank.serial]), {"version": emptied.version})
    assert response.status_code == 422 and "A tank that is emptied cannot ship" in text_of(response)


# --- customers ----------------------------------------------------------------------------------------------------------
def customer_data(**changed):
    return {
        "code": "orb",
        "name": "Orbit Laundry",
        "contact": "",
        "declared_service": "rinse after nickel plating",
    } | changed


def test_a_customer_is_added_once_and_its_service_is_read(sign_in, plant):
    client = sign_in("planner")
    assert client.post(reverse("customers-new"), customer_data())["Location"] == reverse(
        "customers-detail", args=["ORB"]
    )
    assert "metals" in text_of(client.get(reverse("customers-detail", args=["orb"])))
    assert client.post(reverse("customers-new"), customer_data()).status_code == 422
    assert Customer.objects.filter(code="ORB").count() == 1


@pytest.mark.parametrize("field", ["code", "name"])
@pytest.mark.parametrize("value", ["", "x" * 500, "   "])
def test_a_wrong_customer_is_told_beside_its_field(sign_in, plant, field, value):
    response = sign_in("planner").post(reverse("customers-new"), customer_data(**{field: value}))
    assert response.status_code == 422 and response.context["form"].errors[field]
    assert Customer.objects.count() == 1


def test_an_operator_adds_no_customer_and_no_site(sign_in, plant):
    client = sign_in("operator")
    assert client.post(reverse("customers-new"), customer_data()).status_code == 403
    assert (
        client.post(reverse("customers-site", args=["MOON"]), {"name": "Dock 9", "address": ""}).status_code
        == 403
    )
    assert Customer.objects.count() == 1 and not plant.customer.sites.exists()


def test_a_site_is_added_once(sign_in, plant):
    client = sign_in("planner")
    address = reverse("customers-site", args=["MOON"])
    assert client.post(address, {"name": "Dock 9", "address": "Sea of Clouds"}).status_code == 302
    again = client.post(address, {"name": "dock 9", "address": ""})
    assert again.status_code == 422 and "has a site named" in text_of(again)
    assert plant.customer.sites.count() == 1


def test_a_customers_page_lists_its_visits(sign_in, plant):
    visit = factories.received_tank(plant, "sac_h")
    page = text_of(sign_in().get(reverse("customers-detail", args=["MOON"])))
    assert visit.tank.serial in page and "1 tank here now" in page


def test_no_customer_is_a_clear_404(sign_in, plant):
    assert sign_in().get(reverse("customers-detail", args=["NOBODY"])).status_code == 404
    assert (
        sign_in("planner").post(reverse("customers-site", args=["NOBODY"]), {"name": "x"}).status_code == 404
    )


def test_an_empty_post_is_told_what_is_needed(sign_in, plant):
    response = sign_in("planner").post(reverse("tanks-new"), {})
    assert response.status_code == 422 and "it is needed" in text_of(response)
