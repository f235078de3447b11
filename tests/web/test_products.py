"""Products, customers' specifications, published grades and the fuller specification form, through HTTP."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from regenplant.batches.models import Batch
from regenplant.batches.worked_out import worked_of
from regenplant.core.process.specification import Limit
from regenplant.quality.models import QcMeasurement
from regenplant.recipes import services
from regenplant.recipes.models import CustomerSpecification, Product, SpecificationVersion
from regenplant.recipes.selectors import specification_definition
from regenplant.tanks.models import Customer
from tests import factories
from tests.factories import SmallPlant
from tests.web.pages import errors_of, form_data, text_of

pytestmark = pytest.mark.django_db
SODIUM = Limit("sodium", "Sodium", "concentration", high=1e-3, each_tank=True, method="sodium electrode")


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=factories.hours_ago(9))


@pytest.fixture
def product(plant: SmallPlant) -> Product:
    return services.add_product(
        by=plant.by("supervisor"), code="H-STD", name="Hydrogen-form cation", family="sac_h", grade="working",
        specification_id=plant.specification["sac_h"].specification_id,
    ).result  # fmt: skip


@pytest.fixture
def stricter(plant: SmallPlant) -> SpecificationVersion:
    usual = specification_definition(plant.specification["sac_h"])
    own = replace(
        usual,
        code="Q-H-X",
        name="For a customer",
        limits=(replace(usual.limits[0], high=3e-3), *usual.limits[1:], SODIUM),
    )
    return factories.approved_specification(plant, own)


def test_nothing_is_chosen_for_a_person_who_has_not_chosen(
    as_: Callable[[str], Client], product: Product, stricter: SpecificationVersion
) -> None:
    """The first of a list is nobody's choice: a product or a customer would be bound by it."""
    client = as_("supervisor")
    assert "Choose a specification" in text_of(client.get(reverse("setup-product-new")))
    refused = client.post(
        reverse("setup-product-new"), {"code": "H-2", "name": "Another", "specification_id": ""}
    )
    assert set(errors_of(refused)) == {"specification_id"} and 'value="Another"' in refused.content.decode()
    customer = reverse("setup-product-customer", args=[product.code])
    page = text_of(client.get(customer))
    assert "Choose a customer" in page and "Choose a specification" in page
    refused = client.post(
        customer, {"customer_id": "", "specification_id": "", "reason": "order 12 of March"}
    )
    assert {"customer_id", "specification_id"} <= set(errors_of(refused))
    assert not CustomerSpecification.objects.exists()


def test_the_list_of_products_says_how_many_in_words_that_fit(
    plant: SmallPlant, as_: Callable[[str], Client]
) -> None:
    listing = reverse("setup-products")
    assert "No product is written yet." in text_of(as_("supervisor").get(listing))
    services.add_product(
        by=plant.by("supervisor"), code="H-STD", name="Hydrogen-form cation", family="sac_h", grade="working",
        specification_id=plant.specification["sac_h"].specification_id,
    )  # fmt: skip
    assert "1 product. Each holds for every customer." in text_of(as_("supervisor").get(listing))


# --- products ---------------------------------------------------------------------------------------------------------
def test_a_product_is_added_and_changed_on_its_page(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    client, url = as_("supervisor"), reverse("setup-product-new")
    own = plant.specification["sac_h"].specification_id
    refused = client.post(url, {"code": "h std", "name": "Hydrogen-form cation", "specification_id": own})
    assert "no label carries" in errors_of(refused)["code"][0]
    assert (
        client.post(
            url, {"code": "h-std", "name": "Hydrogen-form cation", "specification_id": own}
        ).status_code
        == 302
    )
    page = text_of(client.get(reverse("setup-product", args=["H-STD"])))
    assert "Q-H holds for every customer" in page
    change = reverse("setup-product-change", args=["H-STD"])
    data = form_data(client.get(change).context["form"])
    assert client.post(change, data | {"name": "Cation, hydrogen form"}).status_code == 302
    assert client.post(change, data | {"name": "Another"}).status_code == 409
    assert "H-STD" in text_of(client.get(reverse("setup-products")))
    assert as_("operator").post(url, {"code": "x"}).status_code == 403


def test_a_customers_specification_is_given_refused_and_ended_on_the_page(
    plant: SmallPlant, product: Product, stricter: SpecificationVersion, as_: Callable[[str], Client]
) -> None:
    client, url = as_("supervisor"), reverse("setup-product-customer", args=["H-STD"])
    customer = Customer.objects.first() or factories.accepted_tank(plant, "sac_h").customer
    data = {"customer_id": customer.pk, "specification_id": stricter.specification_id, "reason": "order"}
    assert "at least 10 characters" in text_of(client.post(url, data))
    assert client.post(url, data | {"reason": "their order of this year"}).status_code == 302
    page = text_of(client.get(reverse("setup-product", args=["H-STD"])))
    assert "Beside Q-H, of each limit the stricter" in page
    row = CustomerSpecification.objects.get()
    end = reverse("setup-product-customer-end", args=["H-STD", row.pk])
    assert as_("operator").post(end, {"reason": "the order ended"}).status_code == 403
    assert client.post(end, {"reason": "the order ended"}).status_code == 302
    assert client.get(end).status_code == 404
    assert "Q-H holds for every customer" in text_of(client.get(reverse("setup-product", args=["H-STD"])))


def test_one_that_asks_for_less_says_where_and_wants_a_reason(
    plant: SmallPlant, product: Product, as_: Callable[[str], Client]
) -> None:
    usual = specification_definition(plant.specification["sac_h"])
    less = factories.approved_specification(
        plant, replace(usual, code="Q-H-LOW", limits=(replace(usual.limits[0], high=1e-2), *usual.limits[1:]))
    )
    customer = factories.accepted_tank(plant, "sac_h").customer
    client, url = as_("supervisor"), reverse("setup-product-customer", args=["H-STD"])
    data = {
        "customer_id": customer.pk,
        "specification_id": less.specification_id,
        "reason": "their order of this year",
    }
    refused = client.post(url, data)
    assert "asks for less than Q-H" in errors_of(refused)["looser_reason"][0]
    assert (
        client.post(url, data | {"looser_reason": "softened feed only, agreed in writing"}).status_code == 302
    )
    assert "Instead of Q-H" in text_of(client.get(reverse("setup-product", args=["H-STD"])))


def test_the_start_page_shows_where_each_figure_comes_from(
    plant: SmallPlant, product: Product, stricter: SpecificationVersion, as_: Callable[[str], Client]
) -> None:
    visits = factories.accepted_tanks(plant, "sac_h", 3)
    services.set_customer_specification(
        by=plant.by("supervisor"), product_id=product.pk, customer_id=visits[0].customer_id,
        specification_id=stricter.specification_id, reason="their order of this year",
    )  # fmt: skip
    query = f"?type={visits[0].resin_type_id}&class=D"
    page = text_of(as_("operator").get(reverse("start") + query))
    assert "The strictest of: Q-H version 1 for all and Q-H-X version 1 for" in page
    assert "Conductivity at 25 °C at most 30.00 µS/cm (0.033 MΩ·cm) Q-H-X version 1" in page
    batch = factories.frozen_batch(plant, "sac_h", visits)
    assert worked_of(batch) is not None
    shown = text_of(as_("qc").get(reverse("qc-decision", args=[batch.number])))
    assert "The strictest of: Q-H version 1 for all" in shown


# --- tanks one by one -------------------------------------------------------------------------------------------------
@pytest.fixture
def filled(plant: SmallPlant, stricter: SpecificationVersion) -> Batch:
    plant.specification["sac_h"] = stricter
    return factories.filled_batch(plant, "sac_h")


def test_each_tank_is_measured_on_the_page(
    plant: SmallPlant, filled: Batch, as_: Callable[[str], Client]
) -> None:
    client, page = as_("qc"), reverse("qc-decision", args=[filled.number])
    link = filled.tank_links.select_related("visit__tank").order_by("position")[0]
    shown = text_of(client.get(page))
    assert f"Sodium, {link.visit.tank.serial}" in shown and "on each tank" in shown
    url = reverse("qc-measure", args=[filled.number, "sodium"])

    def typed(value: str, tank: Any = link.pk) -> dict[str, Any]:
        prefix = f"sodium-{tank}"
        return {"tank": tank, f"{prefix}-value": value, f"{prefix}-instrument": plant.instruments["KIT"].pk}

    refused = client.post(url, typed("soft"))
    assert refused.status_code == 422 and "is not a number" in text_of(refused)
    late = {
        f"sodium-{link.pk}-late_category": "late",
        f"sodium-{link.pk}-late_words": "the kit was in use elsewhere",
    }
    sent = client.post(url, typed("0.4 mg/L") | late)
    assert sent.status_code == 302
    row = QcMeasurement.objects.get(batch=filled, key="sodium")
    assert row.tank_id == link.pk
    assert "Sodium of" in text_of(as_("qc 2").get(reverse("qc-release", args=[filled.number])))
    without = client.post(url, {"sodium-value": "0.4 mg/L", "sodium-instrument": plant.instruments["KIT"].pk})
    assert without.status_code == 422 and "while it awaits QC" in text_of(without)
    assert as_("operator").post(url, typed("0.4 mg/L")).status_code == 403


# --- the specification form ---------------------------------------------------------------------------------------------
def test_a_measurement_is_added_with_its_conditions_and_taken_out(
    plant: SmallPlant, as_: Callable[[str], Client]
) -> None:
    client, url = as_("supervisor"), reverse("setup-specification-draft", args=["Q-H"])
    data = form_data(client.get(url).context["form"]) | {"reason": "A customer asks for sodium"}
    alone = client.post(url, data | {"sodium_each_tank": "on"})
    assert "has no bound" in errors_of(alone)["sodium_high"][0]
    odd = client.post(url, data | {"sodium_high": "1 mg/L", "sodium_hold_time_s": "15 min"})
    assert odd.status_code == 422 and "at least 2 in a row" in text_of(odd)
    impossible = client.post(url, data | {"conductivity_high": "0.03 µS/cm"})
    assert impossible.status_code == 422 and "met by no water" in text_of(impossible)
    sent = data | {
        "sodium_high": "1 mg/L", "sodium_each_tank": "on", "sodium_readings_in_row": "2", "sodium_hold_time_s": "15 min",
        "sodium_method": "sodium electrode", "hardness_high": "",
    }  # fmt: skip
    assert client.post(url, sent).status_code == 302
    version = SpecificationVersion.objects.get(specification__code="Q-H", number=2)
    found = specification_definition(version)
    assert found.limit("hardness") is None
    sodium = found.limit("sodium")
    assert (
        sodium is not None
        and sodium.each_tank
        and sodium.readings_in_row == 2
        and sodium.hold_time_s == 900.0
    )
    page = text_of(client.get(reverse("setup-specification", args=["Q-H"])))
    assert "on each tank, 2 results in a row over 15 min" in page and "sodium electrode" in page
    assert "at most 1 mg/L; on each tank" in page  # the comparison with the version before


def test_a_version_is_begun_with_a_published_grade(plant: SmallPlant, as_: Callable[[str], Client]) -> None:
    client, url = as_("supervisor"), reverse("setup-specification-draft", args=["Q-H"]) + "?grade=astm_iv"
    page = client.get(url)
    assert "ASTM D1193 type IV, D1193-99e1: its limits stand below" in text_of(page)
    data = form_data(page.context["form"]) | {"reason": "Begun with type IV"}
    assert client.post(url, data | {"sodium_high": "40 µg/L"}).status_code == 302
    found = specification_definition(SpecificationVersion.objects.get(specification__code="Q-H", number=2))
    chloride, sodium = found.limit("chloride"), found.limit("sodium")
    assert (
        chloride is not None
        and chloride.grade == "ASTM D1193 type IV"
        and chloride.high == pytest.approx(5e-5)
    )
    assert sodium is not None and sodium.grade == "" and sodium.high == pytest.approx(4e-5)
    assert found.limit("hardness") is not None


def test_what_is_known_from_memory_is_shown_flagged_and_begins_nothing(
    plant: SmallPlant, as_: Callable[[str], Client]
) -> None:
    client = as_("operator")
    page = text_of(client.get(reverse("setup-grades")))
    assert "ASTM D5127 type E-2 (guide)" in page and "from memory, unverified" in page
    assert "Never claimed" in page and "not a ranking" in page
    begun = text_of(
        as_("supervisor").get(reverse("setup-specification-draft", args=["Q-H"]) + "?grade=astm_d5127_e-2")
    )
    assert "its limits stand below" not in begun
    iso = text_of(
        as_("supervisor").get(reverse("setup-specification-draft", args=["Q-H"]) + "?grade=dialysis_iso")
    )
    assert "from memory, so it is no limit here" in iso
