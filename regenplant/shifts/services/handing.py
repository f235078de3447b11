"""Handing a shift over and taking it: two people, two signatures, one frozen state of the plant."""

from __future__ import annotations

from typing import Any

from regenplant.audit.by import By
from regenplant.audit.numbering import next_number
from regenplant.audit.records import words_of, write_changed
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused, StaleRecord
from regenplant.core.process.canonical import canonical_text
from regenplant.people.models import Signature
from regenplant.people.signing import SignaturePermit, bind
from regenplant.plant.selectors import profile
from regenplant.shifts.live import live_state
from regenplant.shifts.models import Handover, HandoverItem
from regenplant.shifts.selectors import SignedHandover, signed_content, signed_items, waiting_handover

HANDED_MEANING = "shift handed over as written here"
TAKEN_MEANING = "shift taken over, read and understood"
MOST_NOTES = 3000


@use_case("shift.handed_over", permission="shift.hand_over")
def hand_over(*, by: By, permit: SignaturePermit, shown: str, notes: str = "") -> Outcome:
    """Sign the handover: the live state, the open items and the notes are frozen as they stand now.

    ``shown`` is the ``LiveState.mark`` of the page that was read; what changed in between is shown again before it is signed.

    Raises: RecordRefused while a handover waits to be taken over; StaleRecord when the plant changed since; SignatureRefused.
    """
    waiting = waiting_handover()
    if waiting is not None:
        raise RecordRefused(
            f"{waiting.number} of {waiting.handed_by.full_name} waits to be taken over. Take it over first, then hand over.",
            code="handover_waits",
        )
    plant = profile()
    state = live_state(by.at, plant)
    if state.mark != shown:
        raise StaleRecord(
            "The plant changed since this page was opened. The present state stands here now, your notes too. Read it, then sign."
        )
    words = words_of(notes, "The notes", field="notes", most=MOST_NOTES)
    number = next_number(Handover, "number", "H", 10001)
    items = signed_items()
    content = canonical_text(
        SignedHandover(number, by.user.full_name, by.at.isoformat(), state, items, words)
    )
    signature = bind(
        permit, by=by, meaning=HANDED_MEANING, record_kind="handover", record_key=number, record_version=1, content=content,
        zone=plant.time_zone,
    )  # fmt: skip
    handover = Handover.objects.create(
        number=number, handed_by=by.user, handed_at=by.at, content=content, signature=signature
    )
    for item in HandoverItem.objects.filter(pk__in=[item.id for item in items], first_handover__isnull=True):
        write_changed(item, {"first_handover": handover}, version=None, label=str(item))
    return Outcome(
        subject=_subject(handover),
        after={"state": handover.state},
        facts={"items": len(items), "hazards": len(state.hazards), "digest": signature.digest},
        signature=_told(signature),
        related=tuple({(line.kind, line.key) for line in state.lines if line.kind == "batch"}),
        result=handover,
    )


@use_case("shift.taken_over", permission="shift.hand_over")
def take_over(
    *,
    by: By,
    handover_id: int,
    permit: SignaturePermit,
    has_seen: bool,
    remarks: str = "",
    version: int | None = None,
) -> Outcome:
    """Sign, as the coming person, that the handover was read. ``has_seen`` says that the beds and locks it names were looked at.

    Raises: RecordRefused for the person who handed over, or where hazards were not looked at; SignatureRefused, StaleRecord.
    """
    handover = Handover.objects.select_related("handed_by", "signature").filter(pk=handover_id).first()
    if handover is None:
        raise RecordRefused("There is no such handover here.", code="unknown_handover")
    if handover.state != Handover.State.SIGNED:
        raise RecordRefused(f"{handover.number} was taken over already.", code="taken_already")
    if handover.handed_by_id == by.user.pk:
        raise RecordRefused(
            f"{by.user.full_name} handed this shift over, so another person takes it.", code="same_person"
        )
    look_first = signed_content(handover).state.look_first
    if look_first and not has_seen:
        raise RecordRefused(look_first, field="has_seen", code="not_seen")
    words = words_of(remarks, "The remark", field="remarks", most=600)
    signature = bind(
        permit,
        by=by,
        meaning=TAKEN_MEANING,
        record_kind="handover_taken",
        record_key=handover.number,
        record_version=1,
        content={
            "handover": handover.number,
            "handed_digest": handover.signature.digest,
            "hazards_looked_at": bool(has_seen),
            "remarks": words,
        },
        zone=profile().time_zone,
    )
    values = {
        "state": Handover.State.TAKEN.value,
        "taken_by": by.user,
        "taken_at": by.at,
        "remarks": words,
        "taking_signature": signature,
    }
    write_changed(handover, values, version=version, label=handover.number)
    return Outcome(
        subject=_subject(handover),
        before={"state": Handover.State.SIGNED.value},
        after={"state": handover.state},
        facts={"from": handover.handed_by.full_name, "digest": signature.digest},
        reason=words,
        signature=_told(signature),
        result=handover,
    )


def _subject(handover: Handover) -> tuple[str, str, str]:
    return ("handover", handover.number, f"Handover {handover.number}")


def _told(signature: Signature) -> dict[str, Any]:
    return {"meaning": signature.meaning, "digest": signature.digest, "name": signature.printed_name}


say("shift.handed_over", "{subject} was signed with {items} open items and {hazards} hazards")
say("shift.taken_over", "{subject} of {from} was taken over")
