"""What recipes and specifications share: a named thing of one family whose content comes in versions (``audit.versions``)."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from django.db import models

from regenplant.audit import versions
from regenplant.audit.by import By
from regenplant.audit.records import code_of, one_of, refuse_known, words_of
from regenplant.audit.use_case import Outcome
from regenplant.audit.wording import Wording
from regenplant.core.errors import RecordRefused
from regenplant.core.process.canonical import canonical_text, from_plain
from regenplant.core.process.vocabulary import ResinFamily


@dataclass(frozen=True, slots=True)
class Line:
    """Which pair of models: the named thing and its versions."""

    noun: str
    model: type[models.Model]
    version_model: type[models.Model]
    link: str
    """The foreign key from a version to its thing."""

    @property
    def versions(self) -> versions.Line:
        return versions.Line(self.version_model, lambda version: getattr(version, self.link).code)


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
    return _draft(line, by=by, owner=owner, definition=definition, reason=reason)


def draft(line: Line, *, by: By, owner_id: int, definition: Any, reason: str) -> Outcome:
    """The next version as a draft. One draft at a time, and never the same content twice in a row."""
    owner: Any = line.model._default_manager.filter(pk=owner_id).first()
    if owner is None:
        raise RecordRefused(f"This {line.noun} is not known here.", code="unknown")
    return _draft(line, by=by, owner=owner, definition=definition, reason=reason)


def _is_same(content: str, definition: Any) -> bool:
    """Whether stored content says the same; content of an older program lacks what was added since, at its default."""
    return bool(from_plain(type(definition), json.loads(content)) == definition)


def _draft(line: Line, *, by: By, owner: Any, definition: Any, reason: str) -> Outcome:
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
    return versions.write_draft(
        line.versions,
        by=by,
        siblings=line.version_model._default_manager.filter(**{line.link: owner}),
        content=canonical_text(definition),
        is_same=lambda content: _is_same(content, definition),
        reason=reason,
        label=owner.code,
        fixed={line.link: owner},
        facts={"grade": owner.grade},
    )


def wordings(noun: str, event: str) -> Sequence[tuple[str, Wording]]:
    """How the acts of one line read."""
    added = (f"{event}.added", f"{noun} {{subject}} was added; version 1 is a draft ({{reason}})")
    return (added, *versions.wordings(noun, event))
