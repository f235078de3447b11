"""Acts on one deviation, each on its own page: who looks into it, what was done and caused it, a new one that follows."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from django.http import HttpRequest, HttpResponse
from django.urls import reverse
from django.views.decorators.http import require_http_methods

from regenplant.batches import services
from regenplant.batches.models import Deviation
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.deviations.forms import AssignForm, DescribeForm, FollowForm
from regenplant.web.areas.deviations.views import deviation_or_404
from regenplant.web.house_form import posted
from regenplant.web.presenters import deviations as words
from regenplant.web.rights import Right

ACT = require_http_methods(["GET", "HEAD", "POST"])


@ACT
def assign(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    """Who looks into it, and by when."""
    found = deviation_or_404(number)
    form = AssignForm(
        posted(request), initial={"version": found.version, "owner": found.owner_id, "due_on": found.due_on}
    )
    return _page(
        request, form, found, services.assign_deviation, "deviation.assign",
        title=f"Who looks into {found.number}",
        sentence="One person, by name, and a day. It stays open until it is decided.",
        arguments=lambda: {
            "deviation_id": found.pk,
            "owner_id": form.cleaned_data["owner"].pk,
            "due_on": form.cleaned_data["due_on"],
            "version": form.shown_version,
        },
        said=f"Written: who looks into {found.number}.",
    )  # fmt: skip


@ACT
def describe(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    """What was done at once, and what caused it."""
    found = deviation_or_404(number)
    initial = {
        "version": found.version,
        "measure": found.measure,
        "cause_category": found.cause_category,
        "cause": found.cause,
    }
    form = DescribeForm(posted(request), initial=initial)
    return _page(
        request, form, found, services.describe_deviation, "deviation.describe",
        title=f"Measure and cause of {found.number}",
        sentence="As far as it is known now. What stood before stays in the story.",
        arguments=lambda: {
            "deviation_id": found.pk,
            "measure": form.text("measure"),
            "cause_category": form.cleaned_data["cause_category"],
            "cause": form.text("cause"),
            "version": form.shown_version,
        },
        said=f"Written: measure and cause of {found.number}.",
    )  # fmt: skip


@ACT
def follow(request: HttpRequest, number: str, tab: str) -> HttpResponse:
    """A new deviation that takes a decided one up again: a decision is never undone."""
    found = deviation_or_404(number)
    form = FollowForm(posted(request))
    return _page(
        request, form, found, services.open_deviation, "deviation.open",
        title=f"What came up after {found.number}",
        sentence=f"{found.number} stays decided as it is. This opens a new deviation that follows it.",
        arguments=lambda: {
            "batch_id": found.batch_id,
            "follows_id": found.pk,
            "what": form.text("what"),
            "severity": form.cleaned_data["severity"],
        },
        said="Written: a new deviation is open.",
        needs_open=False,
    )  # fmt: skip


def _page(
    request: HttpRequest,
    form: Any,
    found: Deviation,
    service: Callable[..., Any],
    permission: str,
    *,
    title: str,
    sentence: str,
    arguments: Callable[[], dict[str, Any]],
    said: str,
    needs_open: bool = True,
) -> HttpResponse:
    act = Act(
        title=title,
        sentence=sentence,
        permission=permission,
        segregation_class=found.batch.segregation_class,
        service=service,
        arguments=arguments,
        said=lambda outcome: said,
        then=lambda outcome: reverse("deviations-detail", args=[outcome.result.number]),
        back_url=reverse("deviations-detail", args=[found.number]),
    )
    context: dict[str, Any] = {"facts": words.short_facts(found)}
    if found.is_open != needs_open:
        state = "open still" if found.is_open else "decided"
        context["right"] = Right(False, f"{found.number} is {state}.")
    return act_page(request, form, act, **context)
