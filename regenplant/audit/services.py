"""Acts about the record itself: it was verified; rows were taken over as they stand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from regenplant.audit import sealed, seals, turn
from regenplant.audit.by import By
from regenplant.audit.naming import name_of
from regenplant.audit.records import words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.verifying.acts import check_acts
from regenplant.audit.verifying.registry import Finding, Look, Report
from regenplant.audit.verifying.rows import Differences, rows_that_differ
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused

VERIFIED = "record.verified"
_SUBJECT = ("record", "1", "The record")
_MOST_SAID = 20


@dataclass(frozen=True, slots=True)
class Taken:
    """How many rows were sealed as they stand: from before, and otherwise than an act had left them."""

    from_before: int
    otherwise: int


@use_case(VERIFIED, permission="")
def note_verification(*, by: By, report: Report) -> Outcome:
    """Write down that the record was looked at, and what did not hold."""
    return Outcome(
        subject=_SUBJECT,
        facts={
            "held": report.holds,
            "broken": len(report.findings),
            "notices": len(report.notices),
            "seconds": round(report.seconds, 2),
            "number": report.number,
            "head": report.head,
            "looked": [[check.counted, check.seen] for check in report.checks],
            "findings": [finding.sentence for finding in report.findings[:_MOST_SAID]],
        },
    )


@use_case("record.sealed", permission="record.seal")
def seal_rows(*, by: By, reason: str) -> Outcome:
    """Take over, as they stand, all rows that no act is known to have left so, and say openly which.

    For rows from before rows were sealed, and for rows a migration changed. Rows that were altered by hand are named in the
    act; from then on they count as they are. ``result`` is ``Taken``.

    Raises: RecordRefused when the chain itself does not hold, when there is nothing to seal, or without a reason.
    """
    words = words_of(reason, "The reason", field="reason", most=300, least=10)
    look = Look()
    broken = [said for said in check_acts(look) if isinstance(said, Finding) and not said.is_notice]
    if broken:
        raise RecordRefused(
            f"The chain of acts does not hold: {broken[0].sentence} Nothing is sealed on it.",
            code="chain_broken",
        )
    found = rows_that_differ(look)
    otherwise = [*found.altered, *found.appeared, *found.removed]
    accepted = [foreign.place for foreign in look.replay.foreign if foreign.place not in look.replay.accepted]
    lost = _lost_shapes(look, found)
    if not (otherwise or found.unsealed or accepted or lost):
        raise RecordRefused(
            "Every row is as an act left it. There is nothing to seal.", code="nothing_to_seal"
        )
    names = [name_of(*place) for place in otherwise[:_MOST_SAID]]
    for place in [*otherwise, *found.unsealed, *lost]:
        turn.touch(place, found.was.get(place, ""))
    return Outcome(
        subject=_SUBJECT,
        facts={
            "is_baseline": True,
            "from_before": len(found.unsealed),
            "otherwise": len(otherwise),
            "rows": names,
            "accepted": accepted,
        },
        reason=words,
        result=Taken(len(found.unsealed) + len(lost), len(otherwise) + len(accepted)),
    )


def _lost_shapes(look: Look, found: Differences) -> list[tuple[str, str]]:
    """Rows whose last seal covers columns that are gone: they are sealed anew."""
    known = sealed.tables()
    return [
        (table, key)
        for name in found.lost
        for table in [seals.parts_of(name)[0]]
        if table in known
        for key, digest in look.replay.last[name].items()
        if digest
    ]


def _sealed_words(subject: str, stored: dict[str, Any]) -> str:
    facts = stored.get("facts", {})
    before, otherwise = (
        facts.get("from_before", 0),
        facts.get("otherwise", 0) + len(facts.get("accepted", [])),
    )
    parts = [f"{before} rows from before were sealed"] if before or not otherwise else []
    if otherwise:
        parts.append(f"{otherwise} rows were taken over otherwise than an act had left them")
    return f"{subject}: {', '.join(parts)}"


def _verified_words(subject: str, stored: dict[str, Any]) -> str:
    facts = stored.get("facts", {})
    result = "all held" if facts.get("held") else f"{facts.get('broken', '–')} did not hold"
    return f"{subject} was verified up to event {facts.get('number', '–')}: {result}"


say(VERIFIED, _verified_words)
say("record.sealed", _sealed_words)
