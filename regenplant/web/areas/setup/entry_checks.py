"""How critical entries are checked, class by class: typed twice, or by a second person."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from regenplant.batches import services
from regenplant.batches.checking import check_methods, check_rules
from regenplant.batches.models import EntryCheck
from regenplant.core.process.vocabulary import SegregationClass
from regenplant.web.act_page import Act, act_page
from regenplant.web.house_form import HouseForm, posted, words_field
from regenplant.web.seen import SeenVersionField
from regenplant.web.why import TEN

METHODS = [
    (EntryCheck.Method.TWICE.value, "typed twice"),
    (EntryCheck.Method.SECOND_PERSON.value, "second person"),
]
CLASSES = [item for item in SegregationClass if item is not SegregationClass.REFUSED]


class EntryChecksForm(HouseForm):
    """One choice for each class, and why."""

    version = SeenVersionField()
    reason = words_field(300, rows=2, label="Why it is set so", help_text=TEN)

    def extra_fields(self) -> dict[str, forms.Field]:
        return {
            f"class_{item.value}": forms.ChoiceField(
                label=f"Class {item.value}: {item.label}", choices=METHODS
            )
            for item in CLASSES
        }

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.order_fields([*(f"class_{item.value}" for item in CLASSES), "reason"])

    @property
    def methods(self) -> dict[str, str]:
        """The chosen check by class."""
        return {item.value: self.cleaned_data[f"class_{item.value}"] for item in CLASSES}


@require_http_methods(["GET", "HEAD", "POST"])
def change(request: HttpRequest) -> HttpResponse:
    """Show how each class is checked, and change it."""
    now = check_methods()
    initial = {f"class_{item.value}": now[item.value].value for item in CLASSES}
    form = EntryChecksForm(posted(request), initial={"version": check_rules().version, **initial})
    act = Act(
        title="Checks of critical entries",
        sentence=(
            "Chemical volume, strength and the reading of the end point are typed twice, or checked by a second person with "
            "their own password. QC takes no batch while one is missing."
        ),
        permission="plant.edit",
        service=services.set_check_rules,
        arguments=lambda: {
            "methods": form.methods,
            "reason": form.text("reason"),
            "version": form.shown_version,
        },
        said=lambda outcome: "Written: the checks of critical entries.",
        then=lambda outcome: reverse("setup-entry-checks"),
        back_url=reverse("setup"),
    )
    return act_page(request, form, act)
