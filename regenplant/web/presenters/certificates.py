"""Certificates of quality in words: how one stands, what it says, what was printed of it."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from regenplant import units
from regenplant.documents.certificate.content import CertificateContent, Measured
from regenplant.documents.certificate.standing import CertificateStanding, CertificateState
from regenplant.documents.models import Certificate
from regenplant.web.presenters.words import counted, joined, sentence_case

MOST_NAMED = 4
"""Tanks that a line of the listing names; the page of the certificate names them all."""
GROUP = 4
STATE_WORDS = {
    CertificateState.VALID: ("passed", "Valid"),
    CertificateState.REPLACED: ("rework", "Replaced"),
    CertificateState.WITHDRAWN: ("refused", "Withdrawn"),
}
"""Shape of the state language, and word."""


def state_mark(standing: CertificateStanding) -> tuple[str, str]:
    if not standing.is_untouched:
        return "failed", "Not what was issued"
    return STATE_WORDS[standing.state]


def state_sentence(standing: CertificateStanding) -> str:
    """How it stands, in one sentence."""
    if not standing.is_untouched:
        return "What is stored is not what was issued: its digest is another. Call the administrator, and rely on no print of it."
    if standing.state is CertificateState.VALID:
        return "It holds: the record it rests on stands as it did when it was issued."
    is_withdrawn = standing.state is CertificateState.WITHDRAWN
    word, why = ("withdrawn", "Reason: ") if is_withdrawn else ("replaced", "")
    return f"It is {word} and every print of it is void. {why}{' '.join(standing.reasons)}"


def grouped_digest(digest: str) -> str:
    """The whole digest in groups of four, as the paper bears its first eight."""
    return " ".join(digest[i : i + GROUP] for i in range(0, len(digest), GROUP))


def digest_answer(certificate: Certificate, typed: str) -> tuple[str, str]:
    """(tone, sentence) about a digest that somebody typed from a paper; ("", "") for nothing typed."""
    wanted = "".join(typed.split()).lower()
    if not wanted:
        return "", ""
    if len(wanted) < 2 * GROUP or any(c not in "0123456789abcdef" for c in wanted):
        return "near", "Type at least the first two groups of the digest: letters a to f and figures."
    if certificate.digest.startswith(wanted):
        return "good", f"The digest on the paper is that of {certificate.number}."
    return "low", f"This is not the digest of {certificate.number}. The paper is not this certificate."


@dataclass(frozen=True, slots=True)
class MeasuredRow:
    batch: str
    name: str
    value: str
    other: str
    limit: str
    method: str
    instrument: str


def measured_rows(content: CertificateContent, system: str) -> tuple[MeasuredRow, ...]:
    return tuple(_row(batch.number, one, system) for batch in content.batches for one in batch.measured)


def _row(batch: str, one: Measured, system: str) -> MeasuredRow:
    is_known = one.kind in units.KINDS
    limit = one.limit_words or (units.limit_words(one.low, one.high, one.kind, system) if is_known else "")
    return MeasuredRow(
        batch=batch,
        name=f"{sentence_case(one.name)}{f', tank {one.tank_serial}' if one.tank_serial else ''}",
        value=units.format_quantity(one.value, one.kind, system) if is_known else one.as_typed,
        other=units.other_system(one.value, one.kind, system) if is_known else "",
        limit=limit or "none",
        method=sentence_case("; ".join(filter(None, (one.method, one.basis)))),
        instrument=f"{one.instrument}, {one.calibration}" if one.instrument else "",
    )


@dataclass(frozen=True, slots=True)
class PrintRow:
    """One print: when, by whom, and whether it still holds."""

    number: int
    at: datetime
    who: str
    sha256: str
    is_void: bool


def print_rows(standing: CertificateStanding) -> tuple[PrintRow, ...]:
    return tuple(
        PrintRow(row.issue_number, row.issued_at, row.issued_by.full_name, row.sha256, not standing.is_valid)
        for row in standing.prints
    )


def about_sentence(content: CertificateContent) -> str:
    tanks = joined(tank.serial for tank in content.tanks)
    return f"{counted(len(content.tanks), 'tank').capitalize()} for {content.customer}: {tanks}."


@dataclass(frozen=True, slots=True)
class CertificateRow:
    """One line of the list."""

    number: str
    at: datetime
    customer: str
    tanks: str
    mark: str
    word: str


def certificate_row(standing: CertificateStanding, content: CertificateContent) -> CertificateRow:
    mark, word = state_mark(standing)
    row = standing.certificate
    serials = [tank.serial for tank in content.tanks]
    tanks = ", ".join(serials[:MOST_NAMED])
    if len(serials) > MOST_NAMED:
        tanks += f" and {len(serials) - MOST_NAMED} more"
    return CertificateRow(row.number, row.issued_at, content.customer, tanks, mark, word)
