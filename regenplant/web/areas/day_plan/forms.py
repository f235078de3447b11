"""What is written about plans of the day."""

from __future__ import annotations

from django import forms

from regenplant.planning.services.making import LEAST_S, MOST_S
from regenplant.web.house_form import HouseForm, moment_field

USUAL_S = 30


class NewPlanForm(HouseForm):
    """How long to search, and from when on batches may begin."""

    seconds = forms.IntegerField(
        label="Seconds to search",
        min_value=LEAST_S,
        max_value=MOST_S,
        initial=USUAL_S,
        help_text=f"{LEAST_S} to {MOST_S}. A first plan stands at once; it gets better while you wait, and you may stop it.",
    )
    from_at = moment_field(
        label="Batches begin from",
        required=False,
        help_text="Empty: now. Up to seven days ahead.",
    )


class ConfirmForm(HouseForm):
    """Nothing to fill in; the version that was shown goes with it."""

    may_overwrite = False
