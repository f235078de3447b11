"""The sign-in form, and the page that keeps what was typed when the session ran out."""

from __future__ import annotations

from typing import Any

from django.contrib.auth.forms import AuthenticationForm
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils import timezone

from regenplant.people.models import Person
from regenplant.web.kept_forms import KeptForm


class SignInForm(AuthenticationForm):
    error_messages = {
        "invalid_login": "Name and password do not fit together. After five tries the account rests for a quarter of an hour.",
        "inactive": "This account is no longer active. Ask an administrator.",
        "run_out": "This one-time password has run out. Ask an administrator for a new one.",
    }

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["username"].label = "Name"
        self.fields["username"].widget.attrs.update({"autocomplete": "username", "autocapitalize": "none"})
        self.fields["password"].widget.attrs.update({"autocomplete": "current-password"})

    def confirm_login_allowed(self, user: Any) -> None:
        """Refuse a closed account, and a one-time password that has run out."""
        super().confirm_login_allowed(user)
        assert isinstance(user, Person)
        if user.one_time_until is not None and user.one_time_until < timezone.now():
            raise ValidationError(self.error_messages["run_out"], code="run_out")


def kept_page(request: HttpRequest, kept: KeptForm, form: SignInForm | None = None) -> HttpResponse:
    """Signing in again, with what was typed kept on the page."""
    context = {"form": form or SignInForm(request, initial={"username": kept.username}), "kept": kept}
    return render(request, "people/kept.html", context, status=401)
