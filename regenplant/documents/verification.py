"""Papers that left the printer: the head of the chain each of them bears still stands, and no issue is missing. Certificates: their
content still has its digest, and no number is missing."""

from __future__ import annotations

from collections.abc import Iterator

from regenplant.audit.selectors import digests_of_acts
from regenplant.audit.verifying.registry import Check, Finding, Look, register
from regenplant.audit.verifying.sequences import missing_numbers, shown_gap
from regenplant.core.process.canonical import digest
from regenplant.documents.models import Certificate, IssuedPaper

AT_ONCE = 500
FIRST = 10001
"""Of the certificates."""


def check_papers(look: Look) -> Iterator[Finding]:
    """Each paper's head against the chain as it is now."""
    issues: dict[tuple[str, str], list[int]] = {}
    waiting: list[IssuedPaper] = []
    for paper in IssuedPaper.objects.order_by("pk").iterator(1000):
        look.saw()
        issues.setdefault((paper.kind, paper.subject_key), []).append(paper.issue_number)
        if paper.chain_number:
            waiting.append(paper)
        if len(waiting) >= AT_ONCE:
            yield from _heads(waiting)
            waiting = []
    yield from _heads(waiting)
    for (kind, key), numbers in issues.items():
        for gap in missing_numbers(numbers, 1):
            yield Finding("paper", f"Issue {shown_gap(gap)} missing of the {_words(kind)} of {key}.")


def _heads(papers: list[IssuedPaper]) -> Iterator[Finding]:
    stands = digests_of_acts(paper.chain_number for paper in papers)
    for paper in papers:
        if stands.get(paper.chain_number) != paper.chain_head:
            yield Finding(
                "paper",
                f"The {_words(paper.kind)} of {paper.subject_key}, issue {paper.issue_number}, was printed with the head "
                f"{paper.chain_head[:4]} {paper.chain_head[4:8]} of event {paper.chain_number}, which no longer stands: the chain was cut "
                "or written anew.",
            )


def check_certificates(look: Look) -> Iterator[Finding]:
    """Each certificate against its digest, and the row of numbers."""
    numbers: list[int] = []
    for row in Certificate.objects.order_by("pk").iterator(500):
        look.saw()
        numbers.append(int(row.number.partition("-")[2]))
        if digest(row.content) != row.digest:
            yield Finding(
                "certificate",
                f"Certificate {row.number} does not say any more what was issued: its content has another digest.",
            )
    for gap in missing_numbers(numbers, FIRST):
        yield Finding("certificate", f"Certificate {shown_gap(gap)} is missing.")


def _words(kind: str) -> str:
    return kind.replace("_", " ")


register(Check("paper", "Heads on papers", "papers with a head", check_papers), place=90)
register(Check("certificate", "Certificates", "certificates of quality", check_certificates), place=91)
