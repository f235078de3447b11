"""What a field of a form shows: label, last value and limit, input, what was understood, what is wrong."""

from __future__ import annotations

from dataclasses import dataclass

from django.core.exceptions import ValidationError
from django.forms import (
    BoundField,
    CheckboxInput,
    ChoiceField,
    DateField,
    DateTimeField,
    IntegerField,
    RadioSelect,
    Select,
)
from django.utils.safestring import SafeString

from regenplant import units
from regenplant.core.errors import DomainError
from regenplant.web.drawing.limit_bar import limit_sentence


@dataclass(frozen=True, slots=True)
class Choice:
    """One row of a choice or a tick: the input and its words."""

    tag: SafeString
    label: str
    id: str


@dataclass(frozen=True, slots=True)
class FieldView:
    """Everything ``components/field.html`` shows."""

    id: str
    name: str
    label: str
    help: str
    is_optional: bool
    control: SafeString
    choices: tuple[Choice, ...]
    is_tick: bool
    errors: tuple[str, ...]
    kind: str
    understood: str
    basis: str

    @property
    def help_id(self) -> str:
        return f"{self.id}-help"

    @property
    def understood_id(self) -> str:
        return f"{self.id}-understood"

    @property
    def error_id(self) -> str:
        return f"{self.id}-error"


def view_of(
    bound: BoundField,
    *,
    system: str,
    understand_url: str,
    last: str = "",
    limit: str = "",
    low: float | None = None,
    high: float | None = None,
    kind: str = "",
    basis: str = "",
    placeholder: str = "",
    says_optional: bool = True,
) -> FieldView:
    """The view of one bound field. A field that carries a ``kind`` of quantity asks what was understood.

    ``says_optional`` False leaves out "may stay empty", for filters, where that goes without saying.
    """
    own = bound.field
    kind = kind or str(getattr(own, "kind", "") or "")
    last = last or str(getattr(own, "last", "") or "")
    if low is None and high is None and kind:
        low, high = getattr(own, "low", None), getattr(own, "high", None)
    field_id = bound.id_for_label or bound.auto_id or f"id_{bound.html_name}"
    errors = tuple(said(bound, error) for error in bound.errors.as_data())
    help_text = _help(
        str(bound.help_text), last, limit or limit_sentence(low, high, kind=kind, system=system).strip()
    )
    widget = bound.field.widget
    is_quantity = bool(kind) and not isinstance(widget, (CheckboxInput, RadioSelect))
    described = [f"{field_id}-help"] * bool(help_text)
    described += [f"{field_id}-understood"] * is_quantity + [f"{field_id}-error"] * bool(errors)
    attrs: dict[str, str | bool] = {"aria-describedby": " ".join(described)} if described else {}
    if errors:
        attrs["aria-invalid"] = "true"
    if placeholder:
        attrs["placeholder"] = placeholder
    if is_quantity:
        url = str(getattr(own, "understand_url", "") or understand_url)
        attrs |= quantity_attrs(bound.html_name, field_id, kind, url)
    choices = _choices(bound) if isinstance(widget, RadioSelect) else ()
    return FieldView(
        id=field_id,
        name=bound.html_name,
        label=str(bound.label),
        help=help_text,
        is_optional=says_optional and _may_stay_empty(bound),
        control=SafeString() if choices else bound.as_widget(attrs=attrs),
        choices=choices,
        is_tick=isinstance(widget, CheckboxInput),
        errors=errors,
        kind=kind if is_quantity else "",
        understood=_understood(bound, kind, system) if is_quantity else "",
        basis=basis,
    )


def _may_stay_empty(bound: BoundField) -> bool:
    """Whether to say that nothing need be written; not where an empty choice has words of its own."""
    widget = bound.field.widget
    if bound.field.required or isinstance(widget, CheckboxInput):
        return False
    if isinstance(widget, Select):
        return not any(value in ("", None) and str(label).strip("-") for value, label in widget.choices)
    return True


def quantity_attrs(name: str, field_id: str, kind: str, understand_url: str) -> dict[str, str]:
    """The htmx attributes of a number field: it asks, a moment after typing, what was understood.

    The request carries ``name``, ``kind`` and the text under the field's own name. Kind and name come from code.
    """
    return {
        "inputmode": "text",
        "autocomplete": "off",
        "spellcheck": "false",
        "hx-get": understand_url,
        "hx-trigger": "input changed delay:250ms",
        "hx-target": f"#{field_id}-understood",
        "hx-swap": "innerHTML",
        "hx-sync": "this:replace",
        "hx-vals": f'{{"name": "{name}", "kind": "{kind}"}}',
    }


def said(bound: BoundField, error: ValidationError) -> str:
    """What is wrong, in the voice of the house; a field's own sentence stays as it is."""
    message = " ".join(error.messages)
    own = str(bound.field.error_messages.get(error.code or "", ""))
    framework = str(_framework_message(bound, error.code or ""))
    if not framework or own != framework:
        return message
    if error.code == "required":
        if isinstance(bound.field.widget, CheckboxInput):
            return "This is not confirmed yet."
        return "Choose one." if isinstance(bound.field, ChoiceField) else "Nothing is written here yet."
    if error.code == "invalid_choice":
        chosen = str((error.params or {}).get("value", ""))
        return f"“{chosen[:40]}{'…' if len(chosen) > 40 else ''}” is not among the choices."
    if error.code == "invalid":
        return next((text for field, text in _FORMS if isinstance(bound.field, field)), message)
    return message


_FORMS: tuple[tuple[type, str], ...] = (
    (DateTimeField, "Write day and time as 2026-03-11 14:05."),
    (DateField, "Write the day as 2026-03-11."),
    (IntegerField, "Write a whole number, such as 12."),
)


def _framework_message(bound: BoundField, code: str) -> object:
    """What Django itself says for this code; "" if it has no sentence."""
    for kind in type(bound.field).__mro__:
        found = getattr(kind, "default_error_messages", {}).get(code)
        if found:
            return found
    return ""


def _help(text: str, last: str, limit: str) -> str:
    parts = [
        text,
        f"Last {last}." if last else "",
        limit if not limit or limit.endswith(".") else f"Limit {limit}.",
    ]
    return " ".join(part for part in parts if part)


def _choices(bound: BoundField) -> tuple[Choice, ...]:
    return tuple(Choice(row.tag(), str(row.choice_label), str(row.id_for_label)) for row in bound.subwidgets)


def _understood(bound: BoundField, kind: str, system: str) -> str:
    """What the text in the field means, in both systems; "" while it means nothing (its error says why).

    A field with ``understood_as`` says it itself, because it reads more than its kind does.
    """
    value = bound.value()
    text = "" if value is None else str(value)
    if not text.strip():
        return ""
    own = getattr(bound.field, "understood_as", None)
    try:
        if own is not None:
            return str(own(text))
        found = units.understand(text, kind, system="us" if system == "us" else "metric")
    except DomainError:
        return ""
    return units.twin(found.value, kind, system)
