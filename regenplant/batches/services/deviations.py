"""Deviations: open one, say who looks into it, what caused it and what was done at once, and decide it with a signature."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Any

from regenplant.audit.by import By
from regenplant.audit.records import one_of, words_of, write_changed
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.batches.causes import CAUSES, NO_CAUSE, cause_words
from regenplant.batches.models import Batch, Deviation
from regenplant.batches.moves import locked, people_of_step, touch
from regenplant.batches.services._deviations import write_deviation
from regenplant.batches.services._step_meant import step_meant
from regenplant.batches.services._words import long_enough
from regenplant.core.errors import RecordRefused
from regenplant.people.binding import SignaturePermit, bind
from regenplant.people.models import Person
from regenplant.plant.selectors import plant_day, profile

DECIDED_MEANING = "deviation decided"
MOST_WORDS = 400


@dataclass(frozen=True, slots=True)
class Decision:
    """What is decided about a deviation. ``kind`` is one of ``Deviation.Kind``; cause and measure may stand already."""

    kind: str
    words: str
    cause_category: str = ""
    cause: str = ""


@use_case("deviation.opened", permission="deviation.open")
def open_deviation(
    *,
    by: By,
    batch_id: int,
    what: str,
    severity: str,
    step_id: int | None = None,
    follows_id: int | None = None,
) -> Outcome:
    """Write down something that was not as planned; ``step_id`` says at which step, else it is the one that runs.

    What comes up about a decided deviation is a new one that follows it (``follows_id``): a decision is never undone.
    """
    batch = locked(batch_id)
    long_enough(what, "what", "what happened")
    if severity not in Deviation.Severity.values:
        raise RecordRefused("Severity is minor, major or critical.", field="severity")
    follows = _decided_of(batch, follows_id)
    step = follows.step if follows is not None and step_id is None else step_meant(batch, step_id)
    deviation = write_deviation(
        by=by, batch=batch, step=step, severity=severity, what=what.strip(), follows=follows
    )
    touch(batch)
    facts = {"follows": follows.number} if follows else {}
    return _outcome(deviation, reason=what.strip(), facts=facts)


@use_case("deviation.assigned", permission="deviation.assign")
def assign_deviation(
    *,
    by: By,
    deviation_id: int,
    owner_id: int,
    due_on: date | None = None,
    version: int | None = None,
) -> Outcome:
    """Say who looks into an open deviation, and by which day. Raises: RecordRefused, StaleRecord."""
    deviation = _open(deviation_id)
    owner = Person.objects.filter(pk=owner_id, is_active=True, is_shared=False, is_device=False).first()
    if owner is None:
        raise RecordRefused("Choose a person who works here.", field="owner", code="unknown")
    if due_on is not None and due_on < plant_day(by.at):
        raise RecordRefused(f"{due_on} is past. Give a day from today on.", field="due_on", code="past")
    before = {
        "owner": deviation.owner.full_name if deviation.owner else "",
        "due_on": str(deviation.due_on or ""),
    }
    write_changed(
        deviation, {"owner_id": owner.pk, "due_on": due_on}, version=version, label=deviation.number
    )
    after = {"owner": owner.full_name, "due_on": str(due_on or "")}
    return _outcome(deviation, before=before, after=after, facts={"due": f", due {due_on}" if due_on else ""})


@use_case("deviation.described", permission="deviation.describe")
def describe_deviation(
    *,
    by: By,
    deviation_id: int,
    measure: str = "",
    cause_category: str = "",
    cause: str = "",
    version: int | None = None,
) -> Outcome:
    """Write what was done at once and what caused it, as far as it is known. Raises: RecordRefused, StaleRecord."""
    deviation = _open(deviation_id)
    values = {
        "measure": words_of(measure, "The measure", field="measure", most=MOST_WORDS),
        **_cause(cause_category, cause),
    }
    before, after = write_changed(deviation, values, version=version, label=deviation.number)
    return _outcome(deviation, before=before, after=after)


@use_case("deviation.closed", permission="deviation.close")
def close_deviation(
    *,
    by: By,
    deviation_id: int,
    decision: Decision,
    permit: SignaturePermit,
    version: int | None = None,
) -> Outcome:
    """Decide an open deviation, signed. Nobody decides about their own work: not whoever opened it, nor whoever worked or
    wrote the step it is about.

    Raises: RecordRefused, SignatureRefused, StaleRecord.
    """
    deviation = _open(deviation_id)
    batch = locked(deviation.batch_id)
    one_of(decision.kind, Deviation.Kind.values, "The kind of decision", field="kind")
    long_enough(decision.words, "decision", "what was decided and why")
    _refuse_own_work(by, deviation)
    values: dict[str, Any] = {
        "decision_kind": decision.kind,
        "decision": words_of(decision.words, "The decision", field="decision", most=MOST_WORDS),
        **_cause_to_close(deviation, decision),
    }
    number = deviation.version if version is None else version
    signature = bind(
        permit,
        by=by,
        meaning=DECIDED_MEANING,
        record_kind="deviation",
        record_key=deviation.number,
        record_version=number + 1,
        content=_signed(deviation, values),
        zone=profile().time_zone,
    )
    values |= {"decided_at": by.happened_at, "decided_by_id": by.user.pk, "signature_id": signature.pk}
    write_changed(deviation, values, version=version, label=deviation.number)
    deviation.refresh_from_db()
    touch(batch)
    return _outcome(
        deviation,
        after={"decision": deviation.get_decision_kind_display()},
        facts={"cause": cause_words(deviation.cause_category, deviation.cause)},
        reason=deviation.decision,
        signature={"meaning": signature.meaning, "digest": signature.digest, "name": signature.printed_name},
    )


def _open(deviation_id: int) -> Deviation:
    rows = Deviation.objects.select_for_update(of=("self",)).select_related(
        "batch", "step", "owner", "opened_by"
    )
    deviation: Deviation = rows.get(pk=deviation_id)
    if deviation.decided_at is not None:
        raise RecordRefused(
            f"{deviation.number} is already decided: {deviation.decision} What comes up later is a new deviation that follows it.",
            code="already_decided",
        )
    return deviation


def _decided_of(batch: Batch, pk: int | None) -> Deviation | None:
    if pk is None:
        return None
    found = batch.deviations.select_related("step").filter(pk=pk).first()
    if found is None:
        raise RecordRefused(f"Batch {batch.number} has no such deviation.", code="unknown")
    if found.is_open:
        raise RecordRefused(
            f"{found.number} is open still. Write to it, instead of opening another.", code="still_open"
        )
    return found


def _refuse_own_work(by: By, deviation: Deviation) -> None:
    if deviation.opened_by_id == by.user.pk:
        did = "opened"
    elif deviation.step is not None and by.user.pk in people_of_step(deviation.step):
        did = f"worked on {deviation.step.name[:1].lower()}{deviation.step.name[1:]}, the step of"
    else:
        return
    raise RecordRefused(
        f"{by.user.full_name} {did} {deviation.number}, so another person must decide it.", code="own_work"
    )


def _cause(category: str, words: str) -> dict[str, str]:
    if category:
        one_of(category, CAUSES, "The kind of cause", field="cause_category")
    elif words.strip():
        raise RecordRefused("Say what kind of cause it is.", field="cause_category", code="no_category")
    return {"cause_category": category, "cause": words_of(words, "The cause", field="cause", most=MOST_WORDS)}


def _cause_to_close(deviation: Deviation, decision: Decision) -> dict[str, str]:
    """The cause as decided: it stands by now, and from major on in words."""
    category = decision.cause_category or deviation.cause_category
    words = decision.cause.strip() or deviation.cause
    if not category:
        raise RecordRefused(NO_CAUSE, field="cause_category", code="no_category")
    if deviation.severity != Deviation.Severity.MINOR:
        long_enough(words, "cause", "what caused it")
    return _cause(category, words)


def _signed(deviation: Deviation, values: dict[str, Any]) -> dict[str, Any]:
    """What the signature covers."""
    return {
        "deviation": deviation.number,
        "batch": deviation.batch.number,
        "step": str(deviation.step) if deviation.step else "",
        "severity": deviation.severity,
        "source": deviation.source,
        "what": deviation.what,
        "opened_at": deviation.opened_at.isoformat(),
        "opened_by": deviation.opened_by.full_name,
        "owner": deviation.owner.full_name if deviation.owner else "",
        "measure": deviation.measure,
        **values,
    }


def _outcome(
    deviation: Deviation,
    *,
    reason: str = "",
    before: dict[str, Any] | None = None,
    after: dict[str, Any] | None = None,
    facts: dict[str, Any] | None = None,
    signature: dict[str, Any] | None = None,
) -> Outcome:
    return Outcome(
        subject=("batch", deviation.batch.number, f"Batch {deviation.batch.number}"),
        before=before or {},
        after=after or {},
        facts={
            "deviation": deviation.number,
            "severity": deviation.severity,
            "what": deviation.what,
            **(facts or {}),
        },
        reason=reason,
        signature=signature,
        related=(("deviation", deviation.number),),
        result=deviation,
    )


def _described(subject: str, stored: dict[str, Any]) -> str:
    """What was written about a deviation: each field that changed, in words."""
    after = stored.get("after", {})
    cause = cause_words(after.get("cause_category", ""), after.get("cause", ""))
    said = [f"done at once: {after['measure'] or 'nothing'}"] if "measure" in after else []
    said += [f"cause: {cause or 'none'}"] if {"cause", "cause_category"} & set(after) else []
    return f"{subject}: deviation {stored.get('facts', {}).get('deviation', '–')}, {'; '.join(said)}"


say("deviation.opened", "{subject}: deviation {deviation} ({severity}) was opened: {what}")
say("deviation.assigned", "{subject}: deviation {deviation} was given to {owner}{due}")
say("deviation.described", _described)
say("deviation.closed", "{subject}: deviation {deviation} was decided: {decision}")
