"""Alerts: raised by the program, answered by a named person."""

from __future__ import annotations

from regenplant.audit.by import By
from regenplant.audit.records import one_of, words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import NotAllowed, RecordRefused, StaleRecord
from regenplant.people.models import Alert, Person


@use_case("alert.raised", permission="", by_shared=True, by_device=True)
def raise_alert(*, by: By, kind: str, person_id: int, sentence: str) -> Outcome:
    """Tell whoever holds ``alert.acknowledge`` about an account. ``result`` is the alert."""
    one_of(kind, Alert.Kind.values, "The kind of alert", field="kind")
    person = Person.objects.get(pk=person_id)
    alert = Alert.objects.create(
        kind=kind, person=person, sentence=sentence[:400], terminal=by.terminal, raised_at=by.at
    )
    return Outcome(
        subject=("alert", str(alert.pk), f"Alert {alert.pk}"),
        after={"kind": str(kind), "sentence": alert.sentence},
        related=(("person", str(person.pk)),),
        result=alert,
    )


@use_case("alert.answered", permission="alert.acknowledge")
def answer_alert(*, by: By, alert_id: int, answer: str) -> Outcome:
    """Say what was found and done about an alert; nobody answers one about their own account.

    Raises: NotAllowed, StaleRecord, RecordRefused.
    """
    alert = Alert.objects.select_for_update().filter(pk=alert_id).first()
    if alert is None:
        raise RecordRefused("This alert is not known here.", code="unknown")
    if alert.person_id == by.user.pk:
        raise NotAllowed("This alert is about your own account, so another person must answer it.")
    words = words_of(answer, "The answer", field="answer", most=300, least=5)
    hit = Alert.objects.filter(pk=alert.pk, answered_at__isnull=True).update(
        answered_by=by.user, answered_at=by.at, answer=words
    )
    if hit != 1:
        raise StaleRecord("This alert is answered already. Look at its present state.", code="answered")
    alert.refresh_from_db()
    return Outcome(
        subject=("alert", str(alert.pk), f"Alert {alert.pk}"),
        after={"answer": words},
        related=(("person", str(alert.person_id)),),
        reason=words,
        result=alert,
    )


say("alert.raised", "{subject}: {sentence}")
say("alert.answered", "{subject} was answered: {answer}")
