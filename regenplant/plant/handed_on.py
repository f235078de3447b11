"""What rooms tell at a change of shift that the handover cannot look up itself: sections of lines, registered from above.

The handover and a room on its own floor do not know each other. A room that keeps something which a coming shift must know says
so in ``AppConfig.ready``::

    handed_on.register("paper_forms", lambda now: LiveSection(...))

Its section stands in every handover, is signed with it, and stays there as it was.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class LiveLine:
    """One thing that stands so. ``timing`` is what changes by the minute; ``kind`` and ``key`` lead to its page."""

    what: str
    words: str
    timing: str = ""
    is_hazard: bool = False
    needs_person: bool = False
    kind: str = ""
    key: str = ""


@dataclass(frozen=True, slots=True)
class LiveSection:
    key: str
    title: str
    lines: tuple[LiveLine, ...]
    nothing: str
    """What an empty section says."""


Teller = Callable[[datetime], LiveSection]
_TELLERS: dict[str, Teller] = {}


def register(name: str, teller: Teller) -> None:
    """Add a section; a name is registered once, the later one holds."""
    _TELLERS[name] = teller


def sections(now: datetime) -> tuple[LiveSection, ...]:
    """The registered sections as they stand at ``now``, in the order of their names."""
    return tuple(_TELLERS[name](now) for name in sorted(_TELLERS))
