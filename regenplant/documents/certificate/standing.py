"""Whether a certificate still holds. Worked out from the record each time it is asked, never stored: a record that is amended later
makes every certificate that rests on it say so, without anybody touching it.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from regenplant.batches.models import Batch, BatchTank
from regenplant.core.process.canonical import digest, from_plain
from regenplant.core.process.lifecycle import BatchState
from regenplant.documents.certificate.content import CertificateContent
from regenplant.documents.models import Certificate, CertifiedTank, IssuedPaper
from regenplant.quality.models import decision_of, release_of
from regenplant.quality.standing import open_reopening

KIND = "certificate"
"""Of the issued papers that are prints of a certificate."""


class CertificateState(StrEnum):
    VALID = "valid"
    REPLACED = "replaced"
    WITHDRAWN = "withdrawn"


@dataclass(frozen=True, slots=True)
class CertificateStanding:
    """How a certificate stands now, why, and what was printed of it."""

    certificate: Certificate
    state: CertificateState
    reasons: tuple[str, ...]
    """Why it holds no more; empty for a valid one."""
    is_untouched: bool
    """Its content still has the digest that the paper bears."""
    prints: tuple[IssuedPaper, ...]

    @property
    def is_valid(self) -> bool:
        return self.state is CertificateState.VALID and self.is_untouched


def content_of(certificate: Certificate) -> CertificateContent:
    """What it says."""
    return from_plain(CertificateContent, json.loads(certificate.content))


def certificate_numbered(number: str) -> Certificate | None:
    """The certificate with this number, without regard to case; None for none."""
    return (
        Certificate.objects.filter(number__iexact=number.strip())
        .select_related("issued_by", "withdrawal__withdrawn_by", "replaces")
        .first()
    )


def standing_of(certificate: Certificate) -> CertificateStanding:
    """How it stands. A handful of queries for each batch on it."""
    state, reasons = _state(certificate)
    prints = IssuedPaper.objects.filter(kind=KIND, subject_key=certificate.number).select_related("issued_by")
    return CertificateStanding(
        certificate, state, reasons, digest(certificate.content) == certificate.digest, tuple(prints)
    )


def _state(certificate: Certificate) -> tuple[CertificateState, tuple[str, ...]]:
    withdrawal = getattr(certificate, "withdrawal", None)
    if withdrawal is not None:
        return CertificateState.WITHDRAWN, (withdrawal.reason,)
    reasons = []
    later = getattr(certificate, "replaced_by", None)
    if later is not None:
        reasons.append(f"{later.number} was issued in its place.")
    reasons += changes_since(list(certificate.tanks.all()))
    return (CertificateState.REPLACED, tuple(reasons)) if reasons else (CertificateState.VALID, ())


def changes_since(lines: Sequence[CertifiedTank]) -> list[str]:
    """What changed in the record since these tanks were certified, as sentences; empty while all stands as it was."""
    found: list[str] = []
    versions = {line.batch_number: (line.decision_version, line.release_version) for line in lines}
    for number, (decided, released) in versions.items():
        batch = Batch.objects.filter(number=number).first()
        if batch is not None:  # else its rows were purged, which only a closed record is
            found += _changes_of(batch, decided, released)
    serials = {line.visit_number: line.tank_serial for line in lines}
    gone = BatchTank.objects.filter(
        visit__number__in=serials, batch__number__in=versions, withdrawn_at__isnull=False
    )
    found += [
        f"Tank {serials[link.visit.number]} was withdrawn after it was filled."
        for link in gone.select_related("visit").order_by("position")
    ]
    return found


def _changes_of(batch: Batch, decided: int, released: int) -> list[str]:
    if open_reopening(batch.pk) is not None:
        return [f"The record of {batch.number} was opened again for correction after it was certified."]
    decision, release = decision_of(batch), release_of(batch)
    if decision is not None and decision.version != decided:
        return [f"The record of {batch.number} was amended after it was certified: its decision is version {decision.version} now."]  # fmt: skip
    if release is not None and release.version != released:
        return [f"{batch.number} was released anew after it was certified."]
    if batch.state != BatchState.RELEASED:
        return [f"{batch.number} is not released any more."]
    return []


# --- listings ---------------------------------------------------------------------------------------------------------
def newest_certificates(limit: int = 60) -> list[Certificate]:
    """The certificates issued last, newest first."""
    rows = Certificate.objects.select_related("issued_by", "withdrawal", "replaced_by").prefetch_related(
        "tanks"
    )
    return list(rows.order_by("-issued_at", "-id")[:limit])
