"""Which tanks a certificate names, and why one is withdrawn."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms

from regenplant.batches.models import BatchTank
from regenplant.web.house_form import HouseForm, words_field
from regenplant.web.why import category_field, reason_field


class IssueForm(HouseForm):
    """The tanks of one customer, one by one or a whole delivery."""

    tanks = forms.MultipleChoiceField(
        label="Tanks",
        widget=forms.CheckboxSelectMultiple,
        help_text="Of one customer. One tank, or all of a delivery.",
        error_messages={"required": "Tick at least one tank."},
    )
    in_place_of = words_field(
        16,
        label="In place of certificate",
        required=False,
        help_text="Its number, such as CQ-10001, when it is replaced by this one.",
    )

    def __init__(self, *args: Any, links: Sequence[BatchTank], **kwargs: Any):
        super().__init__(*args, **kwargs)
        choice = self.fields["tanks"]
        assert isinstance(choice, forms.MultipleChoiceField)
        choice.choices = [(str(link.visit_id), _words(link)) for link in links]

    def arguments(self) -> dict[str, Any]:
        return {
            "visit_ids": [int(pk) for pk in self.cleaned_data["tanks"]],
            "in_place_of": self.text("in_place_of"),
        }


def _words(link: BatchTank) -> str:
    visit = link.visit
    return f"{visit.tank.serial}, batch {link.batch.number}, {visit.customer.name}"


class WithdrawForm(HouseForm):
    """Why a certificate holds no more."""

    category = category_field()
    reason = reason_field(
        "why it holds no more", label="Why it holds no more", help_text="At least 10 characters."
    )
