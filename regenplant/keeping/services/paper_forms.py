"""Acts on paper forms: issue, print, take up, enter, confirm or send back, and say that one is spoiled or missing.

A number is used once. While a form is taken up, the acts of its transcriber carry its number (``audit.paper``); two people
sign, first that it stands in the record as it stands on the paper, then that the scan says the same.
"""

from __future__ import annotations

from typing import Any

from regenplant.audit.by import By
from regenplant.audit.numbering import next_number
from regenplant.audit.records import one_of, words_of, write_changed
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.batches.models import Batch
from regenplant.core.errors import RecordRefused
from regenplant.core.process.canonical import canonical_text, digest
from regenplant.core.process.lifecycle import BatchState
from regenplant.keeping.models import PaperForm, PaperScan
from regenplant.keeping.paper_blank import blank_form, printing
from regenplant.keeping.paper_rules import refuse_not_transcriber, what_is_signed
from regenplant.keeping.scans import ScanFile, media_type_of
from regenplant.keeping.selectors import transcribed_acts
from regenplant.people.models import Signature
from regenplant.people.signing import SignaturePermit, bind
from regenplant.plant.selectors import profile

State = PaperForm.State
TRANSCRIBED_MEANING = "transcribed from paper as it stands there"
CONFIRMED_MEANING = "transcription compared with the scan and confirmed"
MOST_FORMS = 30
"""Forms of one pad."""
CLOSED_BATCH = (BatchState.RELEASED, BatchState.SCRAPPED, BatchState.ABORTED)
"""Batches about which no form is printed any more."""
LEAST_WORDS = 10


@use_case("form.issued", permission="form.issue")
def issue_form(*, by: By, kind: str, count: int = 1, batch_id: int | None = None) -> Outcome:
    """Issue a pad of numbered forms of one kind, empty or for an open batch. ``result`` is the list of forms.

    Raises: RecordRefused for a kind or batch that is not known, a batch at its end, or a count out of reach.
    """
    one_of(kind, PaperForm.Kind.values, "The kind of form", field="kind")
    if not 1 <= count <= MOST_FORMS:
        raise RecordRefused(
            f"{count} forms are asked for; a pad has 1 to {MOST_FORMS}.",
            field="count",
            code="pad_size",
            seen=count,
        )
    if kind == PaperForm.Kind.INTAKE and batch_id is not None:
        raise RecordRefused(
            "An intake form is about tanks at the dock, not about a batch. Leave the batch empty.",
            field="batch",
            code="no_batch_at_intake",
        )
    batch = _open_batch(batch_id)
    printed = printing(by)
    forms: list[PaperForm] = []
    for _ in range(count):
        number = next_number(PaperForm, "number", "P", 10001)
        text = canonical_text(blank_form(number, kind, batch, printed))
        forms.append(
            PaperForm.objects.create(
                number=number,
                kind=kind,
                pad=forms[0].number if forms else number,
                batch=batch,
                content=text,
                digest=digest(text),
                issued_by=by.user,
                issued_at=by.at,
            )
        )
    first, last = forms[0].number, forms[-1].number
    span = first if first == last else f"{first} to {last}"
    return Outcome(
        subject=("paper_form", first, f"Paper form {first}"),
        facts={
            "numbers": [form.number for form in forms],
            "span": span,
            "kind": forms[0].get_kind_display(),
            "count": count,
        },
        related=(
            *((("batch", batch.number),) if batch else ()),
            *(("paper_form", form.number) for form in forms[1:]),
        ),
        result=forms,
    )


@use_case("form.printed", permission="form.issue")
def print_form(*, by: By, form_ids: list[int]) -> Outcome:
    """Count one more print of each form; what is drawn says so from the second print on. ``result`` is the forms.

    Raises: RecordRefused for a form that is in use or closed: its paper is out already.
    """
    forms = [_form(pk) for pk in form_ids]
    if not forms:
        raise RecordRefused("No form is named.", code="no_form")
    for form in forms:
        if form.state != State.ISSUED:
            raise RecordRefused(
                f"Form {form.number} is {form.get_state_display()}. A number that is used is not printed again.",
                code="number_used",
            )
        write_changed(form, {"prints": form.prints + 1}, version=None, label=f"Form {form.number}")
    numbers = [form.number for form in forms]
    return Outcome(
        subject=_subject(forms[0]),
        facts={
            "numbers": numbers,
            "span": numbers[0] if len(numbers) == 1 else f"{numbers[0]} to {numbers[-1]}",
            "prints": max(form.prints for form in forms),
        },
        related=tuple(("paper_form", number) for number in numbers[1:]),
        result=forms,
    )


@use_case("form.taken_up", permission="form.transcribe")
def transcribe(*, by: By, form_id: int, batch_id: int | None = None, version: int | None = None) -> Outcome:
    """Take up a filled form to enter it: its number is used from now on, and what this person writes down carries it.

    ``batch_id`` says which batch an empty form turned out to be about.

    Raises: RecordRefused for a number that is used, spoiled or missing; StaleRecord.
    """
    form = _form(form_id)
    if form.state != State.ISSUED:
        raise RecordRefused(
            f"Form {form.number} {_used_words(form)} A number is used once.", code="number_used"
        )
    batch = form.batch
    if batch_id is not None and batch is not None and batch_id != batch.pk:
        raise RecordRefused(
            f"Form {form.number} was printed for {batch.number}; it is entered there.",
            field="batch",
            code="other_batch",
        )
    values: dict[str, Any] = {"state": State.ENTERING.value, "transcriber": by.user, "taken_up_at": by.at}
    if batch is None and batch_id is not None:
        values["batch"] = batch = _batch(batch_id)
    before, after = write_changed(form, values, version=version, label=f"Form {form.number}")
    return Outcome(
        subject=_subject(form),
        before={"state": before["state"]},
        after={"state": after["state"]},
        facts={"kind": form.get_kind_display()},
        related=_about(form),
        result=form,
    )


@use_case("form.scan_added", permission="form.transcribe")
def add_scan(*, by: By, form_id: int, scan: ScanFile) -> Outcome:
    """Keep a scan of the filled form with its digest. Raises: RecordRefused for another kind of file, one too large, or twice."""
    form = _form(form_id)
    refuse_not_transcriber(form, by)
    media_type, sha256 = media_type_of(scan), scan.sha256
    if form.scans.filter(sha256=sha256).exists():
        raise RecordRefused(f"This scan is kept already ({sha256[:8]}).", field="scan", code="same_scan")
    row = PaperScan.objects.create(
        form=form,
        name=words_of(scan.name, "The name of the file", field="scan", most=120, least=1),
        media_type=media_type,
        size=len(scan.content),
        sha256=sha256,
        content=scan.content,
        added_by=by.user,
        added_at=by.at,
    )
    return Outcome(
        subject=_subject(form),
        facts={"sha256": sha256, "short": sha256[:8], "name": row.name, "size": row.size},
        related=_about(form),
        result=row,
    )


@use_case("form.entered", permission="form.transcribe")
def finish_transcription(
    *, by: By, form_id: int, permit: SignaturePermit, remarks: str = "", version: int | None = None
) -> Outcome:
    """Sign that the form stands in the record as it stands on the paper. A second person confirms it next.

    Raises: RecordRefused without a scan, without a transcribed act and a remark that says why, or for another person;
    SignatureRefused, StaleRecord.
    """
    form = _form(form_id)
    refuse_not_transcriber(form, by)
    words = words_of(remarks, "The remark", field="remarks", most=400)
    if not form.scans.exists():
        raise RecordRefused(
            "No scan of the form is kept yet. Add it, then sign.", field="scan", code="no_scan"
        )
    if not transcribed_acts(form) and len(words) < LEAST_WORDS:
        raise RecordRefused(
            f"Nothing was written down from {form.number} yet. Enter it, or say in at least {LEAST_WORDS} characters why there is "
            "nothing to enter.",
            field="remarks",
            code="nothing_entered",
        )
    signature = _signed(form, by, permit, TRANSCRIBED_MEANING, "transcription", words)
    values = {
        "state": State.ENTERED.value,
        "entered_at": by.at,
        "remarks": words,
        "transcription_signature": signature,
        "sent_back": "",
    }
    write_changed(form, values, version=version, label=f"Form {form.number}")
    return Outcome(
        subject=_subject(form),
        before={"state": State.ENTERING.value},
        after={"state": State.ENTERED.value},
        facts={"acts": len(transcribed_acts(form)), "digest": signature.digest},
        reason=words,
        signature=_told(signature),
        related=_about(form),
        result=form,
    )


@use_case("form.confirmed", permission="form.confirm")
def confirm_transcription(
    *, by: By, form_id: int, permit: SignaturePermit, version: int | None = None
) -> Outcome:
    """Sign, as a second person, that every entry was compared with the scan. Raises: RecordRefused, SignatureRefused, StaleRecord."""
    form = _form(form_id)
    _refuse_not_second(form, by)
    signature = _signed(form, by, permit, CONFIRMED_MEANING, "confirmation", form.remarks)
    values = {
        "state": State.CONFIRMED.value,
        "confirmed_by": by.user,
        "confirmed_at": by.at,
        "confirmation_signature": signature,
    }
    write_changed(form, values, version=version, label=f"Form {form.number}")
    return Outcome(
        subject=_subject(form),
        before={"state": State.ENTERED.value},
        after={"state": State.CONFIRMED.value},
        facts={"digest": signature.digest},
        signature=_told(signature),
        related=_about(form),
        result=form,
    )


@use_case("form.sent_back", permission="form.confirm")
def send_back(*, by: By, form_id: int, reason: str, version: int | None = None) -> Outcome:
    """Send a transcription back to its transcriber, who corrects the record; both signatures are given anew then.

    Raises: RecordRefused, StaleRecord.
    """
    form = _form(form_id)
    _refuse_not_second(form, by)
    words = words_of(reason, "What differs", field="reason", most=400, least=LEAST_WORDS)
    values = {
        "state": State.ENTERING.value,
        "sent_back": words,
        "transcription_signature": None,
        "entered_at": None,
    }
    write_changed(form, values, version=version, label=f"Form {form.number}")
    return Outcome(
        subject=_subject(form),
        before={"state": State.ENTERED.value},
        after={"state": State.ENTERING.value},
        reason=words,
        related=_about(form),
        result=form,
    )


@use_case("form.closed", permission="form.close")
def close_form(*, by: By, form_id: int, state: str, reason: str, version: int | None = None) -> Outcome:
    """Say that an issued form is spoiled or missing, and why. Raises: RecordRefused for a used one, StaleRecord."""
    form = _form(form_id)
    one_of(state, (State.SPOILED.value, State.MISSING.value), "What became of it", field="state")
    if form.state != State.ISSUED:
        raise RecordRefused(f"Form {form.number} {_used_words(form)}", code="number_used")
    words = words_of(reason, "The reason", field="reason", most=300, least=LEAST_WORDS)
    values = {"state": state, "closed_by": by.user, "closed_at": by.at, "closing_reason": words}
    write_changed(form, values, version=version, label=f"Form {form.number}")
    return Outcome(
        subject=_subject(form),
        before={"state": State.ISSUED.value},
        after={"state": state},
        reason=words,
        related=_about(form),
        result=form,
    )


# --- what they share --------------------------------------------------------------------------------------------------
def _signed(
    form: PaperForm, by: By, permit: SignaturePermit, meaning: str, what: str, remarks: str
) -> Signature:
    return bind(
        permit,
        by=by,
        meaning=meaning,
        record_kind=f"paper_form_{what}",
        record_key=form.number,
        record_version=form.version,
        content=what_is_signed(form, remarks),
        zone=profile().time_zone,
    )


def _told(signature: Signature) -> dict[str, Any]:
    return {"meaning": signature.meaning, "digest": signature.digest, "name": signature.printed_name}


def _form(form_id: int) -> PaperForm:
    found = PaperForm.objects.select_related("batch", "transcriber").filter(pk=form_id).first()
    if found is None:
        raise RecordRefused("There is no such paper form here.", code="unknown_form")
    return found


def _batch(batch_id: int) -> Batch:
    found = Batch.objects.filter(pk=batch_id).first()
    if found is None:
        raise RecordRefused("There is no such batch here.", field="batch", code="unknown_batch")
    return found


def _open_batch(batch_id: int | None) -> Batch | None:
    if batch_id is None:
        return None
    batch = _batch(batch_id)
    if BatchState(batch.state) in CLOSED_BATCH:
        raise RecordRefused(
            f"Batch {batch.number} is {batch.get_state_display()}. Forms are printed for open batches.",
            field="batch",
            code="closed",
        )
    return batch


def _refuse_not_second(form: PaperForm, by: By) -> None:
    if form.state != State.ENTERED:
        raise RecordRefused(
            f"Form {form.number} is {form.get_state_display()}. A transcription is confirmed once it is entered and signed.",
            code="not_entered",
        )
    if form.transcriber_id == by.user.pk:
        raise RecordRefused(
            f"{by.user.full_name} transcribed form {form.number}, so another person confirms it.",
            code="own_work",
        )


def _used_words(form: PaperForm) -> str:
    who = form.transcriber.full_name if form.transcriber else ""
    if form.state in (State.SPOILED, State.MISSING):
        return f"is {form.get_state_display()}: {form.closing_reason}"
    return f"was taken up by {who} already and is {form.get_state_display()}."


def _subject(form: PaperForm) -> tuple[str, str, str]:
    return ("paper_form", form.number, f"Paper form {form.number}")


def _about(form: PaperForm) -> tuple[tuple[str, str], ...]:
    return (("batch", form.batch.number),) if form.batch else ()


say("form.issued", lambda subject, stored: _issued(stored))
say("form.printed", "{subject}: {span} printed, print {prints}")
say("form.taken_up", "{subject}, {kind}, was taken up to be transcribed")
say("form.scan_added", "{subject}: scan {short} was added")
say("form.entered", "{subject} was transcribed, {acts} acts, and signed")
say("form.confirmed", "{subject}: the transcription was compared with the scan and confirmed")
say("form.sent_back", "{subject}: the transcription was sent back")
say("form.closed", "{subject} is {state}")


def _issued(stored: dict[str, Any]) -> str:
    facts = stored.get("facts", {})
    noun = "form" if facts.get("count") == 1 else "forms"
    return f"Paper {noun} {facts.get('span', '–')} issued: {facts.get('kind', '–')}"
