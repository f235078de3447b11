"""Acts on excursions: written down by anybody at work, followed up, closed with a signature by another person."""

from __future__ import annotations

from regenplant.audit.by import By
from regenplant.audit.records import words_of, write_changed
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import NotAllowed, RecordRefused, StaleRecord
from regenplant.people.signing import SignaturePermit, bind
from regenplant.plant.selectors import profile
from regenplant.waste.excursion_models import Excursion, ExcursionFollowUp
from regenplant.waste.services._excursions import open_excursion

CLOSED_MEANING = "excursion looked into: cause found, authority told or none to tell"


def _subject(row: Excursion) -> tuple[str, str, str]:
    return ("excursion", row.number, row.number)


def _open(excursion_id: int) -> Excursion:
    row = Excursion.objects.select_for_update().filter(pk=excursion_id).first()
    if row is None:
        raise RecordRefused("This excursion is not known here.", code="unknown")
    if row.closed_at is not None:
        raise StaleRecord(f"{row.number} is closed already. Write a new one for what is new.", code="closed")
    return row


@use_case("excursion.reported", permission="excursion.report")
def report_excursion(*, by: By, words: str) -> Outcome:
    """Something went to the sewer outside the permit, or may have, without a discharge. Raises: RecordRefused."""
    said = words_of(words, "What happened", field="words", most=400, least=10)
    if by.happened_at > by.at:
        raise RecordRefused(
            "That is still to come. Write when it happened.", field="occurred_at", code="to_come"
        )
    row = open_excursion(by=by, kind=Excursion.Kind.OTHER, happened_at=by.happened_at, words=said).result
    return Outcome(subject=_subject(row), reason=said, result=row)


@use_case("excursion.followed_up", permission="excursion.report")
def follow_up(*, by: By, excursion_id: int, words: str) -> Outcome:
    """Write down what was done about it. Raises: RecordRefused, StaleRecord once it is closed."""
    row = _open(excursion_id)
    said = words_of(words, "What was done", field="words", most=400, least=5)
    made = ExcursionFollowUp.objects.create(excursion=row, words=said, written_by=by.user, written_at=by.at)
    return Outcome(subject=_subject(row), reason=said, result=made)


@use_case("excursion.closed", permission="excursion.close")
def close_excursion(
    *, by: By, excursion_id: int, permit: SignaturePermit, cause: str, told: str, version: int | None = None
) -> Outcome:
    """Say what it came from and which authority was told, and sign. The program tells nobody; the permit says whom, and by when.

    Raises: NotAllowed for who reported it, RecordRefused, SignatureRefused, StaleRecord.
    """
    row = _open(excursion_id)
    if row.reported_by_id == by.user.pk:
        raise NotAllowed(f"You wrote {row.number}, so another person closes it.", code="own_work")
    why = words_of(cause, "The cause", field="cause", most=400, least=10)
    whom = words_of(told, "Who was told", field="told", most=400, least=10)
    if version is not None and version != row.version:
        raise StaleRecord(
            f"{row.number} was changed since you opened it. Look at it, then sign.", present=row.version
        )
    content = {
        "excursion": row.number,
        "what": row.words,
        "happened_at": row.happened_at.isoformat(),
        "follow_ups": [one.words for one in row.follow_ups.all()],
        "cause": why,
        "told": whom,
    }
    signature = bind(
        permit, by=by, meaning=CLOSED_MEANING, record_kind="excursion", record_key=row.number, record_version=1, content=content,
        zone=profile().time_zone,
    )  # fmt: skip
    values = {"cause": why, "told": whom, "closed_by": by.user, "closed_at": by.at, "signature": signature}
    write_changed(row, values, version=version, label=row.number)
    return Outcome(
        subject=_subject(row),
        after={"cause": why, "told": whom},
        signature={"meaning": signature.meaning, "digest": signature.digest, "name": signature.printed_name},
        result=row,
    )


say("excursion.reported", "Excursion {subject} was written down by hand")
say("excursion.followed_up", "Excursion {subject}: {reason}")
say("excursion.closed", "Excursion {subject} was closed")
