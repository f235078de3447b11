"""Signing: the password is asked for again, for one meaning, and the signature holds for exactly what was shown."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from axes.models import AccessAttempt
from django.contrib.sessions.backends.db import SessionStore
from django.db import IntegrityError, transaction
from django.http import HttpRequest
from django.test import RequestFactory

from regenplant.audit import chain, locks
from regenplant.audit.by import By
from regenplant.audit.selectors import story
from regenplant.audit.use_case import Outcome
from regenplant.core.errors import SignatureRefused
from regenplant.people.models import Alert, Person, Signature
from regenplant.people.services import add_person, change_password, rename_person, reset_password
from regenplant.people.signing import (
    PERMIT_LIFE,
    SignaturePermit,
    bind,
    holds,
    needs_full_credentials,
    prove,
    prove_another,
    signed_digest,
)
from tests import factories
from tests.audit.acts import act

Make = Callable[..., By]
ABOUT = ("batch", "B-10001", "B-10001")
MEANING = "release of batch and tanks"


@pytest.fixture
def request_of_tablet(rf: RequestFactory) -> HttpRequest:
    return posted(rf)


def posted(rf: RequestFactory, person: Person | None = None) -> HttpRequest:
    """A request from a tablet with a session of its own, in which this person is signed in."""
    request = rf.post("/sign/", REMOTE_ADDR="127.0.0.1")
    request.session = SessionStore()
    if person is not None:
        request.user = person
    return request


@pytest.fixture
def permit(qc_technician: Person, by: Make, request_of_tablet: HttpRequest) -> SignaturePermit:
    request_of_tablet.user = qc_technician
    return prove(
        by=by(qc_technician),
        username=qc_technician.username,
        password=factories.PASSWORD,
        meaning=MEANING,
        about=ABOUT,
        request=request_of_tablet,
    )


def signed(permit: SignaturePermit, by: By, **changed: Any) -> Signature:
    values: dict[str, Any] = {
        "meaning": MEANING,
        "record_kind": "batch",
        "record_key": "B-10001",
        "record_version": 7,
        "content": {"batch": "B-10001", "volume": {"value": 0.9, "unit": "m^3"}},
        "zone": "America/Denver",
    }

    signer, acting = by, changed.pop("act_by", by)

    def body(*, by: By) -> Outcome:
        found = bind(permit, by=signer, **{**values, **changed})
        return Outcome(subject=ABOUT, result=found)

    with act("test.signed", body) as sign:
        found: Signature = sign(by=acting).result
    return found


def test_the_right_password_gives_a_permit_for_this_person_and_meaning(
    qc_technician: Person, permit: SignaturePermit
) -> None:
    assert permit == SignaturePermit(qc_technician.pk, MEANING, factories.START)


def test_a_signature_holds_name_role_meaning_time_zone_and_content(
    permit: SignaturePermit, qc_technician: Person, by: Make
) -> None:
    signature = signed(permit, by(qc_technician))
    assert (signature.printed_name, signature.roles, signature.meaning) == (
        "QC technician 1",
        "QC technician",
        MEANING,
    )
    assert (signature.signed_at, signature.zone_offset_minutes) == (
        factories.START,
        -7 * 60,
    )  # Denver in winter is UTC-7
    assert signature.content == '{"batch":"B-10001","volume":{"unit":"m^3","value":0.9}}'
    assert holds(signature)


@pytest.mark.parametrize("password", ["wrong", "", factories.PASSWORD.upper(), factories.PASSWORD + " "])
def test_a_wrong_password_signs_nothing_and_the_try_is_recorded(
    qc_technician: Person, by: Make, request_of_tablet: HttpRequest, password: str
) -> None:
    before = chain.head()[0]
    with pytest.raises(SignatureRefused, match="nothing was signed") as refused:
        prove(
            by=by(qc_technician),
            username=qc_technician.username,
            password=password,
            meaning=MEANING,
            about=ABOUT,
            request=request_of_tablet,
        )
    assert refused.value.field == "password"
    assert (chain.head()[0], Signature.objects.count()) == (before + 1, 0)
    assert story([("batch", "B-10001")])[-1].sentence == f"B-10001: a signature for “{MEANING}” was refused"


def test_another_persons_password_does_not_fit(
    qc_technician: Person, supervisor: Person, by: Make, request_of_tablet: HttpRequest
) -> None:
    change_password(by=by(supervisor), old_password=factories.PASSWORD, new_password="the supervisor's own")
    with pytest.raises(SignatureRefused):
        prove(
            by=by(supervisor),
            username=supervisor.username,
            password=factories.PASSWORD,
            meaning=MEANING,
            about=ABOUT,
            request=request_of_tablet,
        )


def test_somebody_who_left_cannot_sign(
    qc_technician: Person, by: Make, request_of_tablet: HttpRequest
) -> None:
    factories.leaves(qc_technician)
    with pytest.raises(SignatureRefused):
        prove(
            by=by(qc_technician),
            username=qc_technician.username,
            password=factories.PASSWORD,
            meaning=MEANING,
            about=ABOUT,
            request=request_of_tablet,
        )


@pytest.mark.requirement("ER-07")
def test_five_failures_lock_signing_even_with_the_right_password(
    qc_technician: Person, by: Make, request_of_tablet: HttpRequest
) -> None:
    for _ in range(5):
        with pytest.raises(SignatureRefused):
            prove(
                by=by(qc_technician),
                username=qc_technician.username,
                password="wrong",
                meaning=MEANING,
                about=ABOUT,
                request=request_of_tablet,
            )
    with pytest.raises(SignatureRefused):
        prove(
            by=by(qc_technician),
            username=qc_technician.username,
            password=factories.PASSWORD,
            meaning=MEANING,
            about=ABOUT,
            request=request_of_tablet,
        )


# --- binding --------------------------------------------------------------------------------------------------------------
def test_a_permit_of_another_person_is_refused(permit: SignaturePermit, supervisor: Person, by: Make) -> None:
    with pytest.raises(SignatureRefused, match="proven by another person"):
        signed(permit, by(supervisor))
    assert Signature.objects.count() == 0


def test_a_permit_for_another_meaning_is_refused(
    permit: SignaturePermit, qc_technician: Person, by: Make
) -> None:
    with pytest.raises(SignatureRefused, match="not “QC judgement: pass”"):
        signed(permit, by(qc_technician), meaning="QC judgement: pass")


def test_a_permit_is_good_for_two_minutes_and_not_a_second_longer(
    permit: SignaturePermit, qc_technician: Person, by: Make
) -> None:
    last = factories.START + PERMIT_LIFE
    assert timedelta(minutes=2) == PERMIT_LIFE
    assert signed(permit, by(qc_technician, at=last)).pk
    with pytest.raises(SignatureRefused, match="more than two minutes ago"):
        signed(permit, by(qc_technician, at=last + timedelta(seconds=1)))


def test_a_permit_from_the_future_is_refused(
    permit: SignaturePermit, qc_technician: Person, by: Make
) -> None:
    early = replace(permit, proven_at=factories.START + timedelta(seconds=1))
    with pytest.raises(SignatureRefused):
        signed(early, by(qc_technician))


# --- holding --------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    "changed",
    [
        {"content": '{"batch":"B-10001","volume":{"unit":"m^3","value":0.8}}'},
        {"record_key": "B-10002"},
        {"record_version": 8},
        {"record_kind": "visit"},
    ],
    ids=lambda changed: next(iter(changed)),
)
def test_altered_content_or_a_signature_moved_to_another_record_does_not_hold(
    permit: SignaturePermit, qc_technician: Person, by: Make, changed: dict[str, Any]
) -> None:
    signature = signed(permit, by(qc_technician))
    locks.remove()
    Signature.objects.filter(pk=signature.pk).update(**changed)
    locks.install()
    signature.refresh_from_db()
    assert not holds(signature)


def test_a_signature_is_frozen(permit: SignaturePermit, qc_technician: Person, by: Make) -> None:
    signature = signed(permit, by(qc_technician))
    with pytest.raises(IntegrityError, match="this row is frozen"), transaction.atomic():
        Signature.objects.filter(pk=signature.pk).update(meaning="something else")


def test_the_parts_of_what_is_signed_cannot_be_shifted_into_each_other() -> None:
    assert signed_digest("batch", "B-1", 11, "x") != signed_digest("batch", "B-11", 1, "x")
    assert signed_digest("batch", "B-1", 1, "x") != signed_digest("batc", "hB-1", 1, "x")


# --- full credentials first, the password later ---------------------------------------------------------------------------
@pytest.fixture
def tablet(rf: RequestFactory, qc_technician: Person) -> HttpRequest:
    """A tablet at which the QC technician is signed in and has signed nothing yet."""
    return posted(rf, qc_technician)


def proven(by: By, request: HttpRequest, **given: str) -> SignaturePermit:
    values = {"password": factories.PASSWORD, "username": "", **given}
    return prove(by=by, meaning=MEANING, about=ABOUT, request=request, **values)


@pytest.mark.requirement("ER-06")
def test_the_first_signature_of_a_session_takes_the_user_name_too(
    qc_technician: Person, by: Make, tablet: HttpRequest
) -> None:
    assert needs_full_credentials(tablet, factories.START)
    with pytest.raises(SignatureRefused, match="takes your user name") as refused:
        proven(by(qc_technician), tablet)
    assert (refused.value.field, refused.value.code) == ("username", "full_credentials")
    assert proven(by(qc_technician), tablet, username=qc_technician.username)
    assert not needs_full_credentials(tablet, factories.START)
    assert proven(by(qc_technician), tablet), "now the password alone is enough"


@pytest.mark.requirement("ER-06")
def test_after_a_quarter_of_an_hour_without_a_signature_it_takes_both_again(
    qc_technician: Person, by: Make, tablet: HttpRequest
) -> None:
    proven(by(qc_technician), tablet, username=qc_technician.username)
    last = factories.START + timedelta(minutes=15)
    assert proven(by(qc_technician, at=last), tablet), "each signature begins the time anew"
    late = last + timedelta(minutes=15, seconds=1)
    with pytest.raises(SignatureRefused, match="takes your user name"):
        proven(by(qc_technician, at=late), tablet)


@pytest.mark.requirement("ER-06")
def test_a_session_that_began_anew_or_changed_its_user_takes_both_again(
    qc_technician: Person, supervisor: Person, by: Make, tablet: HttpRequest
) -> None:
    proven(by(qc_technician), tablet, username=qc_technician.username)
    tablet.user = supervisor
    assert needs_full_credentials(tablet, factories.START)
    tablet.user = qc_technician
    tablet.session.flush()
    assert needs_full_credentials(tablet, factories.START)


def test_the_capitals_of_a_user_name_do_not_matter(
    qc_technician: Person, by: Make, tablet: HttpRequest
) -> None:
    assert proven(by(qc_technician), tablet, username=f" {qc_technician.username.upper()} ")


def test_another_persons_user_name_signs_nothing_and_counts_for_oneself(
    qc_technician: Person, supervisor: Person, by: Make, tablet: HttpRequest
) -> None:
    for _ in range(5):
        with pytest.raises(SignatureRefused, match="do not fit, so nothing was signed"):
            proven(by(qc_technician), tablet, username=supervisor.username)
    with pytest.raises(SignatureRefused, match="This account rests"):
        proven(by(qc_technician), tablet, username=qc_technician.username)
    tablet.user = supervisor
    assert proven(by(supervisor), tablet, username=supervisor.username), "the other account was not touched"


# --- failures -------------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-07")
def test_each_failure_says_how_many_are_left_and_the_fifth_raises_one_alert(
    qc_technician: Person, by: Make, tablet: HttpRequest
) -> None:
    said = []
    for _ in range(7):
        with pytest.raises(SignatureRefused) as refused:
            proven(by(qc_technician), tablet, username=qc_technician.username, password="wrong")
        said.append(refused.value.message)
    assert ["try 1 of 5" in said[0], "try 4 of 5" in said[3]] == [True, True]
    assert all("the account rests for a quarter of an hour" in sentence for sentence in said[4:])
    alert = Alert.objects.get()
    assert (alert.kind, alert.person, alert.terminal) == ("locked_signing", qc_technician, "bench 1")
    assert MEANING in alert.sentence and qc_technician.full_name in alert.sentence
    events = [line.event for line in story([("batch", "B-10001")])]
    assert events == ["signature.refused"] * 7
    assert [line.event for line in story([("alert", str(alert.pk))])] == ["alert.raised"]
    assert Signature.objects.count() == 0


@pytest.mark.requirement("ER-07")
def test_a_right_password_forgets_the_failures_before_it(
    qc_technician: Person, by: Make, tablet: HttpRequest
) -> None:
    for _ in range(2):
        for _ in range(4):
            with pytest.raises(SignatureRefused):
                proven(by(qc_technician), tablet, username=qc_technician.username, password="wrong")
        assert proven(by(qc_technician), tablet, username=qc_technician.username)
    assert not Alert.objects.exists()


def test_the_password_is_nowhere_in_what_is_kept_of_a_failure(
    qc_technician: Person, by: Make, rf: RequestFactory
) -> None:
    data = {"password": "my secret word", "second_password": "another secret", "kept": "typed things"}
    request = rf.post("/sign/", data, REMOTE_ADDR="127.0.0.1")
    request.session, request.user = SessionStore(), qc_technician
    with pytest.raises(SignatureRefused):
        proven(by(qc_technician), request, username=qc_technician.username, password="my secret word")
    kept = str(AccessAttempt.objects.values())
    assert not any(value in kept for value in data.values())


# --- who cannot sign ------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-08")
def test_a_shared_account_signs_nothing_even_with_its_password(
    administrator: Person, by: Make, rf: RequestFactory
) -> None:
    made = add_person(
        by=by(administrator), username="bench-tablet", full_name="Bench tablet", initials="BT", roles=[],
        password=factories.PASSWORD, is_shared=True,
    )  # fmt: skip
    shared: Person = made.result
    with pytest.raises(SignatureRefused, match="is a shared account and signs nothing"):
        proven(by(shared), posted(rf, shared), username=shared.username)
    with pytest.raises(SignatureRefused, match="shared, a device’s, or closed"):
        signed(SignaturePermit(shared.pk, MEANING, factories.START), by(shared), act_by=by(administrator))
    assert Signature.objects.count() == 0


def test_a_one_time_password_signs_nothing_until_it_is_replaced(
    qc_technician: Person, administrator: Person, by: Make, tablet: HttpRequest
) -> None:
    reset_password(
        by=by(administrator), person_id=qc_technician.pk, password="given to you", reason="Forgotten."
    )
    qc_technician.refresh_from_db()
    with pytest.raises(SignatureRefused, match="one-time password signs nothing"):
        proven(by(qc_technician), tablet, username=qc_technician.username, password="given to you")
    change_password(by=by(qc_technician), old_password="given to you", new_password="chosen by myself")
    qc_technician.refresh_from_db()
    assert proven(by(qc_technician), tablet, username=qc_technician.username, password="chosen by myself")


# --- a second person --------------------------------------------------------------------------------------------------------
def second(
    by: By, request: HttpRequest, username: str, password: str = factories.PASSWORD, **also: Any
) -> Any:
    return prove_another(
        by=by, username=username, password=password, meaning=MEANING, about=ABOUT, request=request, **also
    )


@pytest.mark.requirement("ER-16")
def test_a_second_person_proves_themselves_without_changing_who_is_signed_in(
    operator: Person, second_operator: Person, by: Make, rf: RequestFactory
) -> None:
    request = posted(rf, operator)
    person, permit = second(by(operator), request, second_operator.username)
    assert (person, permit.person_id) == (second_operator, second_operator.pk)
    assert request.user == operator and needs_full_credentials(request, factories.START)
    signature = signed(permit, by(person))
    assert signature.printed_name == second_operator.full_name
    with pytest.raises(SignatureRefused, match="proven by another person"):
        signed(permit, by(operator))


@pytest.mark.requirement("ER-16")
@pytest.mark.parametrize("username", ["operator-1", "OPERATOR-1", " operator-1 "])
def test_nobody_is_their_own_second_person(
    operator: Person, by: Make, rf: RequestFactory, username: str
) -> None:
    with pytest.raises(SignatureRefused, match="must be another one") as refused:
        second(by(operator), posted(rf, operator), username)
    assert refused.value.field == "second_username"
    assert [line.facts["facts"]["why"] for line in story([("batch", "B-10001")])] == ["the same person twice"]


@pytest.mark.requirement("ER-16")
@pytest.mark.parametrize(("username", "password"), [("operator-2", "wrong"), ("nobody", "wrong"), ("", "x")])
def test_what_does_not_fit_proves_no_second_person(
    operator: Person, second_operator: Person, by: Make, rf: RequestFactory, username: str, password: str
) -> None:
    with pytest.raises(SignatureRefused):
        second(by(operator), posted(rf, operator), username, password)


def test_wrong_passwords_of_a_second_person_count_for_that_person_alone(
    operator: Person, second_operator: Person, by: Make, rf: RequestFactory
) -> None:
    request = posted(rf, operator)
    for _ in range(5):
        with pytest.raises(SignatureRefused):
            second(by(operator), request, second_operator.username, "wrong")
    with pytest.raises(SignatureRefused, match="This account rests"):
        second(by(operator), request, second_operator.username)
    assert Alert.objects.get().person == second_operator
    assert proven(by(operator), request, username=operator.username), "the first person signs as before"


def test_a_second_person_who_left_is_shared_or_lacks_the_right_is_refused(
    operator: Person, second_operator: Person, qc_technician: Person, by: Make, rf: RequestFactory
) -> None:
    request = posted(rf, operator)
    with pytest.raises(SignatureRefused, match="may not do this") as refused:
        second(by(operator), request, qc_technician.username, permission="batch.run")
    assert refused.value.code == "lacks_right"
    assert second(by(operator), request, second_operator.username, permission="batch.run")
    factories.leaves(second_operator)
    with pytest.raises(SignatureRefused, match="do not fit"):
        second(by(operator), request, second_operator.username, permission="batch.run")


def test_a_second_person_needs_the_right_in_the_class(
    operator: Person, second_operator: Person, supervisor: Person, by: Make, rf: RequestFactory
) -> None:
    factories.approved_matrix({"batch.run": {"operator": ["D"], "supervisor": ["*"]}})
    request = posted(rf, operator)
    assert second(
        by(operator), request, second_operator.username, permission="batch.run", segregation_class="D"
    )
    with pytest.raises(SignatureRefused, match="in class B"):
        second(by(operator), request, second_operator.username, permission="batch.run", segregation_class="B")


# --- names and leaving ------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-04", "ER-05")
def test_a_signature_keeps_the_name_as_it_was_when_it_was_given(
    permit: SignaturePermit, qc_technician: Person, administrator: Person, by: Make
) -> None:
    signature = signed(permit, by(qc_technician))
    rename_person(
        by=by(administrator),
        person_id=qc_technician.pk,
        full_name="Another Name",
        initials="AN",
        reason="Married.",
    )
    signature.refresh_from_db()
    assert (signature.printed_name, signature.person.full_name) == ("QC technician 1", "Another Name")
    assert holds(signature)
    assert str(signature) == f"QC technician 1, {MEANING}"


@pytest.mark.requirement("ER-31")
def test_a_person_who_left_keeps_records_and_signatures(
    permit: SignaturePermit, qc_technician: Person, administrator: Person, by: Make
) -> None:
    signature = signed(permit, by(qc_technician))
    before = {line.number for line in story([("person", str(qc_technician.pk))])}
    factories.leaves(qc_technician)
    signature.refresh_from_db()
    assert holds(signature) and signature.person == qc_technician
    assert before <= {line.number for line in story([("person", str(qc_technician.pk))])}
    with pytest.raises(SignatureRefused):
        signed(permit, by(Person.objects.get(pk=qc_technician.pk)), act_by=by(administrator))
