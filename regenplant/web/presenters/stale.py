"""A page that is no longer true: who changed what since it was shown, and what the person typed meanwhile."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from regenplant.audit.selectors import Line
from regenplant.web.presenters.words import sentence_case

MOST_SHOWN = 12


@dataclass(frozen=True, slots=True)
class StaleAct:
    """One act that changed the record since."""

    at: datetime
    who: str
    what: str
    reason: str


@dataclass(frozen=True, slots=True)
class StaleView:
    """What the refusal of a second writer shows. ``may_overwrite``: the form now carries the present state, so that sending
    it again writes on top."""

    acts: tuple[StaleAct, ...]
    more: int
    typed: tuple[tuple[str, str], ...]
    may_overwrite: bool


def stale_view(lines: Iterable[Line], typed: Iterable[tuple[str, str]], *, may_overwrite: bool) -> StaleView:
    """The view of these acts, oldest first, beside what was typed."""
    acts = [
        StaleAct(
            line.occurred_at,
            line.who,
            sentence_case(line.sentence),
            line.reason if line.reason and line.reason not in line.sentence else "",
        )
        for line in lines
    ]
    return StaleView(tuple(acts[:MOST_SHOWN]), max(0, len(acts) - MOST_SHOWN), tuple(typed), may_overwrite)
