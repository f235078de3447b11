"""The form of a recipe version: what it is for, its own limits, and one block per step with target, least and most.

The list of step kinds travels in a hidden field, so steps can be put in and left out without a script: "Put in" shows the
form again with one block more, and nothing is written. "Stands at" moves a step: the blocks are sorted by it when the form
is read.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from django import forms

from regenplant import units
from regenplant.core.errors import DomainError
from regenplant.core.process.recipes import (
    CHEMICAL_STEPS,
    RECIPE_LIMITS,
    SETTINGS_BY_KIND,
    RecipeDefinition,
    RecipeStep,
    SetPoint,
)
from regenplant.core.process.vocabulary import (
    Chemical,
    Leg,
    LegArrangement,
    Purpose,
    ResinFamily,
    StepKind,
    WaterKind,
)
from regenplant.recipes.selectors import SETTING_KINDS
from regenplant.web.fields import QuantityField
from regenplant.web.house_form import HouseForm, words_field

MOST_STEPS = 40
ENDS = (("target", "target"), ("low", "least"), ("high", "most"))
WATER_CHOICES = [("", "none"), *((kind.value, kind.label) for kind in WaterKind)]
CHEMICAL_CHOICES = [(chemical.value, chemical.label) for chemical in Chemical]
"""All of them: which may meet which resin, and in what order, the rules of the recipe say, with the reason."""
LEG_CHOICES = [(leg.value, leg.label) for leg in Leg]
_WITHOUT_WATER = (
    StepKind.LOAD,
    StepKind.SETTLE,
    StepKind.CUT,
    StepKind.JOIN,
    StepKind.AIR_MIX,
    StepKind.EMPTY,
    StepKind.FILL,
    StepKind.SAMPLE,
)


_NEVER_HELD = (StepKind.INJECT, StepKind.FLOAT)
"""Chemical stands in the bed after them."""


def kinds_from(text: str) -> list[StepKind]:
    """The step kinds of a posted form; what is no kind is left out, more than ``MOST_STEPS`` are cut."""
    known = {kind.value: kind for kind in StepKind}
    return [known[part] for part in text.split(",") if part in known][:MOST_STEPS]


@dataclass(frozen=True, slots=True)
class SettingView:
    name: str
    fields: tuple[Any, ...]


@dataclass(frozen=True, slots=True)
class StepView:
    """One step as the template shows it."""

    number: int
    kind: str
    plain: tuple[Any, ...]
    settings: tuple[SettingView, ...]
    leave_out: Any


class RecipeForm(HouseForm):
    """A recipe's next version. ``kinds`` are its steps; ``family`` says which chemicals are offered."""

    kinds = forms.CharField(widget=forms.HiddenInput, max_length=800)
    name = words_field(120, label="Name of the recipe")
    purpose = forms.ChoiceField(label="What it is for", choices=[(one.value, one.label) for one in Purpose])
    notes = words_field(1000, rows=3, label="Notes", required=False, help_text="Where the figures come from.")
    grades = words_field(
        120,
        label="Resin grades it may be used for",
        required=False,
        help_text="Separated by commas; empty means any grade.",
    )
    reason = words_field(
        300, rows=2, label="Why this version", help_text="What is different, and what it should bring."
    )

    def __init__(self, *args: Any, family: ResinFamily, step_kinds: list[StepKind], **kwargs: Any):
        self.family, self.step_kinds = family, step_kinds
        super().__init__(*args, **kwargs)

    def extra_fields(self) -> dict[str, forms.Field]:
        made: dict[str, forms.Field] = {}
        if self.family.is_mixed:
            made["arrangement"] = forms.ChoiceField(
                label="How the legs run", choices=[(one.value, one.label) for one in LegArrangement]
            )
        for key, (label, kind) in RECIPE_LIMITS.items():
            made[f"limit_{key}"] = QuantityField(kind, label=label, required=False)
        return {**made, **_step_fields(self.step_kinds, self.family)}

    def head_fields(self) -> list[Any]:
        """What the recipe is, above its steps."""
        names = [
            "name",
            "purpose",
            *(["arrangement"] if self.family.is_mixed else []),
            "grades",
            "notes",
            "reason",
        ]
        return [self[name] for name in names]

    def limit_fields(self) -> list[Any]:
        return [self[f"limit_{key}"] for key in RECIPE_LIMITS]

    def steps(self) -> Iterator[StepView]:
        for index, kind in enumerate(self.step_kinds):
            plain = [self[f"s{index}_{name}"] for name in _plain_names(kind, self.family)]
            settings = [
                SettingView(SETTING_KINDS[key][1], tuple(self[f"s{index}_{key}_{end}"] for end, _ in ENDS))
                for key in SETTINGS_BY_KIND[kind]
            ]
            yield StepView(index + 1, kind.label, tuple(plain), tuple(settings), self[f"s{index}_leave_out"])

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or self.cleaned_data
        for index, kind in enumerate(self.step_kinds):
            if cleaned.get(f"s{index}_leave_out"):
                continue
            for key in SETTINGS_BY_KIND[kind]:
                self._refuse_upside_down(index, key)
        return cleaned

    def _refuse_upside_down(self, index: int, key: str) -> None:
        names = [f"s{index}_{key}_{end}" for end, _ in ENDS]
        if any(name in self.errors for name in names):
            return
        target, low, high = (self.needed_quantity(name) for name in names)
        if not low <= target <= high:
            kind = SETTING_KINDS[key][0]
            shown = [units.twin(value, kind, self.fields[names[0]].system) for value in (target, low, high)]  # type: ignore[attr-defined]
            self.add_error(
                names[0], f"The target {shown[0]} does not lie between least {shown[1]} and most {shown[2]}."
            )

    def definition(self, code: str) -> RecipeDefinition | None:
        """The recipe as frozen data; a refusal of the core is put on the form and gives None."""
        try:
            return RecipeDefinition(
                code,
                self.text("name"),
                self.family,
                tuple(self._step(index, self.step_kinds[index]) for index in self._order()),
                self.text("notes"),
                purpose=Purpose(self.cleaned_data["purpose"]),
                arrangement=LegArrangement(
                    self.cleaned_data.get("arrangement") or LegArrangement.APART.value
                ),
                grades=tuple(grade for part in self.text("grades").split(",") if (grade := part.strip())),
                limits={
                    key: value
                    for key in RECIPE_LIMITS
                    if (value := self.quantity(f"limit_{key}")) is not None
                },
            )
        except DomainError as refusal:
            self.add_error(None, forms.ValidationError(refusal.message, code=refusal.code))
            return None

    def _order(self) -> list[int]:
        """Blocks that stay, as they stood; each that was given another number then takes that place, the others make room."""
        kept = [i for i in range(len(self.step_kinds)) if not self.cleaned_data.get(f"s{i}_leave_out")]
        places = {
            i: place for i in kept if (place := self.cleaned_data.get(f"s{i}_stands_at")) and place != i + 1
        }
        order = [i for i in kept if i not in places]
        for i in sorted(places, key=lambda i: (places[i], -i)):
            order.insert(places[i] - 1, i)
        return order

    def _step(self, index: int, kind: StepKind) -> RecipeStep:
        def point(key: str) -> SetPoint:
            return SetPoint(*(self.needed_quantity(f"s{index}_{key}_{end}") for end, _ in ENDS))

        data = self.cleaned_data
        water, chemical = data.get(f"s{index}_water"), data.get(f"s{index}_chemical")
        return RecipeStep(
            kind,
            self.text(f"s{index}_name"),
            {key: point(key) for key in SETTINGS_BY_KIND[kind]},
            water=WaterKind(water) if water else None,
            chemical=Chemical(chemical) if chemical else None,
            is_safe_hold_after=bool(data.get(f"s{index}_is_safe_hold_after")),
            ends_when=self.text(f"s{index}_ends_when"),
            leg=Leg(data.get(f"s{index}_leg") or Leg.WHOLE.value),
            asks_second_person=bool(data.get(f"s{index}_asks_second_person")),
        )


def _plain_names(kind: StepKind, family: ResinFamily) -> tuple[str, ...]:
    names = ["name", "stands_at"]
    if family.is_mixed:
        names.append("leg")
    if kind not in _WITHOUT_WATER:
        names.append("water")
    if kind in CHEMICAL_STEPS:
        names += ["chemical", "asks_second_person"]
    names.append("ends_when")
    return (*names, "is_safe_hold_after") if kind not in _NEVER_HELD else tuple(names)


def _step_fields(kinds: list[StepKind], family: ResinFamily) -> dict[str, forms.Field]:
    made: dict[str, forms.Field] = {}
    for index, kind in enumerate(kinds):
        made[f"s{index}_name"] = words_field(60, label="Name of the step")
        made[f"s{index}_ends_when"] = words_field(
            200, label="Ends when", required=False, help_text="Sign of the end, beside the plan’s time."
        )
        names = _plain_names(kind, family)
        made[f"s{index}_stands_at"] = forms.IntegerField(
            label="Stands at",
            required=False,
            min_value=1,
            max_value=MOST_STEPS,
            widget=forms.TextInput(attrs={"inputmode": "numeric", "autocomplete": "off"}),
            help_text=f"Now {index + 1}. Another number moves it there.",
        )
        if "leg" in names:
            made[f"s{index}_leg"] = forms.ChoiceField(label="Works on", choices=LEG_CHOICES)
        if "water" in names:
            made[f"s{index}_water"] = forms.ChoiceField(label="Water", choices=WATER_CHOICES)
        if "chemical" in names:
            made[f"s{index}_chemical"] = forms.ChoiceField(label="Chemical", choices=CHEMICAL_CHOICES)
            made[f"s{index}_asks_second_person"] = forms.BooleanField(
                label="Two people check the connection", required=False
            )
        if "is_safe_hold_after" in names:
            made[f"s{index}_is_safe_hold_after"] = forms.BooleanField(
                label="Safe to hold after it", required=False
            )
        made[f"s{index}_leave_out"] = forms.BooleanField(label="Leave this step out", required=False)
        for key in SETTINGS_BY_KIND[kind]:
            unit_kind, label = SETTING_KINDS[key]
            for end, word in ENDS:
                made[f"s{index}_{key}_{end}"] = QuantityField(unit_kind, label=f"{label}, {word}")
    return made


def initial_of(definition: RecipeDefinition) -> dict[str, Any]:
    """What stands in a version, by field."""
    found: dict[str, Any] = {
        "kinds": ",".join(step.kind.value for step in definition.steps),
        "name": definition.name,
        "notes": definition.notes,
        "purpose": definition.purpose.value,
        "arrangement": definition.arrangement.value,
        "grades": ", ".join(definition.grades),
        **{f"limit_{key}": value for key, value in definition.limits.items()},
    }
    for index, step in enumerate(definition.steps):
        found[f"s{index}_leg"] = step.leg.value
        found[f"s{index}_name"] = step.name
        found[f"s{index}_water"] = step.water.value if step.water else ""
        found[f"s{index}_chemical"] = step.chemical.value if step.chemical else ""
        found[f"s{index}_ends_when"] = step.ends_when
        found[f"s{index}_asks_second_person"] = step.asks_second_person
        found[f"s{index}_is_safe_hold_after"] = step.is_safe_hold_after
        for key, point in step.settings.items():
            for end, _ in ENDS:
                found[f"s{index}_{key}_{end}"] = getattr(point, end)
    return found


def with_step_put_in(
    posted: Mapping[str, str], kinds: list[StepKind], kind: StepKind, after: int
) -> tuple[list[StepKind], dict[str, str]]:
    """The kinds and typed texts with one empty step after step number ``after`` (0: at the start)."""
    place = max(0, min(after, len(kinds)))
    grown = [*kinds[:place], kind, *kinds[place:]]
    texts: dict[str, str] = {}
    for name, text in posted.items():
        head, _, rest = name.partition("_")
        if head[:1] == "s" and head[1:].isdigit():
            index = int(head[1:])
            texts[f"s{index + (index >= place)}_{rest}"] = text
        else:
            texts[name] = text
    texts["kinds"] = ",".join(item.value for item in grown)
    texts[f"s{place}_name"] = kind.label
    return grown, texts
