"""Binding a proven signature to exactly what was shown, inside the transaction of the act that is signed."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from regenplant.audit.by import By
from regenplant.core.errors import SignatureRefused
from regenplant.core.process.canonical import canonical_text, digest
from regenplant.people.models import Signature

PERMIT_LIFE = timedelta(minutes=2)


@dataclass(frozen=True, slots=True)
class SignaturePermit:
    """Proof, good for two minutes, that this person has just given the password for this meaning."""

    person_id: int
    meaning: str
    proven_at: datetime


@dataclass(frozen=True, slots=True)
class TwoPeople:
    """The password of the acting person, and a second person with a password of their own."""

    permit: SignaturePermit
    second: By
    second_permit: SignaturePermit


def bind(
    permit: SignaturePermit,
    *,
    by: By,
    meaning: str,
    record_kind: str,
    record_key: str,
    record_version: int,
    content: Any,
    zone: str = "UTC",
) -> Signature:
    """Write the signature over ``content`` (plain data or text). Call inside the act's transaction.

    For the signature of a second person give ``by`` with that person as user. Raises: SignatureRefused when the permit is
    another person's, for another meaning, or too old, or the person cannot sign.
    """
    if permit.person_id != by.user.pk:
        raise SignatureRefused(
            "The signature was proven by another person. Each person signs for themselves."
        )
    if permit.meaning != meaning:
        raise SignatureRefused(f"The password was given to sign “{permit.meaning}”, not “{meaning}”.")
    if not timedelta(0) <= by.at - permit.proven_at <= PERMIT_LIFE:
        raise SignatureRefused("The password was given more than two minutes ago. Give it again.")
    if by.user.is_shared or by.user.is_device or not by.user.is_active:
        raise SignatureRefused(
            f"{by.user.full_name} cannot sign: the account is shared, a device’s, or closed."
        )
    text = content if isinstance(content, str) else canonical_text(content)
    offset = by.at.astimezone(ZoneInfo(zone)).utcoffset() or timedelta(0)
    return Signature.objects.create(
        person=by.user,
        printed_name=by.user.full_name,
        roles=", ".join(by.user.role_names()),
        meaning=meaning,
        signed_at=by.at,
        zone_offset_minutes=int(offset.total_seconds() // 60),
        terminal=by.terminal,
        record_kind=record_kind,
        record_key=record_key,
        record_version=record_version,
        content=text,
        digest=signed_digest(record_kind, record_key, record_version, text),
    )


def signed_digest(record_kind: str, record_key: str, record_version: int, content: str) -> str:
    """What a signature covers: the record's identity and version, and its canonical content."""
    return digest(f"{record_kind}\n{record_key}\n{record_version}\n{content}")


def holds(signature: Signature) -> bool:
    """Whether the stored content still fits the signed digest."""
    expected = signed_digest(
        signature.record_kind, signature.record_key, signature.record_version, signature.content
    )
    return signature.digest == expected
