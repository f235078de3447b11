"""Approving a draft of the matrix with a signature, sending it back, taking it back."""

from __future__ import annotations

from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from regenplant.people import services
from regenplant.web.areas.authority.pages import changes_context, shared, version_or_404
from regenplant.web.areas.setup.signed_versions import approve_page, withdraw_page
from regenplant.web.presenters.authority import groups_of


@require_http_methods(["GET", "HEAD", "POST"])
def approve(request: HttpRequest, number: int) -> HttpResponse:
    """What the draft changes and for whom, and the signature under it."""
    version = version_or_404(number)
    return approve_page(
        request,
        version,
        title=f"Approve version {number} of the authority matrix",
        permission="authority.approve",
        service=services.approve_authority,
        back_url=reverse("authority-version", args=[number]),
        then_url=reverse("authority"),
        template="authority/approve.html",
        groups=groups_of(version.matrix),
        found=version.matrix,
        **changes_context(version),
        **shared(request),
    )


@require_http_methods(["GET", "HEAD", "POST"])
def withdraw(request: HttpRequest, number: int) -> HttpResponse:
    """Send a draft back, or stop an approved version before it takes force."""
    return _give_up(request, number, "authority.approve", services.withdraw_authority, "Send it back")


@require_http_methods(["GET", "HEAD", "POST"])
def take_back(request: HttpRequest, number: int) -> HttpResponse:
    """The writer's side gives up a draft."""
    return _give_up(
        request,
        number,
        "authority.edit",
        services.take_back_authority_draft,
        "Take it back",
        only_drafts=True,
    )


def _give_up(
    request: HttpRequest,
    number: int,
    permission: str,
    service: Any,
    button: str,
    *,
    only_drafts: bool = False,
) -> HttpResponse:
    return withdraw_page(
        request,
        version_or_404(number),
        title=f"Version {number} of the matrix",
        sentence="It does not take force. The matrix that is in force stays.",
        permission=permission,
        service=service,
        back_url=reverse("authority-version", args=[number]),
        then_url=reverse("authority"),
        button=button,
        only_drafts=only_drafts,
    )
