"""Products of the story, and what some customers ask for beside them: made by one supervisor, approved by the other."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from typing import Any

from regenplant.core.process.grades import limits_of
from regenplant.core.process.measurements import MEASUREMENTS
from regenplant.core.process.published_grades import BY_KEY
from regenplant.core.process.specification import CONDUCTIVITY, Limit, Specification
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.people.approvals import approval_of
from regenplant.recipes import services as recipes
from regenplant.recipes.models import SpecificationVersion
from regenplant.recipes.selectors import specification_definition
from regenplant.web.story.cast import Stage
from regenplant.web.story.clockwork import Script

MAKER, APPROVER = "osk", "vale"


def set_up_products(stage: Stage, at: datetime) -> None:
    """Each product with its specification; then the lower product, and what customers ask for."""
    for item in stage.data["products"]:
        version = stage.specification[item["family"]]
        stage.products[item["code"]] = recipes.add_product(
            by=stage.by(MAKER, at),
            code=item["code"],
            name=item["name"],
            family=item["family"],
            grade=version.specification.grade,
            specification_id=version.specification_id,
        ).result
    stage.specification["lower"] = _lower_product(stage, at)
    for item in stage.data["customer_specifications"]:
        _of_customer(stage, item, at)


def _lower_product(stage: Stage, at: datetime) -> SpecificationVersion:
    """One product below the usual one of type 1 anion: the same tests, five times the conductivity (invented)."""
    version = stage.specification[ResinFamily.SBA_TYPE_1.value]
    code, name = "OH1-FEED", "Anion type 1, feed of a boiler (invented)"
    usual = replace(specification_definition(version), code=code, name=name)
    return _approved(
        stage,
        with_conductivity(usual, 50.0),
        version.specification.grade,
        "lower product for customers who accept it",
        at,
    )


def _approved(
    stage: Stage, definition: Specification, grade: str, reason: str, at: datetime
) -> SpecificationVersion:
    added: SpecificationVersion = recipes.add_specification(
        by=stage.by(MAKER, at),
        code=definition.code,
        name=definition.name,
        family=definition.family.value,
        grade=grade,
        definition=definition,
        reason=reason,
    ).result
    recipes.approve_specification_version(
        by=stage.by(APPROVER, at),
        version_id=added.pk,
        permit=stage.permit(APPROVER, approval_of(added), at),
    )
    return SpecificationVersion.objects.get(pk=added.pk)


def _of_customer(stage: Stage, item: dict[str, Any], at: datetime) -> None:
    product = stage.products[item["product"]]
    usual = specification_definition(stage.specification[product.family])
    asked = _asked(replace(usual, code=item["code"], name=item["name"]), item)
    added = _approved(stage, asked, product.grade, item["reason"], at)
    stage.specification[item["code"]] = added
    recipes.set_customer_specification(
        by=stage.by(APPROVER, at),
        product_id=product.pk,
        customer_id=stage.customers[item["customer"]].pk,
        specification_id=added.specification_id,
        reason=item["reason"],
        looser_reason=item.get("looser_reason", ""),
    )


def _asked(specification: Specification, item: dict[str, Any]) -> Specification:
    """The usual one with another conductivity, a test on each tank, or the tests of a published grade that it has not yet."""
    if "grade" in item:
        known = {limit.measurement for limit in specification.limits}
        more = (limit for limit in limits_of(BY_KEY[item["grade"]]) if limit.measurement not in known)
        specification = replace(specification, limits=(*specification.limits, *more))
    if "conductivity_us_cm" in item:
        specification = with_conductivity(specification, item["conductivity_us_cm"])
    if "tank_megohm_cm" in item:
        test = MEASUREMENTS["tank_conductivity"]
        on_tanks = Limit(
            test.key,
            test.name,
            test.kind,
            high=1e-4 / item["tank_megohm_cm"],
            source="trade_practice",
            method=test.methods[0].name,
            each_tank=True,
        )
        specification = replace(specification, limits=(*specification.limits, on_tanks))
    return specification


def with_conductivity(specification: Specification, microsiemens_per_cm: float) -> Specification:
    limits = tuple(
        replace(limit, high=microsiemens_per_cm * 1e-4) if limit.measurement == CONDUCTIVITY else limit
        for limit in specification.limits
    )
    return replace(specification, limits=limits)


def next_version(stage: Stage, code: str, microsiemens_per_cm: float, reason: str, at: datetime) -> Script:
    """A draft that waits for the other supervisor."""
    yield at
    stands = stage.specification[code]
    recipes.draft_specification_version(
        by=stage.by(MAKER, at),
        specification_id=stands.specification_id,
        definition=with_conductivity(specification_definition(stands), microsiemens_per_cm),
        reason=reason,
    )
