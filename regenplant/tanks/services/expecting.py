"""Acts on tanks that are on their way: written down before they come, put off, called off. ``receive_tank`` says that one came."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta

from django.utils import timezone

from regenplant.audit.by import By
from regenplant.audit.numbering import next_number
from regenplant.audit.records import words_of, write_changed
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.core.process.vocabulary import SegregationClass
from regenplant.core.process.wording import listed
from regenplant.tanks.models import Customer, ExpectedTank, Tank, TankVisit
from regenplant.tanks.selectors import AWAY_STATES

State = ExpectedTank.State
FARTHEST = timedelta(days=60)
"""How far ahead a tank may be expected; a guard against slips of the date."""
LONGEST_PROMISE = timedelta(days=366)
MOST_AT_ONCE = 60
PREFIX, FIRST = "ET", 10001


def _subject(row: ExpectedTank) -> tuple[str, str, str]:
    return ("expected_tank", row.number, row.tank.serial)


def _related(row: ExpectedTank) -> tuple[tuple[str, str], ...]:
    return (("tank", row.tank.serial), ("customer", row.customer.code))


def _moment(expected_at: datetime, by: By) -> datetime:
    if not by.at <= expected_at <= by.at + FARTHEST:
        raise OutOfRange(
            f"Expected {timezone.localtime(expected_at):%Y-%m-%d %H:%M} cannot be: it lies between now and "
            f"{timezone.localtime(by.at + FARTHEST):%Y-%m-%d}.",
            field="expected_at",
        )
    return expected_at


def _promise(due_at: datetime | None, expected_at: datetime) -> datetime | None:
    if due_at is not None and not expected_at <= due_at <= expected_at + LONGEST_PROMISE:
        raise OutOfRange(
            f"Promised for {timezone.localtime(due_at):%Y-%m-%d %H:%M} cannot be: it lies after the tank comes, at most a year.",
            field="due_at",
        )
    return due_at


def _may_be_expected(tank: Tank) -> None:
    own = SegregationClass(tank.segregation_class)
    if tank.is_retired or not own.may_be_regenerated:
        why = "retired" if tank.is_retired else f"class {own.value} ({own.label.lower()})"
        raise RecordRefused(
            f"{tank.serial} is {why} and is not regenerated, so no plan counts with it. Receive it when it comes.",
            field="serials",
            code="not_regenerated",
        )
    here = TankVisit.objects.filter(tank=tank).exclude(state__in=AWAY_STATES).first()
    if here is not None:
        raise RecordRefused(
            f"{tank.serial} is here already: {here.number}, now {here.state}.",
            field="serials",
            code="here_already",
        )
    known = ExpectedTank.objects.filter(tank=tank, state=State.EXPECTED).first()
    if known is not None:
        raise RecordRefused(
            f"{tank.serial} is expected already, {timezone.localtime(known.expected_at):%Y-%m-%d %H:%M}, as {known.number}. Change that one.",
            field="serials",
            code="known",
        )


@use_case("tank.expected", permission="tank.expect")
def expect_tanks(
    *,
    by: By,
    tank_ids: Sequence[int],
    customer_id: int,
    expected_at: datetime,
    due_at: datetime | None = None,
) -> Outcome:
    """Write down tanks that come together, from a customer. ``result`` is the list of rows, in the order of ``tank_ids``.

    ``due_at`` is when they are promised back, if somebody promised; a promise written at the door takes its place.

    Raises: RecordRefused (none, too many, one that is here, expected already or not regenerated), OutOfRange for a time.
    """
    pks = list(dict.fromkeys(tank_ids))
    if not 1 <= len(pks) <= MOST_AT_ONCE:
        raise RecordRefused(
            f"{len(pks)} tanks are named; 1 to {MOST_AT_ONCE} are written down at once.", field="serials"
        )
    customer = Customer.objects.get(pk=customer_id)
    at = _moment(expected_at, by)
    due = _promise(due_at, at)
    tanks = Tank.objects.select_related("dedicated_to").in_bulk(pks)
    rows = []
    for pk in pks:
        tank = tanks[pk]
        _may_be_expected(tank)
        rows.append(
            ExpectedTank.objects.create(
                number=next_number(ExpectedTank, "number", PREFIX, FIRST),
                tank=tank,
                customer=customer,
                expected_at=at,
                due_at=due,
                entered_by=by.user,
                entered_at=by.at,
            )
        )
    return Outcome(
        subject=("customer", customer.code, customer.name),
        after={"expected_at": at.isoformat(), "due_at": due.isoformat() if due else None},
        facts={
            "tanks": listed([row.tank.serial for row in rows]),
            "at": f"{timezone.localtime(at):%Y-%m-%d %H:%M}",
        },
        related=tuple(
            pair for row in rows for pair in (("expected_tank", row.number), ("tank", row.tank.serial))
        ),
        result=rows,
    )


def _expected(number: str) -> ExpectedTank:
    row = (
        ExpectedTank.objects.select_for_update(of=("self",))
        .select_related("tank", "customer")
        .filter(number=number.upper())
        .first()
    )
    if row is None:
        raise RecordRefused("This expected tank is not known here.", code="unknown")
    if row.state != State.EXPECTED:
        raise RecordRefused(f"{row.tank.serial} was {row.get_state_display()} already.", code="ended")
    return row


@use_case("tank.expected_changed", permission="tank.expect")
def change_expected_tank(
    *,
    by: By,
    expected_number: str,
    expected_at: datetime,
    due_at: datetime | None,
    reason: str,
    version: int | None = None,
) -> Outcome:
    """It comes at another time, or is promised for another. Raises: RecordRefused, OutOfRange, StaleRecord."""
    row = _expected(expected_number)
    why = words_of(reason, "The reason", field="reason", most=200, least=5)
    at = expected_at if expected_at == row.expected_at else _moment(expected_at, by)
    values = {"expected_at": at, "due_at": _promise(due_at, at)}
    before, after = write_changed(row, values, version=version, label=f"Expected tank {row.tank.serial}")
    return Outcome(
        subject=_subject(row),
        before=before,
        after=after,
        facts={"at": f"{timezone.localtime(at):%Y-%m-%d %H:%M}"},
        reason=why,
        related=_related(row),
        result=row,
    )


@use_case("tank.expected_called_off", permission="tank.expect")
def call_off_expected_tank(
    *, by: By, expected_number: str, reason: str, version: int | None = None
) -> Outcome:
    """It does not come. Raises: RecordRefused, StaleRecord."""
    row = _expected(expected_number)
    why = words_of(reason, "The reason", field="reason", most=200, least=5)
    before, after = write_changed(
        row, {"state": State.CALLED_OFF.value}, version=version, label=f"Expected tank {row.tank.serial}"
    )
    return Outcome(
        subject=_subject(row), before=before, after=after, reason=why, related=_related(row), result=row
    )


say("tank.expected", "{tanks} of {subject} are expected {at}")
say("tank.expected_changed", "{subject} is expected {at} now: {reason}")
say("tank.expected_called_off", "{subject} is not expected any more: {reason}")
