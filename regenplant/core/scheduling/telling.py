"""How a sentence tells a moment of a plan. The core knows minutes only; who shows the sentence knows the clock at the plant."""

from __future__ import annotations

from collections.abc import Callable

When = Callable[[float], str]
"""A minute in words."""


def in_minutes(minute: float) -> str:
    """ "minute 2880", from the beginning of day 0: for files and prompts without a clock."""
    return f"minute {minute:g}"
