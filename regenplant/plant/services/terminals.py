"""Acts on terminals: what the tablets and computers are called from which people write."""

from __future__ import annotations

import re

from regenplant.audit.by import By
from regenplant.audit.records import words_of, write_changed
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import RecordRefused
from regenplant.plant.models import Terminal

LONGEST_NAME = 40


def _subject(terminal: Terminal) -> tuple[str, str, str]:
    return ("terminal", str(terminal.pk), terminal.name)


@use_case("terminal.named", permission="plant.edit")
def name_terminal(*, by: By, key: str, name: str, version: int | None = None) -> Outcome:
    """Give the terminal with this key (32 hexadecimal digits) its name, or another one.

    Acts from it are written down with the name from then on; what was written before keeps the name it had.

    Raises: RecordRefused for a name that another terminal has or had, StaleRecord.
    """
    if not re.fullmatch(r"[0-9a-f]{32}", key):
        raise RecordRefused(
            "This terminal’s key is not whole. Open the page again at the terminal.", code="unknown"
        )
    words = words_of(name, "The name", field="name", most=LONGEST_NAME, least=2)
    record = Terminal.objects.select_for_update().filter(key=key).first()
    if Terminal.objects.filter(name__iexact=words).exclude(key=key).exists():
        raise RecordRefused(
            f"Another terminal is or was called {words}. Names are used once; choose another.",
            field="name",
            code="code_taken",
        )
    if record is None:
        record = Terminal.objects.create(key=key, name=words)
        return Outcome(subject=_subject(record), after={"name": words}, result=record)
    values = {"name": words, "is_active": True}
    before, after = write_changed(record, values, version=version, label=f"Terminal {record.name}")
    return Outcome(subject=_subject(record), before=before, after=after, result=record)


@use_case("terminal.retired", permission="plant.edit")
def retire_terminal(*, by: By, terminal_id: int, reason: str, version: int | None = None) -> Outcome:
    """The terminal is gone or lost: its key counts for nothing from now on. Raises: RecordRefused, StaleRecord."""
    record = Terminal.objects.select_for_update().filter(pk=terminal_id).first()
    if record is None:
        raise RecordRefused("This terminal is not known here.", code="unknown")
    words = words_of(reason, "The reason", field="reason", most=300, least=10)
    before, after = write_changed(
        record, {"is_active": False}, version=version, label=f"Terminal {record.name}"
    )
    return Outcome(subject=_subject(record), before=before, after=after, reason=words, result=record)


def _named(subject: str, stored: dict[str, object]) -> str:
    before = stored.get("before") or {}
    old = before.get("name") if isinstance(before, dict) else None
    return f"Terminal {old} is called {subject} now" if old else f"A terminal was named {subject}"


say("terminal.named", _named)
say("terminal.retired", "Terminal {subject} was retired")
