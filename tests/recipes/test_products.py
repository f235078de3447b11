"""Products and customers' specifications: stricter only, or with a reason; the strictest of all in one batch."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from django.db import DatabaseError, connection, transaction

from regenplant.audit.verifying.registry import findings
from regenplant.batches.models import Batch
from regenplant.batches.rinse import specification_of
from regenplant.batches.worked_out import choose, unlike_its_versions, worked_of
from regenplant.core.errors import NotAllowed, PlanRefused, RecordRefused, StaleRecord
from regenplant.core.process.specification import Limit, Specification
from regenplant.recipes import selectors, services
from regenplant.recipes.models import CustomerSpecification, Product, SpecificationVersion
from regenplant.recipes.selectors import specification_definition
from regenplant.tanks import services as tank_services
from regenplant.tanks.models import Customer, TankVisit
from tests import factories
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db

SODIUM = Limit("sodium", "Sodium", "concentration", high=1e-3, each_tank=True)


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant()


def own_specification(plant: SmallPlant, code: str, **change: Any) -> SpecificationVersion:
    """Another approved specification of the hydrogen-form cation."""
    usual = specification_definition(plant.specification["sac_h"])
    return factories.approved_specification(
        plant, replace(usual, code=code, name=f"For a customer, {code}", **change)
    )


def stricter(plant: SmallPlant, code: str = "Q-H-X") -> SpecificationVersion:
    usual = specification_definition(plant.specification["sac_h"])
    tighter = (replace(usual.limits[0], high=3e-3), *usual.limits[1:], SODIUM)
    return own_specification(plant, code, limits=tighter, hold_time_s=1200.0)


@pytest.fixture
def product(plant: SmallPlant) -> Product:
    version = plant.specification["sac_h"]
    return services.add_product(
        by=plant.by("supervisor"), code="h-std", name="Hydrogen-form cation", family="sac_h", grade="working",
        specification_id=version.specification_id,
    ).result  # fmt: skip


@pytest.fixture
def visits(plant: SmallPlant) -> list[TankVisit]:
    """Three tanks of one pool, the third of another customer."""
    found = factories.accepted_tanks(plant, "sac_h", 2)
    usual = plant.customer
    plant.customer = tank_services.add_customer(
        by=plant.by("supervisor"),
        code="HARROW",
        name="Harrow Mill",
        contact="",
        declared_service="boiler feed",
    ).result
    found.append(factories.accepted_tank(plant, "sac_h"))
    plant.customer = usual
    return found


def given_to(plant: SmallPlant, product: Product, version: SpecificationVersion, code: str = "HARROW", **more: str) -> CustomerSpecification:  # fmt: skip
    return services.set_customer_specification(
        by=plant.by("supervisor"), product_id=product.pk, customer_id=Customer.objects.get(code=code).pk,
        specification_id=version.specification_id, **{"reason": "their order of this year", **more},
    ).result  # fmt: skip


# --- products ---------------------------------------------------------------------------------------------------------
def test_a_product_is_added_changed_and_named_once(plant: SmallPlant, product: Product) -> None:
    assert product.code == "H-STD" and product.specification == plant.specification["sac_h"].specification
    with pytest.raises(RecordRefused, match="exists already"):
        services.add_product(
            by=plant.by("supervisor"), code="H-STD", name="Again", family="sac_h", grade="working",
            specification_id=product.specification_id,
        )  # fmt: skip
    services.change_product(
        by=plant.by("supervisor"), product_id=product.pk, name="Cation, hydrogen form", version=1,
        specification_id=product.specification_id, is_active=True,
    )  # fmt: skip
    with pytest.raises(StaleRecord):
        services.change_product(
            by=plant.by("supervisor"), product_id=product.pk, name="Another name", version=1,
            specification_id=product.specification_id, is_active=True,
        )  # fmt: skip


def test_a_product_takes_no_specification_of_another_family(plant: SmallPlant, product: Product) -> None:
    anion = plant.specification["sba_1"].specification_id
    with pytest.raises(RecordRefused, match="the product is"):
        services.change_product(
            by=plant.by("supervisor"),
            product_id=product.pk,
            name=product.name,
            specification_id=anion,
            is_active=True,
        )


def test_an_operator_neither_adds_a_product_nor_gives_a_customer_a_specification(
    plant: SmallPlant, product: Product, visits: list[TankVisit]
) -> None:
    with pytest.raises(NotAllowed):
        services.change_product(
            by=plant.by("operator"),
            product_id=product.pk,
            name="Mine",
            specification_id=product.specification_id,
            is_active=True,
        )
    version = stricter(plant)
    with pytest.raises(NotAllowed):
        services.set_customer_specification(
            by=plant.by("operator"), product_id=product.pk, customer_id=visits[2].customer_id,
            specification_id=version.specification_id, reason="their order of this year",
        )  # fmt: skip


# --- a customer's own -------------------------------------------------------------------------------------------------
def test_one_that_asks_for_less_needs_a_reason_and_one_that_does_not_takes_none(
    plant: SmallPlant, product: Product, visits: list[TankVisit]
) -> None:
    usual = specification_definition(plant.specification["sac_h"])
    less = own_specification(
        plant, "Q-H-LOW", limits=(replace(usual.limits[0], high=1e-2), *usual.limits[1:])
    )
    with pytest.raises(RecordRefused, match=r"asks for less than Q-H: Conductivity at 25 °C is at most 100"):
        given_to(plant, product, less)
    row = given_to(plant, product, less, looser_reason="softened feed only, agreed in writing")
    assert row.looser_reason
    with pytest.raises(RecordRefused, match="asks for no less"):
        given_to(plant, product, stricter(plant), looser_reason="nothing to give a reason for")


def test_the_products_own_and_one_without_an_approved_version_are_refused(
    plant: SmallPlant, product: Product, visits: list[TankVisit]
) -> None:
    with pytest.raises(RecordRefused, match="holds for every customer"):
        given_to(plant, product, plant.specification["sac_h"])
    usual = specification_definition(plant.specification["sac_h"])
    draft = services.add_specification(
        by=plant.by("supervisor"), code="Q-H-DRAFT", name="Draft only", family="sac_h", grade="working",
        definition=replace(usual, code="Q-H-DRAFT"), reason="first version for tests",
    ).result  # fmt: skip
    with pytest.raises(RecordRefused, match="No version of Q-H-DRAFT is approved"):
        given_to(plant, product, draft)


def test_a_new_one_ends_the_one_that_stood_and_one_is_ended_with_a_reason(
    plant: SmallPlant, product: Product, visits: list[TankVisit]
) -> None:
    first = given_to(plant, product, stricter(plant))
    with pytest.raises(RecordRefused, match="already"):
        given_to(plant, product, first.specification.versions.get())
    second = given_to(plant, product, stricter(plant, "Q-H-Y"))
    first.refresh_from_db()
    assert first.ended_at is not None and "takes its place" in first.ended_reason
    with pytest.raises(RecordRefused, match="at least 10 characters"):
        services.end_customer_specification(by=plant.by("supervisor"), row_id=second.pk, reason="over")
    services.end_customer_specification(by=plant.by("supervisor"), row_id=second.pk, reason="the order ended")
    assert selectors.customers_specifications(product.specification_id) == []
    with pytest.raises(RecordRefused, match="was ended"):
        services.end_customer_specification(
            by=plant.by("supervisor"), row_id=second.pk, reason="the order ended"
        )


def test_the_database_keeps_what_was_given(
    plant: SmallPlant, product: Product, visits: list[TankVisit]
) -> None:
    row = given_to(plant, product, stricter(plant))
    with pytest.raises(DatabaseError), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(
            "UPDATE recipes_customerspecification SET looser_reason = 'changed by hand' WHERE id = %s",
            [row.pk],
        )


# --- a batch of several customers ---------------------------------------------------------------------------------------
def test_a_batch_of_several_customers_meets_the_strictest_of_all(
    plant: SmallPlant, product: Product, visits: list[TankVisit]
) -> None:
    given_to(plant, product, stricter(plant))
    batch = factories.frozen_batch(plant, "sac_h", visits)
    worked = worked_of(batch)
    assert worked is not None
    assert [(part.name, part.customers) for part in worked.parts] == [
        ("Q-H version 1", ()), ("Q-H-X version 1", ("Harrow Mill",)),
    ]  # fmt: skip
    found = specification_of(batch)
    assert found.limit("conductivity").high == 3e-3 and found.limit("sodium") == SODIUM  # type: ignore[union-attr]
    assert found.hold_time_s == 1200.0
    assert batch.specification_version == plant.specification["sac_h"]


def test_tanks_of_customers_without_their_own_are_judged_as_before(
    plant: SmallPlant, product: Product, visits: list[TankVisit]
) -> None:
    given_to(plant, product, stricter(plant))
    batch = factories.frozen_batch(plant, "sac_h", visits[:2])
    assert batch.specification_text == "" and worked_of(batch) is None
    assert specification_of(batch) == specification_definition(plant.specification["sac_h"])


def test_a_looser_one_holds_alone_for_its_customer_and_never_for_others(
    plant: SmallPlant, product: Product, visits: list[TankVisit]
) -> None:
    usual = specification_definition(plant.specification["sac_h"])
    less = own_specification(
        plant, "Q-H-LOW", limits=(replace(usual.limits[0], high=1e-2), *usual.limits[1:])
    )
    given_to(plant, product, less, looser_reason="softened feed only, agreed in writing")
    leading = plant.specification["sac_h"]
    alone = choose(leading, [visits[2]], plant.now)
    assert alone.version == less and alone.worked is None
    together = choose(leading, visits, plant.now)
    assert together.definition.limit("conductivity").high == usual.limits[0].high  # type: ignore[union-attr]


def test_a_later_looser_version_makes_nothing_looser(
    plant: SmallPlant, product: Product, visits: list[TankVisit]
) -> None:
    version = stricter(plant)
    given_to(plant, product, version)
    usual = specification_definition(plant.specification["sac_h"])
    looser: Specification = replace(usual, code="Q-H-X", limits=(replace(usual.limits[0], high=2e-2),))
    draft = services.draft_specification_version(
        by=plant.by("supervisor"),
        specification_id=version.specification_id,
        definition=looser,
        reason="less is asked for",
    ).result
    services.approve_specification_version(
        by=plant.by("supervisor 2"),
        version_id=draft.pk,
        permit=factories.approval(plant.by("supervisor 2"), draft),
    )
    found = choose(plant.specification["sac_h"], [visits[2]], plant.now).definition
    assert found.limit("conductivity").high == usual.limits[0].high  # type: ignore[union-attr]
    assert found.limit("hardness") is not None


def test_what_cannot_both_be_met_is_not_planned(
    plant: SmallPlant, product: Product, visits: list[TankVisit]
) -> None:
    usual = specification_definition(plant.specification["sac_h"])
    other = own_specification(
        plant, "Q-H-RINSE", minimum_rinse_bv=20.0, maximum_rinse_bv=30.0, limits=usual.limits
    )
    given_to(plant, product, other, looser_reason="they rinse on at their own place")
    with pytest.raises(PlanRefused, match="not made in one batch"):
        factories.frozen_batch(plant, "sac_h", visits)
    assert not Batch.objects.exists()


def test_a_customers_whose_version_was_withdrawn_holds_the_plan_up(
    plant: SmallPlant, product: Product, visits: list[TankVisit]
) -> None:
    version = stricter(plant)
    given_to(plant, product, version)
    by = plant.by("supervisor 2")
    services.withdraw_specification_version(
        by=by, version_id=version.pk, reason="no longer good", permit=factories.withdrawal(by, version)
    )
    with pytest.raises(RecordRefused, match="no version of it is approved and holds now"):
        factories.frozen_batch(plant, "sac_h", visits)


def test_what_was_worked_out_is_frozen_signed_for_and_verified(
    plant: SmallPlant, product: Product, visits: list[TankVisit]
) -> None:
    row = given_to(plant, product, stricter(plant))
    batch = factories.frozen_batch(plant, "sac_h", visits)
    services.end_customer_specification(by=plant.by("supervisor"), row_id=row.pk, reason="the order ended")
    assert specification_of(Batch.objects.get(pk=batch.pk)).limit("sodium") == SODIUM
    with pytest.raises(DatabaseError), transaction.atomic():
        Batch.objects.filter(pk=batch.pk).update(specification_text="")
    assert findings() == []


def test_a_text_that_is_not_the_strictest_of_its_versions_is_found(
    plant: SmallPlant, product: Product, visits: list[TankVisit]
) -> None:
    given_to(plant, product, stricter(plant))
    batch = factories.frozen_batch(plant, "sac_h", visits)
    assert unlike_its_versions(batch, list(SpecificationVersion.objects.all())) == ""
    batch.specification_text = batch.specification_text.replace("0.003", "0.004")
    assert "not the strictest" in unlike_its_versions(batch, list(SpecificationVersion.objects.all()))
    assert "not as it was frozen" in unlike_its_versions(batch, [])
