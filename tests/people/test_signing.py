"""Signing: the password is asked for again, for one meaning, and the signature holds for exactly what was shown."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from django.db import IntegrityError, transaction
from django.http import HttpRequest
from django.test import RequestFactory

from regenplant.audit import chain, locks
from regenplant.audit.by import By
from regenplant.audit.selectors import story
from regenplant.core.errors import SignatureRefused
from regenplant.people.models import Person, Signature
from regenplant.people.signing import PERMIT_LIFE, SignaturePermit, bind, holds, prove, signed_digest
from tests import factories

Make = Callable[..., By]
ABOUT = ("batch", "B-10001", "B-10001")
MEANING = "release of batch and tanks"


@pytest.fixture
def request_of_tablet(rf: RequestFactory) -> HttpRequest:
    return rf.post("/sign/", REMOTE_ADDR="127.0.0.1")


@pytest.fixture
def permit(qc_technician: Person, by: Make, request_of_tablet: HttpRequest) -> SignaturePermit:
    return prove(
        by=by(qc_technician),
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
    with transaction.atomic():
        return bind(permit, by=by, **{**values, **changed})


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
            by=by(qc_technician), password=password, meaning=MEANING, about=ABOUT, request=request_of_tablet
        )
    assert refused.value.field == "password"
    assert (chain.head()[0], Signature.objects.count()) == (before + 1, 0)
    assert story([("batch", "B-10001")])[-1].sentence == f"B-10001: a signature for “{MEANING}” was refused"


def test_another_persons_password_does_not_fit(
    qc_technician: Person, supervisor: Person, by: Make, request_of_tablet: HttpRequest
) -> None:
    Person.objects.filter(pk=supervisor.pk).update(password=qc_technician.password)
    supervisor.set_password("the supervisor's own")
    supervisor.save(update_fields=["password"])
    with pytest.raises(SignatureRefused):
        prove(
            by=by(supervisor),
            password=factories.PASSWORD,
            meaning=MEANING,
            about=ABOUT,
            request=request_of_tablet,
        )


def test_somebody_who_left_cannot_sign(
    qc_technician: Person, by: Make, request_of_tablet: HttpRequest
) -> None:
    Person.objects.filter(pk=qc_technician.pk).update(is_active=False)
    with pytest.raises(SignatureRefused):
        prove(
            by=by(qc_technician),
            password=factories.PASSWORD,
            meaning=MEANING,
            about=ABOUT,
            request=request_of_tablet,
        )


def test_five_failures_lock_signing_even_with_the_right_password(
    qc_technician: Person, by: Make, request_of_tablet: HttpRequest
) -> None:
    for _ in range(5):
        with pytest.raises(SignatureRefused):
            prove(
                by=by(qc_technician),
                password="wrong",
                meaning=MEANING,
                about=ABOUT,
                request=request_of_tablet,
            )
    with pytest.raises(SignatureRefused):
        prove(
            by=by(qc_technician),
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
