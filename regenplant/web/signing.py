"""A signature on a page: the credentials are proven, then the act is done with the permit; refused, nothing is lost.

The first signature of a session, and the first after a while, asks for the user name too (``needs_full_credentials``). The
password is never shown again unless the person asks to see it while typing, and pasting it is allowed.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.http import HttpRequest

from regenplant.audit.by import By
from regenplant.audit.use_case import Outcome
from regenplant.core.errors import DomainError
from regenplant.people.binding import TwoPeople
from regenplant.people.models import Person
from regenplant.people.signing import (
    FULL_CREDENTIALS,
    SignaturePermit,
    needs_full_credentials,
    prove,
    prove_another,
)
from regenplant.web.acting import attach
from regenplant.web.house_form import HouseForm
from regenplant.web.requests import by_of


def _name_field(label: str, **kwargs: Any) -> forms.CharField:
    attrs = {
        "autocomplete": "username",
        "autocapitalize": "none",
        "autocorrect": "off",
        "spellcheck": "false",
    }
    return forms.CharField(label=label, max_length=150, widget=forms.TextInput(attrs=attrs), **kwargs)


def _password_field(label: str, **kwargs: Any) -> forms.CharField:
    widget = forms.PasswordInput(attrs={"autocomplete": "current-password", "data-secret": "yes"})
    return forms.CharField(label=label, strip=False, max_length=4096, widget=widget, **kwargs)


class SigningForm(HouseForm):
    """User name (when it is asked for) and password of the acting person; subclasses add what else is signed."""

    may_overwrite = False
    """What is signed is looked at first."""
    is_judged = False
    """Whether all that stands on it was judged (``is_whole``)."""

    username = _name_field("Your user name", required=False)
    password = _password_field("Your password")

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        credentials = ["username", "password"]
        self.order_fields([name for name in self.fields if name not in credentials] + credentials)
        self.fields["password"].error_messages["required"] = "Nothing is signed without your password."
        self.fields["version"].required = True

    def clean(self) -> dict[str, Any]:
        """What is signed is what was shown: a page that lost its version is opened again."""
        cleaned = super().clean() or {}
        if "version" in self.errors:
            self.add_error(
                None,
                "The page did not come back whole, so nothing was signed. Open it again and look at it first.",
            )
        return cleaned


class SecondPersonForm(HouseForm):
    """User name and password of a second person at this terminal; who is signed in stays signed in."""

    second_username = _name_field("Second person, user name")
    second_password = _password_field("Second person, password")


class TwoPeopleForm(SigningForm, SecondPersonForm):
    """What two people sign together at one terminal; ``components/two_people.html`` shows each in a place of their own."""

    OWN, SECOND = ("username", "password"), ("second_username", "second_password")
    meaning = ""
    asks_name = True
    """Whether this session's next signature takes the user name; set by the page."""
    second_person = "Another person with the same right."
    """Who the second person may be."""

    @property
    def work_fields(self) -> list[forms.BoundField]:
        """What is done and why."""
        return [bound for bound in self.visible_fields() if bound.name not in (*self.OWN, *self.SECOND)]

    @property
    def own_fields(self) -> list[forms.BoundField]:
        """What the acting person signs with."""
        return [self[name] for name in self.OWN if self.asks_name or name == "password"]

    @property
    def second_fields(self) -> list[forms.BoundField]:
        """What the second person signs with."""
        return [self[name] for name in self.SECOND]


def is_whole(form: forms.Form, request: HttpRequest) -> bool:
    """Whether everything that the form alone can tell is in order, the user name that this signature takes included.

    One answer so names all that is wrong, each beside its field, before any password is tried.
    """
    if not isinstance(form, SigningForm):
        return form.is_valid()
    form.is_judged = True
    given = str(form.data.get(form.add_prefix("username"), "")).strip()
    if form.is_bound and not given and needs_full_credentials(request):
        form.add_error("username", forms.ValidationError(FULL_CREDENTIALS, code="full_credentials"))
    return form.is_valid()


def sign(
    form: SigningForm,
    request: HttpRequest,
    act: Callable[..., Outcome],
    *,
    meaning: str,
    about: tuple[str, str, str],
    **arguments: Any,
) -> Outcome | None:
    """Prove the credentials for one meaning and act with the permit; a refusal stands on the form and gives None.

    Raises: RuntimeError for a form that ``is_whole`` did not judge: it would be refused in pieces.
    """
    if not form.is_judged:
        raise RuntimeError(f"{type(form).__name__} is signed only after is_whole.")
    by = by_of(request)
    try:
        permit = prove(
            by=by,
            username=form.text("username"),
            password=form.cleaned_data["password"],
            meaning=meaning,
            about=about,
            request=request,
        )
        return act(by=by, permit=permit, **arguments)
    except DomainError as refusal:
        attach(form, refusal)
        return None


def prove_two(
    form: TwoPeopleForm,
    request: HttpRequest,
    by: By,
    *,
    meaning: str,
    about: tuple[str, str, str],
    permission: str,
    segregation_class: str = "",
) -> TwoPeople:
    """Prove both people of this form for one meaning; the second one holds ``permission``. Raises: SignatureRefused, NotAllowed."""
    permit = prove(
        by=by,
        username=form.text("username"),
        password=form.cleaned_data["password"],
        meaning=meaning,
        about=about,
        request=request,
    )
    second, second_permit = prove_another(
        by=by,
        username=form.text("second_username"),
        password=form.cleaned_data["second_password"],
        meaning=meaning,
        about=about,
        request=request,
        permission=permission,
        segregation_class=segregation_class,
    )
    return TwoPeople(permit, By(second, by.at, by.terminal), second_permit)


def second_person(
    form: SecondPersonForm,
    request: HttpRequest,
    *,
    meaning: str,
    about: tuple[str, str, str],
    permission: str = "",
    segregation_class: str = "",
) -> tuple[Person, SignaturePermit] | None:
    """Prove the second person of this form; a refusal stands on the form and gives None."""
    try:
        return prove_another(
            by=by_of(request),
            username=form.text("second_username"),
            password=form.cleaned_data["second_password"],
            meaning=meaning,
            about=about,
            request=request,
            permission=permission,
            segregation_class=segregation_class,
        )
    except DomainError as refusal:
        attach(form, refusal)
        return None
