"""Drafting the next version of the matrix, with what it would change shown before it is written; and the time-outs."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from regenplant.people import services
from regenplant.people.authority import CLASSES, RIGHTS, Matrix, Role, is_classed, matrix_of
from regenplant.people.authority_changes import current_matrix, people_changes
from regenplant.people.rights_in_words import title_of
from regenplant.people.selectors import access_rules
from regenplant.people.services.access import IDLE_MINUTES, SIGNING_MINUTES
from regenplant.web.act_page import Act, act_page
from regenplant.web.acting import receipt, refused_status, try_act
from regenplant.web.areas.authority.pages import rows_of_changes, shared
from regenplant.web.house_form import HouseForm, posted, words_field
from regenplant.web.presenters import authority as words

_ROLE_CHOICES = [(role.value, role.value) for role in Role]
_EXCEPTION_CHOICES = [
    (f"{role.value}|{item}", f"{role.value}, not {item}") for role in Role for item in CLASSES
]


class AuthorityForm(HouseForm):
    """One tick for each right and role, one for each class that is taken out again."""

    reason = words_field(300, rows=2, label="Why the matrix changes", help_text="At least 5 characters.")

    def extra_fields(self) -> dict[str, forms.Field]:
        found: dict[str, forms.Field] = {}
        for permission in RIGHTS:
            found[f"r-{permission}"] = forms.MultipleChoiceField(
                label=title_of(permission), choices=_ROLE_CHOICES, required=False
            )
            if is_classed(permission):
                found[f"x-{permission}"] = forms.MultipleChoiceField(
                    label=f"{title_of(permission)} Not in class", choices=_EXCEPTION_CHOICES, required=False
                )
        return found

    def rights(self) -> dict[str, dict[str, list[str]]]:
        """What was ticked, as the service takes it."""
        return words.rights_from(
            {permission: self.cleaned_data.get(f"r-{permission}", []) for permission in RIGHTS},
            {permission: self.cleaned_data.get(f"x-{permission}", []) for permission in RIGHTS},
        )

    def ticked(self) -> Matrix:
        """The matrix as ticked, also when the form is refused for another reason."""
        whole = self.rights()
        return matrix_of(
            {
                right: {role: held for role, held in by_role.items() if held}
                for right, by_role in whole.items()
            },
            0,
        )


class TimesForm(HouseForm):
    idle_minutes = forms.IntegerField(
        label="Signed out after, minutes without a touch",
        help_text=f"{IDLE_MINUTES[0]} to {IDLE_MINUTES[1]}. Holds from each person’s next sign-in.",
    )
    signing_minutes = forms.IntegerField(
        label="User name and password asked again after, minutes without a signature",
        help_text=f"{SIGNING_MINUTES[0]} to {SIGNING_MINUTES[1]}.",
    )
    reason = words_field(300, rows=2, label="Reason")


@require_http_methods(["GET", "HEAD", "POST"])
def draft(request: HttpRequest) -> HttpResponse:
    """The editor. "Show what changes" shows it and writes nothing; "Write the draft" writes it."""
    form = AuthorityForm(posted(request))
    stands = current_matrix()
    is_whole = request.method == "POST" and form.is_valid()
    if is_whole and request.POST.get("act") == "write":
        outcome = try_act(
            form, services.draft_authority, request, rights=form.rights(), reason=form.text("reason")
        )
        if outcome is not None:
            receipt(
                request,
                f"Written: version {outcome.result.number} of the matrix as a draft. Another person approves it.",
            )
            return redirect("authority-version", outcome.result.number)
    shown = form.ticked() if request.method == "POST" and hasattr(form, "cleaned_data") else stands
    is_looked_at = request.method == "POST"
    context = {
        "form": form,
        "groups": words.groups_of(shown),
        "changes": rows_of_changes(stands, shown) if is_looked_at else None,
        "people": people_changes(stands, shown) if is_looked_at else (),
        "nobody": words.held_by_nobody(shown),
        **shared(request),
    }
    status = refused_status(form) if form.errors and request.POST.get("act") == "write" else 200
    return render(request, "authority/draft.html", context, status=status)


@require_http_methods(["GET", "HEAD", "POST"])
def times(request: HttpRequest) -> HttpResponse:
    """The time-outs of signing in and signing."""
    rules = access_rules()
    form = TimesForm(
        posted(request),
        initial={
            "idle_minutes": rules.idle_minutes,
            "signing_minutes": rules.signing_minutes,
            "version": rules.version,
        },
    )
    act = Act(
        title="Time-outs",
        sentence="A terminal that nobody touches is signed out; what was typed is kept and sent on after signing in again.",
        permission="authority.edit",
        service=services.set_access_rules,
        arguments=lambda: _times(form),
        said=lambda outcome: "Written: the time-outs.",
        then=lambda outcome: reverse("authority"),
        back_url=reverse("authority"),
    )
    return act_page(request, form, act)


def _times(form: TimesForm) -> dict[str, Any]:
    minutes = {name: form.cleaned_data[name] for name in ("idle_minutes", "signing_minutes")}
    return {**minutes, "reason": form.text("reason"), "version": form.shown_version}
