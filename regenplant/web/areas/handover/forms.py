"""What is written at a change of shift."""

from __future__ import annotations

from typing import Any

from django import forms

from regenplant.shifts.models import HandoverItem
from regenplant.shifts.services.handing import MOST_NOTES
from regenplant.web.house_form import HouseForm, words_field
from regenplant.web.signing import SecondPersonForm, SigningForm


class LookedForm(HouseForm):
    """Taking over asks first for a look at the hazards; where a handover names none, nothing is asked."""

    has_seen = forms.BooleanField(required=False, label="I looked at every hazard named above, on the floor.")

    def __init__(self, *args: Any, look_first: str = "", **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.look_first = look_first
        if not look_first:
            del self.fields["has_seen"]

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if self.look_first and not cleaned.get("has_seen"):
            self.add_error("has_seen", forms.ValidationError(self.look_first, code="not_seen"))
        return cleaned

    @property
    def has_looked(self) -> bool:
        """Whether the person says that they looked."""
        return bool(self.cleaned_data.get("has_seen"))


def _remarks() -> forms.CharField:
    return words_field(600, rows=2, required=False, label="What you found otherwise")


class HandOverForm(SigningForm):
    """The notes of the leaving person. ``shown`` is the mark of the state that was read."""

    shown = forms.CharField(widget=forms.HiddenInput, max_length=64, required=False)
    notes = words_field(
        MOST_NOTES,
        rows=6,
        required=False,
        label="Notes",
        help_text="What the lines above do not say: what you saw, heard, tried, promised.",
    )

    def show_again(self, mark: str) -> None:
        """The page around a refused form shows the present state: the next signature is over that."""
        if self.is_bound:
            data = self.data.copy()  # type: ignore[attr-defined]
            data[self.add_prefix("shown")] = mark
            self.data = data


class TakeForm(LookedForm, SigningForm):
    """The coming person, signed in at this terminal."""

    remarks = _remarks()


class TakeHereForm(LookedForm, SecondPersonForm):
    """The coming person at the terminal of the leaving one, who stays signed in."""

    has_seen = forms.BooleanField(
        required=False, label="The coming person looked at every hazard named above, on the floor."
    )
    remarks = _remarks()

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.order_fields(["has_seen", "remarks", "second_username", "second_password"])


class ItemForm(HouseForm):
    """Something that carries on."""

    kind = forms.ChoiceField(label="What kind", choices=HandoverItem.Kind.choices, widget=forms.RadioSelect)
    words = words_field(400, rows=3, label="What the next shift must know")
    about = words_field(
        40, required=False, label="About", help_text="A code, if it has one: B-10412, T-20417, C1."
    )


class CloseItemForm(HouseForm):
    """How it ended."""

    words = words_field(400, rows=3, label="What was done")
