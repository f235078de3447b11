"""A page with one form and one act: fill in, let the service act, go on; refused, everything typed still stands."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render

from regenplant.audit.use_case import Outcome
from regenplant.web.acting import receipt, refused_status, try_act
from regenplant.web.house_form import HouseForm
from regenplant.web.rights import right
from regenplant.web.signing import is_whole


@dataclass(frozen=True, slots=True)
class Act:
    """What the page says and does. ``arguments`` is asked after the form is found in order."""

    title: str
    sentence: str
    permission: str
    service: Callable[..., Outcome]
    arguments: Callable[[], dict[str, Any]]
    said: Callable[[Outcome], str]
    """The receipt."""
    then: Callable[[Outcome], str]
    """Address to go on to."""
    back_url: str
    button: str = "Write it down"
    is_stopping: bool = False
    """An act that takes something out of work; its button is amber."""
    template: str = "act.html"
    segregation_class: str = ""
    """Of what the act is about; "" when it concerns none."""


def act_page(request: HttpRequest, form: HouseForm, act: Act, **context: Any) -> HttpResponse:
    """Show the form, or let the service act on it."""
    if request.method == "POST" and is_whole(form, request):
        outcome = try_act(form, act.service, request, **act.arguments())
        if outcome is not None:
            receipt(request, act.said(outcome))
            return redirect(act.then(outcome))
    return shown_act(request, form, act, **context)


def shown_act(request: HttpRequest, form: HouseForm, act: Act, **context: Any) -> HttpResponse:
    """The page as it stands: not filled in yet, or refused with everything typed."""
    status = refused_status(form) if form.errors else 200
    shown = {
        "form": form,
        "act": act,
        "right": right(request, act.permission, act.segregation_class),
        "is_stale": status == 409,
        **context,
    }
    return render(request, act.template, shown, status=status)
