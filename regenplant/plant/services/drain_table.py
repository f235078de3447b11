"""Acts on the class table of drains: written by one person, approved by another, in force from a date."""

from __future__ import annotations

from datetime import datetime

from regenplant.audit import versions
from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused
from regenplant.core.process.canonical import canonical_text
from regenplant.core.process.drains import ClassTable, plain_of_table, refuse_table
from regenplant.people import approvals
from regenplant.people.binding import SignaturePermit
from regenplant.plant.drain_table import newest_table
from regenplant.plant.drain_table_models import DrainTableVersion

_LINE = versions.Line(DrainTableVersion, lambda version: "The class table of drains")


@use_case("drain_table.version_drafted", permission="drains.edit")
def draft_drain_table(*, by: By, table: ClassTable, reason: str) -> Outcome:
    """The next version of the class table as a draft. ``result`` is the version.

    Raises: OutOfRange where it allows more than the program's table, RecordRefused when a draft is open or nothing changed.
    """
    refuse_table(table)
    plain = plain_of_table(table)
    if plain == plain_of_table(newest_table()):
        raise RecordRefused(
            "This is the table that holds already. Nothing was written.", code="nothing_changed"
        )
    text = canonical_text(plain)
    return versions.write_draft(
        _LINE,
        by=by,
        siblings=DrainTableVersion.objects.all(),
        content=text,
        is_same=lambda stored: stored == text,
        reason=reason,
        label="the class table of drains",
    )


@use_case("drain_table.version_approved", permission="drains.approve")
def approve_drain_table(
    *, by: By, version_id: int, permit: SignaturePermit, effective_from: datetime | None = None
) -> Outcome:
    """Approve and sign a draft that another person wrote; it holds from ``effective_from`` (default: now), for steps that start from then on.

    Raises: NotAllowed (own work), SignatureRefused, StaleRecord, RecordRefused.
    """
    return approvals.approve(
        _LINE, by=by, version_id=version_id, permit=permit, effective_from=effective_from
    )


@use_case("drain_table.version_withdrawn", permission="drains.approve")
def withdraw_drain_table(
    *, by: By, version_id: int, reason: str, permit: SignaturePermit | None = None
) -> Outcome:
    """Send a draft back, or stop an approved version before it takes force, which is signed.

    Raises: SignatureRefused, StaleRecord, RecordRefused for one that took force: the table changes by its next version only.
    """
    return approvals.withdraw_before_force(_LINE, by=by, version_id=version_id, reason=reason, permit=permit)


for _event, _wording in versions.wordings("", "drain_table"):
    say(_event, _wording)
