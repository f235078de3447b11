"""The story of a record page by page, narrowed by person, kind of act, step, corrections, late acts, or words.

A batch with five thousand acts is read in one query and filtered here; only the acts of one page become sentences, unless words are
looked for.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from regenplant.audit import wording
from regenplant.audit.models import AuditEvent
from regenplant.audit.selectors import Line, events_about, line_of

CORRECTING = ("corrected", "amended", "reopened", "taken_back")
"""How the names of acts end that change what was written before."""
_COLUMNS = ("number", "event", "actor_name", "subject_label", "payload")


@dataclass(frozen=True, slots=True)
class Wanted:
    """What narrows a story; "" narrows nothing."""

    who: str = ""
    kind: str = ""
    """The first word of an act's name: "entry"."""
    step: str = ""
    """The name of a step, as acts say it."""
    only: str = ""
    """ "corrections" or "late"."""
    words: str = ""


@dataclass(frozen=True, slots=True)
class StoryPage:
    """One page of a story, newest first."""

    lines: tuple[Line, ...]
    page: int
    pages: int
    fitting: int
    """How many acts fit what is wanted."""
    total: int
    late: int
    corrections: int
    people: tuple[str, ...]
    kinds: tuple[str, ...]
    """What kinds of acts there are in the whole story, in no order."""
    steps: tuple[str, ...]
    """Steps that acts speak of, in the order of the acts."""


@dataclass(slots=True)
class _Act:
    """What is needed of an act to filter it."""

    number: int
    event: str
    who: str
    label: str
    facts: dict[str, Any] = field(default_factory=dict)
    is_late: bool = False

    @property
    def kind(self) -> str:
        return self.event.partition(".")[0]

    @property
    def is_correcting(self) -> bool:
        return self.event.rpartition(".")[2].endswith(CORRECTING)

    @property
    def step(self) -> str:
        told = self.facts.get("facts", {})
        return str(told.get("name" if self.kind == "step" else "step", ""))

    def fits(self, wanted: Wanted) -> bool:
        return (
            wanted.who in ("", self.who)
            and wanted.kind in ("", self.kind)
            and wanted.step in ("", self.step)
            and (wanted.only != "corrections" or self.is_correcting)
            and (wanted.only != "late" or self.is_late)
            and (not wanted.words or self._says(wanted.words.casefold()))
        )

    def _says(self, words: str) -> bool:
        sentence = wording.sentence(self.event, self.label, self.facts)
        said = f"{sentence} {self.facts.get('reason', '')} {self.who} {self.number}"
        return words in said.replace("\u00a0", " ").replace("\u202f", " ").casefold()


def story_page(
    subjects: Iterable[tuple[str, str]], wanted: Wanted, *, page: int = 1, per_page: int = 50
) -> StoryPage:
    """One page of the acts about these subjects, newest first; a page past the end is the last one. Two queries."""
    acts = [_act(row) for row in events_about(subjects).order_by("-number").values_list(*_COLUMNS)]
    fitting = [act for act in acts if act.fits(wanted)]
    pages = max(1, -(-len(fitting) // per_page))
    page = min(max(1, page), pages)
    numbers = [act.number for act in fitting[(page - 1) * per_page : page * per_page]]
    shown = {event.number: line_of(event) for event in AuditEvent.objects.filter(number__in=numbers)}
    return StoryPage(
        lines=tuple(shown[number] for number in numbers),
        page=page,
        pages=pages,
        fitting=len(fitting),
        total=len(acts),
        late=sum(1 for act in acts if act.is_late),
        corrections=sum(1 for act in acts if act.is_correcting),
        people=tuple(sorted({act.who for act in acts})),
        kinds=tuple({act.kind: None for act in acts}),
        steps=tuple({act.step: None for act in reversed(acts) if act.step}),
    )


def _act(row: tuple[Any, ...]) -> _Act:
    number, event, who, label, payload = row
    recorded = json.loads(payload)
    return _Act(number, event, who, label, recorded["facts"], "late" in recorded)
