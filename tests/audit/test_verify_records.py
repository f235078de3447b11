"""The nightly command: silent and 0 when all holds, one line per finding and 1 when something was altered."""

from __future__ import annotations

import io
from collections.abc import Callable

import pytest
from django.core.management import call_command
from django.core.management.base import CommandError
from django.db import connection

from regenplant.audit import chain, locks
from regenplant.audit.by import By
from regenplant.audit.models import AuditEvent
from regenplant.audit.use_case import Outcome
from regenplant.people.models import Person, Signature
from regenplant.people.signing import SignaturePermit, bind
from tests.audit.acts import act


def verify(**options: str) -> str:
    out = io.StringIO()
    call_command("verify_records", stdout=out, **options)
    return out.getvalue()


def refused(**options: str) -> str:
    out = io.StringIO()
    with pytest.raises(CommandError) as error:
        call_command("verify_records", stdout=out, **options)
    assert error.value.returncode == 1
    return out.getvalue()


def test_records_as_they_were_written_hold(operator: Person) -> None:
    number, head = chain.head()
    said = verify()
    assert f", {number} acts, " in said
    assert f"event {number}, {head}" in said
    assert said.endswith("All records hold.\n")


@pytest.mark.requirement("ER-09")
def test_an_altered_act_is_named(operator: Person) -> None:
    locks.remove()
    AuditEvent.objects.filter(number=2).update(actor_name="Somebody")
    locks.install()
    assert "chain: Event 2 shows another name than was recorded." in refused()


def test_a_missing_lock_is_named(operator: Person) -> None:
    on = "" if connection.vendor == "sqlite" else " ON people_signature"
    with connection.cursor() as cursor:
        cursor.execute(f"DROP TRIGGER lock_people_signature_update{on}")
    assert "lock: The lock lock_people_signature_update is missing" in refused()
    locks.install()


@pytest.mark.requirement("ER-02")
def test_an_altered_signature_is_named(qc_technician: Person, by: Callable[..., By]) -> None:
    def body(*, by: By) -> Outcome:
        signature = bind(
            SignaturePermit(by.user.pk, "a test", by.at), by=by, meaning="a test", record_kind="batch", record_key="B-1",
            record_version=1, content="as shown",
        )  # fmt: skip
        return Outcome(subject=("batch", "B-1", "B-1"), result=signature)

    with act("test.signed", body) as sign:
        signed = sign(by=by(qc_technician)).result
    assert "1 signatures" in verify()
    locks.remove()
    Signature.objects.filter(pk=signed.pk).update(content="something else")
    locks.install()
    assert (
        "signature: The signature of QC technician 1 on batch B-1 no longer fits what was signed."
        in refused()
    )


def test_a_head_from_a_paper_proves_that_nothing_was_cut_off(operator: Person) -> None:
    number, head = chain.head()
    printed = f"{head[:4]} {head[4:8]}"
    assert f"The printed head {printed} is that of event {number}." in verify(head=printed)
    locks.remove()
    AuditEvent.objects.filter(number=number).delete()
    locks.install()
    assert "chain: No single event with the head" in refused(head=printed)
