"""Signing in and out, a person's own password and preferences, and the page for a stale form."""

from __future__ import annotations

from typing import Any

from django import forms
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import login, logout, update_session_auth_hash
from django.contrib.auth.decorators import login_not_required
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.http import url_has_allowed_host_and_scheme
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_POST, require_safe

from regenplant.audit.by import By
from regenplant.people.authority import Role
from regenplant.people.models import Person
from regenplant.people.selectors import access_rules, demo_people
from regenplant.people.services import (
    change_password,
    record_refused_sign_in,
    record_sign_in,
    set_preferences,
)
from regenplant.people.throttling import is_resting, refused
from regenplant.web.acting import receipt, refused_status, try_act
from regenplant.web.house_form import HouseForm, posted
from regenplant.web.kept_forms import KeptForm, kept_from, remember_typist
from regenplant.web.requests import by_of, person_of, terminal_of
from regenplant.web.sign_in_form import SignInForm, kept_page
from regenplant.web.story.password import PASSWORD as DEMO_PASSWORD
from regenplant.web.time_out import IDLE_MINUTES

LANDING = {
    Role.SUPERVISOR: "review",
    Role.QC_TECHNICIAN: "qc",
    Role.OPERATOR: "floor",
    Role.PLANNER: "waiting",
    Role.SAFETY_LEAD: "safety",
    Role.ADMINISTRATOR: "setup",
}
"""Where each role lands; a person with several roles lands on the first of this order."""


class PreferencesForm(forms.ModelForm):
    class Meta:
        model = Person
        fields = ["unit_system", "theme"]
        error_messages = {
            "unit_system": {"invalid_choice": "This is no choice here. Choose one of the list."},
            "theme": {"invalid_choice": "This is no choice here. Choose one of the list."},
        }


class PasswordForm(HouseForm):
    old_password = forms.CharField(
        label="Present password",
        strip=False,
        max_length=4096,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )
    new_password = forms.CharField(
        label="New password",
        strip=False,
        max_length=200,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="At least 10 characters, none of the common ones. Three or four words of your own are good.",
    )
    again_password = forms.CharField(
        label="New password once more",
        strip=False,
        max_length=200,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if cleaned.get("new_password") != cleaned.get("again_password"):
            self.add_error("again_password", "The two new passwords differ. Write the same one twice.")
        return cleaned


@login_not_required
@never_cache
@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def sign_in(request: HttpRequest) -> HttpResponse:
    chosen = request.GET.get("name", "") if settings.DEMO else ""
    kept = kept_from(request.POST.get("kept", ""))
    username = request.POST.get("username", "")
    was_resting = bool(username) and is_resting(request, username)
    form = SignInForm(request, data=posted(request), initial={"username": chosen})
    if chosen:
        form.fields["username"].widget.attrs.pop("autofocus", None)
        form.fields["password"].widget.attrs["autofocus"] = True
    if request.method == "POST":
        if form.is_valid():
            return _signed_in(request, form.get_user(), kept)
        _record_refusal(request, form, was_resting=was_resting)
        if kept is not None:
            return kept_page(request, kept, form)
    context = {
        "form": form,
        "next": _wanted(request),
        "demo_people": demo_people() if settings.DEMO else [],
        "demo_password": DEMO_PASSWORD if settings.DEMO else "",
    }
    return render(request, "people/sign_in.html", context, status=200)


def _record_refusal(request: HttpRequest, form: SignInForm, *, was_resting: bool) -> None:
    """Write down a wrong password for a known account. Once it rests, further tries add nothing to the record."""
    is_tried = any(error.code == "invalid_login" for error in form.non_field_errors().as_data())
    named = form.cleaned_data.get("username", "")
    person = Person.objects.filter(username__iexact=named).first() if is_tried and not was_resting else None
    if person is not None:
        tried = refused(request, named, was_resting=was_resting)
        record_refused_sign_in(
            by=By(None, timezone.now(), terminal_of(request)),
            person_id=person.pk,
            failures=tried.failures,
            is_locked=tried.locked_now,
        )


def _signed_in(request: HttpRequest, person: Person, kept: KeptForm | None) -> HttpResponse:
    """Open the session, and show again what this person had typed when the last one ran out."""
    record_sign_in(by=By(person, timezone.now(), terminal_of(request)))
    login(request, person)
    request.session[IDLE_MINUTES] = access_rules().idle_minutes
    if kept is not None and kept.is_by(person):
        answer = render(request, "people/kept_again.html", {"kept": kept})
    else:
        if kept is not None:
            messages.warning(request, _not_sent(kept, person))
        answer = redirect(_wanted(request) or landing_of(person))
    remember_typist(request, answer, person)
    return answer


def _not_sent(kept: KeptForm, person: Person) -> str:
    if not kept.person_pk:
        return (
            "What was typed before was not sent: it is not known who typed it. Type it again if it is yours."
        )
    return (
        f"What {kept.full_name} typed was not sent, because you are {person.full_name}. "
        f"{kept.full_name} types it again under their own name."
    )


@never_cache
@require_safe
def stay(request: HttpRequest) -> HttpResponse:
    """Somebody is there: asked for by a page whose person types and sends nothing. The time-out begins anew."""
    return HttpResponse(status=204)


@never_cache
@sensitive_post_parameters()
@require_http_methods(["GET", "HEAD", "POST"])
def password(request: HttpRequest) -> HttpResponse:
    """A person's own password; who has a one-time password sees nothing else before this."""
    person = person_of(request)
    form = PasswordForm(posted(request))
    if request.method == "POST" and form.is_valid():
        outcome = try_act(
            form,
            change_password,
            request,
            old_password=form.cleaned_data["old_password"],
            new_password=form.cleaned_data["new_password"],
        )
        if outcome is not None:
            update_session_auth_hash(request, outcome.result)
            receipt(request, "Written: your new password. It holds from now on, also for signing.")
            return redirect(landing_of(person))
    return render(
        request,
        "people/password.html",
        {"form": form, "is_one_time": person.has_one_time_password},
        status=refused_status(form) if form.errors else 200,
    )


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


@require_safe
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
