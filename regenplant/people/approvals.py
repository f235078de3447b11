"""Approving a version of anything that has versions, and withdrawing one that was approved: both are signed.

One place for recipes, specifications, the plant's limits, rules of retention and the authority matrix. What is signed is the
version's whole content with its name, number and digest, and the day from which it holds; the signature belongs to that version and
to no other. ``flaws`` says what of it no longer holds.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import datetime
from typing import Any

from regenplant.audit import versions
from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome
from regenplant.audit.version_model import APPROVED, DRAFT, Version
from regenplant.core.errors import RecordRefused, SignatureRefused
from regenplant.core.process.canonical import canonical_text
from regenplant.people.binding import SignaturePermit, bind
from regenplant.people.models import Signature

APPROVAL, WITHDRAWAL = "approval", "withdrawal"
_KIND_OF_WITHDRAWAL = "_withdrawal"
KINDS = rf"_version({_KIND_OF_WITHDRAWAL})?$"
"""How the kinds of record end that such signatures name, as a pattern."""


def approval_of(version: Version) -> str:
    """What the signature under an approval means: "approval of recipe H-14 version 3"."""
    return f"{APPROVAL} of {version.title}"


def withdrawal_of(version: Version) -> str:
    return f"{WITHDRAWAL} of {version.title}"


def withdrawal_is_signed(version: Version) -> bool:
    """Whether withdrawing it now takes a signature: an approval is undone. A draft is taken out without one."""
    return version.state == APPROVED


def approve(
    line: versions.Line,
    *,
    by: By,
    version_id: int,
    permit: SignaturePermit,
    effective_from: datetime | None,
    also_signed: Mapping[str, Any] | None = None,
) -> Outcome:
    """Approve and sign a draft that another person wrote; it holds from ``effective_from`` (default: now).

    ``also_signed`` is what the signature covers besides the version itself. Raises: NotAllowed (own work), SignatureRefused, StaleRecord,
    RecordRefused.
    """
    signed: list[Signature] = []

    def sign(version: Version, starts: datetime) -> dict[str, Any]:
        meaning = approval_of(version)
        content = {
            **_named(version, meaning),
            "content": json.loads(version.content),
            "reason": version.reason,
            "written_by": version.made_by.get_username(),
            "effective_from": starts.isoformat(),
            **(also_signed or {}),
        }
        signed.append(_bound(permit, by, version, version.signed_kind, meaning, content))
        return {"signature": signed[0]}

    outcome = versions.approve(line, by=by, version_id=version_id, effective_from=effective_from, sign=sign)
    return replace(outcome, signature=_of(signed[0]))


def withdraw(
    line: versions.Line, *, by: By, version_id: int, reason: str, permit: SignaturePermit | None
) -> Outcome:
    """Take a version out: an approved one with a signature, a draft without. Raises: SignatureRefused, StaleRecord, RecordRefused."""
    signed: list[Signature] = []

    def sign(version: Version, words: str) -> dict[str, Any]:
        if not withdrawal_is_signed(version):
            return {}
        if permit is None:
            raise SignatureRefused(
                f"{line.label(version)} version {version.number} is approved; taking it out is signed. Give your password.",
                field="password",
            )
        meaning = withdrawal_of(version)
        kind = version.signed_kind + _KIND_OF_WITHDRAWAL
        signed.append(
            _bound(permit, by, version, kind, meaning, {**_named(version, meaning), "reason": words})
        )
        return {"withdrawal_signature": signed[0]}

    outcome = versions.withdraw(line, by=by, version_id=version_id, reason=reason, sign=sign)
    return replace(outcome, signature=_of(signed[0])) if signed else outcome


def withdraw_before_force(
    line: versions.Line, *, by: By, version_id: int, reason: str, permit: SignaturePermit | None
) -> Outcome:
    """Send a draft back, or stop an approved version before it takes force, which is signed: for rules that a plant lives by.

    Raises: SignatureRefused, StaleRecord, RecordRefused for one that took force: such rules change by their next version only, which takes
    two persons.
    """
    version = versions.locked(line, version_id)
    if version.state == APPROVED and (version.effective_from or by.at) <= by.at:
        raise RecordRefused(
            f"Version {version.number} took force already. Write the next version instead, and have it approved.",
            code="took_force",
        )
    return withdraw(line, by=by, version_id=version_id, reason=reason, permit=permit)


def _named(version: Version, meaning: str) -> dict[str, Any]:
    return {
        "record": version.title,
        "version": version.number,
        "digest": version.digest,
        "meaning": meaning,
    }


def _bound(
    permit: SignaturePermit, by: By, version: Version, kind: str, meaning: str, content: dict[str, Any]
) -> Signature:
    return bind(
        permit,
        by=by,
        meaning=meaning,
        record_kind=kind,
        record_key=version.signed_key,
        record_version=version.number,
        content=content,
    )


def _of(signature: Signature) -> dict[str, Any]:
    return {"meaning": signature.meaning, "digest": signature.digest, "name": signature.printed_name}


# --- whether it still holds -------------------------------------------------------------------------------------------------
def flaws(version: Version) -> Iterator[str]:
    """What of a version's two signatures does not fit the version, as the rest of a sentence: "bears …".

    A signature that is not there is none of them (``unsigned`` finds it).
    """
    if version.signature is not None:
        yield from _misplaced(version, version.signature, version.signed_kind, APPROVAL)
        yield from _not_as_approved(version, version.signature)
    if version.withdrawal_signature is not None:
        kind = version.signed_kind + _KIND_OF_WITHDRAWAL
        yield from _misplaced(version, version.withdrawal_signature, kind, WITHDRAWAL)
        if version.state == APPROVED:
            yield "reads approved; its withdrawal was signed"


def unsigned(version: Version) -> Iterator[str]:
    """The acts on a version that must bear a signature and bear none: "approval", "withdrawal"."""
    was_approved = version.approved_by_id is not None
    if version.signature is None and (was_approved or version.state == APPROVED):
        yield APPROVAL
    is_out = version.state not in (DRAFT, APPROVED)
    if version.withdrawal_signature is None and was_approved and is_out:
        yield WITHDRAWAL


def _misplaced(version: Version, signature: Signature, kind: str, act: str) -> Iterator[str]:
    expected = (kind, version.signed_key, version.number)
    given = (signature.record_kind, signature.record_key, signature.record_version)
    if given != expected:
        yield (
            f"bears as its {act} a signature that was given on {signature.record_kind} {signature.record_key} "
            f"version {signature.record_version}"
        )
        return
    signed = json.loads(signature.content)
    if signed.get("meaning", signature.meaning) != signature.meaning or not signature.meaning.startswith(act):
        yield f"bears as its {act} a signature that was given to mean something else"
    if signed["digest"] != version.digest or signed["version"] != version.number:
        yield f"is not as the signature of its {act} covers it"


def _not_as_approved(version: Version, signature: Signature) -> Iterator[str]:
    """The columns and the content against what was signed; signatures of an older program cover less, all cover the digest."""
    signed = json.loads(signature.content)
    if "content" in signed and canonical_text(signed["content"]) != version.content:
        yield "says another thing than what was approved and signed"
    if signed.get("reason", version.reason) != version.reason:
        yield "gives another reason than the one that was signed"
    writer = version.made_by.get_username()
    if signed.get("written_by", writer) != writer:
        yield "names another person as its writer than was signed"
    starts = signed.get("effective_from")
    if starts and datetime.fromisoformat(starts) != version.effective_from:
        yield "holds from another time than the one that was signed"
    if signature.person_id != version.approved_by_id:
        yield f"bears the signature of {signature.printed_name}, not of whom it names as approving"
    if signature.signed_at != version.approved_at:
        yield "was approved at another time than it was signed"
