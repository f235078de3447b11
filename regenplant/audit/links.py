"""What links one act to the act before it."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass

GENESIS = "0" * 64
SCHEMA = 2
"""1: who, what, when, where, why. 2: also which rows were written (``audit.seals``), clock and lateness."""
LONGEST_LABEL = 160
SYSTEM = "the system"
"""Who acts where no person does: the first administrator is added, a nightly check is written down."""


def link(previous: str, payload: str) -> str:
    """The digest of an event: SHA-256 over the previous digest and the payload."""
    return hashlib.sha256(f"{previous}\n{payload}".encode()).hexdigest()


def related_text(related: Iterable[Iterable[str]]) -> str:
    """Related subjects as one column: " kind:key  kind:key "."""
    return "".join(f" {kind}:{key} " for kind, key in related)


@dataclass(frozen=True, slots=True)
class Break:
    """A place where the chain does not hold."""

    number: int
    sentence: str
