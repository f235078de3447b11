"""What every form of the house shares: the person's units, the record's version, and messages in the house's voice."""

from __future__ import annotations

from typing import Any, cast

from django import forms
from django.core.validators import MaxLengthValidator
from django.http import HttpRequest, QueryDict

from regenplant.units import UnitSystem
from regenplant.web.fields import QuantityField
from regenplant.web.presenters.stale import StaleView
from regenplant.web.seen import SeenVersionField, seen_act, seen_now

NEEDED = "Nothing is written here yet, and it is needed."
_MESSAGES: dict[type[forms.Field], dict[str, str]] = {
    forms.MultipleChoiceField: {"invalid_choice": "What was chosen is no choice here. Choose from the list."},
    forms.ModelChoiceField: {
        "invalid_choice": "This is no choice here, or no longer. Choose one of the list."
    },
    forms.ChoiceField: {"invalid_choice": "What was chosen is no choice here. Choose one of the list."},
    forms.DateField: {"invalid": "This is no day. Write it as 2026-03-11."},
    forms.DateTimeField: {"invalid": "This is no day and time. Write it as 2026-03-11 14:05."},
    forms.FloatField: {"invalid": "This is no number. Write for example 20.1."},
    forms.IntegerField: {"invalid": "This is no whole number. Write for example 7."},
}
"""By kind of field, the special before the general: the first that fits is said."""


def posted(request: HttpRequest) -> QueryDict | None:
    """What was sent, also when it is nothing; None while the form is only shown."""
    return request.POST if request.method == "POST" else None


def day_field(**kwargs: Any) -> forms.DateField:
    """A day, written 2026-03-11; the tablet offers its calendar."""
    widget = forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    return forms.DateField(widget=widget, input_formats=["%Y-%m-%d"], **kwargs)


_MOMENTS = ["%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M:%S"]


def moment_field(**kwargs: Any) -> forms.DateTimeField:
    """A day and time in the plant's zone."""
    widget = forms.DateTimeInput(attrs={"type": "datetime-local"}, format="%Y-%m-%dT%H:%M")
    return forms.DateTimeField(widget=widget, input_formats=_MOMENTS, **kwargs)


def words_field(most: int, *, rows: int = 0, **kwargs: Any) -> forms.CharField:
    """Words; ``rows`` gives them more than one line."""
    widget = forms.Textarea(attrs={"rows": rows}) if rows else forms.TextInput(attrs={"autocomplete": "off"})
    return forms.CharField(max_length=most, widget=widget, **kwargs)


def _say(field: forms.Field, messages: dict[str, str]) -> None:
    """Our words where the field still has the framework's; a field that brings its own keeps them."""
    for code, message in messages.items():
        framework = [vars(kind).get("default_error_messages", {}).get(code) for kind in type(field).__mro__]
        if field.error_messages.get(code) in framework:
            field.error_messages[code] = message


class HouseForm(forms.Form):
    """A form with the reader's unit system and, when it changes a record, the version that was shown."""

    version = SeenVersionField(required=False)
    may_overwrite = True
    """Whether a form that was refused as stale may be sent again on top of the present state."""

    def __init__(self, *args: Any, system: str = "metric", **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.stale: StaleView | None = None
        self.seen_act = seen_act(str(self.data.get(self.add_prefix("version"), "")))
        self.fields.update(self.extra_fields())
        for field in self.fields.values():
            _say(field, {"required": NEEDED})
            if isinstance(field, QuantityField):
                field.system = cast(UnitSystem, system)
            for kind, messages in _MESSAGES.items():
                if isinstance(field, kind):
                    _say(field, messages)
            for validator in field.validators:
                if isinstance(validator, MaxLengthValidator):
                    validator.message = "%(show_value)d characters are written, at most %(limit_value)d."

    def extra_fields(self) -> dict[str, forms.Field]:
        """Fields that depend on what the form is about."""
        return {}

    def quantity(self, name: str) -> float | None:
        """The number in SI; None when nothing is written.

        What was shown and left alone keeps its stored value: shown numbers are rounded, and opening a form must not
        round a record.
        """
        stored = self.initial.get(name, self.fields[name].initial)
        typed = str(self.data.get(self.add_prefix(name), "")).strip()
        if isinstance(stored, float) and typed == str(self.fields[name].prepare_value(stored)).strip():
            return stored
        understood = self.cleaned_data.get(name)
        return None if understood is None else float(understood.value)

    def needed_quantity(self, name: str) -> float:
        """As ``quantity`` for a field that must be written."""
        found = self.quantity(name)
        if found is None:
            raise KeyError(f"{name} holds no number; ask only after is_valid")
        return found

    def text(self, name: str) -> str:
        """Words without outer spaces."""
        return str(self.cleaned_data.get(name) or "").strip()

    @property
    def typed_words(self) -> list[tuple[str, str]]:
        """What was typed, by label; nothing secret and nothing hidden."""
        found = []
        for bound in self.visible_fields():
            text = str(self.data.get(bound.html_name, "")).strip()
            if text and not isinstance(bound.field.widget, forms.PasswordInput):
                found.append((str(bound.label), text))
        return found

    def take_state(self, version: int) -> None:
        """Carry the present version from now on: what is sent again is written on top of it."""
        data = cast(QueryDict, self.data).copy()
        data[self.add_prefix("version")] = seen_now(version)
        self.data = data

    @property
    def shown_version(self) -> int | None:
        """The version of the record that was on the page; None for a new one."""
        found = self.cleaned_data.get("version")
        return None if found is None else int(found)
