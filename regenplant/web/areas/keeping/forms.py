"""The file of a copy that is to be read."""

from __future__ import annotations

from django import forms

from regenplant.web.house_form import HouseForm

LARGEST = 16_000_000
"""Bytes of a copy that is read here; a copy of a long mixed-bed batch has well under 1 MB."""


class CopyForm(HouseForm):
    """One file: the ZIP of a copy, or its record.json alone."""

    file = forms.FileField(
        label="File of the copy",
        help_text="The ZIP file, or record.json alone. At most 16 MB. Nothing of it is stored.",
        allow_empty_file=True,
        widget=forms.ClearableFileInput(attrs={"accept": ".zip,.json"}),
    )

    def clean_file(self) -> bytes:
        """The bytes of the file, so that nothing of it outlives the request."""
        sent = self.cleaned_data["file"]
        if sent.size > LARGEST:
            raise forms.ValidationError(
                f"The file has {sent.size / 1e6:.1f} MB; at most {LARGEST / 1e6:.0f} MB are read. Choose the file of a copy.",
                code="too_large",
            )
        if not sent.size:
            raise forms.ValidationError("The file is empty. Choose the file of a copy.", code="empty")
        return bytes(sent.read())
