"""Customers whose tanks always count as rush: marked with a reason, ended with one. Plans made from then on reckon with it."""

from __future__ import annotations

from regenplant.audit.by import By
from regenplant.audit.records import words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused, StaleRecord
from regenplant.tanks.models import Customer, CustomerRush

SHORTEST_REASON = 10


def _subject(customer: Customer) -> tuple[str, str, str]:
    return ("customer", customer.code, customer.name)


@use_case("customer.rushed", permission="customer.edit")
def rush_customer(*, by: By, customer_id: int, reason: str) -> Outcome:
    """From now on every tank of this customer counts as rush. It moves plans about and loosens no limit.

    Raises: RecordRefused for a customer whose tanks are rushed already, and without a reason.
    """
    customer = Customer.objects.select_for_update().get(pk=customer_id)
    words = words_of(reason, "The reason", field="reason", most=300, least=SHORTEST_REASON)
    if CustomerRush.objects.filter(customer=customer, ended_at__isnull=True).exists():
        raise RecordRefused(f"Tanks of {customer.name} count as rush already.", code="nothing_changed")
    row = CustomerRush.objects.create(customer=customer, reason=words, made_by=by.user, made_at=by.at)
    return Outcome(subject=_subject(customer), after={"rush": True}, reason=words, result=row)


@use_case("customer.rush_ended", permission="customer.edit")
def end_customer_rush(*, by: By, rush_id: int, reason: str) -> Outcome:
    """From now on tanks of this customer count as all others. Raises: RecordRefused without a reason, or for a mark that is not known; StaleRecord where it was ended."""
    row = (
        CustomerRush.objects.select_for_update(of=("self",))
        .select_related("customer")
        .filter(pk=rush_id)
        .first()
    )
    if row is None:
        raise RecordRefused("No customer is rushed by this mark.", code="unknown")
    if row.ended_at is not None:
        raise StaleRecord(
            f"Somebody ended it meanwhile: tanks of {row.customer.name} count as all others.", code="ended"
        )
    words = words_of(reason, "The reason", field="reason", most=300, least=SHORTEST_REASON)
    row.ended_by, row.ended_at, row.ended_reason = by.user, by.at, words
    row.save(update_fields=["ended_by", "ended_at", "ended_reason"])
    return Outcome(
        subject=_subject(row.customer), before={"rush": True}, after={"rush": False}, reason=words, result=row
    )


say("customer.rushed", "Tanks of {subject} count as rush from now on: {reason}")
say("customer.rush_ended", "Tanks of {subject} count as all others again: {reason}")
