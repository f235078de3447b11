"""Versions of signed records: decisions and releases in a row without a gap, reopenings and reviews signed by whom they name."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Any

from regenplant.audit.verifying.registry import Check, Finding, Look, register
from regenplant.people.models import Signature
from regenplant.quality.models import QcDecision, RecordReopening, RecordReview, Release
from regenplant.quality.selectors import participants


def check_versions(look: Look) -> Iterator[Finding]:
    """Versions of each decision and release: each signed as the version it is, and in the place of the one before."""
    for what, kind, rows in (
        ("QC decision", "decision", QcDecision.objects),
        ("release", "release", Release.objects),
    ):
        newest: dict[int, Any] = {}
        found: Any = rows.select_related("batch", "signature").defer("batch__plan_text")
        for row in found.order_by("batch", "version").iterator(200):
            look.saw()
            name = f"{what} on batch {row.batch.number}"
            if row.signature.record_version != row.version:
                yield Finding(
                    kind,
                    f"The {name} stands as version {row.version}; version {row.signature.record_version} was signed.",
                )
            before = newest.get(row.batch_id)
            if row.version != (before.version + 1 if before else 1) or row.replaces_id != (
                before.pk if before else None
            ):
                yield Finding(
                    kind, f"Version {row.version} of the {name} does not follow the version before it."
                )
            newest[row.batch_id] = row


def check_reviews(look: Look) -> Iterator[Finding]:
    """Each review against its signature, and that nobody who took part signed it; each release against its review."""
    rows = RecordReview.objects.select_related("batch", "signature", "reviewed_by").defer("batch__plan_text")
    for row in rows.order_by("pk").iterator(200):
        look.saw()
        name = f"review of batch {row.batch.number}, version {row.version}"
        yield from _signed(
            name, row.signature, "record_review", row.batch.number, row.version, row.reviewed_by_id
        )
        if row.content != row.signature.content:
            yield Finding("review", f"The content of the {name} is not what was signed.")
        elif json.loads(row.content)["record_digest"] != row.record_digest:
            yield Finding("review", f"The {name} names another digest of the record than was signed.")
        if row.reviewed_by_id in participants(row.batch):
            yield Finding(
                "review", f"The {name} is by {row.reviewed_by.full_name}, who took part in that batch."
            )
    unreviewed = Release.objects.filter(review__isnull=True, decision__isnull=False).select_related("batch")
    for release in unreviewed.defer("batch__plan_text"):
        yield Finding(
            "release", f"Batch {release.batch.number} was released and nobody had reviewed its record."
        )


def check_reopenings(look: Look) -> Iterator[Finding]:
    """Each reopening of a signed record against its signature."""
    rows = RecordReopening.objects.select_related("batch", "signature", "decision").defer("batch__plan_text")
    for row in rows.order_by("pk").iterator(200):
        look.saw()
        name = f"reopening of the record of batch {row.batch.number}"
        yield from _signed(
            name, row.signature, "reopening", row.batch.number, row.decision.version, row.reopened_by_id
        )
        signed = json.loads(row.signature.content)
        if (signed["category"], signed["reason"]) != (row.reason_category, row.reason):
            yield Finding("reopening", f"The {name} gives another reason than was signed.")


def _signed(
    name: str, signature: Signature, kind: str, key: str, version: int, person_id: int
) -> Iterator[Finding]:
    if (signature.record_kind, signature.record_key, signature.record_version) != (kind, key, version):
        yield Finding(
            "signature",
            f"The {name} bears a signature that was given on {signature.record_kind} {signature.record_key}, version "
            f"{signature.record_version}.",
        )
    if signature.person_id != person_id:
        yield Finding(
            "signature", f"The {name} bears the signature of {signature.printed_name}, not of whom it names."
        )


register(Check("versions", "Versions of signed records", "versions", check_versions), place=72)
register(Check("review", "Reviews", "reviews", check_reviews), place=73)
register(Check("reopening", "Records opened for correction", "reopenings", check_reopenings), place=74)
