"""The hash chain: what links acts, and whether it holds.

Tamper-evident, not tamper-proof: whoever owns the database can recompute the whole chain. Its head is
therefore printed on papers and shown in the foot of every page.
"""

from __future__ import annotations

from regenplant.audit.acts import verify
from regenplant.audit.links import GENESIS, SCHEMA, Break, link
from regenplant.audit.models import AuditEvent

__all__ = ["GENESIS", "SCHEMA", "Break", "head", "link", "stands", "verify"]


def stands(digest: str) -> int | None:
    """The number of the event with this digest (or beginning of one, at least 8 characters), None if there is none."""
    text = digest.replace(" ", "").lower()
    if len(text) < 8:
        return None
    found = AuditEvent.objects.filter(digest__startswith=text).values_list("number", flat=True)[:2]
    return found[0] if len(found) == 1 else None


def head() -> tuple[int, str]:
    """Number and digest of the newest event; (0, zeros) for an empty log."""
    last = AuditEvent.objects.order_by("-number").values_list("number", "digest").first()
    return (last[0], last[1]) if last else (0, GENESIS)
