"""Acts on the weigh ticket of a delivery: it is written beside the volume unloaded, and a difference is answered by another person.

Nothing here moves a mass: the ledger keeps what the papers say, and a count of the tank shows what is there.
"""

from __future__ import annotations

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.records import within, words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.chemicals.models import Unloading, WeighTicket
from regenplant.chemicals.weighing import tickets_of
from regenplant.core.errors import NotAllowed, RecordRefused, StaleRecord
from regenplant.core.process.weighing import weighed

LEAST_KG, MOST_KG = 1.0, 60_000.0
"""A small tote at least, a large tank truck at most; a program’s guard against slips of the unit."""
LEAST_M3, MOST_M3 = 0.001, 60.0


def _unlocked(unloading_id: int) -> Unloading:
    row = Unloading.objects.select_for_update().select_related("place").filter(pk=unloading_id).first()
    if row is None:
        raise RecordRefused("This delivery is not known here.", code="unknown")
    if row.state != Unloading.State.UNLOCKED:
        raise RecordRefused(
            f"{row.number} is {row.get_state_display()}. A ticket is held against what was unloaded, so it is written after the lock was "
            "opened.",
            code="not_unlocked",
        )
    return row


@use_case("unloading.weighed", permission="chemical.receive")
def write_weigh_ticket(
    *,
    by: By,
    unloading_id: int,
    paper_number: str,
    net_kg: float,
    volume_m3: float,
    net_as_typed: str,
    volume_as_typed: str,
    seen_position: int = 0,
    why_anew: str = "",
) -> Outcome:
    """Write the net mass of the ticket and the volume that was unloaded; ``result`` is the ticket.

    ``seen_position`` is the ticket that stood when the page was shown, 0 for none; another one takes its place with ``why_anew``.
    Raises: RecordRefused (not unlocked, a reason that is missing), OutOfRange, StaleRecord.
    """
    row = _unlocked(unloading_id)
    before = next(iter(tickets_of(row)), None)
    if (before.position if before else 0) != seen_position:
        raise StaleRecord(
            f"A ticket of {row.number} was written meanwhile. Open the delivery again.", code="weighed"
        )
    within(net_kg, LEAST_KG, MOST_KG, "The net mass", "mass", field="net")
    within(volume_m3, LEAST_M3, MOST_M3, "The volume unloaded", "liquid_volume", field="volume")
    density = row.density_kg_per_m3 or 0.0
    found = weighed(
        net_kg,
        volume_m3,
        density,
        row.grams_100,
        row.certificate_strength_frac,
        row.place.weigh_tolerance_frac,
    )
    ticket = WeighTicket.objects.create(
        unloading=row,
        position=seen_position + 1,
        paper_number=words_of(
            paper_number, "The number of the ticket", field="paper_number", most=40, least=1
        ),
        net_kg=net_kg,
        net_as_typed=words_of(net_as_typed, "The net mass", field="net", most=60, least=1),
        volume_m3=volume_m3,
        volume_as_typed=words_of(volume_as_typed, "The volume unloaded", field="volume", most=60, least=1),
        density_kg_per_m3=density,
        tolerance_frac=row.place.weigh_tolerance_frac,
        is_beyond=found.is_beyond,
        why_anew=words_of(
            why_anew,
            "Why it is written anew",
            field="why_anew",
            most=300,
            least=10 if before is not None else 0,
        ),
        weighed_by=by.user,
        weighed_at=by.at,
    )
    agrees = (
        "they agree"
        if not found.is_beyond
        else f"they differ by {found.volume_gap_frac * 100:+.1f} %, from the papers by {found.papers_gap_frac * 100:+.1f} %"
    )
    return Outcome(
        subject=("unloading", row.number, row.number),
        after={"net_kg": net_kg, "volume_m3": volume_m3, "is_beyond": found.is_beyond},
        facts={
            "ticket": ticket.paper_number,
            "net": units.format_quantity(net_kg, "mass"),
            "volume": units.format_quantity(volume_m3, "liquid_volume"),
            "agrees": agrees,
        },
        reason=ticket.why_anew,
        related=(("place", str(row.place_id)),),
        result=ticket,
    )


@use_case("unloading.weighing_answered", permission="chemical.correct")
def answer_weigh_ticket(*, by: By, unloading_id: int, seen_position: int, answer: str) -> Outcome:
    """Say where the difference of the ticket that stands comes from; ``result`` is the ticket. It moves nothing.

    Raises: NotAllowed for who wrote it; RecordRefused where nothing differs or it is answered already; StaleRecord.
    """
    row = _unlocked(unloading_id)
    ticket = next(iter(tickets_of(row)), None)
    if ticket is None or ticket.position != seen_position:
        raise StaleRecord(
            f"Another ticket of {row.number} stands by now. Open the delivery again.", code="weighed"
        )
    if not ticket.is_beyond:
        raise RecordRefused(
            f"Ticket {ticket.paper_number} agrees within the tolerance; there is nothing to answer.",
            code="agrees",
        )
    if ticket.answered_at is not None:
        raise RecordRefused(
            f"Ticket {ticket.paper_number} is answered already: {ticket.answer}", code="answered"
        )
    if ticket.weighed_by_id == by.user.pk:
        raise NotAllowed(
            f"You wrote ticket {ticket.paper_number}. Another person looks at the difference and says where it comes from.",
            code="own_work",
        )
    words = words_of(answer, "Where the difference comes from", field="answer", most=300, least=10)
    hit = WeighTicket.objects.filter(pk=ticket.pk, answered_at__isnull=True).update(
        answered_by=by.user, answered_at=by.at, answer=words
    )
    if hit != 1:
        raise StaleRecord(f"Ticket {ticket.paper_number} was answered meanwhile.", code="answered")
    ticket.refresh_from_db()
    return Outcome(
        subject=("unloading", row.number, row.number),
        after={"answer": words},
        facts={"ticket": ticket.paper_number},
        reason=words,
        result=ticket,
    )


say(
    "unloading.weighed",
    "Delivery {subject} was weighed: ticket {ticket}, {net} net, {volume} unloaded; {agrees}",
)
say("unloading.weighing_answered", "The difference of ticket {ticket} of delivery {subject} was answered: {reason}")  # fmt: skip
