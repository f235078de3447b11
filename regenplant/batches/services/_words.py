"""Words a person must give with an act."""

from __future__ import annotations

from regenplant.audit.reasons import SHORTEST_REASON
from regenplant.core.errors import RecordRefused


def long_enough(text: str, field: str, what: str) -> None:
    """Raises: RecordRefused for fewer than ten characters; ``what`` says what they must tell."""
    if len(text.strip()) < SHORTEST_REASON:
        raise RecordRefused(f"Too short. Say in at least {SHORTEST_REASON} characters {what}.", field=field)
