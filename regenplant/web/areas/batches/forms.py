"""What is written on the pages of a batch."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, cast

from django import forms

from regenplant.audit.reasons import SHORTEST_REASON
from regenplant.batches.causes import CAUSES
from regenplant.batches.failures import FIRST_FAILURE, ReworkNeeds
from regenplant.batches.models import Deviation, StepEntry
from regenplant.batches.services import REWORK_MEANING
from regenplant.batches.services.entries import LONGEST_TEXT
from regenplant.core.process.plan import EntrySpec
from regenplant.core.process.vocabulary import ResinFamily
from regenplant.plant.models import Vessel
from regenplant.units import UnitSystem
from regenplant.web.fields import QuantityField
from regenplant.web.house_form import HouseForm, words_field
from regenplant.web.moments import MomentField
from regenplant.web.presenters.batch_entries import NOT_NUMBERS
from regenplant.web.presenters.bed import lower_first
from regenplant.web.seen import SeenVersionField
from regenplant.web.signing import TwoPeopleForm
from regenplant.web.twice import TwiceForm
from regenplant.web.why import TEN, LateForm, category_field, reason_field, told

TOO_OLD = "This page does not say which state of the batch it shows. Open it again."


class ActForm(HouseForm):
    """An act on the state that was shown; ``reason`` where one is asked."""

    version = SeenVersionField(error_messages={"required": TOO_OLD, "invalid": TOO_OLD})

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["version"].error_messages.update({"required": TOO_OLD, "invalid": TOO_OLD})

    def version_seen(self, now: int) -> int | None:
        """The version that was shown. If the form comes back it carries the present one, ``now``: the page around it
        shows that state, and what was typed stays."""
        seen = self.shown_version
        self.take_state(now)
        return seen

    @property
    def codes(self) -> frozenset[str]:
        """What was refused, for the page."""
        found = (error.code for errors in self.errors.as_data().values() for error in errors)
        return frozenset(code for code in found if code)

    def text_of(self, name: str) -> str:
        """What was typed into a field, whether it was understood or not."""
        return str(self.data.get(self.add_prefix(name), "")).strip()

    @property
    def sentences(self) -> list[str]:
        """Every refusal as a sentence, wherever it belongs: the page of an act shows no other field."""
        return [str(sentence) for errors in self.errors.values() for sentence in errors]


class StepForm(ActForm, LateForm):
    """Starting or ending a step, perhaps a while ago."""

    occurred_at = MomentField(label="Happened at", help_text="Empty: now. Such as 14:02.")

    @property
    def is_said_true(self) -> bool:
        """Whether an end that comes very soon was said to be true."""
        return self.data.get("soon") == "yes"


class EntryForm(TwiceForm, LateForm):
    """One entry of a step: a number with its unit, the instrument if there is one, and when. A critical one is typed twice."""

    field_order = ["value", "instrument", "occurred_at", "late_category", "late_words"]

    key = forms.CharField(widget=forms.HiddenInput, max_length=40)
    value = words_field(LONGEST_TEXT, label="Value")
    instrument = forms.ChoiceField(label="Read with", required=False)
    occurred_at = MomentField(label="Happened at", help_text="Empty: now. Such as 14:02.")

    def __init__(
        self,
        *args: Any,
        spec: EntrySpec,
        system: str,
        instruments: Sequence[tuple[str, str]] = (),
        **kwargs: Any,
    ):
        super().__init__(*args, system=system, initial={"key": spec.key}, **kwargs)
        self.about = spec.key
        name = f"{'Once more' if self.is_second else 'Write down'}: {lower_first(spec.name)}"
        self.fields["value"] = value_field(spec, system, self.fields["value"], label=name)
        if instruments:
            cast(forms.ChoiceField, self.fields["instrument"]).choices = [("", "not said"), *instruments]
        else:
            del self.fields["instrument"]
        self.order_fields(self.field_order)

    def arguments(self) -> dict[str, Any]:
        """What the service takes. An outside value is true only if exactly this text was shown as outside before."""
        instrument = self.cleaned_data.get("instrument")
        return {
            "key": self.cleaned_data["key"],
            "text": self.typed,
            "instrument_id": int(instrument) if instrument else None,
            "outside_is_true": self.is_said_true,
            "again": self.again,
            "late": self.late,
        }


NOTHINGS = [
    (StepEntry.Standing.NOT_DONE.value, "not done: it was to be done, and was not"),
    (StepEntry.Standing.NOT_APPLICABLE.value, "not applicable: there was nothing to write"),
]
_STANDING = {
    "required": "Choose one.",
    "invalid_choice": "What was chosen is no choice here. Choose one of the rows.",
}


class CorrectEntryForm(TwiceForm):
    """The right value of an entry that was written down wrongly, or that nothing was to be written. Its time stays."""

    value = words_field(LONGEST_TEXT, label="Right value", required=False)
    standing = forms.ChoiceField(
        label="What is right",
        widget=forms.RadioSelect,
        required=False,
        choices=[(StepEntry.Standing.WRITTEN.value, "the value below"), *NOTHINGS],
        error_messages=dict(_STANDING),
    )
    category = category_field()
    reason = reason_field()

    def __init__(self, *args: Any, spec: EntrySpec, row: StepEntry, system: str, **kwargs: Any):
        typed = f"{row.value_as_typed} {row.unit_as_typed}".replace(" h:min", "").strip()
        is_tick = spec.kind in ("confirm", "second_person")
        standing = StepEntry.Standing.NOT_DONE if is_tick else StepEntry.Standing.WRITTEN
        super().__init__(*args, system=system, initial={"value": typed, "standing": standing.value}, **kwargs)
        self.about = f"correction {row.pk}"
        label = "Once more: the right value" if self.is_second else "Right value"
        if is_tick:
            del self.fields["value"]
            cast(forms.ChoiceField, self.fields["standing"]).choices = NOTHINGS
        else:
            self.fields["value"] = value_field(spec, system, self.fields["value"], label=label)
            self.fields["value"].required = self.asked_standing == StepEntry.Standing.WRITTEN
        self.order_fields(["standing", "value", "category", "reason"])

    @property
    def asked_standing(self) -> str:
        """What is right now: a value, or a kind of nothing."""
        return str(self.data.get(self.add_prefix("standing"), "") or self.initial["standing"])


class LeaveForm(HouseForm):
    """Why nothing stands where something was asked for."""

    standing = forms.ChoiceField(
        label="Which kind of nothing",
        widget=forms.RadioSelect,
        choices=NOTHINGS,
        error_messages=dict(_STANDING),
    )
    category = category_field()
    reason = reason_field(
        "why it was not done or does not apply",
        label="Why",
        help_text=f"{TEN} What was not done opens a deviation.",
    )


def value_field(spec: EntrySpec, system: str, words: forms.Field, label: str = "") -> forms.Field:
    """The field of one entry: a number with a unit, or words for a choice.

    The limits are not the field's: outside them is refused by the service, with a way to say that it is true.
    """
    if spec.kind in NOT_NUMBERS:
        words.label, words.help_text = label or spec.name, spec.help
        if spec.kind == "text":
            words.help_text = f"{spec.help} Type, paste or scan it.".strip()
            words.widget.attrs["autocapitalize"] = "off"
        return words
    return QuantityField(
        spec.kind,
        label=label or spec.name,
        help_text=spec.help,
        system=cast(UnitSystem, system),
        error_messages={"required": words.error_messages["required"]},
    )


class ReasonForm(ActForm, LateForm):
    """A page that asks for one reason. The service names the field, so a refusal lands beside it."""

    def __init__(
        self,
        *args: Any,
        name: str = "reason",
        label: str = "Reason",
        help_text: str = TEN,
        with_time: bool = False,
        **kwargs: Any,
    ):
        super().__init__(*args, **kwargs)
        self.fields[name] = words_field(300, rows=3, label=label, help_text=help_text)
        self.fields[name].error_messages["required"] = f"Nothing is written here yet, and it is needed. {TEN}"
        if with_time:
            self.fields["occurred_at"] = MomentField(
                label="Happened at", help_text="Empty: now. Such as 14:02."
            )
            self.order_fields([name, "occurred_at", "late_category", "late_words"])
        else:
            del self.fields["late_category"], self.fields["late_words"]
        self.asked = name


class ReworkForm(ActForm):
    """Why it failed, and by which recipe it is regenerated again. The second failure asks for more, the third for two people."""

    cause = words_field(
        300,
        rows=3,
        label="Why it failed",
        validators=[told("why it failed", "The cause is too short.")],
        help_text=f"{TEN} The failed batch stays failed; this becomes a batch of its own.",
    )
    recipe = forms.ChoiceField(label="Recipe")
    cause_category = forms.ChoiceField(
        label="Kind of cause", required=False, choices=[("", "Choose one"), *CAUSES.items()]
    )
    same_recipe_reason = words_field(
        300,
        rows=2,
        label="Why the same recipe version once more",
        required=False,
        help_text=f"{TEN} Needed when no other version is chosen.",
    )
    anion_vessel = forms.ChoiceField(label="Vessel of the anion leg", required=False)
    field_order = ["cause", "cause_category", "recipe", "same_recipe_reason", "anion_vessel"]

    def __init__(
        self,
        *args: Any,
        needs: ReworkNeeds = FIRST_FAILURE,
        recipes: Sequence[tuple[str, str]],
        anion_vessels: Sequence[tuple[str, str]] = (),
        recipe_before: int | None = None,
        **kwargs: Any,
    ):
        super().__init__(*args, **kwargs)
        self.needs, self.recipe_before = needs, str(recipe_before or "")
        cast(forms.ChoiceField, self.fields["recipe"]).choices = [("", "Choose a recipe"), *recipes]
        if anion_vessels:
            choices = [("", "as before"), *anion_vessels]
            cast(forms.ChoiceField, self.fields["anion_vessel"]).choices = choices
        else:
            del self.fields["anion_vessel"]
        self.fields["cause_category"].required = needs.needs_cause_category
        if not needs.needs_another_recipe:
            del self.fields["same_recipe_reason"]

    def clean(self) -> dict[str, Any]:
        """The recipe version that failed last is taken again only with a reason."""
        cleaned = super().clean() or {}
        reason = str(cleaned.get("same_recipe_reason", ""))
        is_same = bool(self.recipe_before) and cleaned.get("recipe") == self.recipe_before
        if "same_recipe_reason" in cleaned and is_same and len(reason) < SHORTEST_REASON:
            self.add_error(
                "same_recipe_reason", forms.ValidationError(self.needs.same_recipe, code="same_recipe")
            )
        return cleaned

    @property
    def anion_vessel_id(self) -> int | None:
        """Another vessel for the anion leg; None keeps the one it had."""
        chosen = self.cleaned_data.get("anion_vessel")
        return int(chosen) if chosen else None


class ReworkTogetherForm(ReworkForm, TwoPeopleForm):
    """A rework after the third failure: both people, each with their own password."""

    meaning = REWORK_MEANING
    second_person = "Of the other role: a supervisor and a safety lead stand behind it together."

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.order_fields([*ReworkForm.field_order, *self.OWN, *self.SECOND])


class DeviationForm(ActForm):
    """Something that was not as planned."""

    what = words_field(400, rows=3, label="What happened", help_text=f"{TEN} What was seen, what was done.")
    severity = forms.ChoiceField(
        label="Severity",
        widget=forms.RadioSelect,
        choices=[
            (Deviation.Severity.MINOR.value, "minor: outside the plan, no effect on the resin"),
            (Deviation.Severity.MAJOR.value, "major: the resin may be affected"),
            (Deviation.Severity.CRITICAL.value, "critical: the resin, a person or the sewer may be harmed"),
        ],
        error_messages={
            "required": "Choose one.",
            "invalid_choice": "What was chosen is no choice here. Choose one of the rows.",
        },
    )


class ShellForm(HouseForm):
    """How the empty shell looks."""

    SOUND, UNSOUND = "sound", "unsound"

    version = SeenVersionField(required=False)
    shell = forms.ChoiceField(
        label="Empty shell",
        widget=forms.RadioSelect,
        choices=[(SOUND, "sound"), (UNSOUND, "not sound: it is not filled again")],
        error_messages={
            "required": "Choose one.",
            "invalid_choice": "What was chosen is no choice here. Choose one of the rows.",
        },
    )
    note = words_field(
        200, label="What is wrong with it", required=False, help_text="Needed when it is not sound."
    )


class FillForm(HouseForm):
    """How much resin went into a tank."""

    volume = QuantityField("resin_volume", label="Resin filled in")


class AsideForm(HouseForm):
    """Why a tank is not filled again."""

    reason = words_field(200, rows=2, label="Why it is not filled", help_text=TEN)


class FilterForm(HouseForm):
    """What narrows the list of batches; all of it may stay empty."""

    find = forms.CharField(label="Find", max_length=80, required=False)
    vessel = forms.ModelChoiceField(
        Vessel.objects.all(), to_field_name="code", label="Vessel", required=False, empty_label="all"
    )
    family = forms.ChoiceField(
        label="Family",
        required=False,
        choices=[("", "all"), *((item.value, item.label) for item in ResinFamily)],
    )
    state = forms.CharField(widget=forms.HiddenInput, required=False, max_length=12)

    def wanted(self) -> dict[str, str]:
        """What the selector takes; a field that was not understood narrows nothing and says so."""
        self.full_clean()
        data = self.cleaned_data
        vessel = data.get("vessel")
        return {
            "text": data.get("find", ""),
            "vessel": vessel.code if vessel else "",
            "family": data.get("family", ""),
            "state": data.get("state", ""),
        }
