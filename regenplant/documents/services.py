"""Issuing a paper: drawn from the record as it stands, counted, hashed, and written down as an act."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass

from django.db.models import Max

from regenplant.audit.by import By
from regenplant.audit.selectors import chain_head
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.batches.models import Batch
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.documents import batch_sheet, selectors, tank_tag
from regenplant.documents.issue import Issue
from regenplant.documents.models import IssuedPaper
from regenplant.documents.page import PageSize, page_size
from regenplant.plant.selectors import profile
from regenplant.tanks.models import Tank

Render = Callable[[str, Issue, PageSize, str], bytes]


@dataclass(frozen=True, slots=True)
class Paper:
    """A kind of paper: its name, its subject, the sizes it comes in, and how it is drawn."""

    kind: str
    name: str
    subject: str
    sizes: tuple[PageSize, ...]
    render: Render
    counted_with: str = ""
    """Kind of the paper whose issues it is counted with, because it is a part of it; "" for itself."""

    @property
    def series(self) -> str:
        return self.counted_with or self.kind


@dataclass(frozen=True, slots=True)
class IssuedDocument:
    """The bytes handed out, with the name of the file."""

    content: bytes
    file_name: str
    issue_number: int
    sha256: str


def _sheet(wanted: batch_sheet.Wanted) -> Render:
    """Draws the batch sheet, or one part of it."""

    def render(key: str, issue: Issue, size: PageSize, system: str) -> bytes:
        return batch_sheet.draw_batch_sheet(selectors.batch_sheet_content(key, issue), size, system, wanted)

    return render


def _tank_tag(key: str, issue: Issue, size: PageSize, system: str) -> bytes:
    return tank_tag.draw_tank_tags((selectors.tank_tag_content(key, issue),), size, system)


def _batch_tags(key: str, issue: Issue, size: PageSize, system: str) -> bytes:
    return tank_tag.draw_tank_tags(selectors.batch_tag_contents(key, issue), size, system)


PAPERS = {
    paper.kind: paper
    for paper in (
        Paper("batch_sheet", "batch sheet", "batch", batch_sheet.SIZES, _sheet(batch_sheet.Wanted.WHOLE)),
        Paper(
            "work_order",
            "work order",
            "batch",
            batch_sheet.SIZES,
            _sheet(batch_sheet.Wanted.WORK_ORDER),
            "batch_sheet",
        ),
        Paper(
            "calculation",
            "calculation appendix",
            "batch",
            batch_sheet.SIZES,
            _sheet(batch_sheet.Wanted.APPENDIX),
            "batch_sheet",
        ),
        Paper("tank_tag", "tank tag", "tank", tank_tag.SIZES, _tank_tag),
        Paper("batch_tags", "tank tags", "batch", tank_tag.SIZES, _batch_tags),
    )
}


@use_case("paper.issued", permission="paper.issue")
def issue_paper(*, by: By, kind: str, key: str, size: str = "a4", system: str = "metric") -> Outcome:
    """Draw a paper of the record as it stands, count its issue, and record its hash. ``result`` is an IssuedDocument.

    ``kind`` is a key of ``PAPERS``; the parts of a batch sheet are counted with it. ``key`` a batch number or tank serial; ``size`` "a4", "letter" or, for tags, "label";
    ``system`` says which units stand first.

    Raises: RecordRefused for an unknown subject, OutOfRange for a size that the paper does not come in.
    """
    paper = PAPERS.get(kind)
    if paper is None:
        raise OutOfRange(
            f"There is no paper “{kind[:20]}”. There are: {', '.join(PAPERS)}.", code="unknown_paper"
        )
    chosen = page_size(size, paper.sizes)
    subject_key, label, version = _subject(paper, key)
    series = [one.kind for one in PAPERS.values() if one.series == paper.series]
    newest = IssuedPaper.objects.filter(kind__in=series, subject_key=subject_key).aggregate(
        newest=Max("issue_number")
    )["newest"]
    issue = _issue(by, (newest or 0) + 1, version)
    content = paper.render(subject_key, issue, chosen, system)
    sha256 = hashlib.sha256(content).hexdigest()
    IssuedPaper.objects.create(
        kind=kind,
        subject_key=subject_key,
        issue_number=issue.number,
        page_size=chosen.key,
        sha256=sha256,
        issued_at=by.at,
        issued_by=by.user,
    )
    return Outcome(
        subject=(paper.subject, subject_key, label),
        facts={
            "paper": paper.name,
            "issue": issue.number,
            "size": chosen.name,
            "sha256": sha256,
            "short": sha256[:8],
        },
        result=IssuedDocument(content, _file_name(subject_key, kind, issue.number), issue.number, sha256),
    )


def _file_name(key: str, kind: str, number: int) -> str:
    safe = "".join(c if c.isascii() and c.isalnum() else "-" for c in f"{key}-{kind}")
    return f"{safe}-{number}.pdf"


def _issue(by: By, number: int, record_version: int) -> Issue:
    chain_number, head = chain_head()
    return Issue(
        number=number,
        printed_at=selectors.at_plant(by.at, profile()),
        printed_by=by.user.full_name,
        chain_number=chain_number,
        chain_head=head,
        record_version=record_version,
    )


def _subject(paper: Paper, key: str) -> tuple[str, str, int]:
    """The subject's key as stored, its label, and the version of its record. Raises RecordRefused when there is none."""
    found: Batch | Tank | None
    if paper.subject == "batch":
        found = Batch.objects.filter(number__iexact=key.strip()).first()
    else:
        found = Tank.objects.filter(serial__iexact=key.strip()).first()
    if found is None:
        raise RecordRefused(f"There is no {paper.subject} {key[:24]} here.", code=f"unknown_{paper.subject}")
    return str(found), f"{paper.subject.capitalize()} {found}", found.version


say("paper.issued", "{subject}: {paper} printed, issue {issue}, {size}, file {short}")
