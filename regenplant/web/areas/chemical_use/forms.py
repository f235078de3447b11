"""Which chemical use is shown: period, family, chemical. Read from the address, so that a page can be kept and sent."""

from __future__ import annotations

from datetime import date, timedelta
from typing import Any

from django import forms

from regenplant.core.process.vocabulary import Chemical, ResinFamily
from regenplant.web.house_form import day_field
from regenplant.web.presenters.chemical_use import Period, PeriodName, period_named

FIRST_DAY = date(2000, 1, 1)
MOST_DAYS = 400


class UseForm(forms.Form):
    """The filter. Without anything chosen it is this week, every family, every chemical."""

    period = forms.ChoiceField(
        choices=[(name.value, name.label) for name in PeriodName], required=False, widget=forms.HiddenInput
    )
    first = day_field(label="From", required=False)
    last = day_field(label="To", required=False)
    family = forms.ChoiceField(
        choices=[("", "every family"), *((family.value, family.label) for family in ResinFamily)],
        required=False,
        label="Family",
    )
    chemical = forms.ChoiceField(
        choices=[("", "every chemical"), *((chemical.value, chemical.label) for chemical in Chemical)],
        required=False,
        label="Chemical",
    )

    def __init__(self, *args: Any, today: date, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.today = today

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        first, last = data.get("first"), data.get("last")
        for name in ("first", "last"):
            day = data.get(name)
            if day is not None and not FIRST_DAY <= day <= self.today:
                self.add_error(
                    name,
                    forms.ValidationError(
                        f"{day.isoformat()} is outside: days run from {FIRST_DAY.isoformat()} to today, {self.today.isoformat()}.",
                        code="outside",
                    ),
                )
        if first and last and first > last:
            self.add_error(
                "last",
                forms.ValidationError(
                    f"The period runs back from {first.isoformat()} to {last.isoformat()}. Put the earlier day first.",
                    code="backwards",
                ),
            )
        elif first and last and last - first >= timedelta(days=MOST_DAYS):
            days = (last - first).days + 1
            self.add_error(
                "last",
                forms.ValidationError(
                    f"{days} days are too many for one page, at most {MOST_DAYS}.", code="too_long"
                ),
            )
        return data

    def chosen(self) -> Period:
        """The period asked for; this week where the question was not in order."""
        data = self.cleaned_data
        first, last = data.get("first"), data.get("last")
        if (first or last) and not self.errors:
            last = last or self.today
            return Period(PeriodName.DATES, first or last, last)
        name = PeriodName(data.get("period") or PeriodName.THIS_WEEK)
        return period_named(name if name is not PeriodName.DATES else PeriodName.THIS_WEEK, self.today)

    @property
    def chosen_family(self) -> ResinFamily | None:
        value = self.cleaned_data.get("family")
        return ResinFamily(value) if value else None

    @property
    def chosen_chemical(self) -> Chemical | None:
        value = self.cleaned_data.get("chemical")
        return Chemical(value) if value else None
