"""People: who may sign in and what they may do; accounts are opened, changed and closed by administrators."""

from __future__ import annotations

import secrets
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters, sensitive_variables
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.audit.selectors import story
from regenplant.people import services
from regenplant.people.authority import Role
from regenplant.people.authority_changes import rights_of
from regenplant.people.models import Person, Signature
from regenplant.web import listing
from regenplant.web.act_page import Act, act_page
from regenplant.web.acting import refused_status, try_act
from regenplant.web.areas.setup import shown
from regenplant.web.house_form import HouseForm, posted, words_field
from regenplant.web.requests import person_of
from regenplant.web.rights import right
from regenplant.web.tables.setup import PersonTable

_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"
"""What cannot be mistaken for another when read aloud or copied by hand."""


def one_time_password() -> str:
    """A password to hand over: three groups of four, about 59 bits of chance."""
    return "-".join("".join(secrets.choice(_LETTERS) for _ in range(4)) for _ in range(3))


def _roles_field(**kwargs: Any) -> forms.MultipleChoiceField:
    return forms.MultipleChoiceField(
        label="Roles",
        choices=[(role.value, role.value) for role in Role],
        widget=forms.CheckboxSelectMultiple,
        **kwargs,
    )


class PersonForm(HouseForm):
    username = words_field(
        150,
        label="Name for signing in",
        help_text="Letters, digits and . - _ only. It is never used again for another person.",
    )
    full_name = words_field(120, label="Full name", help_text="As it stands on papers.")
    initials = words_field(4, label="Initials", help_text="At most 4 characters.")
    roles = _roles_field(required=False)
    is_shared = forms.BooleanField(
        label="A post’s account, shared by several people",
        required=False,
        help_text="It shows pages and does nothing else: no act, no signature, no role. Each person who acts has their own.",
    )
    password = forms.CharField(
        label="First password",
        max_length=200,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="At least 10 characters, none of the common ones. It opens once, within 72 hours, to choose one’s own.",
    )
    is_own_password = forms.BooleanField(
        label="The person typed this password here and now",
        required=False,
        help_text="Then it is their own already, and nobody else knows it.",
    )

    def clean(self) -> dict[str, Any]:
        cleaned = super().clean() or {}
        if not cleaned.get("is_shared") and not cleaned.get("roles") and "roles" not in self.errors:
            self.add_error(
                "roles",
                "Nothing is ticked here yet. A person without a role may look and nothing else; tick at least one.",
            )
        return cleaned

    def arguments(self) -> dict[str, Any]:
        return {
            "username": self.text("username"),
            "full_name": self.text("full_name"),
            "initials": self.text("initials"),
            "roles": [Role(value) for value in self.cleaned_data["roles"]],
            "password": self.cleaned_data["password"],
            "is_shared": self.cleaned_data["is_shared"],
            "is_own_password": self.cleaned_data["is_own_password"],
        }


class WhyForm(HouseForm):
    reason = words_field(200, rows=2, label="Reason", min_length=5)


class RenameForm(HouseForm):
    full_name = words_field(120, label="Full name", help_text="As it stands on papers from now on.")
    initials = words_field(4, label="Initials", help_text="At most 4 characters.")
    reason = words_field(200, rows=2, label="Reason", min_length=5)


class RolesForm(HouseForm):
    roles = _roles_field(required=False)
    reason = words_field(200, rows=2, label="Reason", min_length=5)


@require_safe
def people_list(request: HttpRequest) -> HttpResponse:
    people = Person.objects.prefetch_related("groups")
    active = Person.objects.filter(is_active=True, is_device=False).count()
    may = right(request, "people.edit")
    context = {
        "title": "People",
        "sentence": f"{shown.count(active, 'person', 'people')} may sign in. Nobody is ever deleted: records keep their names.",
        "add_url": reverse("setup-person-new"),
        "add": "Add a person",
        "right": may,
    }
    return listing.answer(request, "setup/list.html", PersonTable(people), "people", context)


@require_safe
def person_page(request: HttpRequest, username: str) -> HttpResponse:
    """One person: what they may do, what was written about the account, and the acts on it."""
    person = get_object_or_404(Person, username=username)
    is_self = person.pk == person_of(request).pk
    context = {
        "person": person,
        "sentence": _sentence(person),
        "facts": _facts(person),
        "rights": rights_of(person, person.matrix),
        "is_self": is_self,
        "right": right(request, "people.edit"),
        "story": story([("person", str(person.pk))], newest_first=True, limit=30),
    }
    return render(request, "setup/person.html", context)


def _sentence(person: Person) -> str:
    if person.is_device:
        return "A device’s account: a meter feed writes readings under it. It has no password and no role, and signs nothing."
    if not person.is_active:
        return "The account is closed. Everything this person wrote and signed stays, under the name it was signed with."
    if person.is_shared:
        return (
            "A shared account: it looks and does nothing. Each person who acts signs in with their own name."
        )
    if person.has_one_time_password:
        return "Has a one-time password, and chooses an own one at the next sign-in."
    return f"Signs in as {person.username}."


def _facts(person: Person) -> list[tuple[str, Any]]:
    return [
        ("Name for signing in", f"{person.username}, for good"),
        ("Initials", person.initials),
        ("Roles", ", ".join(person.role_names()) or "none"),
        ("Signatures", Signature.objects.filter(person=person).count()),
        ("Kind", "device" if person.is_device else "post, shared" if person.is_shared else "person"),
        ("Account", "open" if person.is_active else "closed"),
    ]


def _page(person: Person) -> str:
    return reverse("setup-person", args=[person.username])


@sensitive_post_parameters("password")
@require_http_methods(["GET", "HEAD", "POST"])
def new(request: HttpRequest) -> HttpResponse:
    form = PersonForm(posted(request))
    act = Act(
        title="Add a person",
        sentence="Roles add up. Nobody releases what they performed or whose readings they wrote, whatever the roles.",
        permission="people.edit",
        service=services.add_person,
        arguments=form.arguments,
        said=lambda outcome: f"Written: {outcome.result.full_name} may sign in as {outcome.result.username}.",
        then=lambda outcome: reverse("setup-people"),
        back_url=reverse("setup-people"),
    )
    return act_page(request, form, act)


@require_http_methods(["GET", "HEAD", "POST"])
def rename(request: HttpRequest, username: str) -> HttpResponse:
    person = get_object_or_404(Person, username=username)
    form = RenameForm(posted(request), initial={"full_name": person.full_name, "initials": person.initials})
    act = Act(
        title=f"Another name for {person.full_name}",
        sentence="What was signed before keeps the name as it was then. The name for signing in never changes.",
        permission="people.edit",
        service=services.rename_person,
        arguments=lambda: {
            "person_id": person.pk,
            "full_name": form.text("full_name"),
            "initials": form.text("initials"),
            "reason": form.text("reason"),
        },
        said=lambda outcome: f"Written: the name is {outcome.result.full_name} from now on.",
        then=lambda outcome: _page(person),
        back_url=_page(person),
    )
    return act_page(request, form, act)


@require_http_methods(["GET", "HEAD", "POST"])
def roles(request: HttpRequest, username: str) -> HttpResponse:
    person = get_object_or_404(Person, username=username)
    form = RolesForm(posted(request), initial={"roles": list(person.role_names())})
    act = Act(
        title=f"Roles of {person.full_name}",
        sentence="Roles add up, and hold from the person’s next page. What each role may do stands in the authority matrix.",
        permission="people.edit",
        service=services.set_roles,
        arguments=lambda: {
            "person_id": person.pk,
            "roles": [Role(value) for value in form.cleaned_data["roles"]],
            "reason": form.text("reason"),
        },
        said=lambda outcome: (
            f"Written: {person.full_name} is {', '.join(outcome.result.role_names()) or 'without a role'}."
        ),
        then=lambda outcome: _page(person),
        back_url=_page(person),
    )
    return act_page(request, form, act)


@require_http_methods(["GET", "HEAD", "POST"])
def deactivate(request: HttpRequest, username: str) -> HttpResponse:
    person = get_object_or_404(Person, username=username)
    form = WhyForm(posted(request))
    act = Act(
        title=f"Close the account of {person.full_name}",
        sentence="No signing in, no signature from now on. Everything this person wrote stays.",
        permission="people.edit",
        service=services.deactivate_person,
        arguments=lambda: {"person_id": person.pk, "reason": form.text("reason")},
        said=lambda outcome: f"Written: the account of {person.full_name} is closed.",
        then=lambda outcome: reverse("setup-people"),
        back_url=_page(person),
        button="Close the account",
        is_stopping=True,
    )
    return act_page(request, form, act)


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def password(request: HttpRequest, username: str) -> HttpResponse:
    """Give a one-time password; it is shown once, on the answer to this very act."""
    return _hand_over(
        request,
        get_object_or_404(Person, username=username),
        services.reset_password,
        "One-time password for",
        "It opens once, within 72 hours, to choose one’s own. It signs nothing. An account that rests goes on.",
        "Give a one-time password",
    )


@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def reactivate(request: HttpRequest, username: str) -> HttpResponse:
    """Open a closed account again, with a one-time password."""
    return _hand_over(
        request,
        get_object_or_404(Person, username=username),
        services.reactivate_person,
        "Open the account again of",
        "The same account with the roles it had, and a one-time password.",
        "Open it again",
    )


@sensitive_variables("given")
def _hand_over(
    request: HttpRequest, person: Person, service: Any, title: str, sentence: str, button: str
) -> HttpResponse:
    """A page that acts and then shows, once, the password it made."""
    form, given = WhyForm(posted(request)), one_time_password()
    if request.method == "POST" and form.is_valid():
        outcome = try_act(
            form, service, request, person_id=person.pk, password=given, reason=form.text("reason")
        )
        if outcome is not None:
            return render(request, "setup/one_time.html", {"person": outcome.result, "given": given})
    act = Act(
        title=f"{title} {person.full_name}",
        sentence=sentence,
        permission="people.edit",
        service=service,
        arguments=dict,
        said=str,
        then=str,
        back_url=_page(person),
        button=button,
    )
    context = {"form": form, "act": act, "right": right(request, "people.edit")}
    return render(request, "act.html", context, status=refused_status(form) if form.errors else 200)
