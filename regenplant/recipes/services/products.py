"""Acts on products, and on which specification holds for which customer."""

from __future__ import annotations

from typing import Any

from regenplant.audit.by import By
from regenplant.audit.records import code_of, one_of, refuse_known, saved_words, words_of, write_changed
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused
from regenplant.core.process.strictest import looser
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.core.process.wording import listed
from regenplant.recipes.models import CustomerSpecification, Product, Specification
from regenplant.recipes.selectors import specification_definition, usable_version

SHORTEST_REASON = 10


@use_case("product.added", permission="recipe.edit")
def add_product(*, by: By, code: str, name: str, family: str, grade: str, specification_id: int) -> Outcome:
    """Add a product; ``result`` is the product. Raises: RecordRefused when the code is taken or the specification is for others."""
    code = code_of(code, "The product’s code", longest=16)
    refuse_known(Product, code, "Product")
    one_of(family, [item.value for item in ResinFamily], "The family", field="family")
    words = words_of(grade, "The grade", field="grade", most=20, least=2)
    specification = _specification(specification_id, family, words)
    facts = {
        "code": code,
        "name": words_of(name, "The product’s name", field="name", most=120, least=3),
        "family": family,
        "grade": words,
    }
    product = Product.objects.create(**facts, specification=specification)
    return Outcome(
        subject=_subject(product), after={**facts, "specification": specification.code}, result=product
    )


@use_case("product.changed", permission="recipe.edit")
def change_product(
    *, by: By, product_id: int, name: str, specification_id: int, is_active: bool, version: int | None = None
) -> Outcome:
    """Change what a product is called, its specification, or whether it is made. Batches keep what they were planned with.

    Raises: RecordRefused, StaleRecord.
    """
    product = _product(product_id)
    specification = _specification(specification_id, product.family, product.grade)
    before, after = write_changed(
        product,
        {
            "name": words_of(name, "The product’s name", field="name", most=120, least=3),
            "specification": specification,
            "is_active": is_active,
        },
        version=version,
        label=f"Product {product.code}",
    )
    return Outcome(subject=_subject(product), before=before, after=after, result=product)


@use_case("product.customer_specified", permission="recipe.approve")
def set_customer_specification(
    *,
    by: By,
    product_id: int,
    customer_id: int,
    specification_id: int,
    reason: str,
    looser_reason: str = "",
) -> Outcome:
    """From now on this customer's specification holds for the product, beside the product's own; one that stood is ended.

    With ``looser_reason`` the product's own does not hold beside it, so the customer's may ask for less. Without it a
    specification that asks for less anywhere is refused: nothing would come of it, and nobody would see why.

    Raises: RecordRefused.
    """
    product = _product(product_id)
    specification = _specification(specification_id, product.family, product.grade)
    customer = _customer(customer_id)
    if specification.pk == product.specification_id:
        raise RecordRefused(
            f"{specification.code} is the specification of {product.code} itself and holds for every customer.",
            field="specification_id",
            code="is_the_products",
        )
    words = words_of(reason, "The reason", field="reason", most=300, least=SHORTEST_REASON)
    why = words_of(looser_reason, "The reason for asking for less", field="looser_reason", most=300)
    less = _asks_less(specification, product.specification, by)
    if less and len(why) < SHORTEST_REASON:
        raise RecordRefused(
            f"{specification.code} asks for less than {product.specification.code}: {listed(less)}. Make it as strict, or say in "
            f"at least {SHORTEST_REASON} characters why {customer} takes less.",
            field="looser_reason",
            code="asks_less",
        )
    if why and not less:
        raise RecordRefused(
            f"{specification.code} asks for no less than {product.specification.code}, so there is nothing to give a reason for.",
            field="looser_reason",
            code="asks_no_less",
        )
    stood = _open(product, customer.pk)
    if stood is not None:
        if stood.specification_id == specification.pk and stood.looser_reason == why:
            raise RecordRefused(
                f"{specification.code} holds for {customer} already.",
                field="specification_id",
                code="nothing_changed",
            )
        _end(stood, by, f"{specification.code} takes its place")
    row = CustomerSpecification.objects.create(
        product=product,
        customer=customer,
        specification=specification,
        reason=words,
        looser_reason=why,
        made_by=by.user,
        made_at=by.at,
    )
    return Outcome(
        subject=_subject(product),
        before={"specification": stood.specification.code} if stood else {},
        after={"specification": specification.code},
        facts={"customer": str(customer), "looser_reason": why, "asks_less": list(less)},
        reason=words,
        related=(("customer", customer.code), ("specification", str(specification.pk))),
        result=row,
    )


@use_case("product.customer_specification_ended", permission="recipe.approve")
def end_customer_specification(*, by: By, row_id: int, reason: str) -> Outcome:
    """From now on the product's own specification holds for this customer. Raises: RecordRefused when it is ended already."""
    row = (
        CustomerSpecification.objects.select_for_update(of=("self",))
        .select_related("product", "customer", "specification")
        .filter(pk=row_id)
        .first()
    )
    if row is None:
        raise RecordRefused("This customer’s specification is not known here.", code="unknown")
    if row.ended_at is not None:
        raise RecordRefused(f"It was ended on {row.ended_at:%Y-%m-%d} already.", code="ended")
    words = words_of(reason, "The reason", field="reason", most=300, least=SHORTEST_REASON)
    _end(row, by, words)
    return Outcome(
        subject=_subject(row.product),
        before={"specification": row.specification.code},
        facts={"customer": str(row.customer)},
        reason=words,
        related=(("customer", row.customer.code),),
        result=row,
    )


def _asks_less(specification: Specification, of_product: Specification, by: By) -> tuple[str, ...]:
    """Where the newest version that holds asks for less than the product's. Raises RecordRefused where either has none."""
    pair = []
    for one in (specification, of_product):
        version = usable_version(one, by.at)
        if version is None:
            raise RecordRefused(
                f"No version of {one.code} is approved and holds now. Have one approved first.",
                field="specification_id",
                code="not_approved",
            )
        pair.append(specification_definition(version))
    return looser(pair[0], pair[1])


def _end(row: CustomerSpecification, by: By, reason: str) -> None:
    row.ended_by, row.ended_at, row.ended_reason = by.user, by.at, reason
    row.save(update_fields=["ended_by", "ended_at", "ended_reason"])


def _open(product: Product, customer_id: int) -> CustomerSpecification | None:
    return (
        CustomerSpecification.objects.select_for_update(of=("self",))
        .select_related("specification")
        .filter(product=product, customer_id=customer_id, ended_at__isnull=True)
        .first()
    )


def _product(pk: int) -> Product:
    found = (
        Product.objects.select_for_update(of=("self",)).select_related("specification").filter(pk=pk).first()
    )
    if found is None:
        raise RecordRefused("This product is not known here.", code="unknown")
    return found


def _customer(pk: int) -> Any:
    model: Any = CustomerSpecification._meta.get_field("customer").related_model
    found = model._default_manager.filter(pk=pk, is_active=True).first()
    if found is None:
        raise RecordRefused(
            "This customer is not in use. Choose one of the list.", field="customer_id", code="unknown"
        )
    return found


def _specification(pk: int, family: str, grade: str) -> Specification:
    found = Specification.objects.filter(pk=pk, is_active=True).first()
    if found is None:
        raise RecordRefused(
            "This specification is not in use. Choose one of the list.",
            field="specification_id",
            code="unknown",
        )
    if (found.family, found.grade) != (family, grade):
        raise RecordRefused(
            f"{found.code} is for {ResinFamily(found.family).label}, grade {found.grade}; the product is "
            f"{ResinFamily(family).label}, grade {grade}.",
            field="specification_id",
            code="other_family",
        )
    return found


def _subject(product: Product) -> tuple[str, str, str]:
    return ("product", str(product.pk), product.code)


say("product.added", saved_words("Product"))
say("product.changed", saved_words("Product"))
say("product.customer_specified", "Product {subject}: {specification} holds for {customer} ({reason})")
say(
    "product.customer_specification_ended",
    "Product {subject}: the specification of {customer} was ended ({reason})",
)
