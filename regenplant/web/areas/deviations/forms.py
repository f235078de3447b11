"""What is written about a deviation."""

from __future__ import annotations

from typing import Any, cast

from django import forms

from regenplant.batches.causes import CAUSES, NO_CAUSE
from regenplant.batches.models import Deviation
from regenplant.people.models import Person
from regenplant.web.house_form import HouseForm, day_field, words_field
from regenplant.web.seen import SeenVersionField
from regenplant.web.signing import SigningForm
from regenplant.web.why import TEN, told

MOST = 400
_CHOOSE = {
    "required": "Choose one.",
    "invalid_choice": "What was chosen is no choice here. Choose one of the list.",
}
SEVERITIES = [
    (Deviation.Severity.MINOR.value, "minor: outside the plan, no effect on the resin"),
    (Deviation.Severity.MAJOR.value, "major: the resin may be affected"),
    (Deviation.Severity.CRITICAL.value, "critical: the resin, a person or the sewer may be harmed"),
]
KINDS = [
    (Deviation.Kind.ACCEPT.value, "accept as it is"),
    (Deviation.Kind.REWORK.value, "rework: the resin is regenerated again"),
    (Deviation.Kind.DOWNGRADE.value, "downgrade: the resin goes to a lesser use"),
    (Deviation.Kind.SCRAP.value, "scrap the resin"),
    (Deviation.Kind.CORRECT.value, "correct the record: only what was written is wrong"),
]


def cause_field(**kwargs: Any) -> forms.ChoiceField:
    return forms.ChoiceField(
        label="Kind of cause",
        choices=[("", "Choose one"), *CAUSES.items()],
        error_messages=dict(_CHOOSE),
        **kwargs,
    )


class FilterForm(HouseForm):
    """What narrows the list; all of it may stay empty."""

    find = forms.CharField(label="Find", max_length=80, required=False)
    owner = forms.ChoiceField(label="Looked into by", required=False)
    state = forms.CharField(widget=forms.HiddenInput, required=False, max_length=12)
    severity = forms.CharField(widget=forms.HiddenInput, required=False, max_length=12)

    def __init__(self, *args: Any, owners: list[Person] = [], **kwargs: Any):  # noqa: B006 (never changed)
        super().__init__(*args, **kwargs)
        people = [(str(person.pk), person.full_name) for person in owners]
        cast(forms.ChoiceField, self.fields["owner"]).choices = [
            ("", "anybody"), ("mine", "me"), ("nobody", "nobody yet"), *people,
        ]  # fmt: skip


class AssignForm(HouseForm):
    """Who looks into it, and by when."""

    version = SeenVersionField()
    owner = forms.ModelChoiceField(
        Person.objects.none(),
        label="Who looks into it",
        empty_label="Choose a person",
        error_messages=dict(_CHOOSE),
    )
    due_on = day_field(label="By", required=False)

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        people = Person.objects.filter(is_active=True, is_shared=False, is_device=False).order_by("full_name")
        cast(forms.ModelChoiceField, self.fields["owner"]).queryset = people


class DescribeForm(HouseForm):
    """What was done at once, and what caused it, as far as it is known."""

    version = SeenVersionField()
    measure = words_field(MOST, rows=3, label="Done at once", required=False)
    cause_category = cause_field(required=False)
    cause = words_field(MOST, rows=3, label="What caused it", required=False)


class DecisionForm(SigningForm):
    """The decision on an open deviation, signed."""

    kind = forms.ChoiceField(
        label="What is decided", widget=forms.RadioSelect, choices=KINDS, error_messages=dict(_CHOOSE)
    )
    decision = words_field(
        MOST, rows=4, label="Decision, and why", validators=[told("what was decided and why", "Too short.")],
        help_text=f"{TEN} What it means for the batch, what was done, what is done next.",
    )  # fmt: skip
    cause_category = cause_field(required=False)
    cause = words_field(
        MOST, rows=3, label="What caused it", required=False, help_text=f"Needed from major on. {TEN}"
    )

    def __init__(self, *args: Any, found: Deviation | None = None, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.found = found

    def clean(self) -> dict[str, Any]:
        """The cause as far as this deviation needs one: what stands already is enough."""
        cleaned = super().clean() or {}
        found = self.found
        if found is None:
            return cleaned
        if not (cleaned.get("cause_category", "-") or found.cause_category):
            self.add_error("cause_category", forms.ValidationError(NO_CAUSE, code="no_category"))
        if "cause" in cleaned and found.severity != Deviation.Severity.MINOR:
            try:
                told("what caused it", "Too short.")(str(cleaned["cause"]) or found.cause)
            except forms.ValidationError as short:
                self.add_error("cause", short)
        return cleaned


class FollowForm(HouseForm):
    """A new deviation that takes a decided one up again."""

    what = words_field(
        MOST, rows=3, label="What came up", help_text=f"{TEN} What was seen after the decision."
    )
    severity = forms.ChoiceField(
        label="Severity", widget=forms.RadioSelect, choices=SEVERITIES, error_messages=dict(_CHOOSE)
    )
