"""The state of the record in words: how long it is, what was looked at, what does not hold."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from regenplant.audit.selectors import Line
from regenplant.audit.verifying.registry import Finding, Looked, Report, Step
from regenplant.documents.models import IssuedPaper
from regenplant.web.presenters.words import counted, day_and_clock, sentence_case, short_digest, thousands

MOST_SHOWN = 50
"""Findings shown on the page; the command verify_records prints them all."""


def record_sentence(number: int, head: str) -> str:
    """How long the record is and where its chain ends."""
    if number == 0:
        return "No act is recorded yet."
    return f"{thousands(number)} acts stand in the chain; its head is {short_digest(head)}."


def last_looked(line: Line | None) -> tuple[str, bool]:
    """When somebody looked last and what came of it, and whether all held."""
    if line is None:
        return "Nobody has looked at the whole record yet.", True
    facts = line.facts.get("facts", {})
    held = bool(facts.get("held"))
    result = "all records held" if held else f"{_records(int(facts.get('broken', 0)))} not hold"
    looked = dict(facts.get("looked", []))
    extent = f"{thousands(int(looked.get('acts', 0)))} acts and {thousands(int(looked.get('rows', 0)))} rows"
    return (
        f"Looked at last {day_and_clock(line.at)} by {line.who}, up to event {thousands(int(facts.get('number', 0)))}: {extent}; {result}.",
        held,
    )


def _records(number: int) -> str:
    return "one record did" if number == 1 else f"{thousands(number)} records did"


def looked_facts(line: Line | None) -> list[tuple[str, str]]:
    """How much the last look saw, and how long it took."""
    if line is None:
        return []
    facts = line.facts.get("facts", {})
    rows = [
        (sentence_case(name), thousands(int(number))) for name, number in facts.get("looked", []) if number
    ]
    return [*rows, ("Took", f"{facts.get('seconds', 0):.1f} s")]


@dataclass(frozen=True, slots=True)
class LookedLine:
    """A check that is done, or how far one is."""

    text: str
    is_done: bool
    holds: bool


def looked_line(step: Step) -> LookedLine:
    """ "Chain of acts: 6 540 acts, 0.4 s"."""
    if step.looked is None:
        of = f" of {thousands(step.total)}" if step.total else ""
        return LookedLine(f"{step.title}: {thousands(step.seen)}{of} …", is_done=False, holds=True)
    return LookedLine(_looked_words(step.looked), is_done=True, holds=not step.looked.broken)


def _looked_words(looked: Looked) -> str:
    broken = f"; {counted(looked.broken, 'finding')}" if looked.broken else ""
    return f"{looked.title}: {thousands(looked.seen)} {looked.counted}, {looked.seconds:.1f} s{broken}"


def verified_sentence(report: Report) -> str:
    """The result of a look in one sentence."""
    looked = (
        f"{thousands(report.seen('chain'))} acts, {thousands(report.seen('row'))} rows, "
        f"{counted(report.seen('signature'), 'signature')} and {counted(report.seen('plan'), 'batch plan')}"
    )
    if report.holds:
        return f"All records hold: {looked} are as they were written, nothing is missing, every lock stands. It took {report.seconds:.1f} s."
    number = len(report.findings)
    noun = "record does" if number == 1 else "records do"
    return f"{thousands(number)} {noun} not hold. Call the administrator and keep the papers; nothing here repairs it."


def finding_sentences(findings: Sequence[Finding]) -> list[str]:
    """What does not hold, records first; the missing locks, which come in dozens, as one sentence."""
    missing = sum(1 for found in findings if found.kind == "lock" and "is missing" in found.sentence)
    sentences = [
        found.sentence for found in findings if not (found.kind == "lock" and "is missing" in found.sentence)
    ]
    if missing:
        verb = "is" if missing == 1 else "are"
        sentences.append(
            f"{sentence_case(counted(missing, 'lock'))} {verb} missing in the database. The command migrate makes them anew."
        )
    return sentences


def head_sentence(head: str, number: int | None) -> str:
    """What a printed chain head says."""
    if number is None:
        return f"No act with the head {head} stands in the chain: it was cut or rewritten, or the paper is from another plant."
    return f"The printed head {head} is that of event {thousands(number)}; everything before it still stands."


@dataclass(frozen=True, slots=True)
class PaperLine:
    """A paper and the head it bears."""

    what: str
    when: str
    by: str
    head: str
    event: str
    stands: bool


def paper_lines(papers: Iterable[IssuedPaper], digests: Mapping[int, str]) -> list[PaperLine]:
    """The newest papers, each with whether its head still stands."""
    return [
        PaperLine(
            f"{sentence_case(paper.kind.replace('_', ' '))} {paper.subject_key}, issue {paper.issue_number}",
            day_and_clock(paper.issued_at),
            paper.issued_by.full_name,
            short_digest(paper.chain_head),
            thousands(paper.chain_number),
            digests.get(paper.chain_number) == paper.chain_head,
        )
        for paper in papers
    ]
