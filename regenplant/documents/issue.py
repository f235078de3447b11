"""Who printed a paper, when, the how manyth time, and where the record stood."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Issue:
    """One issue of one paper. ``chain_head`` is the digest of the newest act in the record at printing."""

    number: int
    printed_at: str
    printed_by: str
    chain_number: int
    chain_head: str
    record_version: int
