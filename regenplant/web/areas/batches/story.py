"""What narrows the story of a batch; all of it stands in the address, so that a narrowed story can be handed on."""

from __future__ import annotations

from django import forms

from regenplant.audit.stories import Wanted
from regenplant.web.house_form import HouseForm

ONLY = ("corrections", "late")


class StoryForm(HouseForm):
    """Words to look for; the other filters are kept in hidden fields. Nothing here is ever refused: what fits nothing shows
    nothing."""

    version = None  # type: ignore[assignment]
    words = forms.CharField(label="Words in it", max_length=80, required=False)
    who = forms.CharField(widget=forms.HiddenInput, required=False)
    kind = forms.CharField(widget=forms.HiddenInput, required=False)
    step = forms.CharField(widget=forms.HiddenInput, required=False)
    only = forms.CharField(widget=forms.HiddenInput, required=False)

    def wanted(self) -> Wanted:
        """The filters as they were asked for."""
        told = {
            name: str(self.data.get(name, "")).strip() for name in ("who", "kind", "step", "only", "words")
        }
        if told["only"] not in ONLY:
            told["only"] = ""
        told["words"] = told["words"][:80]
        return Wanted(**told)

    def page(self) -> int:
        """The page asked for; the first for anything that is no number."""
        text = str(self.data.get("page", ""))
        return int(text) if text.isascii() and text.isdigit() and len(text) < 7 else 1
