"""What is written about a lot that ages: a sample with its figures, a correction, a look with quick tests, the capacity factor."""

from __future__ import annotations

from typing import Any, cast

from django import forms

from regenplant import units
from regenplant.core.process.resin_ageing import LEAST_SD, MOST_SD
from regenplant.core.process.resin_fouling import FOULANTS, Answer, Foulant, Seen
from regenplant.core.process.resin_tests import Property
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.quality.models import ResinFigure
from regenplant.quality.services import FigureAsTyped, SampleAsTyped
from regenplant.resins.capacities import LEAST_FACTOR, MOST_FACTOR
from regenplant.web.areas.rinse.forms import with_unit
from regenplant.web.fields import QuantityField
from regenplant.web.house_form import NEEDED, HouseForm, words_field
from regenplant.web.moments import MomentField
from regenplant.web.signing import SigningForm
from regenplant.web.why import TEN, category_field, reason_field, told

_PER_VOLUME = "Per volume of settled resin in its exhausted form (sodium, chloride)."


def figure_fields(about: Property, *, is_needed: bool = False) -> dict[str, forms.Field]:
    """Value, that of new resin, uncertainty and method of one figure, by the names the services refuse with."""
    name = about.value
    found: dict[str, forms.Field] = {
        name: QuantityField(
            about.kind, low=about.low, high=about.high, label=about.label if is_needed else "Value", required=is_needed,
            help_text=_PER_VOLUME if about.is_capacity else "", error_messages={"required": NEEDED},
        )
    }  # fmt: skip
    if about.wants_new:
        found[f"{name}_new"] = QuantityField(
            about.kind,
            low=about.low,
            high=about.high,
            label="Of new resin",
            required=False,
            help_text=_new_help(about),
        )
    if about.is_capacity:
        found[f"{name}_sd"] = QuantityField(
            "fraction", low=LEAST_SD, high=MOST_SD, label="Uncertainty", required=False,
            help_text="One standard deviation, of the value. Empty: 5 %, common practice.",
        )  # fmt: skip
    found[f"{name}_method"] = words_field(120, label="Method", required=is_needed)
    return found


def _new_help(about: Property) -> str:
    if about is Property.TOTAL_CAPACITY:
        return "Empty: as on the resin type’s data sheet."
    if about is Property.SALT_SPLITTING:
        return "From the data sheet. Empty only for cation resin: its total capacity."
    return "From the data sheet; without it a rise or fall says nothing."


class FigureForm(HouseForm):
    """Figures of a laboratory, as they go to the services."""

    def typed(self, about: Property) -> FigureAsTyped | None:
        """One figure as it goes to the service; None where no value is written."""
        name = about.value
        if self.cleaned_data.get(name) is None:
            return None
        return FigureAsTyped(
            name,
            self._quantity_text(name),
            self.text(f"{name}_method"),
            self._quantity_text(f"{name}_new"),
            self._quantity_text(f"{name}_sd"),
        )

    def _quantity_text(self, name: str) -> str:
        found = self.cleaned_data.get(name)
        return "" if found is None else with_unit(found)


class SampleForm(FigureForm):
    """Where a sample came from, and every figure of the laboratory's report."""

    SAMPLE = ("taken_at", "taken_by", "taken_how", "laboratory", "report")

    taken_at = MomentField(
        label="Taken at",
        required=True,
        help_text="With its day, such as 2026-03-11 14:02.",
        error_messages={"required": NEEDED},
    )
    taken_by = words_field(80, label="Taken by")
    taken_how = words_field(
        200, label="Where and how", help_text="Such as: core over the full depth of tank T-20417."
    )
    laboratory = words_field(120, label="Laboratory")
    report = words_field(80, label="Number of its report", required=False)

    def extra_fields(self) -> dict[str, forms.Field]:
        return {name: field for about in Property for name, field in figure_fields(about).items()}

    def clean(self) -> dict[str, Any]:
        """A method without a value, or a value without its method, is half a figure."""
        cleaned = super().clean() or {}
        for about in Property:
            name = about.value
            if cleaned.get(name) is not None and not self.text(f"{name}_method"):
                self.add_error(
                    f"{name}_method",
                    forms.ValidationError("Say by which method it was measured.", code="no_method"),
                )
            beside = [f"{name}_method", f"{name}_new", f"{name}_sd"]
            if (
                cleaned.get(name) is None
                and name not in self.errors
                and any(cleaned.get(one) for one in beside)
            ):
                self.add_error(name, forms.ValidationError("The value itself is missing.", code="no_value"))
        if not self.errors and not any(cleaned.get(about.value) is not None for about in Property):
            self.add_error(
                None,
                forms.ValidationError(
                    "No figure is written. Write at least one of the report.", code="no_figure"
                ),
            )
        return cleaned

    @property
    def sample_fields(self) -> list[forms.BoundField]:
        return [self[name] for name in self.SAMPLE]

    @property
    def figure_groups(self) -> list[tuple[str, list[forms.BoundField]]]:
        """By figure: its fields, the first without saying again what it is."""
        return [(about.label, [self[name] for name in figure_fields(about)]) for about in Property]

    def sample(self, resin: str) -> SampleAsTyped:
        data = self.cleaned_data
        return SampleAsTyped(
            data["taken_at"],
            self.text("taken_by"),
            self.text("taken_how"),
            self.text("laboratory"),
            self.text("report"),
            resin,
        )

    def figures(self) -> list[FigureAsTyped]:
        return [found for about in Property if (found := self.typed(about)) is not None]


class CorrectFigureForm(FigureForm):
    """The right figure in place of a wrong one."""

    category = category_field()
    reason = reason_field()

    def __init__(self, *args: Any, row: ResinFigure, **kwargs: Any):
        self.about = Property(row.property)
        name = self.about.value
        kwargs["initial"] = {
            name: f"{row.value_as_typed} {row.unit_as_typed}".strip(),
            f"{name}_new": row.new_as_typed,
            f"{name}_sd": row.sd_frac,
            f"{name}_method": row.method,
            **kwargs.get("initial", {}),
        }
        super().__init__(*args, **kwargs)
        self.order_fields([*figure_fields(self.about), "category", "reason"])

    def extra_fields(self) -> dict[str, forms.Field]:
        return figure_fields(self.about, is_needed=True)

    def figure(self) -> FigureAsTyped:
        found = self.typed(self.about)
        if found is None:
            raise KeyError(f"{self.about} holds no number; ask only after is_valid")
        return found


class LotLookForm(HouseForm):
    """What is seen on a lot, and how quick tests came out."""

    seen = forms.MultipleChoiceField(
        label="Seen, smelled or measured", choices=[(one.value, one.label) for one in Seen], widget=forms.CheckboxSelectMultiple,
        required=False, help_text="Nothing ticked: it looks sound.",
    )  # fmt: skip
    words = words_field(400, rows=3, label="In your own words", required=False)

    def __init__(self, *args: Any, family: ResinFamily, **kwargs: Any):
        self.foulants: tuple[Foulant, ...] = tuple(one for one in FOULANTS if family in one.on)
        super().__init__(*args, **kwargs)
        speaking = {sign for one in self.foulants for sign in (*one.tell, *one.beside)}
        cast(forms.MultipleChoiceField, self.fields["seen"]).choices = [
            (sign.value, sign.label) for sign in Seen if sign in speaking
        ]
        self.order_fields(["seen", *(f"test_{one.code}" for one in self.foulants), "words"])

    def extra_fields(self) -> dict[str, forms.Field]:
        choices = [("", "not done"), *((one.value, one.value) for one in Answer)]
        return {
            f"test_{one.code}": forms.ChoiceField(
                label=f"Quick test on {one.name}", choices=choices, required=False, help_text=one.quick_test
            )
            for one in self.foulants
        }

    @property
    def test_fields(self) -> list[forms.BoundField]:
        return [self[f"test_{one.code}"] for one in self.foulants]

    def arguments(self) -> dict[str, Any]:
        answers = {one.code: self.text(f"test_{one.code}") for one in self.foulants}
        return {
            "seen": list(self.cleaned_data["seen"]),
            "answers": {code: answer for code, answer in answers.items() if answer},
            "words": self.text("words"),
        }


class CapacityForm(SigningForm):
    """The share of new capacity that plans count with, and why; signed."""

    factor = QuantityField(
        "fraction",
        low=LEAST_FACTOR,
        high=MOST_FACTOR,
        label="Capacity left, of new",
        error_messages={"required": NEEDED},
    )
    reason = words_field(300, rows=3, label="Why", help_text=TEN, validators=[told("why it is set so")])

    def arguments(self) -> dict[str, Any]:
        understood: units.Understood = self.cleaned_data["factor"]
        return {
            "factor_text": with_unit(understood),
            "reason": self.text("reason"),
            "seen_number": self.shown_version or 0,
        }
