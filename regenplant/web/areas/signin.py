"""Signing in and out, a person's own preferences, and the page for a stale form."""

from __future__ import annotations

from typing import Any

from django import forms
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import login, logout
from django.contrib.auth.decorators import login_not_required
from django.contrib.auth.forms import AuthenticationForm
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST

from regenplant.people.authority import Role
from regenplant.people.models import Person
from regenplant.people.selectors import demo_people
from regenplant.people.services import set_preferences
from regenplant.web.house_form import posted
from regenplant.web.requests import by_of, person_of
from regenplant.web.story.password import PASSWORD as DEMO_PASSWORD

LANDING = {
    Role.SUPERVISOR: "review",
    Role.QC_TECHNICIAN: "qc",
    Role.OPERATOR: "floor",
    Role.PLANNER: "waiting",
    Role.SAFETY_LEAD: "intake",
    Role.ADMINISTRATOR: "setup",
}
"""Where each role lands; a person with several roles lands on the first of this order."""


class SignInForm(AuthenticationForm):
    error_messages = {
        "invalid_login": "Name and password do not fit together. After five tries the account rests for a quarter of an hour.",
        "inactive": "This account is no longer active. Ask an administrator.",
    }

    def __init__(self, *args: Any, **kwargs: Any):
        super().__init__(*args, **kwargs)
        self.fields["username"].label = "Name"
        self.fields["username"].widget.attrs.update({"autocomplete": "username", "autocapitalize": "none"})
        self.fields["password"].widget.attrs.update({"autocomplete": "current-password"})


class PreferencesForm(forms.ModelForm):
    class Meta:
        model = Person
        fields = ["unit_system", "theme"]
        error_messages = {
            "unit_system": {"invalid_choice": "This is no choice here. Choose one of the list."},
            "theme": {"invalid_choice": "This is no choice here. Choose one of the list."},
        }


@login_not_required
@never_cache
@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def sign_in(request: HttpRequest) -> HttpResponse:
    chosen = request.GET.get("name", "") if settings.DEMO else ""
    form = SignInForm(request, data=posted(request), initial={"username": chosen})
    if chosen:
        form.fields["username"].widget.attrs.pop("autofocus", None)
        form.fields["password"].widget.attrs["autofocus"] = True
    if request.method == "POST" and form.is_valid():
        login(request, form.get_user())
        return redirect(_wanted(request) or landing_of(form.get_user()))
    context = {
        "form": form,
        "next": _wanted(request),
        "demo_people": demo_people() if settings.DEMO else [],
        "demo_password": DEMO_PASSWORD if settings.DEMO else "",
    }
    return render(request, "people/sign_in.html", context, status=200)


def _wanted(request: HttpRequest) -> str:
    wanted = request.POST.get("next") or request.GET.get("next") or ""
    is_ours = url_has_allowed_host_and_scheme(
        wanted, allowed_hosts={request.get_host()}, require_https=request.is_secure()
    )
    return wanted if is_ours else ""


def landing_of(person: Person) -> str:
    """The page this person's role lives on."""
    for role, name in LANDING.items():
        if role in person.roles:
            return reverse(name)
    return reverse("floor")


def home(request: HttpRequest) -> HttpResponse:
    return redirect(landing_of(person_of(request)))


@login_not_required
@require_POST
def sign_out(request: HttpRequest) -> HttpResponse:
    logout(request)
    return redirect("sign-in")


@require_http_methods(["GET", "HEAD", "POST"])
def preferences(request: HttpRequest) -> HttpResponse:
    form = PreferencesForm(posted(request), instance=Person.objects.get(pk=person_of(request).pk))
    if request.method == "POST" and form.is_valid():
        set_preferences(
            by=by_of(request), unit_system=form.cleaned_data["unit_system"], theme=form.cleaned_data["theme"]
        )
        messages.success(request, "Written: your units and your screen.")
        return redirect(_wanted(request) or "preferences")
    return render(request, "people/preferences.html", {"form": form})


def locked_out(
    request: HttpRequest,
    response: HttpResponse | None = None,
    credentials: Any = None,
    *args: Any,
    **kwargs: Any,
) -> HttpResponse:
    """What a person sees after too many wrong passwords."""
    return render(request, "people/locked_out.html", status=429)


def stale_form(request: HttpRequest, reason: str = "") -> HttpResponse:
    """A form that was open too long or in another session: say so, keep the way back."""
    return render(request, "people/stale_form.html", {"reason": reason}, status=403)
