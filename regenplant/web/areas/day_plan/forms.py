"""What is written about plans of the day."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

from django import forms

from regenplant.chemicals.selectors import stored_chemicals
from regenplant.core.process.vocabulary import Chemical
from regenplant.planning.figures import DEFAULTS, PlanningFigures
from regenplant.planning.models import Decision
from regenplant.planning.services.figures import MOST_LOOK_OVER_MIN
from regenplant.planning.services.making import LEAST_S, MOST_S
from regenplant.planning.working_times import HOW, lines_of, times_of
from regenplant.web.fields import QuantityField
from regenplant.web.house_form import HouseForm, moment_field, words_field

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


class PinForm(HouseForm):
    """Where and when a batch goes; both may be left open."""

    may_overwrite = False
    vessel = forms.ChoiceField(label="Vessel", required=False)
    starts_at = moment_field(
        label="Begins",
        required=False,
        help_text="Empty: when it fits best. Its tanks stay together either way.",
    )

    def __init__(self, *args: Any, vessels: Sequence[str] = (), **kwargs: Any):
        super().__init__(*args, **kwargs)
        choices = [("", "where it fits best"), *((code, code) for code in vessels)]
        self.fields["vessel"].choices = choices  # type: ignore[attr-defined]


class JoinForm(HouseForm):
    """Which batch is joined to this one."""

    may_overwrite = False
    other = forms.ChoiceField(label="Batch")

    def __init__(self, *args: Any, others: Sequence[tuple[str, str]] = (), **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["other"].choices = others  # type: ignore[attr-defined]


class TanksForm(HouseForm):
    """Which tanks of the batch."""

    may_overwrite = False
    tanks = forms.MultipleChoiceField(label="Tanks", widget=forms.CheckboxSelectMultiple)

    def __init__(self, *args: Any, tanks: Sequence[tuple[str, str]] = (), **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["tanks"].choices = tanks  # type: ignore[attr-defined]


class RushForm(TanksForm):
    """Which tanks are wanted, and by when."""

    wanted_by = moment_field(label="Wanted by", help_text="They weigh more than all others.")


SEVERAL_KINDS = (
    (Decision.Kind.LEAVE_OUT.value, "Leave them out of this plan"),
    (Decision.Kind.RUSH.value, "Rush them"),
    (Decision.Kind.PIN.value, "Keep them together: one batch, without others"),
)


class SeveralForm(HouseForm):
    """One decision about tanks of any batches."""

    may_overwrite = False
    kind = forms.ChoiceField(
        label="What is decided about them", choices=SEVERAL_KINDS, widget=forms.RadioSelect
    )
    wanted_by = moment_field(
        label="Wanted by", required=False, help_text="Of a rush: they weigh more than all others."
    )
    tanks = forms.MultipleChoiceField(label="Tanks", widget=forms.CheckboxSelectMultiple)

    def __init__(self, *args: Any, tanks: Sequence[tuple[str, str]] = (), **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["tanks"].choices = tanks  # type: ignore[attr-defined]


class CancelForm(HouseForm):
    """Why a planned batch is cancelled."""

    may_overwrite = False
    reason = words_field(300, rows=2, label="Why")


class CopyForm(HouseForm):
    """What the copy is about."""

    may_overwrite = False
    name = words_field(60, label="What is tried", help_text="Such as: C1 stays free on Monday.")


class CompareForm(HouseForm):
    """Which plans stand side by side; read from the address."""

    first = forms.ChoiceField(label="Plan", required=False)
    second = forms.ChoiceField(label="Beside it", required=False)

    def __init__(self, *args: Any, plans: Sequence[tuple[str, str]] = (), **kwargs: Any):
        super().__init__(*args, **kwargs)
        for name in ("first", "second"):
            self.fields[name].choices = plans  # type: ignore[attr-defined]


MINUTES = {
    "other_resin_min": "To another resin",
    "other_class_min": "To another class",
    "other_owner_min": "To another owner",
}
WEIGHTS = {
    "late_per_tank_hour": "A tank late, each hour",
    "batch": "A batch",
    "underfilled_batch": "A batch below the minimum fill",
    "changeover": "A changeover",
    "chemical_per_kg": "Chemical, each kg as 100 %",
    "water_per_m3": "Water, each m³",
    "waste_per_m3": "Waste, each m³",
    "plant_hour": "Each hour until all is ready",
    "move_per_tank_hour": "A tank moved in a plan that holds, each hour",
    "other_vessel_per_tank": "A tank moved to another vessel there",
}


class FiguresForm(HouseForm):
    """What plans reckon with: people by working time, changeovers, days, weights."""

    may_overwrite = False
    seen_number = forms.IntegerField(widget=forms.HiddenInput, min_value=0)
    days = forms.IntegerField(label="Days to plan, today included")
    look_over_min = forms.IntegerField(
        label="From the door to accepted, min",
        help_text=f"0 to {MOST_LOOK_OVER_MIN}; {DEFAULTS.look_over_min} is common practice, from memory. A tank on its way counts so long "
        "after it is expected, one at the door so long after the plan is made.",
    )
    working_times = words_field(1200, rows=5, label="Working times, a line each", help_text=HOW)
    reason = words_field(300, rows=2, label="Why")

    def extra_fields(self) -> dict[str, forms.Field]:
        minutes = {
            name: forms.IntegerField(label=f"Changeover, min: {label.lower()}")
            for name, label in MINUTES.items()
        }
        weights = {
            name: forms.FloatField(label=f"Weight: {label.lower()}") for name, label in WEIGHTS.items()
        }
        stays = {
            f"stays_{name}": QuantityField(
                "mass",
                label=f"Stays in the tank, as 100 %: {Chemical(name).label.lower()}",
                required=False,
                help_text="No plan draws below it. Empty: nobody recorded one.",
            )
            for name in stored_chemicals()
        }
        return {**minutes, **stays, **weights}

    def _stays_kg(self, before: PlanningFigures) -> dict[str, float]:
        """What was written of each chemical that has a tank here; of others what stood there."""
        kept = {name: kg for name, kg in before.stays_kg.items() if f"stays_{name}" not in self.fields}
        written = {name: self.quantity(f"stays_{name}") for name in stored_chemicals()}
        return kept | {name: kg for name, kg in written.items() if kg is not None}

    def figures(self, before: PlanningFigures) -> PlanningFigures:
        """What was written, over the figures of before. Raises: RecordRefused naming a line that is not understood."""
        data = self.cleaned_data
        return replace(
            before,
            days=data["days"],
            look_over_min=data["look_over_min"],
            working_times=times_of(data["working_times"]),
            changeovers=replace(before.changeovers, **{name: data[name] for name in MINUTES}),
            worth=replace(before.worth, **{name: data[name] for name in WEIGHTS}),
            stays_kg=self._stays_kg(before),
        )


def figures_shown(figures: PlanningFigures, number: int) -> dict[str, Any]:
    """The figures in force as the form shows them."""
    return {
        "seen_number": number,
        "days": figures.days,
        "look_over_min": figures.look_over_min,
        "working_times": lines_of(figures.working_times),
        **{name: getattr(figures.changeovers, name) for name in MINUTES},
        **{name: getattr(figures.worth, name) for name in WEIGHTS},
        **{f"stays_{name}": kg for name, kg in figures.stays_kg.items()},
    }
