"""A signature on a page: the password is proven, then the act is done with the permit; refused, nothing is lost.

The password is never shown again, and pasting it is allowed.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django import forms
from django.http import HttpRequest

from regenplant.audit.use_case import Outcome
from regenplant.core.errors import DomainError
from regenplant.people.signing import prove
from regenplant.web.acting import attach
from regenplant.web.house_form import HouseForm
from regenplant.web.requests import by_of


class SigningForm(HouseForm):
    """The password of the acting person; subclasses add what else is signed."""

    password = forms.CharField(
        label="Your password",
        strip=False,
        max_length=4096,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.order_fields([name for name in self.fields if name != "password"] + ["password"])
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


def sign(
    form: SigningForm,
    request: HttpRequest,
    act: Callable[..., Outcome],
    *,
    meaning: str,
    about: tuple[str, str, str],
    **arguments: Any,
) -> Outcome | None:
    """Prove the password for one meaning and act with the permit; a refusal stands on the form and gives None."""
    by = by_of(request)
    try:
        permit = prove(
            by=by, password=form.cleaned_data["password"], meaning=meaning, about=about, request=request
        )
        return act(by=by, permit=permit, **arguments)
    except DomainError as refusal:
        attach(form, refusal)
        return None
