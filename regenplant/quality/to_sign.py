"""The digest of what is about to be signed, so that it stands on the page before the password is given."""

from __future__ import annotations

from typing import Any

from regenplant.batches.models import Batch
from regenplant.core.process.canonical import canonical_text
from regenplant.people.signing import signed_digest
from regenplant.quality.signed_content import decision_content, release_content
from regenplant.quality.specification import judgement


def pass_digest(batch: Batch) -> str:
    """The digest a pass signed now would carry. That of a fail covers its reason, which is not written yet."""
    return _digest("qc_decision", batch, decision_content(batch, judgement(batch), "pass", ""))


def release_digest(batch: Batch) -> str:
    """The digest a release signed now would carry."""
    return _digest("release", batch, release_content(batch))


def _digest(kind: str, batch: Batch, content: dict[str, Any]) -> str:
    return signed_digest(kind, batch.number, 1, canonical_text(content))
