"""Issuing a paper: drawn from the record as it stands, counted, hashed, and written down as an act."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from django.db.models import Max

from regenplant.audit.by import By
from regenplant.audit.selectors import chain_head
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.batches.models import Batch
from regenplant.chemicals.models import ChemicalLot, Place
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.core.process.canonical import to_plain
from regenplant.documents import (
    batch_sheet,
    chemical_label,
    connection_label,
    day_plan_paper,
    discharge_report,
    drum_label,
    investigation,
    lot_sheet,
    refusal_letter,
    sample_label,
    selectors,
    tank_tag,
    use_report,
)
from regenplant.documents.batch_record import paper
from regenplant.documents.batch_record.gathering import batch_record_content
from regenplant.documents.certificate import paper as certificate_paper
from regenplant.documents.certificate.standing import (
    KIND as CERTIFICATE,
)
from regenplant.documents.certificate.standing import certificate_numbered, content_of, standing_of
from regenplant.documents.day_plan_content import day_plan_content, plan_to_print
from regenplant.documents.issue import Issue
from regenplant.documents.models import IssuedPaper
from regenplant.documents.page import PageSize, page_size
from regenplant.keeping import container, verify_copy
from regenplant.keeping.copy import COPIED, Made, batch_copy
from regenplant.plant.selectors import profile
from regenplant.quality.retained import sample_numbered
from regenplant.tanks.models import Tank
from regenplant.use.selectors.reports import report_numbered
from regenplant.waste.month import content_of as month_content_of
from regenplant.waste.month import report_with

BATCH_RECORD = "batch_record"
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
    def subject_kind(self) -> str:
        """How acts name the subject."""
        return "retained_sample" if self.subject == "sample" else self.subject

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


def _batch_record(key: str, issue: Issue, size: PageSize, system: str) -> bytes:
    return paper.draw_batch_record(batch_record_content(key, issue), size, system)


def _sample_label(key: str, issue: Issue, size: PageSize, system: str) -> bytes:
    return sample_label.draw_sample_label(sample_label.sample_label_content(key, issue), size, system)


def _drum_label(key: str, issue: Issue, size: PageSize, system: str, drums: int = 1) -> bytes:
    return drum_label.draw_drum_label(drum_label.drum_label_content(key, issue), size, system, drums)


def _investigation(key: str, issue: Issue, size: PageSize, system: str) -> bytes:
    return investigation.draw_investigation(investigation.investigation_content(key, issue), size)


def _refusal_letter(key: str, issue: Issue, size: PageSize, system: str) -> bytes:
    return refusal_letter.draw_letter(refusal_letter.letter_content(key, issue), size)


def _lot_sheet(key: str, issue: Issue, size: PageSize, system: str) -> bytes:
    return lot_sheet.draw_lot_sheet(lot_sheet.lot_sheet_content(key, issue), size, system)


def _day_plan(key: str, issue: Issue, size: PageSize, system: str, day: date | None = None) -> bytes:
    return day_plan_paper.draw_day_plan(day_plan_content(key, issue, day), size, system)


def _certificate(key: str, issue: Issue, size: PageSize, system: str) -> bytes:
    certificate = certificate_numbered(key)
    assert certificate is not None  # _subject has found it
    return certificate_paper.draw_certificate(
        content_of(certificate), certificate.digest, issue, size, system
    )


def _discharge_report(key: str, issue: Issue, size: PageSize, system: str) -> bytes:
    report = report_with(key)
    assert report is not None  # _subject has found it
    return discharge_report.draw_discharge_report(report, month_content_of(report), issue, size, system)


def _use_report(key: str, issue: Issue, size: PageSize, system: str) -> bytes:
    row = report_numbered(key)
    assert row is not None  # _subject has found it
    return use_report.draw_use_report(use_report.use_report_content(row, issue), size, system)


PAPERS = {
    one.kind: one
    for one in (
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
        Paper(BATCH_RECORD, "batch record", "batch", paper.SIZES, _batch_record),
        Paper(sample_label.KIND, "sample label", "sample", sample_label.SIZES, _sample_label),
        Paper(drum_label.KIND, "label of a metal drum", "batch", drum_label.SIZES, _drum_label),
        Paper("investigation", "investigation", "investigation", investigation.SIZES, _investigation),
        Paper(refusal_letter.KIND, "letter of refusal", "tank_visit", refusal_letter.SIZES, _refusal_letter),
        Paper(lot_sheet.KIND, "sheet of a resin lot", "resin_lot", lot_sheet.SIZES, _lot_sheet),
        Paper(day_plan_paper.KIND, "day plan for the wall", "day_plan", day_plan_paper.SIZES, _day_plan),
        Paper(use_report.KIND, "audit of use", use_report.KIND, use_report.SIZES, _use_report),
        Paper(CERTIFICATE, "certificate of quality", "certificate", certificate_paper.SIZES, _certificate),
        Paper(
            discharge_report.KIND,
            "discharge report",
            "discharge_report",
            discharge_report.SIZES,
            _discharge_report,
        ),
    )
}


@use_case("paper.issued", permission="paper.issue")
def issue_paper(
    *,
    by: By,
    kind: str,
    key: str,
    size: str = "a4",
    system: str = "metric",
    drums: int = 1,
    day: date | None = None,
) -> Outcome:
    """Draw a paper of the record as it stands, count its issue, and record its hash. ``result`` is an IssuedDocument.

    ``kind`` is a key of ``PAPERS``; the parts of a batch sheet are counted with it. ``key`` a batch number or tank serial; ``size`` "a4", "letter" or, for tags, "label";
    ``system`` says which units stand first; ``drums``, of the label of a metal drum alone: for how many of them;
    ``day``, of a day plan alone: the only day that is printed.

    Raises: RecordRefused for an unknown subject, OutOfRange for a size that the paper does not come in, for too many drums, or for a day
    that the plan does not hold.
    """
    wanted = PAPERS.get(kind)
    if wanted is None:
        raise OutOfRange(
            f"There is no paper “{kind[:20]}”. There are: {', '.join(PAPERS)}.", code="unknown_paper"
        )
    chosen = page_size(size, wanted.sizes)
    subject_key, label, version = _subject(wanted, key)
    series = [one.kind for one in PAPERS.values() if one.series == wanted.series]
    issue = _issue(by, _newest_issue(series, subject_key) + 1, version)
    name = wanted.name
    if kind == drum_label.KIND:
        content = _drum_label(subject_key, issue, chosen, system, drums)
        name += f" for {drums} drums" if drums > 1 else ""
    elif kind == day_plan_paper.KIND:
        content = _day_plan(subject_key, issue, chosen, system, day)
        name += f", {day:%Y-%m-%d} alone" if day else ""
    else:
        content = wanted.render(subject_key, issue, chosen, system)
    sha256 = _count(by, kind, subject_key, issue, chosen, content)
    return Outcome(
        subject=(wanted.subject_kind, subject_key, label),
        facts={
            "paper": name,
            "issue": issue.number,
            "size": chosen.name,
            "sha256": sha256,
            "short": sha256[:8],
        },
        related=investigation.related_of(subject_key) if wanted.subject == "investigation" else (),
        result=IssuedDocument(content, _file_name(subject_key, kind, issue.number), issue.number, sha256),
    )


def _newest_issue(kinds: list[str], subject_key: str) -> int:
    rows = IssuedPaper.objects.filter(kind__in=kinds, subject_key=subject_key)
    return rows.aggregate(newest=Max("issue_number"))["newest"] or 0


def _count(by: By, kind: str, subject_key: str, issue: Issue, size: PageSize, content: bytes) -> str:
    """Keep that this issue was handed out; returns the hash of its bytes."""
    sha256 = hashlib.sha256(content).hexdigest()
    IssuedPaper.objects.create(
        kind=kind,
        subject_key=subject_key,
        issue_number=issue.number,
        page_size=size.key,
        sha256=sha256,
        chain_number=issue.chain_number,
        chain_head=issue.chain_head,
        issued_at=by.at,
        issued_by=by.user,
    )
    return sha256


@use_case("chemical_label.printed", permission="paper.issue")
def print_chemical_label(
    *, by: By, lot_code: str, like_issue: int | None = None, size: str = "label", system: str = "metric"
) -> Outcome:
    """Print the label of a chemical lot, with the codes of the data sheet in force for it. ``result`` is an IssuedDocument.

    ``like_issue`` prints an earlier label once more, word for word, whatever was revised since; it counts as a new issue.

    Raises: RecordRefused for an unknown lot or issue, for a lot without a data sheet in force; OutOfRange for a size.
    """
    lot = ChemicalLot.objects.select_related("data_sheet").filter(code__iexact=lot_code.strip()).first()
    if lot is None:
        raise RecordRefused(f"There is no chemical lot {lot_code[:24]} here.", code="unknown_lot")
    chosen = page_size(size, chemical_label.SIZES)
    says = (
        chemical_label.label_content(lot)
        if like_issue is None
        else chemical_label.printed_before(lot, like_issue)
    )
    issue = _issue(by, _newest_issue([chemical_label.KIND], lot.code) + 1, 1)
    content = chemical_label.draw_chemical_label(says, issue, chosen, system)
    sha256 = _count(by, chemical_label.KIND, lot.code, issue, chosen, content)
    again = f", as issue {like_issue} said it" if like_issue is not None else ""
    return Outcome(
        subject=("chemical_lot", str(lot.pk), f"Lot {lot.code}"),
        facts={
            "issue": issue.number,
            "again": again,
            "sheet": f"{says.sheet_supplier}, {says.sheet_revised_on}",
            "label": to_plain(says),
            "sha256": sha256,
            "short": sha256[:8],
        },
        result=IssuedDocument(
            content, _file_name(lot.code, chemical_label.KIND, issue.number), issue.number, sha256
        ),
    )


@use_case("connection_label.printed", permission="paper.issue")
def print_connection_label(
    *, by: By, tank_code: str, like_issue: int | None = None, size: str = "label"
) -> Outcome:
    """Print the label of a tank's fill connection. ``result`` is an IssuedDocument.

    ``like_issue`` prints an earlier label once more, word for word, whatever was changed since; it counts as a new issue.

    Raises: RecordRefused for an unknown tank or issue, a connection without a code, no data sheet in force; OutOfRange for a size.
    """
    place = Place.objects.filter(code__iexact=tank_code.strip(), kind=Place.Kind.BULK_TANK).first()
    if place is None:
        raise RecordRefused(f"There is no bulk tank {tank_code[:20]} here.", code="unknown_tank")
    chosen = page_size(size, connection_label.SIZES)
    says = (
        connection_label.connection_label_content(place)
        if like_issue is None
        else connection_label.printed_before(place, like_issue)
    )
    kind = connection_label.KIND
    issue = _issue(by, _newest_issue([kind], place.code) + 1, place.version)
    content = connection_label.draw_connection_label(says, issue, chosen)
    sha256 = _count(by, kind, place.code, issue, chosen, content)
    return Outcome(
        subject=("place", str(place.pk), f"Tank {place.code}"),
        facts={
            "issue": issue.number,
            "again": f", as issue {like_issue} said it" if like_issue is not None else "",
            "code": says.code,
            "sheet": says.sheet,
            "label": to_plain(says),
            "sha256": sha256,
            "short": sha256[:8],
        },
        result=IssuedDocument(content, _file_name(place.code, kind, issue.number), issue.number, sha256),
    )


@dataclass(frozen=True, slots=True)
class CopiedBatch:
    """A copy handed out: the container, its name, and what does not hold in it (nothing, as it should be)."""

    content: bytes
    file_name: str
    record_sha256: str
    findings: tuple[str, ...]


@use_case(COPIED, permission="batch.copy")
def copy_batch(*, by: By, batch_id: int, document: IssuedDocument) -> Outcome:
    """Make a complete copy of a batch with ``document``, the batch record just printed. ``result`` is a CopiedBatch.

    The digests of record, print and container stand in the act, so that the plant can say later which copies it made. The copy
    is verified before it goes out; what does not hold is written down and handed out with it, never mended.

    Raises: RecordRefused for an unknown batch, or for a print that was not issued as this batch's record.
    """
    batch = Batch.objects.filter(pk=batch_id).first()
    if batch is None:
        raise RecordRefused("There is no such batch here.", code="unknown_batch")
    issued = IssuedPaper.objects.filter(
        kind=BATCH_RECORD,
        subject_key=batch.number,
        sha256=document.sha256,
        issue_number=document.issue_number,
    )
    if not issued.exists():
        raise RecordRefused(
            f"The print that is to go with the copy is no issued record of {batch.number}. Print the batch record first.",
            code="not_this_record",
        )
    made = Made(
        at=by.at.isoformat(),
        by=by.user.full_name,
        roles=", ".join(by.user.role_names()),
        terminal=by.terminal,
        paper_sha256=document.sha256,
        paper_issue=document.issue_number,
    )
    record = batch_copy(batch.number, made)
    content = container.packed(record, document.content, batch.number, profile().name)
    verified = verify_copy.verify(content)
    findings = tuple(finding.sentence for finding in verified.findings)
    return Outcome(
        subject=("batch", batch.number, f"Batch {batch.number}"),
        facts={
            "record_sha256": verified.digest,
            "container_sha256": hashlib.sha256(content).hexdigest(),
            "paper_sha256": document.sha256,
            "short": verified.digest[:8],
            "findings": list(findings[:20]),
        },
        result=CopiedBatch(
            content, container.file_name(batch.number, verified.digest), verified.digest, findings
        ),
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


def _subject(wanted: Paper, key: str) -> tuple[str, str, int]:
    """The subject's key as stored, its label, and the version of its record. Raises RecordRefused when there is none."""
    found: Batch | Tank | None
    if wanted.subject == "certificate":
        return _certificate_to_print(key)
    if wanted.subject == discharge_report.KIND:
        month = report_with(key)
        if month is None:
            raise RecordRefused(f"There is no discharge report {key[:24]} here.", code="unknown_report")
        return month.key, f"Discharge report {month.month}", month.revision
    if wanted.subject == "investigation":
        return *investigation.subject_of(key), 1
    if wanted.subject == "tank_visit":
        visit = refusal_letter.refused_visit(key)
        return visit.number, visit.tank.serial, visit.version
    if wanted.subject == lot_sheet.KIND:
        lot = lot_sheet.lot_of(key)
        return lot.code, f"Resin lot {lot.code}", 1
    if wanted.subject == day_plan_paper.KIND:
        plan = plan_to_print(key)
        return plan.number, f"Day plan {plan.number}", plan.version
    if wanted.subject == use_report.KIND:
        report = report_numbered(key)
        if report is None:
            raise RecordRefused(f"There is no report {key[:24]} here.", code="unknown_report")
        return report.number, f"Report of use {report.number}", 1
    if wanted.subject == "sample":
        sample = sample_numbered(key)
        if sample is None:
            raise RecordRefused(f"There is no sample {key[:24]} here.", code="unknown_sample")
        return sample.number, f"Sample {sample.number}", 1
    if wanted.subject == "batch":
        found = Batch.objects.filter(number__iexact=key.strip()).first()
    else:
        found = Tank.objects.filter(serial__iexact=key.strip()).first()
    if found is None:
        raise RecordRefused(
            f"There is no {wanted.subject} {key[:24]} here.", code=f"unknown_{wanted.subject}"
        )
    return str(found), f"{wanted.subject.capitalize()} {found}", found.version


def _certificate_to_print(key: str) -> tuple[str, str, int]:
    """Raises RecordRefused for a certificate that is not known, or that does not hold any more."""
    certificate = certificate_numbered(key)
    if certificate is None:
        raise RecordRefused(f"There is no certificate {key[:24]} here.", code="unknown_certificate")
    standing = standing_of(certificate)
    if not standing.is_valid:
        why = " ".join(standing.reasons) or "Its content is not what was issued."
        raise RecordRefused(
            f"{certificate.number} is {standing.state.value} and is not printed any more. {why}",
            code="certificate_void",
        )
    return certificate.number, f"Certificate {certificate.number}", 1


say("paper.issued", "{subject}: {paper} printed, issue {issue}, {size}, file {short}")
say(
    "chemical_label.printed",
    "{subject}: label printed, issue {issue}{again}, codes from the data sheet of {sheet}, file {short}",
)
say(
    "connection_label.printed",
    "{subject}: label of its fill connection {code} printed, issue {issue}{again}, codes from the data sheet of {sheet}, file {short}",
)
say(COPIED, "{subject} was copied whole, record {short}")
