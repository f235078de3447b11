"""Approving a draft of the matrix with a signature, sending it back, taking it back."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.debug import sensitive_post_parameters
from django.views.decorators.http import require_http_methods

from regenplant.people import services
from regenplant.people.models import AuthorityVersion
from regenplant.people.selectors import people_who_may
from regenplant.people.services.authority import APPROVAL_MEANING, SUBJECT
from regenplant.web.act_page import Act, act_page
from regenplant.web.acting import receipt, refused_status
from regenplant.web.areas.authority.pages import changes_context, shared, version_or_404
from regenplant.web.areas.setup.versions import WithdrawForm
from regenplant.web.house_form import moment_field, posted
from regenplant.web.requests import person_of
from regenplant.web.rights import right
from regenplant.web.signing import SigningForm, sign


class ApproveMatrixForm(SigningForm):
    """The signature under a version, and from when it holds."""

    effective_from = moment_field(label="Holds from", required=False, help_text="Empty: from now.")


@never_cache
@sensitive_post_parameters("password")
@require_http_methods(["GET", "HEAD", "POST"])
def approve(request: HttpRequest, number: int) -> HttpResponse:
    """What the draft changes and for whom, and the signature under it."""
    version = version_or_404(number)
    form = ApproveMatrixForm(posted(request), initial={"version": version.number})
    if request.method == "POST" and form.is_valid():
        outcome = sign(
            form,
            request,
            services.approve_authority,
            meaning=APPROVAL_MEANING,
            about=SUBJECT,
            version_id=version.pk,
            effective_from=form.cleaned_data["effective_from"],
        )
        if outcome is not None:
            receipt(request, f"Signed: version {number} of the authority matrix is approved.")
            return redirect("authority")
        version = version_or_404(number)
    context = {
        "version": version,
        "form": form,
        "facts": _facts(version),
        "refused": _refused(request, version),
        "meaning": APPROVAL_MEANING,
        "person": person_of(request),
        "now": timezone.now(),
        **changes_context(version),
        **shared(request),
    }
    return render(
        request, "authority/approve.html", context, status=refused_status(form) if form.errors else 200
    )


def _facts(version: AuthorityVersion) -> list[tuple[str, Any]]:
    return [
        ("Version", version.number),
        ("Written by", version.made_by.full_name),
        ("Why", version.reason),
        ("Digest", version.digest[:16]),
    ]


def _refused(request: HttpRequest, version: AuthorityVersion) -> str:
    """Why this person may not approve this version now; "" when they may."""
    if version.state != "draft":
        return f"Version {version.number} is {version.state} already."
    if version.made_by_id == person_of(request).pk:
        others = people_who_may("authority.approve", except_pks=[version.made_by_id])[:3]
        names = " or ".join(person.full_name for person in others)
        return f"You wrote this version, so another person must approve it{f': {names}' if names else ''}."
    return right(request, "authority.approve").reason


@require_http_methods(["GET", "HEAD", "POST"])
def withdraw(request: HttpRequest, number: int) -> HttpResponse:
    """Send a draft back, or stop an approved version before it takes force."""
    return _give_up(request, number, "authority.approve", services.withdraw_authority, "Send it back")


@require_http_methods(["GET", "HEAD", "POST"])
def take_back(request: HttpRequest, number: int) -> HttpResponse:
    """The writer's side gives up a draft."""
    return _give_up(request, number, "authority.edit", services.take_back_authority_draft, "Take it back")


def _give_up(request: HttpRequest, number: int, permission: str, service: Any, button: str) -> HttpResponse:
    version, form = version_or_404(number), WithdrawForm(posted(request))
    back = reverse("authority-version", args=[number])
    act = Act(
        title=f"Version {number} of the matrix",
        sentence="It does not take force. The matrix that is in force stays.",
        permission=permission,
        service=service,
        arguments=lambda: {"version_id": version.pk, "reason": form.text("reason")},
        said=lambda outcome: f"Written: version {number} is withdrawn.",
        then=lambda outcome: reverse("authority"),
        back_url=back,
        button=button,
        is_stopping=True,
    )
    return act_page(request, form, act)
