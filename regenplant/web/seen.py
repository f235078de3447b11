"""Which state of a record a page showed: its version, and the newest act at that moment.

The version decides whether a write is refused; the act says what to show as changed since. Both travel in one hidden field,
written "7.1234". A bare "7" is understood too: then only the refusal is shown, without what changed.
"""

from __future__ import annotations

from typing import Any

from django import forms

from regenplant.audit.selectors import chain_head


class SeenVersionField(forms.IntegerField):
    """The version that was shown; cleans to a whole number."""

    widget = forms.HiddenInput

    def prepare_value(self, value: Any) -> Any:
        """Where the page is made: the version, and the newest act."""
        return seen_now(value) if isinstance(value, int) else value

    def to_python(self, value: Any) -> int | None:
        text = str(value) if value not in self.empty_values else ""
        found = super().to_python(text.partition(".")[0])
        return None if found is None else int(found)


def seen_now(version: int) -> str:
    """What a page carries that shows this version now."""
    return f"{version}.{chain_head()[0]}"


def seen_act(text: str) -> int | None:
    """The newest act when the page was made; None where it does not say."""
    act = text.partition(".")[2]
    return int(act) if act.isascii() and act.isdigit() and len(act) < 16 else None
