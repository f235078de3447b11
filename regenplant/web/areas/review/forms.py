"""What a supervisor writes in the review."""

from __future__ import annotations

from django import forms

from regenplant.web.house_form import HouseForm, words_field


class DecisionForm(HouseForm):
    """The decision on an open deviation."""

    decision = words_field(
        400,
        rows=4,
        label="Decision, and why",
        help_text="At least 10 characters: what it means for the batch, what was done, what is done next.",
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
