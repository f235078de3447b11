"""What is written at the safety desk."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date
from typing import Any

from django import forms

from regenplant.safety.models import NearMiss, WashStation
from regenplant.safety.services import Found
from regenplant.safety.services.near_misses import MOST_DONE, MOST_WHAT
from regenplant.safety.services.washing import LEAST_NOTE
from regenplant.web.house_form import HouseForm, day_field, words_field
from regenplant.web.moments import MomentField

_ANSWERS = [("works", "works"), ("fails", "does not")]


class NearMissForm(HouseForm):
    """What nearly went wrong, told by anybody."""

    kind = forms.ChoiceField(label="What kind", choices=NearMiss.Kind.choices, widget=forms.RadioSelect)
    what = words_field(
        MOST_WHAT, rows=4, label="What happened", help_text="What you saw. No blame: it is told so that it does not happen again."
    )  # fmt: skip
    spot = words_field(80, label="Where", help_text="Such as: unloading door, between C1 and C2.")
    occurred_at = MomentField(label="Happened at", help_text="Empty: now. Such as 14:02.")
    about = words_field(
        40, required=False, label="Code", help_text="If it has one: B-10412, T-20417, C1, a chemical tank."
    )
    done_at_once = words_field(MOST_DONE, rows=2, required=False, label="What was done at once")
    told_by = words_field(
        80,
        required=False,
        label="Who saw it",
        help_text="Only if that is somebody else: a driver, a visitor.",
    )
    field_order = ("kind", "what", "spot", "occurred_at", "about", "done_at_once", "told_by")


class NearMissAnswerForm(HouseForm):
    """The cause, and what follows."""

    cause = words_field(600, rows=3, label="Cause", help_text="What was found, not who was at fault.")
    follow_up = words_field(
        MOST_DONE, rows=2, required=False, label="What is to be done", help_text="So that it does not come again. Empty: nothing more."
    )  # fmt: skip
    due_on = day_field(label="Done by", required=False)

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        todo, day = self.text("follow_up"), cleaned.get("due_on")
        if todo and day is None and "due_on" not in self.errors:
            self.add_error("due_on", "Something is to be done, and no day says by when. Write the day.")
        if day is not None and not todo and "follow_up" not in self.errors:
            self.add_error("follow_up", "A day is written and not what is to be done by then. Write it, or leave the day out.")  # fmt: skip
        return cleaned


class NearMissCloseForm(HouseForm):
    words = words_field(MOST_DONE, rows=3, label="What was done")


class LeftForm(HouseForm):
    """Where a refused tank went."""

    went_to = words_field(
        160, label="To whom", help_text="The customer, or a treater permitted for what is in it."
    )
    left_on = day_field(label="Left on")
    paper_number = words_field(60, required=False, label="Number of the paper", help_text="Of what went with it, if any.")  # fmt: skip


class StationForm(HouseForm):
    """A shower or eyewash."""

    code = words_field(20, label="Code", help_text="Fixed to it, such as W1. It never changes.")
    spot = words_field(80, label="Where it stands")
    kind = forms.ChoiceField(label="What it is", choices=WashStation.Kind.choices, widget=forms.RadioSelect)


class StationChangeForm(HouseForm):
    spot = words_field(80, label="Where it stands")
    kind = forms.ChoiceField(label="What it is", choices=WashStation.Kind.choices, widget=forms.RadioSelect)
    is_in_use = forms.BooleanField(required=False, label="In use, and so in every round")


class InspectForm(HouseForm):
    """The yearly inspection of one station."""

    tested_on = day_field(label="Inspected on")
    answer = forms.ChoiceField(label="What was found", choices=_ANSWERS, widget=forms.RadioSelect)
    note = words_field(
        200, rows=2, required=False, label="Note", help_text="Flow, time and temperature as measured. Needed when it does not work."
    )  # fmt: skip

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if (
            cleaned.get("answer") == "fails"
            and len(self.text("note")) < LEAST_NOTE
            and "note" not in self.errors
        ):
            self.add_error("note", "It does not work: say what is wrong, in five characters or more.")
        return cleaned


class RoundForm(HouseForm):
    """One round: a choice and a note for every station in use."""

    tested_on = day_field(label="Tested on")

    def __init__(self, *args: Any, stations: Sequence[WashStation] = (), **kwargs: Any):
        self.stations = tuple(stations)
        super().__init__(*args, **kwargs)

    def extra_fields(self) -> dict[str, forms.Field]:
        found: dict[str, forms.Field] = {}
        for row in self.stations:
            found[f"answer_{row.pk}"] = forms.ChoiceField(
                label=f"{row.code}, {row.get_kind_display()}, {row.spot}", choices=_ANSWERS, widget=forms.RadioSelect
            )  # fmt: skip
            found[f"note_{row.pk}"] = words_field(
                200, required=False, label=f"Note on {row.code}", help_text="Needed when it does not work."
            )
        return found

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        for row in self.stations:
            name = f"note_{row.pk}"
            fails = cleaned.get(f"answer_{row.pk}") == "fails"
            if fails and len(self.text(name)) < LEAST_NOTE and name not in self.errors:
                self.add_error(
                    name, f"{row.code} does not work: say what is wrong, in five characters or more."
                )
        return cleaned

    def found(self) -> dict[int, Found]:
        """What was found, by station."""
        return {
            row.pk: Found(self.cleaned_data[f"answer_{row.pk}"] == "works", self.text(f"note_{row.pk}"))
            for row in self.stations
        }

    @property
    def day(self) -> date:
        found: date = self.cleaned_data["tested_on"]
        return found
