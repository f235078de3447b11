"""Customers, their sites, tank sizes, and the tanks themselves."""

from __future__ import annotations

import math
from typing import Any

from regenplant.audit.by import By
from regenplant.audit.records import code_of, refuse_known, words_of, write_changed
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused
from regenplant.core.process.vocabulary import EXHAUSTED_FORM, ResinFamily
from regenplant.resins.bodies import moves_of
from regenplant.resins.models import ResinType
from regenplant.resins.services import Counted, take_for_tank
from regenplant.tanks.models import Customer, Site, Tank, TankSize, TankVisit
from regenplant.tanks.selectors import AWAY_STATES, DOCK_STATES
from regenplant.tanks.services._moves import write_visit
from regenplant.tanks.services._registering import above_zero, new_tank, require_room
from regenplant.tanks.services._rules import reason_of


@use_case("customer.added", permission="customer.edit")
def add_customer(*, by: By, code: str, name: str, contact: str = "", declared_service: str = "") -> Outcome:
    """Add a customer. ``declared_service`` says in their words what the tanks do there; intake reads it.

    Raises: RecordRefused when the code is taken or a text is missing or too long.
    """
    code = code_of(code, "The customer’s code", longest=16)
    refuse_known(Customer, code, "Customer")
    facts = {
        "code": code,
        "name": words_of(name, "The name", field="name", most=120, least=2),
        "contact": words_of(contact, "The contact", field="contact", most=160),
        "declared_service": words_of(
            declared_service, "The declared service", field="declared_service", most=200
        ),
    }
    customer = Customer.objects.create(**facts)
    return Outcome(subject=("customer", code, customer.name), after=facts, result=customer)


@use_case("site.added", permission="customer.edit")
def add_site(*, by: By, customer_id: int, name: str, address: str = "") -> Outcome:
    """Add a place where a customer uses tanks. Raises: RecordRefused when the customer has it already."""
    customer = Customer.objects.get(pk=customer_id)
    words = words_of(name, "The site", field="name", most=120, least=2)
    if Site.objects.filter(customer=customer, name__iexact=words).exists():
        raise RecordRefused(f"{customer.name} has a site named {words} already.", field="name")
    site = Site.objects.create(
        customer=customer, name=words, address=words_of(address, "The address", field="address", most=200)
    )
    return Outcome(
        subject=("customer", customer.code, customer.name),
        after={"site": site.name, "address": site.address},
        result=site,
    )


@use_case("tank_size.added", permission="tank.edit")
def add_tank_size(
    *, by: By, code: str, diameter_m: float, height_m: float, nominal_resin_m3: float
) -> Outcome:
    """Add a size by its cylinder [m]; the gross volume is the cylinder's, without wall and domes.

    Raises: OutOfRange when a length is not above zero or the usual resin is more than 95 % of the cylinder.
    """
    code = words_of(" ".join(code.split()), "The size", field="code", most=12, least=1)
    if TankSize.objects.filter(code__iexact=code).exists():
        raise RecordRefused(f"The size {code} is there already.", field="code")
    for value, field in (
        (diameter_m, "diameter_m"),
        (height_m, "height_m"),
        (nominal_resin_m3, "nominal_resin_m3"),
    ):
        above_zero(value, field=field)
    gross_m3 = math.pi / 4 * diameter_m**2 * height_m
    require_room(nominal_resin_m3, gross_m3, field="nominal_resin_m3")
    size = TankSize.objects.create(
        code=code,
        diameter_m=diameter_m,
        height_m=height_m,
        gross_m3=gross_m3,
        nominal_resin_m3=nominal_resin_m3,
    )
    return Outcome(
        subject=("tank_size", code, code),
        after={
            "diameter_m": diameter_m,
            "height_m": height_m,
            "gross_m3": gross_m3,
            "nominal_resin_m3": nominal_resin_m3,
        },
        result=size,
    )


@use_case("tank.added", permission="tank.edit")
def add_tank(
    *,
    by: By,
    size_id: int,
    resin_type_id: int,
    segregation_class: str,
    serial: str = "",
    resin_volume_m3: float | None = None,
    dedicated_to_id: int | None = None,
    resin_lot_id: int | None = None,
    neck_band: str = "",
) -> Outcome:
    """Register a tank. An empty serial takes the next of the plant's own series; no volume takes the size's usual one.

    Resin of a lot that the store of resin knows is taken out of the store.

    Raises: RecordRefused when the serial is taken, a class A tank names no customer, the lot is of another type or class, or
    less of it stands in the store; OutOfRange when the resin would fill more than 95 % of the cylinder.
    """
    tank = new_tank(
        size_id=size_id,
        resin_type_id=resin_type_id,
        segregation_class=segregation_class,
        serial=serial,
        resin_volume_m3=resin_volume_m3,
        dedicated_to_id=dedicated_to_id,
        resin_lot_id=resin_lot_id,
        neck_band=neck_band,
    )
    _take_from_store(by, tank)
    return Outcome(
        subject=("tank", tank.serial, tank.serial),
        after=_facts(tank),
        related=_customer_of(tank),
        result=tank,
    )


@use_case("tank.changed", permission="tank.edit")
def change_tank(
    *,
    by: By,
    tank_id: int,
    version: int,
    reason: str,
    resin_type_id: int,
    resin_volume_m3: float,
    neck_band: str = "",
    is_retired: bool = False,
) -> Outcome:
    """Correct what a tank holds, or retire it. Its class changes by the verdict at intake only.

    Another resin type forgets the lot: what is inside is then not known to be of it. While the tank stands at the dock,
    the change holds for the present visit too; once it is accepted its resin is counted in a pool, so nothing is changed
    until it is shipped.
    Raises: StaleRecord; RecordRefused when the tank is accepted and not shipped yet; OutOfRange for the volume.
    """
    tank = Tank.objects.select_related("size", "resin_type", "dedicated_to").get(pk=tank_id)
    visit = tank.visits.exclude(state__in=AWAY_STATES).select_related("tank").first()
    if visit is not None and visit.state not in DOCK_STATES:
        raise RecordRefused(
            f"{tank.serial} is {visit.state} here as {visit.number}; its resin is counted. Change it once it is shipped."
        )
    require_room(resin_volume_m3, tank.size.gross_m3, field="resin_volume_m3")
    words = reason_of(reason, least=1)
    values = {
        "resin_type": ResinType.objects.get(pk=resin_type_id),
        "resin_volume_m3": resin_volume_m3,
        "neck_band": words_of(neck_band, "The neck band", field="neck_band", most=40),
        "is_retired": is_retired,
    }
    if tank.resin_type_id != resin_type_id:
        values["resin_lot"] = None
    before, after = write_changed(tank, values, version=version, label=tank.serial)
    if visit is not None:
        _retype(visit, tank, after)
    return Outcome(
        subject=("tank", tank.serial, tank.serial),
        before=before,
        after=after,
        reason=words,
        related=_customer_of(tank),
        result=tank,
    )


def _take_from_store(by: By, tank: Tank) -> None:
    """Resin of a lot whose store is kept goes out of it into the tank; a lot that was met in tanks has no store."""
    lot = tank.resin_lot
    if lot is None or not moves_of(lot):
        return
    form = EXHAUSTED_FORM[ResinFamily(tank.resin_type.family)].value
    take_for_tank(
        by=by, resin_lot_id=lot.pk, counted=Counted(tank.resin_volume_m3, form), reference=tank.serial
    )


def _retype(visit: TankVisit, tank: Tank, changed: dict[str, Any]) -> None:
    """What changed of the resin holds for the visit that stands at the dock."""
    fields: dict[str, Any] = {}
    if "resin_type" in changed:
        fields["resin_type"] = tank.resin_type
        fields["resin_volume_form"] = EXHAUSTED_FORM[ResinFamily(tank.resin_type.family)].value
    if "resin_volume_m3" in changed:
        fields["resin_volume_m3"] = tank.resin_volume_m3
    if fields:
        write_visit(visit, **fields)


def _facts(tank: Tank) -> dict[str, Any]:
    return {
        "size": tank.size.code,
        "resin_type": tank.resin_type.code,
        "segregation_class": tank.segregation_class,
        "resin_volume_m3": tank.resin_volume_m3,
        "dedicated_to": tank.dedicated_to.code if tank.dedicated_to else "",
        "neck_band": tank.neck_band,
        "is_retired": tank.is_retired,
    }


def _customer_of(tank: Tank) -> tuple[tuple[str, str], ...]:
    return (("customer", tank.dedicated_to.code),) if tank.dedicated_to else ()


def _say_changed(subject: str, stored: dict[str, Any]) -> str:
    after = stored.get("after", {})
    if after.get("is_retired"):
        return f"{subject} was retired"
    names = {
        "resin_type": "resin",
        "resin_volume_m3": "resin volume",
        "neck_band": "neck band",
        "is_retired": "taken in again",
    }
    return f"{subject} was corrected: {' and '.join(words for key, words in names.items() if key in after)}"


say("customer.added", "{subject} was added as customer {code}")
say("site.added", "{subject}: site {site} was added")
say("tank_size.added", "Tank size {subject} was added")
say("tank.added", "{subject} was registered: {size}, {resin_type}, class {segregation_class}")
say("tank.changed", _say_changed)
