"""Typed twice: the first typing of a critical value rests, signed and out of sight, while the empty field takes the second.

Nothing of the first is shown with the second, so that it is read again and not copied. The page carries it sealed; what was
altered on the way counts as not typed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from django import forms
from django.core import signing
from django.forms.utils import ErrorDict
from django.http import QueryDict

from regenplant.web.house_form import HouseForm

SALT = "typed once"
LIFE_S = 1800
"""How long a first typing waits for its second [s]."""
ASKED, DIFFERENT = "type_it_again", "typed_differently"
"""Codes of the refusals that ask for the second typing, and that find it another number."""


@dataclass(frozen=True, slots=True)
class First:
    """A first typing: of what, which text, and the text that was said to be true outside its limits."""

    about: str
    text: str
    outside: str


class TwiceForm(HouseForm):
    """A form whose ``value`` is typed twice when the service asks for it. ``about`` says what is typed, so that the first
    typing of one thing is never the first of another."""

    first = forms.CharField(required=False, widget=forms.HiddenInput, max_length=2000)
    about = ""
    is_second_asked = False
    """Whether the second typing was asked for just now."""

    @property
    def field_text(self) -> str:
        """What stands in the field now."""
        return str(self.data.get(self.add_prefix("value"), "")).strip()

    @property
    def first_typing(self) -> First | None:
        """The typing that rests; None while the field takes the first."""
        sealed = str(self.data.get(self.add_prefix("first"), ""))
        if not sealed:
            return None
        try:
            about, text, outside = signing.loads(sealed, salt=SALT, max_age=LIFE_S)
        except (signing.BadSignature, ValueError):
            return None
        return First(about, text, outside) if about == self.about else None

    @property
    def typed(self) -> str:
        """The value: the first typing, if one rests."""
        first = self.first_typing
        return first.text if first is not None else self.field_text

    @property
    def again(self) -> str:
        """The second typing, "" where the field takes the first."""
        return self.field_text if self.first_typing is not None else ""

    @property
    def is_said_true(self) -> bool:
        """Whether exactly this text was shown as outside its limits, and said to be true."""
        first = self.first_typing
        outside = first.outside if first is not None else str(self.data.get("outside", "")).strip()
        return bool(self.typed) and outside == self.typed

    @property
    def is_second(self) -> bool:
        """Whether the field takes the second typing now."""
        return self.first_typing is not None


def asked_again(form: TwiceForm, name: str) -> bool:
    """Whether the service asked for the second typing; the form then takes it, empty, without a word of refusal. ``name`` is
    what is typed, for the label of the field.

    After two different typings the first is forgotten, the field is empty, and both numbers stand in the refusal.
    """
    codes = {error.code for errors in form.errors.as_data().values() for error in errors}
    if ASKED in codes:
        _carry(
            form, signing.dumps([form.about, form.typed, form.typed if form.is_said_true else ""], salt=SALT)
        )
        form._errors = ErrorDict()  # type: ignore[attr-defined]  # nothing is wrong with it
        form.is_second_asked = True
        form.fields["value"].label = f"Once more: {name}"
        form._bound_fields_cache.pop("value", None)  # type: ignore[attr-defined]  # it holds the label of the first
        return True
    if DIFFERENT in codes:
        _carry(form, "")
    return False


def _carry(form: TwiceForm, sealed: str) -> None:
    data: Any = form.data.copy()  # type: ignore[attr-defined]
    assert isinstance(data, QueryDict)
    data[form.add_prefix("first")] = sealed
    data[form.add_prefix("value")] = ""
    data.pop("outside", None)
    form.data = data
