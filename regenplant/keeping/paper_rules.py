"""What can be entered from a paper form, and what the two signatures on its transcription cover."""

from __future__ import annotations

from typing import Any

from regenplant.audit.by import By
from regenplant.audit.paper import Subject
from regenplant.core.errors import RecordRefused
from regenplant.keeping.models import PaperForm
from regenplant.keeping.selectors import scans_of, transcribed_acts


def refuse_not_transcriber(form: PaperForm, by: By) -> None:
    """Raises: RecordRefused unless the form is being entered, by this person."""
    if form.state != PaperForm.State.ENTERING:
        raise RecordRefused(
            f"Form {form.number} is {form.get_state_display()}. Nothing is entered from it now.",
            code="not_entering",
        )
    if form.transcriber_id != by.user.pk:
        raise RecordRefused(
            f"{form.transcriber.full_name if form.transcriber else 'Another person'} took up form {form.number} and enters it.",
            code="other_transcriber",
        )


def refuse_unfit(by: By, subject: Subject) -> None:
    """Refuse an act that is written down from a form which cannot take it (``audit.paper``). Raises: RecordRefused."""
    form = PaperForm.objects.select_related("batch").filter(number=by.paper_form).first()
    if form is None:
        raise RecordRefused(f"There is no paper form {by.paper_form}.", code="unknown_form")
    refuse_not_transcriber(form, by)
    kind, key, label = subject
    if kind == "batch" and form.batch is not None and key != form.batch.number:
        raise RecordRefused(
            f"{label} is not what form {form.number} is about: it belongs to {form.batch.number}. "
            "Finish the form first, or leave it for a while.",
            code="other_batch",
        )
    if kind == "batch" and form.batch is None:
        raise RecordRefused(
            f"Form {form.number} names no batch. Only what concerns no batch is entered from it.",
            code="no_batch",
        )


def what_is_signed(form: PaperForm, remarks: str) -> dict[str, Any]:
    """The form, its scans and every act that was transcribed from it, each with its digest."""
    return {
        "form": form.number,
        "kind": form.kind,
        "paper": form.digest,
        "batch": form.batch.number if form.batch else "",
        "scans": [scan.sha256 for scan in scans_of(form)],
        "acts": [
            {
                "number": line.number,
                "digest": line.digest,
                "sentence": line.sentence,
                "happened": line.occurred_at.isoformat(),
            }
            for line in transcribed_acts(form)
        ],
        "transcriber": form.transcriber.full_name if form.transcriber else "",
        "remarks": remarks,
    }
