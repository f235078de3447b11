"""What every versioned record shares: immutable versions, a draft, a second person who approves, an effective date.

Recipes, specifications and the authority matrix are such records. Content is canonical text, covered by a digest; an
approved version is frozen by the database; what runs under a version keeps it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeVar

from django.db import models
from django.db.models import Max, QuerySet
from django.utils import timezone

from regenplant.audit.by import By
from regenplant.audit.records import words_of
from regenplant.audit.use_case import Outcome
from regenplant.audit.version_model import APPROVED, DRAFT, WITHDRAWN, Version
from regenplant.audit.wording import Wording
from regenplant.core.errors import NotAllowed, RecordRefused, StaleRecord
from regenplant.core.process.canonical import digest

V = TypeVar("V", bound=Version)


@dataclass(frozen=True, slots=True)
class Line:
    """One kind of versioned record."""

    model: type[models.Model]
    label: Callable[[Any], str]
    """What stands before "version 3" in a sentence: "H-14"."""


# --- of a record with one line of versions --------------------------------------------------------------------------------
def in_force(model: type[V], at: datetime) -> V | None:
    """The newest version that is approved and effective; None before the first. One query."""
    found = model._default_manager.filter(state=APPROVED, effective_from__lte=at)
    return found.order_by("-number").first()


def newest_approved(model: type[V]) -> V | None:
    """The newest approved version, also before it takes force: what the next draft begins with."""
    return model._default_manager.filter(state=APPROVED).order_by("-number").first()


def approved_before(version: V) -> V | None:
    """What a version is held against: the newest approved one of a lower number that was not withdrawn."""
    older = type(version)._default_manager.filter(approved_at__isnull=False, number__lt=version.number)
    return older.exclude(state=WITHDRAWN).order_by("-number").first()


# --- acts -----------------------------------------------------------------------------------------------------------------
def write_draft(
    line: Line,
    *,
    by: By,
    siblings: QuerySet[Any],
    content: str,
    is_same: Callable[[str], bool],
    reason: str,
    label: str,
    fixed: dict[str, Any] | None = None,
    facts: dict[str, Any] | None = None,
) -> Outcome:
    """The next version as a draft. One draft at a time, and never the same content twice in a row.

    ``siblings`` are the versions of the same record, ``fixed`` the columns that tie the new one to it. Raises: RecordRefused.
    """
    open_draft = siblings.filter(state=DRAFT).first()
    if open_draft is not None:
        raise RecordRefused(
            f"Version {open_draft.number} of {label} is still a draft, by {open_draft.made_by.full_name}. "
            "Have it approved or withdraw it, then write the next.",
            code="draft_open",
        )
    highest = siblings.aggregate(highest=Max("number"))["highest"] or 0
    newest = siblings.filter(number=highest).first()
    if newest is not None and newest.state == APPROVED and is_same(newest.content):
        raise RecordRefused(
            f"This is the same as version {highest} of {label}. Nothing was written.",
            code="nothing_changed",
        )
    words = words_of(reason, "The reason", field="reason", most=300, least=5)
    version: Any = line.model._default_manager.create(
        **(fixed or {}),
        number=highest + 1,
        content=content,
        digest=digest(content),
        reason=words,
        made_by=by.user,
        made_at=by.at,
    )
    return Outcome(
        subject=version.subject,
        after={"version": version.number, "state": DRAFT},
        facts={"version": version.number, "digest": version.digest, **(facts or {})},
        reason=words,
        result=version,
    )


def locked(line: Line, version_id: int) -> Any:
    """The version, its row locked. Raises: RecordRefused when it is not known."""
    found = line.model._default_manager.select_for_update().filter(pk=version_id).first()
    if found is None:
        raise RecordRefused("This version is not known here.", code="unknown")
    return found


def refuse_own_work(line: Line, version: Any, by: By) -> None:
    """Raise NotAllowed when the acting person wrote this version; no right lifts this."""
    if version.made_by_id == by.user.pk:
        raise NotAllowed(
            f"You wrote {line.label(version)} version {version.number}, so another person must approve it.",
            code="own_work",
        )


def refuse_decided(line: Line, version: Any) -> None:
    """Raise StaleRecord when the version is no draft any more."""
    if version.state != DRAFT:
        raise StaleRecord(
            f"{line.label(version)} version {version.number} is {version.state} already. Look at its present state.",
            code="not_a_draft",
        )


def approve(
    line: Line,
    *,
    by: By,
    version_id: int,
    effective_from: datetime | None,
    sign: Callable[[Any, datetime], dict[str, Any]],
) -> Outcome:
    """A draft becomes approved, by another person than its maker; it holds from ``effective_from`` (default: now).

    ``sign`` signs the version as it holds from then and gives the columns that keep the signature; ``people.approvals`` brings it.
    Raises: NotAllowed (own work), StaleRecord, RecordRefused, and what ``sign`` raises.
    """
    version = locked(line, version_id)
    label = f"{line.label(version)} version {version.number}"
    refuse_own_work(line, version, by)
    refuse_decided(line, version)
    starts = effective_from or by.at
    if starts < by.at:
        raise RecordRefused(
            f"{label} cannot hold from {starts:%Y-%m-%d %H:%M} UTC, which is past. Choose now or later.",
            field="effective_from",
        )
    hit = line.model._default_manager.filter(pk=version.pk, state=DRAFT).update(
        state=APPROVED, approved_by=by.user, approved_at=by.at, effective_from=starts, **sign(version, starts)
    )
    if hit != 1:
        raise StaleRecord(
            f"{label} was decided by somebody else just now. Look at its present state.", code="not_a_draft"
        )
    version.refresh_from_db()
    return Outcome(
        subject=version.subject,
        before={"state": DRAFT},
        after={"state": APPROVED, "effective_from": starts.isoformat()},
        facts={"version": version.number, "digest": version.digest},
        result=version,
    )


def withdraw(
    line: Line, *, by: By, version_id: int, reason: str, sign: Callable[[Any, str], dict[str, Any]]
) -> Outcome:
    """Nothing new uses this version; what runs under it keeps it.

    ``sign`` signs what is taken out for which reason, as with ``approve``. Raises: StaleRecord, RecordRefused, and what ``sign`` raises.
    """
    version = locked(line, version_id)
    label = f"{line.label(version)} version {version.number}"
    if version.state == WITHDRAWN:
        raise StaleRecord(f"{label} is withdrawn already.", code="withdrawn")
    words = words_of(reason, "The reason", field="reason", most=300, least=5)
    before = version.state
    hit = line.model._default_manager.filter(pk=version.pk, state=before).update(
        state=WITHDRAWN, **sign(version, words)
    )
    if hit != 1:
        raise StaleRecord(
            f"{label} was decided by somebody else just now. Look at its present state.", code="withdrawn"
        )
    version.refresh_from_db()
    return Outcome(
        subject=version.subject,
        before={"state": before},
        after={"state": WITHDRAWN},
        facts={"version": version.number},
        reason=words,
        result=version,
    )


def wordings(noun: str, event: str) -> Sequence[tuple[str, Wording]]:
    """How drafting, approving and withdrawing read; ``noun`` stands before the subject's label ("Recipe")."""
    head = f"{noun} {{subject}}" if noun else "{subject}"

    def approved(subject: str, stored: dict[str, Any]) -> str:
        number = stored.get("facts", {}).get("version", "–")
        starts = stored.get("after", {}).get("effective_from")
        since = f"{timezone.localtime(datetime.fromisoformat(starts)):%Y-%m-%d %H:%M}" if starts else "–"
        return f"{head.format(subject=subject)}: version {number} was approved, from {since}"

    return (
        (f"{event}.version_drafted", f"{head}: version {{version}} was drafted ({{reason}})"),
        (f"{event}.version_approved", approved),
        (f"{event}.version_withdrawn", f"{head}: version {{version}} was withdrawn ({{reason}})"),
    )
