"""The digest of what is about to be signed, so that it stands on the page before the password is given."""

from __future__ import annotations

from typing import Any

from regenplant.batches.models import Batch
from regenplant.core.process.canonical import canonical_text
from regenplant.people.signing import signed_digest
from regenplant.quality.models import decision_of, release_of
from regenplant.quality.signed_content import decision_content, release_content
from regenplant.quality.specification import Judged, judgement
from regenplant.quality.standing import is_open_for_correction


def pass_digest(batch: Batch, judged: Judged | None = None) -> str:
    """The digest a pass signed now would carry. That of a fail covers its reason, which is not written yet. ``judged``: the verdict as it
    stands, where it was worked out already."""
    before = decision_of(batch)
    amends = before if before is not None and is_open_for_correction(batch.pk) else None
    content = decision_content(batch, judged or judgement(batch), "pass", "", amends=amends)
    return _digest("qc_decision", batch, content, amends.version + 1 if amends else 1)


def release_digest(batch: Batch) -> str:
    """The digest a release signed now would carry."""
    before = release_of(batch)
    return _digest("release", batch, release_content(batch), before.version + 1 if before else 1)


def _digest(kind: str, batch: Batch, content: dict[str, Any], version: int) -> str:
    return signed_digest(kind, batch.number, version, canonical_text(content))
