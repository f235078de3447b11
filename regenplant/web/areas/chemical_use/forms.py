"""What of the audit is shown, read from the address so that a page can be kept and sent; and what is written: prices, levels, a report."""

from __future__ import annotations

from datetime import date
from typing import Any

from django import forms

from regenplant.core.process.vocabulary import Chemical, ResinFamily, SegregationClass
from regenplant.core.process.watch_measures import Beyond, Measure, Shown, said
from regenplant.use.models import KEY_LENGTH, ChemicalPrice
from regenplant.use.selectors import By, Question
from regenplant.use.services.reports import MOST_REMARKS
from regenplant.web.house_form import HouseForm, day_field, words_field
from regenplant.web.presenters.chemical_use import Period, PeriodName, period_named
from regenplant.web.signing import SigningForm

FIRST_DAY = date(2000, 1, 1)


def _code(label: str, most: int, **kwargs: Any) -> forms.CharField:
    widget = forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters"})
    return forms.CharField(max_length=most, required=False, label=label, widget=widget, **kwargs)


class UseForm(forms.Form):
    """The question. Without anything chosen it is this week by family, every chemical."""

    period = forms.ChoiceField(
        choices=[(name.value, name.label) for name in PeriodName], required=False, widget=forms.HiddenInput
    )
    only = forms.ChoiceField(
        choices=[("", "every batch"), ("outside", "outside")], required=False, widget=forms.HiddenInput
    )
    first = day_field(label="From", required=False)
    last = day_field(label="To", required=False)
    by = forms.ChoiceField(choices=[(by.value, by.label) for by in By], required=False, label="Groups by")
    chemical = forms.ChoiceField(
        choices=[("", "every chemical"), *((chemical.value, chemical.label) for chemical in Chemical)],
        required=False,
        label="Chemical",
    )
    family = forms.ChoiceField(
        choices=[("", "every family"), *((family.value, family.label) for family in ResinFamily)],
        required=False,
        label="Family",
    )
    segregation_class = forms.ChoiceField(
        choices=[
            ("", "every class"),
            *((one.value, f"{one.value} · {one.label}") for one in SegregationClass),
        ],
        required=False,
        label="Class",
    )
    vessel = _code("Vessel", 12)
    shift = forms.CharField(max_length=16, required=False, label="Shift", help_text="As 06:00–14:00.")
    customer = _code("Customer, code", KEY_LENGTH)
    resin_lot = _code("Resin lot", KEY_LENGTH)
    chemical_lot = _code("Chemical lot", KEY_LENGTH)

    NARROWING = ("chemical", "family", "segregation_class", "vessel", "shift", "customer", "resin_lot", "chemical_lot")  # fmt: skip
    TYPED_CODES = ("vessel", "customer", "resin_lot", "chemical_lot")

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

    def question(self) -> Question:
        """What is asked; the whole period by family where the question was not in order."""
        period = self.chosen()
        if self.errors:
            return Question(period.first, period.last)
        narrow = {name: self._value(name) for name in self.NARROWING}
        return Question(
            period.first, period.last, By(self.cleaned_data.get("by") or By.FAMILY.value), **narrow
        )

    def _value(self, name: str) -> str:
        value = str(self.cleaned_data.get(name) or "").strip()
        if name in self.TYPED_CODES and value.lower() != "none":
            return value.upper()
        return value.lower() if name in self.TYPED_CODES else value

    @property
    def is_only_outside(self) -> bool:
        return self.cleaned_data.get("only") == "outside"


class PriceForm(HouseForm):
    """What a chemical costs."""

    chemical = forms.ChoiceField(label="Chemical", choices=[(one.value, one.label) for one in Chemical])
    price = forms.CharField(
        max_length=20,
        label="Price per kg",
        help_text="For example 0.385, with at most three decimals.",
        widget=forms.TextInput(attrs={"inputmode": "decimal", "autocomplete": "off"}),
    )
    currency = forms.CharField(
        max_length=3, label="Currency", help_text="Three letters, for example EUR; one for the whole plant."
    )
    basis = forms.ChoiceField(
        label="Counted", choices=ChemicalPrice.Basis.choices, widget=forms.RadioSelect, initial="product"
    )
    from_day = day_field(label="From", help_text="Counts for lots received on this day or later.")
    supplier = words_field(
        80, required=False, label="Supplier", help_text="As on its data sheet; empty for every supplier."
    )
    lot = _code("Only for lot", 24, help_text="Code of one chemical lot; then no supplier.")
    reason = words_field(200, label="Where the price stands", help_text="An invoice, a contract.")


class WatchForm(HouseForm):
    """Watch levels and shifts."""

    batch_percent = forms.FloatField(
        label="A batch is marked from ± %", min_value=0.1, max_value=50, help_text="Usual: 5."
    )
    period_percent = forms.FloatField(
        label="A group over a period is marked from ± %", min_value=0.1, max_value=50, help_text="Usual: 2."
    )
    shifts = forms.CharField(
        max_length=60,
        label="Shifts begin at",
        help_text="Times of day with commas between: 06:00, 14:00, 22:00. Batches keep the shift they were started in.",
    )
    reason = words_field(300, rows=2, label="Why", help_text="At least ten characters.")
    seen = forms.IntegerField(widget=forms.HiddenInput, required=False, min_value=0, max_value=2**62)

    def beginnings(self) -> list[str]:
        """The times as written."""
        return [part.strip() for part in self.text("shifts").split(",") if part.strip()]


class MeasureForm(HouseForm):
    """The level of one measure, in the unit it reads in."""

    level = forms.FloatField(label="Marked")
    reason = words_field(300, rows=2, label="Why", help_text="At least ten characters.")
    seen = forms.IntegerField(widget=forms.HiddenInput, required=False, min_value=0, max_value=2**62)

    def __init__(self, *args: Any, measure: Measure, **kwargs: Any):
        super().__init__(*args, **kwargs)
        field = self.fields["level"]
        side = {Beyond.ABOVE: "above", Beyond.BELOW: "below", Beyond.FROM: "from"}[measure.beyond]
        unit = {Shown.PERCENT: " %", Shown.TIMES: " times", Shown.COUNT: ""}[measure.shown]
        field.label = f"Marked {side},{unit}" if unit else f"Marked {side}"
        field.help_text = f"From {said(measure, measure.lowest)} to {said(measure, measure.highest)}. Usual: {said(measure, measure.usual)}."


class ReportForm(SigningForm):
    """What is signed. ``shown`` is the mark of the figures that were read."""

    shown = forms.CharField(widget=forms.HiddenInput, max_length=64, required=False)
    remarks = words_field(
        MOST_REMARKS,
        rows=4,
        required=False,
        label="Remarks",
        help_text="What was found, where a difference went, what follows.",
    )

    def show_again(self, mark: str) -> None:
        """The page around a refused form shows the present figures: the next signature is over those."""
        if self.is_bound:
            data = self.data.copy()  # type: ignore[attr-defined]
            data[self.add_prefix("shown")] = mark
            self.data = data
