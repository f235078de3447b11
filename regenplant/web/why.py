"""Fields that ask why: why a value is corrected, and why something is written only now."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms

from regenplant.audit.reasons import LONGEST_REASON, REASON_CATEGORIES, SHORTEST_REASON, Reason
from regenplant.web.house_form import HouseForm, words_field

TEN = f"At least {SHORTEST_REASON} characters."
_CHOICES = [("", "Choose one"), *REASON_CATEGORIES.items()]
_CHOOSE = {
    "required": "Choose what kind of reason it is.",
    "invalid_choice": "What was chosen is no choice here. Choose one of the list.",
}


def told(what: str, short: str = "The reason is too short.") -> Callable[[str], None]:
    """A validator for words that must tell something, in the sentence of the services that ask for it too."""

    def judge(words: str) -> None:
        if len(words.strip()) < SHORTEST_REASON:
            raise forms.ValidationError(
                f"{short} Say in at least {SHORTEST_REASON} characters {what}.", code="reason_too_short"
            )

    return judge


def category_field(**kwargs: Any) -> forms.ChoiceField:
    """What kind of reason it is."""
    kwargs.setdefault("label", "Kind of reason")
    return forms.ChoiceField(choices=_CHOICES, error_messages=dict(_CHOOSE), **kwargs)


def reason_field(what: str = "what was wrong", **kwargs: Any) -> forms.CharField:
    """The reason in the person's own words; ``what`` says in a refusal what they must tell."""
    kwargs.setdefault("label", "What was wrong")
    kwargs.setdefault("help_text", f"{TEN} The old value stays readable.")
    return words_field(LONGEST_REASON, rows=3, validators=[told(what)], **kwargs)


class LateForm(HouseForm):
    """A form with a time that may lie back: then it takes a reason, asked for once the service says that it is late."""

    late_category = category_field(label="Why only now, kind of reason", required=False)
    late_words = words_field(
        LONGEST_REASON,
        label="Why it is written only now",
        required=False,
        help_text=f"Needed when it is late. {TEN}",
    )

    @property
    def late(self) -> Reason | None:
        """Why it is late; None where nothing is said."""
        category, words = self.text("late_category"), self.text("late_words")
        return Reason(category, words) if category or words else None

    @property
    def asks_why_late(self) -> bool:
        """Whether a late reason was refused or is begun: the fields are then shown open."""
        names = ("late_category", "late_words")
        return any(name in self.errors or self.data.get(self.add_prefix(name)) for name in names)
