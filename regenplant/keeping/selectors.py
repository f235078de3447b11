"""Reading paper forms: which are about, what was transcribed from one, and which still hold a batch back."""

from __future__ import annotations

import json
from dataclasses import dataclass

from django.db.models import Q, QuerySet

from regenplant.audit import paper
from regenplant.audit.selectors import Line, story
from regenplant.batches.models import Batch
from regenplant.core.process.canonical import from_plain
from regenplant.keeping.models import PaperForm, PaperScan, PurgedRow
from regenplant.keeping.paper_content import PaperFormContent

State = PaperForm.State
USED_AND_OPEN = (State.ENTERING, State.ENTERED)
"""Entered, and not confirmed by a second person."""


def form_numbered(number: str) -> PaperForm | None:
    """The form with this number, with everybody who had it in hand; None when there is none."""
    people = ("issued_by", "transcriber", "confirmed_by", "closed_by", "batch")
    signatures = ("transcription_signature", "confirmation_signature")
    found = PaperForm.objects.select_related(*people, *signatures)
    return found.filter(number__iexact=number.strip()).first()


def content_of(form: PaperForm) -> PaperFormContent:
    """What is printed on it."""
    return from_plain(PaperFormContent, json.loads(form.content))


def scans_of(form: PaperForm) -> QuerySet[PaperScan]:
    """Its scans without their bytes, in the order they came."""
    return form.scans.defer("content").select_related("added_by")


def transcribed_acts(form: PaperForm) -> list[Line]:
    """The acts that were transcribed from a form, oldest first."""
    return [
        line
        for line in story([(paper.KIND, form.number)])
        if line.facts.get("facts", {}).get("paper_form") == form.number
    ]


def unconfirmed_forms(batch: Batch) -> list[PaperForm]:
    """Forms about a batch that hold back its release: transcribed and not confirmed, oldest first.

    A form that was printed for the batch and never came back holds it back as well: what stands on it is not known.
    """
    open_ones = Q(state__in=USED_AND_OPEN) | Q(state=State.ISSUED)
    return list(PaperForm.objects.filter(open_ones, batch=batch).order_by("number"))


def unconfirmed_words(batch: Batch) -> tuple[str, ...]:
    """The same as sentences, for the guards of a release."""
    said = {
        State.ISSUED: "was printed for it and is neither entered, nor spoiled, nor missing",
        State.ENTERING: "is being entered",
        State.ENTERED: "is entered and not confirmed by a second person",
    }
    return tuple(f"Paper form {form.number} {said[State(form.state)]}." for form in unconfirmed_forms(batch))


@dataclass(frozen=True, slots=True)
class FormBoard:
    """Every form that needs a person, then those that are about."""

    to_confirm: tuple[PaperForm, ...]
    being_entered: tuple[PaperForm, ...]
    issued: tuple[PaperForm, ...]
    finished: tuple[PaperForm, ...]
    """The newest confirmed, spoiled and missing ones."""
    finished_count: int


FINISHED_SHOWN = 40


def form_board() -> FormBoard:
    """The board. Five queries."""
    forms = PaperForm.objects.select_related(
        "issued_by", "transcriber", "confirmed_by", "closed_by", "batch"
    ).defer("content")
    finished = forms.filter(state__in=[State.CONFIRMED, State.SPOILED, State.MISSING]).order_by("-number")
    return FormBoard(
        to_confirm=tuple(forms.filter(state=State.ENTERED).order_by("entered_at")),
        being_entered=tuple(forms.filter(state=State.ENTERING).order_by("taken_up_at")),
        issued=tuple(forms.filter(state=State.ISSUED).order_by("number")),
        finished=tuple(finished[:FINISHED_SHOWN]),
        finished_count=finished.count(),
    )


def open_forms() -> list[PaperForm]:
    """Forms that are out, being entered or not confirmed, by number, without what is printed on them. One query."""
    people = ("issued_by", "transcriber", "batch")
    found = PaperForm.objects.filter(state__in=[State.ISSUED, *USED_AND_OPEN]).select_related(*people)
    return list(found.defer("content").order_by("number"))


def forms_of_pad(pad: str) -> list[PaperForm]:
    """The forms that were issued together, by number."""
    return list(PaperForm.objects.filter(pad=pad).order_by("number"))


def purged_numbers(prefix: str) -> list[str]:
    """The running numbers with this prefix whose records were purged."""
    return list(PurgedRow.objects.filter(number__startswith=prefix).values_list("number", flat=True))
