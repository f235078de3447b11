"""Acts on expected deliveries: entered, changed, received with the lot that came, or called off."""

from __future__ import annotations

from datetime import date, timedelta

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.numbering import next_number
from regenplant.audit.records import words_of, write_changed
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.chemicals.models import ChemicalLot, ExpectedDelivery, Movement, Place
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.plant.selectors import plant_day

State = ExpectedDelivery.State
FARTHEST_DAYS = 365
"""How far ahead a delivery may be expected."""
MOST_GRAMS = 60_000_000
"""A large tank truck; a guard against slips of the unit."""


def _subject(row: ExpectedDelivery) -> tuple[str, str, str]:
    return ("expected_delivery", row.number, row.number)


def _amount(grams_100: int) -> int:
    if not 0 < grams_100 <= MOST_GRAMS:
        raise OutOfRange(
            f"The mass as 100 % is {units.twin(grams_100 / 1000.0, 'mass')}; it lies above nothing and at most at "
            f"{units.twin(MOST_GRAMS / 1000.0, 'mass')}.",
            field="quantity",
            code="amount",
        )
    return grams_100


def _day(due_on: date, by: By) -> date:
    today = plant_day(by.at)
    if not today <= due_on <= today + timedelta(days=FARTHEST_DAYS):
        raise RecordRefused(
            f"{due_on} cannot be: a delivery is expected from today, {today}, to {today + timedelta(days=FARTHEST_DAYS)}.",
            field="due_on",
            code="day",
        )
    return due_on


def _expected(number: str) -> ExpectedDelivery:
    row = (
        ExpectedDelivery.objects.select_for_update()
        .select_related("place")
        .filter(number=number.upper())
        .first()
    )
    if row is None:
        raise RecordRefused("This expected delivery is not known here.", code="unknown")
    if row.state != State.EXPECTED:
        raise RecordRefused(f"{row.number} is {row.get_state_display()} already.", code="ended")
    return row


@use_case("delivery.expected", permission="chemical.receive")
def expect_delivery(
    *, by: By, place_id: int, order_number: str, grams_100: int, due_on: date, supplier: str = ""
) -> Outcome:
    """Enter what was ordered: for which tank, how much as 100 %, for which day. ``result`` is the row.

    Raises: RecordRefused (no bulk tank, an order that is expected already, a day that is past or too far), OutOfRange.
    """
    place = Place.objects.filter(pk=place_id, kind=Place.Kind.BULK_TANK).first()
    if place is None:
        raise RecordRefused("A delivery goes into a bulk tank; choose one.", field="place", code="not_a_tank")
    order = words_of(order_number, "The order number", field="order_number", most=60, least=2)
    if ExpectedDelivery.objects.filter(place=place, order_number=order, state=State.EXPECTED).exists():
        raise RecordRefused(
            f"Order {order} is expected for {place.code} already. Change that one.", field="order_number", code="known"
        )  # fmt: skip
    row = ExpectedDelivery.objects.create(
        number=next_number(ExpectedDelivery, "number", "E", 10001),
        place=place,
        order_number=order,
        supplier=words_of(supplier, "The supplier", field="supplier", most=80),
        grams_100=_amount(grams_100),
        due_on=_day(due_on, by),
        entered_by=by.user,
        entered_at=by.at,
    )
    return Outcome(
        subject=_subject(row),
        after={"grams_100": row.grams_100, "due_on": row.due_on.isoformat()},
        facts={
            "tank": place.code,
            "order": order,
            "shown": units.format_quantity(row.grams_100 / 1000.0, "mass"),
        },
        related=(("place", str(place.pk)),),
        result=row,
    )


@use_case("delivery.expected_changed", permission="chemical.receive")
def change_expected(
    *, by: By, number: str, grams_100: int, due_on: date, reason: str, version: int | None = None
) -> Outcome:
    """Another day or amount, with its reason. Raises: RecordRefused, OutOfRange, StaleRecord."""
    row = _expected(number)
    words = words_of(reason, "The reason", field="reason", most=200, least=5)
    day = due_on if due_on == row.due_on else _day(due_on, by)
    before, after = write_changed(
        row, {"grams_100": _amount(grams_100), "due_on": day}, version=version, label=f"Expected delivery {row.number}"
    )  # fmt: skip
    return Outcome(
        subject=_subject(row),
        before=before,
        after=after,
        facts={
            "day": row.due_on.isoformat(),
            "shown": units.format_quantity(row.grams_100 / 1000.0, "mass"),
        },
        reason=words,
        related=(("place", str(row.place_id)),),
        result=row,
    )


@use_case("delivery.called_off", permission="chemical.receive")
def call_off_expected(*, by: By, number: str, reason: str, version: int | None = None) -> Outcome:
    """It does not come. Raises: RecordRefused, StaleRecord."""
    row = _expected(number)
    words = words_of(reason, "The reason", field="reason", most=200, least=5)
    before, after = write_changed(
        row, {"state": State.CALLED_OFF.value}, version=version, label=f"Expected delivery {row.number}"
    )
    return Outcome(
        subject=_subject(row),
        before=before,
        after=after,
        reason=words,
        related=(("place", str(row.place_id)),),
        result=row,
    )


@use_case("delivery.expected_received", permission="chemical.receive")
def settle_expected(*, by: By, number: str, lot_id: int, version: int | None = None) -> Outcome:
    """It came, as this lot. Raises: RecordRefused (a lot of another tank, or one that another order took), StaleRecord."""
    row = _expected(number)
    lot = ChemicalLot.objects.filter(pk=lot_id).first()
    came = lot is not None and Movement.objects.filter(
        lot=lot, to_place=row.place, from_place__kind=Place.Kind.SUPPLIER
    )
    if lot is None or not came:
        raise RecordRefused(
            f"This lot did not come into {row.place.code}. Choose one that did.", field="lot", code="elsewhere"
        )  # fmt: skip
    if ExpectedDelivery.objects.filter(lot=lot).exists():
        raise RecordRefused(f"Lot {lot.code} stands under another order already.", field="lot", code="known")
    before, after = write_changed(
        row, {"state": State.RECEIVED.value, "lot": lot}, version=version, label=f"Expected delivery {row.number}"
    )  # fmt: skip
    return Outcome(
        subject=_subject(row),
        before={"state": before["state"]},
        after={"state": after["state"]},
        facts={"lot": lot.code, "tank": row.place.code},
        related=(("chemical_lot", str(lot.pk)), ("place", str(row.place_id))),
        result=row,
    )


say("delivery.expected", "Delivery {subject} is expected for {tank}: {shown} as 100 %, order {order}")
say("delivery.expected_changed", "Expected delivery {subject} was changed: {shown} as 100 % on {day}. {reason}")  # fmt: skip
say("delivery.called_off", "Expected delivery {subject} was called off: {reason}")
say("delivery.expected_received", "Expected delivery {subject} came into {tank} as lot {lot}")
