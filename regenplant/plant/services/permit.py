"""Acts on the discharge permit: written by one person, approved by another, in force from a date."""

from __future__ import annotations

from datetime import datetime

from regenplant.audit import versions
from regenplant.audit.by import By
from regenplant.audit.records import words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused
from regenplant.core.process.canonical import canonical_text
from regenplant.core.process.discharge import PermitContent, refuse_permit
from regenplant.people import approvals
from regenplant.people.binding import SignaturePermit
from regenplant.plant.permit_models import PermitVersion

_LINE = versions.Line(PermitVersion, lambda version: "The discharge permit")


@use_case("discharge_permit.version_drafted", permission="permit.edit")
def draft_permit(*, by: By, content: PermitContent, reason: str) -> Outcome:
    """The next version of the permit as a draft, from the paper of the authority. ``result`` is the version.

    Raises: OutOfRange for a figure that cannot be, RecordRefused when a number or a last day is missing, a draft is open or nothing changed.
    """
    words_of(content.number, "The permit’s number", field="number", most=60, least=2)
    words_of(content.authority, "Who issued it", field="authority", most=120)
    if not content.expires_on:
        raise RecordRefused(
            "The last day of the permit is missing. Read it from the permit.",
            field="expires_on",
            code="empty",
        )
    refuse_permit(content)
    text = canonical_text(content)
    return versions.write_draft(
        _LINE,
        by=by,
        siblings=PermitVersion.objects.all(),
        content=text,
        is_same=lambda stored: stored == text,
        reason=reason,
        label="the discharge permit",
        facts={"number": content.number},
    )


@use_case("discharge_permit.version_approved", permission="permit.approve")
def approve_permit(
    *, by: By, version_id: int, permit: SignaturePermit, effective_from: datetime | None = None
) -> Outcome:
    """Approve and sign a draft that another person wrote; it holds from ``effective_from`` (default: now).

    Raises: NotAllowed (own work), SignatureRefused, StaleRecord, RecordRefused.
    """
    return approvals.approve(
        _LINE, by=by, version_id=version_id, permit=permit, effective_from=effective_from
    )


@use_case("discharge_permit.version_withdrawn", permission="permit.approve")
def withdraw_permit(
    *, by: By, version_id: int, reason: str, permit: SignaturePermit | None = None
) -> Outcome:
    """Send a draft back, or stop an approved version before it takes force, which is signed.

    One that took force stays: a permit changes by its next version only, which takes two persons.
    Raises: SignatureRefused, StaleRecord, RecordRefused.
    """
    return approvals.withdraw_before_force(_LINE, by=by, version_id=version_id, reason=reason, permit=permit)


for _event, _wording in versions.wordings("", "discharge_permit"):
    say(_event, _wording)
