"""Which time and which batches are shown. Read from the address, so that a page can be kept and sent."""

from __future__ import annotations

from datetime import date
from typing import Any

from django import forms

from regenplant.batches.causes import CAUSES
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.quality.gathered_failures import Wanted
from regenplant.web.house_form import HouseForm, day_field, words_field
from regenplant.web.presenters.trend_windows import FIRST_DAY, Window, WindowName, window_named
from regenplant.web.presenters.trends import UNSAID


class WindowForm(forms.Form):
    """The time window. Without anything chosen it is the last twelve months."""

    window = forms.ChoiceField(
        choices=[(name.value, name.label) for name in WindowName], required=False, widget=forms.HiddenInput
    )
    first = day_field(label="From", required=False)
    last = day_field(label="To", required=False)

    def __init__(self, *args: Any, today: date, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.today = today

    def clean(self) -> dict[str, Any]:
        data = super().clean() or {}
        first, last = data.get("first"), data.get("last")
        for name in ("first", "last"):
            day = data.get(name)
            if day is not None and not FIRST_DAY <= day <= self.today:
                words = f"{day.isoformat()} is outside: days run from {FIRST_DAY.isoformat()} to today, {self.today.isoformat()}."
                self.add_error(name, forms.ValidationError(words, code="outside"))
        if first and last and first > last:
            words = f"The time runs back from {first.isoformat()} to {last.isoformat()}. Put the earlier day first."
            self.add_error("last", forms.ValidationError(words, code="backwards"))
        return data

    def chosen(self) -> Window:
        """The window asked for; twelve months where the question was not in order."""
        data = self.cleaned_data
        first, last = data.get("first"), data.get("last")
        if (first or last) and not self.errors:
            return Window(WindowName.DATES, first or FIRST_DAY, last or self.today)
        name = WindowName(data.get("window") or WindowName.YEAR)
        return window_named(name if name is not WindowName.DATES else WindowName.YEAR, self.today)


class FailuresForm(WindowForm):
    """The window, and what narrows the failures."""

    family = forms.ChoiceField(
        choices=[("", "every family"), *((family.value, family.label) for family in ResinFamily)],
        required=False,
        label="Family",
    )
    vessel = forms.CharField(max_length=12, required=False, label="Vessel")
    cause = forms.ChoiceField(
        choices=[("", "every cause"), *CAUSES.items(), ("unsaid", UNSAID)], required=False, label="Cause"
    )

    def wanted(self) -> Wanted:
        data = self.cleaned_data
        return Wanted(
            data.get("family") or "", (data.get("vessel") or "").strip().upper(), data.get("cause") or ""
        )


class LookForm(HouseForm):
    """What was found about a drift."""

    words = words_field(
        300, rows=4, label="What was found, and what follows", help_text="At least ten characters."
    )
