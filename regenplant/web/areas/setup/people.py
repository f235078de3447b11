"""People: who may sign in and what they may do; accounts are opened and closed by administrators."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404
from django.urls import reverse
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.people import services
from regenplant.people.authority import Role
from regenplant.people.models import Person
from regenplant.web import listing
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.setup import shown
from regenplant.web.house_form import HouseForm, posted, words_field
from regenplant.web.rights import right
from regenplant.web.tables.setup import PersonTable


class PersonForm(HouseForm):
    username = words_field(
        150,
        label="Name for signing in",
        help_text="Letters, digits and . - _ only. It is never used again for another person.",
    )
    full_name = words_field(120, label="Full name", help_text="As it stands on papers.")
    initials = words_field(4, label="Initials", help_text="At most 4 characters.")
    roles = forms.MultipleChoiceField(
        label="Roles",
        choices=[(role.value, role.value) for role in Role],
        widget=forms.CheckboxSelectMultiple,
    )
    password = forms.CharField(
        label="First password",
        max_length=200,
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "new-password"}),
        help_text="At least 10 characters, none of the common ones.",
    )

    def arguments(self) -> dict[str, Any]:
        return {
            "username": self.text("username"),
            "full_name": self.text("full_name"),
            "initials": self.text("initials"),
            "roles": [Role(value) for value in self.cleaned_data["roles"]],
            "password": self.cleaned_data["password"],
        }


class DeactivateForm(HouseForm):
    reason = words_field(200, rows=2, label="Reason", min_length=5)


@require_safe
def people_list(request: HttpRequest) -> HttpResponse:
    people = Person.objects.prefetch_related("groups")
    active = Person.objects.filter(is_active=True).count()
    may = right(request, "people.edit")
    table = PersonTable(people, exclude=() if may.is_held else ("act",))
    context = {
        "title": "People",
        "sentence": f"{shown.count(active, 'person', 'people')} may sign in. Nobody is ever deleted: records keep their names.",
        "add_url": reverse("setup-person-new"),
        "add": "Add a person",
        "right": may,
    }
    return listing.answer(request, "setup/list.html", table, "people", context)


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
def deactivate(request: HttpRequest, username: str) -> HttpResponse:
    person = get_object_or_404(Person, username=username)
    form = DeactivateForm(posted(request))
    act = Act(
        title=f"Close the account of {person.full_name}",
        sentence="No signing in, no signature from now on. Everything this person wrote stays.",
        permission="people.edit",
        service=services.deactivate_person,
        arguments=lambda: {"person_id": person.pk, "reason": form.text("reason")},
        said=lambda outcome: f"Written: the account of {person.full_name} is closed.",
        then=lambda outcome: reverse("setup-people"),
        back_url=reverse("setup-people"),
        button="Close the account",
        is_stopping=True,
    )
    return act_page(request, form, act)
