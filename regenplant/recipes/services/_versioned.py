"""What recipes and specifications share: immutable versions, a draft, a second person, an effective date."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from django.db import models
from django.db.models import Max
from django.utils import timezone

from regenplant.audit.by import By
from regenplant.audit.records import code_of, one_of, refuse_known, words_of
from regenplant.audit.use_case import Outcome
from regenplant.audit.wording import Wording
from regenplant.core.errors import NotAllowed, RecordRefused, StaleRecord
from regenplant.core.process.canonical import canonical_text, digest, from_plain
from regenplant.core.process.vocabulary import ResinFamily

DRAFT, APPROVED, WITHDRAWN = "draft", "approved", "withdrawn"


@dataclass(frozen=True, slots=True)
class Line:
    """Which pair of models: the named thing and its versions."""

    noun: str
    kind: str
    model: type[models.Model]
    version_model: type[models.Model]
    link: str
    """The foreign key from a version to its thing."""

    def subject(self, version: Any) -> tuple[str, str, str]:
        owner = getattr(version, self.link)
        return (self.kind, str(owner.pk), owner.code)


def add(
    line: Line, *, by: By, code: str, name: str, family: str, grade: str, definition: Any, reason: str
) -> Outcome:
    """The named thing with version 1 as a draft."""
    code = code_of(code, f"The {line.noun}’s code", longest=16)
    refuse_known(line.model, code, line.noun.capitalize())
    one_of(family, [item.value for item in ResinFamily], "The family", field="family")
    owner: Any = line.model._default_manager.create(
        code=code,
        name=words_of(name, f"The {line.noun}’s name", field="name", most=120, least=3),
        family=family,
        grade=words_of(grade, "The grade", field="grade", most=20, least=2),
    )
    return _draft(line, by=by, owner=owner, number=1, definition=definition, reason=reason)


def draft(line: Line, *, by: By, owner_id: int, definition: Any, reason: str) -> Outcome:
    """The next version as a draft. One draft at a time, and never the same content twice in a row."""
    owner: Any = line.model._default_manager.filter(pk=owner_id).first()
    if owner is None:
        raise RecordRefused(f"This {line.noun} is not known here.", code="unknown")
    versions = line.version_model._default_manager.filter(**{line.link: owner})
    open_draft: Any = versions.filter(state=DRAFT).first()
    if open_draft is not None:
        raise RecordRefused(
            f"Version {open_draft.number} of {owner.code} is still a draft, by {open_draft.made_by.full_name}. "
            "Have it approved or withdraw it, then write the next.",
            code="draft_open",
        )
    highest = versions.aggregate(highest=Max("number"))["highest"] or 0
    newest: Any = versions.filter(number=highest).first()
    if newest is not None and newest.state == APPROVED and _is_same(newest.content, definition):
        raise RecordRefused(
            f"This is the same as version {highest} of {owner.code}. Nothing was written.",
            code="nothing_changed",
        )
    return _draft(line, by=by, owner=owner, number=highest + 1, definition=definition, reason=reason)


def _is_same(content: str, definition: Any) -> bool:
    """Whether stored content says the same; content of an older program lacks what was added since, at its default."""
    return bool(from_plain(type(definition), json.loads(content)) == definition)


def _draft(line: Line, *, by: By, owner: Any, number: int, definition: Any, reason: str) -> Outcome:
    words = words_of(reason, "The reason", field="reason", most=300, least=5)
    if str(definition.family) != owner.family:
        raise RecordRefused(
            f"{owner.code} is for {ResinFamily(owner.family).label}; this content is for {ResinFamily(definition.family).label}.",
            field="family",
            code="other_family",
        )
    if definition.code != owner.code:
        raise RecordRefused(
            f"The content names the code {definition.code}; this is {owner.code}.",
            field="code",
            code="other_code",
        )
    content = canonical_text(definition)
    version: Any = line.version_model._default_manager.create(
        **{line.link: owner},
        number=number,
        content=content,
        digest=digest(content),
        reason=words,
        made_by=by.user,
        made_at=by.at,
    )
    return Outcome(
        subject=line.subject(version),
        after={"version": number, "state": DRAFT},
        facts={"version": number, "digest": version.digest, "grade": owner.grade},
        reason=words,
        result=version,
    )


def _locked(line: Line, version_id: int) -> Any:
    found = line.version_model._default_manager.select_for_update().filter(pk=version_id).first()
    if found is None:
        raise RecordRefused("This version is not known here.", code="unknown")
    return found


def approve(line: Line, *, by: By, version_id: int, effective_from: datetime | None) -> Outcome:
    """A draft becomes approved, by another person than its maker; it holds from ``effective_from`` (default: now)."""
    version = _locked(line, version_id)
    label = f"{getattr(version, line.link).code} version {version.number}"
    if version.made_by_id == by.user.pk:
        raise NotAllowed(f"You wrote {label}, so another person must approve it.", code="own_work")
    if version.state != DRAFT:
        raise StaleRecord(
            f"{label} is {version.state} already. Look at its present state.", code="not_a_draft"
        )
    starts = effective_from or by.at
    if starts < by.at:
        raise RecordRefused(
            f"{label} cannot hold from {starts:%Y-%m-%d %H:%M} UTC, which is past. Choose now or later.",
            field="effective_from",
        )
    hit = line.version_model._default_manager.filter(pk=version.pk, state=DRAFT).update(
        state=APPROVED, approved_by=by.user, approved_at=by.at, effective_from=starts
    )
    if hit != 1:
        raise StaleRecord(
            f"{label} was decided by somebody else just now. Look at its present state.", code="not_a_draft"
        )
    version.refresh_from_db()
    return Outcome(
        subject=line.subject(version),
        before={"state": DRAFT},
        after={"state": APPROVED, "effective_from": starts.isoformat()},
        facts={"version": version.number, "digest": version.digest},
        result=version,
    )


def withdraw(line: Line, *, by: By, version_id: int, reason: str) -> Outcome:
    """No new batch uses this version; batches that run under it keep it."""
    version = _locked(line, version_id)
    label = f"{getattr(version, line.link).code} version {version.number}"
    if version.state == WITHDRAWN:
        raise StaleRecord(f"{label} is withdrawn already.", code="withdrawn")
    words = words_of(reason, "The reason", field="reason", most=300, least=5)
    before = version.state
    hit = line.version_model._default_manager.filter(pk=version.pk, state=before).update(state=WITHDRAWN)
    if hit != 1:
        raise StaleRecord(
            f"{label} was decided by somebody else just now. Look at its present state.", code="withdrawn"
        )
    version.refresh_from_db()
    return Outcome(
        subject=line.subject(version),
        before={"state": before},
        after={"state": WITHDRAWN},
        facts={"version": version.number},
        reason=words,
        result=version,
    )


def wordings(noun: str, event: str) -> Sequence[tuple[str, Wording]]:
    """How the acts of one line read."""

    def approved(subject: str, stored: dict[str, Any]) -> str:
        number = stored.get("facts", {}).get("version", "–")
        starts = stored.get("after", {}).get("effective_from")
        since = f"{timezone.localtime(datetime.fromisoformat(starts)):%Y-%m-%d %H:%M}" if starts else "–"
        return f"{noun} {subject}: version {number} was approved, from {since}"

    return (
        (f"{event}.added", f"{noun} {{subject}} was added; version 1 is a draft ({{reason}})"),
        (f"{event}.version_drafted", f"{noun} {{subject}}: version {{version}} was drafted ({{reason}})"),
        (f"{event}.version_approved", approved),
        (f"{event}.version_withdrawn", f"{noun} {{subject}}: version {{version}} was withdrawn ({{reason}})"),
    )
