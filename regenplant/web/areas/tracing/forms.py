"""What an investigation or a trace begins at."""

from __future__ import annotations

from django import forms

from regenplant.quality.investigation import BATCH, MOST_DAYS, USUAL_DAYS
from regenplant.quality.things import Thing
from regenplant.quality.tracing import Kind
from regenplant.web.house_form import HouseForm

_CODE = forms.TextInput(attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"})


class InvestigationForm(HouseForm):
    """What turned out wrong, and how far around it to look."""

    version = None  # type: ignore[assignment]
    kind = forms.ChoiceField(
        label="What turned out wrong",
        choices=[(BATCH, "a batch"), *((thing.value, f"a {thing.label}") for thing in Thing)],
    )
    code = forms.CharField(label="Its number, code or name", max_length=120, widget=_CODE)
    days = forms.IntegerField(
        label="Days around it",
        min_value=1,
        max_value=MOST_DAYS,
        initial=USUAL_DAYS,
        required=False,
        help_text=f"Empty: {USUAL_DAYS}. Of a batch before and after it, else back from now.",
        error_messages={
            "min_value": f"Choose 1 to {MOST_DAYS} days.",
            "max_value": f"Choose 1 to {MOST_DAYS} days.",
        },
    )

    def window(self) -> int:
        """The days that were asked for."""
        return int(self.cleaned_data["days"] or USUAL_DAYS)


class TraceForm(HouseForm):
    """What to trace."""

    version = None  # type: ignore[assignment]
    kind = forms.ChoiceField(
        label="What", choices=[(kind.value, kind.value.replace("_", " ")) for kind in Kind]
    )
    code = forms.CharField(
        label="Number, serial or code",
        max_length=60,
        widget=forms.TextInput(
            attrs={"autocomplete": "off", "autocapitalize": "characters", "spellcheck": "false"}
        ),
    )
