"""Paper forms in words."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

from django.urls import reverse

from regenplant.audit.selectors import Line
from regenplant.keeping.models import PaperForm
from regenplant.keeping.selectors import FormBoard
from regenplant.web.presenters.bed import moment_words
from regenplant.web.presenters.words import counted, day_and_clock, sentence_case

State = PaperForm.State
KINDS = PaperForm.Kind.choices
MARKS = {
    State.ISSUED: "waiting",
    State.ENTERING: "running",
    State.ENTERED: "awaiting_qc",
    State.CONFIRMED: "done",
    State.SPOILED: "scrapped",
    State.MISSING: "check",
}


@dataclass(frozen=True, slots=True)
class FormRow:
    number: str
    kind: str
    batch: str
    mark: str
    says: str


@dataclass(frozen=True, slots=True)
class Pad:
    """Forms that were issued together and are not used yet."""

    first: str
    title: str
    words: str
    numbers: tuple[str, ...]
    is_printed: bool


@dataclass(frozen=True, slots=True)
class ActRow:
    when: str
    what: str
    written: str
    reason: str


def row(form: PaperForm) -> FormRow:
    batch = form.batch.number if form.batch else ""
    return FormRow(form.number, form.get_kind_display(), batch, MARKS[State(form.state)], _says(form))


def _says(form: PaperForm) -> str:
    who = form.transcriber.full_name if form.transcriber else ""
    if form.state == State.ENTERING:
        return f"{who} enters it" + (f"; sent back: {form.sent_back}" if form.sent_back else "")
    if form.state == State.ENTERED:
        return f"entered by {who}, another person confirms it"
    if form.state == State.CONFIRMED:
        return f"entered by {who}, confirmed by {form.confirmed_by.full_name if form.confirmed_by else ''}"
    if form.state in (State.SPOILED, State.MISSING):
        return f"{form.get_state_display()}: {form.closing_reason}"
    return f"issued {day_and_clock(form.issued_at)} by {form.issued_by.full_name}"


def pads(forms: Iterable[PaperForm]) -> list[Pad]:
    """Unused forms by the pad they were issued with."""
    by_pad: dict[str, list[PaperForm]] = {}
    for form in forms:
        by_pad.setdefault(form.pad, []).append(form)
    return [_pad(first, members) for first, members in by_pad.items()]


def _pad(first: str, members: Sequence[PaperForm]) -> Pad:
    form = members[0]
    about = f" for {form.batch.number}" if form.batch else ", empty"
    prints = max(member.prints for member in members)
    printed = "not printed yet" if prints == 0 else "printed" if prints == 1 else f"printed {prints} times"
    return Pad(
        first,
        f"{sentence_case(form.get_kind_display())}{about}",
        f"{counted(len(members), 'form')}, {printed}; {_says(form)}",
        tuple(member.number for member in members),
        prints > 0,
    )


def span(forms: Sequence[PaperForm]) -> str:
    """ "form P-10001", "forms P-10001 to P-10010"."""
    if len(forms) == 1:
        return f"form {forms[0].number}"
    return f"forms {forms[0].number} to {forms[-1].number}"


def board_sentence(board: FormBoard) -> str:
    parts = []
    if board.to_confirm:
        parts.append(
            f"{sentence_case(counted(len(board.to_confirm), 'form'))} wait{'s' if len(board.to_confirm) == 1 else ''} to be confirmed by a second person."
        )
    if board.being_entered:
        parts.append(
            f"{sentence_case(counted(len(board.being_entered), 'form'))} {'is' if len(board.being_entered) == 1 else 'are'} being entered."
        )
    parts.append(
        f"{sentence_case(counted(len(board.issued), 'form'))} {'is' if len(board.issued) == 1 else 'are'} out."
    )
    return " ".join(parts)


def sentence(form: PaperForm, now: datetime) -> str:
    """How the form stands, and what comes next."""
    about = f"A {form.get_kind_display()}" + (
        f" for batch {form.batch.number}." if form.batch else ", for no batch yet."
    )
    if form.state == State.ISSUED:
        printed = (
            "Not printed yet."
            if not form.prints
            else f"Printed {'once' if form.prints == 1 else f'{form.prints} times'}."
        )
        return f"{about} {printed} When it comes back filled, take it up and enter it."
    if form.state == State.ENTERING:
        return f"{about} {form.transcriber.full_name if form.transcriber else ''} enters it."
    if form.state == State.ENTERED:
        holds = f" Until then {form.batch.number} is not released." if form.batch else ""
        return f"{about} Entered; a second person compares each line with the scan and confirms it.{holds}"
    if form.state == State.CONFIRMED:
        return f"{about} Entered by one person and confirmed by another."
    return f"{about} {sentence_case(form.get_state_display())}: {form.closing_reason}"


def facts(form: PaperForm) -> list[tuple[str, str]]:
    found = [
        ("Issued", f"{day_and_clock(form.issued_at)}, {form.issued_by.full_name}"),
        ("Printed", f"{form.prints} times" if form.prints != 1 else "once"),
        ("Digest of the form", f"{form.digest[:4]} {form.digest[4:8]}"),
    ]
    if form.transcriber is not None and form.taken_up_at is not None:
        found.append(("Taken up", f"{day_and_clock(form.taken_up_at)}, {form.transcriber.full_name}"))
    for title, signature in (
        ("Entered", form.transcription_signature),
        ("Confirmed", form.confirmation_signature),
    ):
        if signature is not None:
            signed = f"{day_and_clock(signature.signed_at)}, {signature.printed_name}: {signature.meaning}"
            found.append((title, f"{signed}, digest {signature.digest[:4]} {signature.digest[4:8]}"))
    if form.remarks:
        found.append(("Remarks", form.remarks))
    if form.closed_by is not None and form.closed_at is not None:
        found.append(
            (
                sentence_case(form.get_state_display()),
                f"{day_and_clock(form.closed_at)}, {form.closed_by.full_name}",
            )
        )
    return found


def act_row(line: Line, now: datetime) -> ActRow:
    """One transcribed act: when it happened, what it says, when it was written down."""
    reason = line.reason if line.reason not in line.sentence else ""
    return ActRow(
        moment_words(line.occurred_at, now),
        line.sentence,
        f"{moment_words(line.at, now)}, {line.who}",
        reason,
    )


def places(form: PaperForm) -> list[tuple[str, str]]:
    """Where a form of this kind is entered: label and address."""
    kind, number = form.kind, form.batch.number if form.batch else ""
    batch = [(f"Batch {number}", reverse("batches-detail", args=[number]))] if number else []
    if kind == PaperForm.Kind.INTAKE:
        return [("Intake", reverse("intake")), *batch]
    if kind == PaperForm.Kind.RINSE_LOG and number:
        return [(f"Rinse-down of {number}", reverse("rinse", args=[number])), *batch]
    if kind == PaperForm.Kind.QC and number:
        return [(f"QC of {number}", reverse("qc-decision", args=[number])), *batch]
    return batch
