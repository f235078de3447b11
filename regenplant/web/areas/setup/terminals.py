"""Terminals: which one this is, what the others are called, and which are gone."""

from __future__ import annotations

from uuid import uuid4

from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.audit.selectors import story
from regenplant.plant import services
from regenplant.plant.models import Terminal
from regenplant.web import terminals
from regenplant.web.act_page import Act, act_page
from regenplant.web.house_form import HouseForm, posted, words_field
from regenplant.web.rights import right

BOTH = require_http_methods(["GET", "HEAD", "POST"])
HOME = "setup-terminals"


class NameForm(HouseForm):
    name = words_field(
        services.LONGEST_TERMINAL_NAME,
        label="Its name",
        help_text="As people call it: “Tablet at the acid skid”. It stands beside every act from here.",
    )


class RetireForm(HouseForm):
    reason = words_field(300, rows=2, label="Why", help_text="At least ten characters.")


@require_safe
def terminal_list(request: HttpRequest) -> HttpResponse:
    here, every = terminals.named_terminal(request), list(Terminal.objects.all())
    address = terminals.address_of(request)
    context = {
        "here": here,
        "address": address,
        "sentence": f"You are at {here.name}."
        if here
        else f"The terminal you are at has no name. The record knows it by its address, {address}.",
        "terminals": every,
        "edit": right(request, "plant.edit"),
        "story": story([("terminal", str(terminal.pk)) for terminal in every], newest_first=True, limit=15),
    }
    return render(request, "setup/terminals.html", context)


@BOTH
def name(request: HttpRequest) -> HttpResponse:
    """Name the terminal at which this page is open; it keeps its key from then on."""
    here = terminals.named_terminal(request)
    key = here.key if here else uuid4().hex
    initial = {"name": here.name, "version": here.version} if here else {}
    form = NameForm(posted(request), initial=initial)
    act = Act(
        title=f"Rename {here.name}" if here else "Name this terminal",
        sentence="The one you hold in your hand or sit at. What was written before keeps the name it had then.",
        permission="plant.edit",
        service=services.name_terminal,
        arguments=lambda: {"key": key, "name": form.text("name"), "version": form.shown_version},
        said=lambda outcome: f"Written: this terminal is {outcome.result.name}.",
        then=lambda outcome: reverse(HOME),
        back_url=reverse(HOME),
        button="Name it",
    )
    answer = act_page(request, form, act)
    if answer.status_code == 302:
        terminals.remember(answer, key)
    return answer


@BOTH
def retire(request: HttpRequest, terminal: int) -> HttpResponse:
    found = get_object_or_404(Terminal, pk=terminal, is_active=True)
    form = RetireForm(posted(request), initial={"version": found.version})
    act = Act(
        title=f"Retire {found.name}",
        sentence="For one that is gone or lost. What comes from it then bears its address only; the name is not used again.",
        permission="plant.edit",
        service=services.retire_terminal,
        arguments=lambda: {
            "terminal_id": found.pk,
            "reason": form.text("reason"),
            "version": form.shown_version,
        },
        said=lambda outcome: f"Written: {outcome.result.name} is retired.",
        then=lambda outcome: reverse(HOME),
        back_url=reverse(HOME),
        button="Retire it",
        is_stopping=True,
    )
    return act_page(request, form, act)
