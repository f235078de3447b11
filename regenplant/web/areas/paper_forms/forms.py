"""What is written on the pages of paper forms."""

from __future__ import annotations

from typing import Any

from django import forms

from regenplant.keeping.models import PaperForm
from regenplant.keeping.scans import LARGEST, ScanFile
from regenplant.keeping.services import MOST_FORMS
from regenplant.web.house_form import HouseForm, words_field
from regenplant.web.signing import SigningForm

BATCH_HELP = "Its number, such as B-10412. Empty: an empty form."


class IssueForm(HouseForm):
    """A pad of forms."""

    kind = forms.ChoiceField(label="Kind", choices=PaperForm.Kind.choices, widget=forms.RadioSelect)
    batch = words_field(
        16,
        required=False,
        label="For batch",
        help_text=f"{BATCH_HELP} With it, steps and limits are printed.",
    )
    count = forms.IntegerField(
        label="How many",
        initial=1,
        min_value=1,
        max_value=MOST_FORMS,
        help_text=f"1 to {MOST_FORMS}.",
        error_messages={
            "min_value": f"A pad has 1 to {MOST_FORMS} forms.",
            "max_value": f"A pad has 1 to {MOST_FORMS} forms.",
        },
    )


class TakeUpForm(HouseForm):
    """Taking up a form that names no batch."""

    batch = words_field(
        16,
        required=False,
        label="About batch",
        help_text="Its number as it stands on the paper. Empty: it is about no batch.",
    )


class ScanForm(HouseForm):
    """One scan or photograph."""

    scan = forms.FileField(
        label="Scan of the form",
        help_text=f"PDF, PNG or JPEG, at most {LARGEST / 1e6:.0f} MB. All pages in one file, or one after the other.",
        allow_empty_file=True,
        widget=forms.ClearableFileInput(attrs={"accept": ".pdf,.png,.jpg,.jpeg"}),
    )

    def clean_scan(self) -> ScanFile:
        """The bytes with their name; one far too large is not read."""
        sent: Any = self.cleaned_data["scan"]
        return ScanFile(str(sent.name)[-120:], bytes(sent.read(LARGEST + 1)))


class EnteredForm(SigningForm):
    """The signature of the transcriber."""

    remarks = words_field(
        400,
        rows=3,
        required=False,
        label="Remarks",
        help_text="What could not be read, or was not entered, and why.",
    )


class ConfirmForm(SigningForm):
    """The signature of the second person."""


class BackForm(HouseForm):
    """What differs between paper and record."""

    reason = words_field(
        400,
        rows=3,
        label="What differs",
        help_text="At least 10 characters: which line, what stands on the paper.",
    )


class CloseForm(HouseForm):
    """What became of a form that is not entered."""

    state = forms.ChoiceField(
        label="What became of it",
        choices=[
            (PaperForm.State.SPOILED.value, "Spoiled: nothing on it counts"),
            (PaperForm.State.MISSING.value, "Missing: nobody has the paper"),
        ],
        widget=forms.RadioSelect,
    )
    reason = words_field(300, rows=3, label="Why", help_text="At least 10 characters.")
