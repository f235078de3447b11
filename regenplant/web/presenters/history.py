"""The story of a batch: who did what, narrowed by person and by kind of act; and the list of batches in a sentence."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from regenplant.audit.selectors import Line
from regenplant.core.process.lifecycle import OPEN_STATES, BatchState
from regenplant.web.presenters.bed import moment_words
from regenplant.web.presenters.words import counted, joined, sentence_case

KINDS = {
    "batch": "The batch",
    "step": "Steps",
    "entry": "Entries",
    "reading": "Rinse readings",
    "qc": "QC measurements",
    "deviation": "Deviations",
    "tank": "Tanks",
    "chemical": "Chemicals",
    "vessel": "The vessel",
    "resin": "Resin",
    "paper": "Papers",
}
"""How the first word of an act's name reads."""


def kind_of(line: Line) -> str:
    """The kind of an act: the first word of its name."""
    return line.event.split(".")[0]


@dataclass(frozen=True, slots=True)
class StoryRow:
    """One act, short: the record it is about is known on the page."""

    when: str
    what: str
    who: str
    reason: str
    written: str
    """When it was written down, where that was late; else ""."""


def story_rows(lines: Iterable[Line], label: str, now: datetime) -> list[StoryRow]:
    """Acts without the name of their own record in front ("Batch B-10412: ")."""
    return [_story_row(line, label, now) for line in lines]


def _story_row(line: Line, label: str, now: datetime) -> StoryRow:
    what = sentence_case(line.sentence.removeprefix(f"{label}: "))
    reason = line.reason if line.reason and line.reason not in line.sentence else ""
    written = moment_words(line.at, now) if line.is_late else ""
    return StoryRow(moment_words(line.occurred_at, now), what, line.who, reason, written)


def people_in(story: Sequence[Line]) -> list[tuple[str, str]]:
    """Everybody who acted, by name."""
    return [(name, name) for name in sorted({line.who for line in story})]


def kinds_in(story: Sequence[Line]) -> list[tuple[str, str]]:
    """Every kind of act there is, in the order of the table above."""
    found = {kind_of(line) for line in story}
    known = [kind for kind in KINDS if kind in found]
    others = sorted(found - set(KINDS))
    return [(kind, KINDS.get(kind, sentence_case(kind.replace("_", " ")))) for kind in (*known, *others)]


def shown_lines(story: Sequence[Line], who: str, kind: str) -> list[Line]:
    """The lines of one person and one kind; empty means all. A name that fits nobody shows nothing."""
    return [line for line in story if who in ("", line.who) and kind in ("", kind_of(line))]


def story_sentence(story: Sequence[Line]) -> str:
    """ "41 acts by M. Tarn and J. Fenn, 2 of them written late."."""
    if not story:
        return "Nothing is written yet."
    late = sum(1 for line in story if line.is_late)
    tail = f", {late} of them written late" if late else ""
    people = joined(name for name, _ in people_in(story))
    return f"{sentence_case(counted(len(story), 'act'))} by {people}{tail}. Newest first."


def batches_sentence(counts: dict[str, int]) -> str:
    """ "36 batches; 6 are open: 2 running, 1 held."."""
    total = sum(counts.values())
    if not total:
        return "No batch was started yet. The floor shows what can start."
    still_open = [s for s in OPEN_STATES if counts.get(s.value) and s is not BatchState.FAILED]
    number = sum(counts[state.value] for state in still_open)
    said = sentence_case(counted(total, "batch", "batches"))
    if not number:
        return f"{said}; none is open."
    parts = [f"{counts[state.value]} {_WORDS.get(state, state.value)}" for state in still_open]
    return f"{said}; {number} {'is' if number == 1 else 'are'} open: {', '.join(parts)}."


_WORDS = {BatchState.AWAITING_QC: "awaiting QC", BatchState.PASSED: "passed", BatchState.FILLED: "to release"}
