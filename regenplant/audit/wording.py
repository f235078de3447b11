"""Stored facts as sentences. Rows hold facts, wording stays in code and can improve without touching rows.

An app registers the wording of its events beside its services::

    say("batch.step_started", "{subject}: step {number}, {name}, started")

Names in braces come from ``subject``, ``facts``, ``before.*`` and ``after.*``; a name that is not stored reads as "–".
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

Wording = str | Callable[[str, dict[str, Any]], str]
_WORDINGS: dict[str, Wording] = {}


class _Facts(dict[str, Any]):
    def __missing__(self, key: str) -> str:
        return "–"


def say(event: str, wording: Wording) -> None:
    """Register how an event reads."""
    _WORDINGS[event] = wording


def is_worded(event: str) -> bool:
    return event in _WORDINGS


def sentence(event: str, subject: str, stored: dict[str, Any]) -> str:
    """The sentence for one event; an event without wording reads as its name."""
    wording = _WORDINGS.get(event)
    if wording is None:
        return f"{subject}: {event.replace('.', ' ').replace('_', ' ')}"
    if callable(wording):
        return wording(subject, stored)
    values = _Facts(
        {
            **stored.get("after", {}),
            **stored.get("facts", {}),
            "subject": subject,
            "reason": stored.get("reason", ""),
        }
    )
    values.update({f"before_{key}": value for key, value in stored.get("before", {}).items()})
    return wording.format_map(values)
