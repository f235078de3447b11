"""The story of a batch: who did what, narrowed by person and by kind of act; and the list of batches in a sentence."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from django.http import HttpRequest

from regenplant.audit.selectors import Line
from regenplant.audit.stories import CORRECTING, StoryPage, Wanted
from regenplant.core.process.lifecycle import OPEN_STATES, BatchState
from regenplant.web.presenters.bed import moment_words
from regenplant.web.presenters.words import counted, joined, sentence_case, short_digest, thousands

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
    "record": "The record",
    "decision": "The decision",
    "signature": "Signatures",
    "movement": "Movements",
}
"""How the first word of an act's name reads."""


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


@dataclass(frozen=True, slots=True)
class ActRow:
    """One act whole: what, by whom, why, when it happened and was written, and how it stands in the chain."""

    number: str
    short_digest: str
    when: str
    what: str
    who: str
    roles: str
    terminal: str
    reason: str
    written: str
    is_correction: bool
    signed: str
    """Meaning of a signature that was given with it."""


def act_rows(lines: Iterable[Line], label: str, now: datetime) -> list[ActRow]:
    """Acts as the page of the story shows them."""
    return [_act_row(line, label, now) for line in lines]


def _act_row(line: Line, label: str, now: datetime) -> ActRow:
    short = _story_row(line, label, now)
    signature = line.facts.get("signature") or {}
    return ActRow(
        number=thousands(line.number),
        short_digest=short_digest(line.digest),
        when=short.when,
        what=short.what,
        who=line.who,
        roles=line.roles,
        terminal=line.terminal,
        reason=short.reason,
        written=short.written,
        is_correction=line.event.rpartition(".")[2].endswith(CORRECTING),
        signed=str(signature.get("meaning", "")),
    )


def kinds_of(page: StoryPage) -> list[tuple[str, str]]:
    """Every kind of act there is, in the order of the table above."""
    known = [kind for kind in KINDS if kind in page.kinds]
    others = sorted(set(page.kinds) - set(KINDS))
    return [(kind, KINDS.get(kind, sentence_case(kind.replace("_", " ")))) for kind in (*known, *others)]


def only_choices(page: StoryPage) -> list[tuple[str, str]]:
    """The two short cuts, with how many there are."""
    return [
        ("corrections", f"Only corrections ({page.corrections})"),
        ("late", f"Only late ({page.late})"),
    ]


def story_sentence(page: StoryPage) -> str:
    """ "41 acts by M. Tarn and J. Fenn; 2 written late, one corrects. Newest first."."""
    if not page.total:
        return "Nothing is written yet."
    tail = []
    if page.late:
        tail.append(f"{page.late} written late")
    if page.corrections:
        tail.append(f"{counted(page.corrections, 'correction')}")
    more = f"; {joined(tail)}" if tail else ""
    return f"{sentence_case(counted(page.total, 'act'))} by {joined(page.people)}{more}. Newest first."


def shown_words(page: StoryPage, wanted: Wanted) -> str:
    """How many acts fit, and which page of them this is."""
    if not page.fitting:
        return ""
    of = f", page {page.page} of {page.pages}" if page.pages > 1 else ""
    if wanted == Wanted():
        return f"{sentence_case(counted(page.fitting, 'act'))}{of}."
    verb = "fits" if page.fitting == 1 else "fit"
    return f"{sentence_case(counted(page.fitting, 'act'))} of {thousands(page.total)} {verb}{of}."


def chosen_words(wanted: Wanted, page: StoryPage) -> str:
    """What the filters say: "Signatures, by QC technician 1", "late acts only, step Backwash"; "" while everything is shown."""
    kind = dict(kinds_of(page)).get(wanted.kind) or (f"acts of the kind {wanted.kind}" if wanted.kind else "")
    only = {"corrections": "corrections only", "late": "late acts only"}.get(wanted.only, "")
    parts = [
        kind,
        only,
        f"by {wanted.who}" if wanted.who else "",
        f"step {wanted.step}" if wanted.step else "",
        f"with “{wanted.words}”" if wanted.words else "",
    ]
    return ", ".join(part for part in parts if part)


@dataclass(frozen=True, slots=True)
class PageLink:
    word: str
    url: str


def page_links(request: HttpRequest, page: StoryPage) -> list[PageLink]:
    """Ways to the newer and the older page; none where all acts are on one."""
    found = []
    for word, number in (("Newer", page.page - 1), ("Older", page.page + 1)):
        if 1 <= number <= page.pages:
            asked = request.GET.copy()
            asked["page"] = str(number)
            found.append(PageLink(word, f"?{asked.urlencode()}"))
    return found


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
