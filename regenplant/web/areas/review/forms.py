"""What a supervisor writes in the review."""

from __future__ import annotations

from django import forms

from regenplant.web.house_form import words_field
from regenplant.web.signing import SigningForm
from regenplant.web.why import TEN, category_field, reason_field


class ReviewForm(SigningForm):
    """A review: what is shown is signed, with a remark where there is one to make."""

    remarks = words_field(
        400,
        rows=3,
        label="Remarks",
        required=False,
        help_text="What you looked into, if anything. It is signed too.",
    )


class ReopenForm(SigningForm):
    """Opening a signed record for correction: why, and the signature."""

    category = category_field()
    reason = reason_field(
        "what is wrong in the signed record",
        label="What is wrong in the signed record",
        help_text=f"{TEN} The signed version stays readable.",
    )


class HeadForm(forms.Form):
    """The chain head printed on a paper, if one is at hand."""

    head = forms.CharField(
        label="Chain head printed on a paper",
        required=False,
        max_length=80,
        help_text="At least 8 characters, with or without spaces. Empty: only the whole record is looked at.",
        widget=forms.TextInput(attrs={"autocomplete": "off", "spellcheck": "false"}),
    )

    def clean_head(self) -> str:
        head = str(self.cleaned_data["head"]).replace(" ", "").lower()
        if head and (len(head) < 8 or set(head) - set("0123456789abcdef")):
            raise forms.ValidationError(
                f"“{head}” is no chain head: it has at least 8 characters of 0 to 9 and a to f.",
                code="no_head",
            )
        return head
