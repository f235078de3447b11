"""Scans of paper forms: what kind of file it is, by its first bytes and not by its name, and its digest."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

from regenplant.core.errors import RecordRefused

LARGEST = 10_000_000
"""Bytes of one scan."""
_BEGINNINGS = (
    (b"%PDF-", "application/pdf"),
    (b"\x89PNG\r\n\x1a\n", "image/png"),
    (b"\xff\xd8\xff", "image/jpeg"),
)


@dataclass(frozen=True, slots=True)
class ScanFile:
    """A file as it was sent."""

    name: str
    content: bytes

    @property
    def sha256(self) -> str:
        return hashlib.sha256(self.content).hexdigest()


def media_type_of(scan: ScanFile) -> str:
    """PDF, PNG or JPEG. Raises: RecordRefused for an empty file, one too large, or another kind."""
    size = len(scan.content)
    if not size:
        raise RecordRefused("The file is empty. Choose the scan of the form.", field="scan", code="empty")
    if size > LARGEST:
        raise RecordRefused(
            f"The scan has {size / 1e6:.1f} MB; at most {LARGEST / 1e6:.0f} MB are kept. Scan it at 150 to 200 dots per inch.",
            field="scan",
            code="too_large",
            seen=float(size),
            allowed_high=float(LARGEST),
        )
    for beginning, media_type in _BEGINNINGS:
        if scan.content.startswith(beginning):
            return media_type
    raise RecordRefused(
        "The file is no PDF, PNG or JPEG. Scan or photograph the form as one of these.",
        field="scan",
        code="media_type",
    )
