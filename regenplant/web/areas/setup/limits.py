"""The plant's limits: what holds, what a draft would change, and its approval by another person."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from regenplant import units
from regenplant.audit.selectors import story
from regenplant.people.selectors import people_who_may
from regenplant.plant import limits, services
from regenplant.plant.limit_figures import FIGURES, GROUPS, Figure, LimitContent, value_of
from regenplant.plant.models import LimitsVersion
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.setup.rule_versions import RuleVersions
from regenplant.web.areas.setup.signed_versions import signature_rows
from regenplant.web.areas.setup.versions import SHIPPED
from regenplant.web.fields import QuantityField
from regenplant.web.house_form import HouseForm, posted, words_field
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right

BOTH = require_http_methods(["GET", "HEAD", "POST"])


class LimitsForm(HouseForm):
    """Every figure, and why the next version is written."""

    reason = words_field(300, rows=2, label="Why", help_text="What was learned, and from where.")

    def extra_fields(self) -> dict[str, forms.Field]:
        return {figure.name: QuantityField(figure.kind, label=figure.title) for figure in FIGURES}

    def values(self) -> dict[str, float]:
        """Every figure in SI; one left alone keeps its stored value."""
        return {figure.name: self.needed_quantity(figure.name) for figure in FIGURES}


def _shown(figure: Figure, value: float, system: str) -> str:
    return units.twin(value, figure.kind, system)


def _groups(content: LimitContent, system: str) -> list[tuple[str, list[tuple[str, str]]]]:
    return [
        (name, [(figure.title, _shown(figure, value_of(content, figure), system)) for figure in figures])
        for name, figures in GROUPS
    ]


def _version(number: int) -> LimitsVersion:
    return get_object_or_404(limits.versions(), number=number)


def _changes(version: LimitsVersion, system: str) -> list[dict[str, str]]:
    group_of = {figure.name: name for name, figures in GROUPS for figure in figures}
    found = limits.changes_between(limits.content_before(version), limits.content_from(version.content))
    return [
        {
            "where": group_of[change.figure.name],
            "what": change.figure.title,
            "old": _shown(change.figure, change.old, system),
            "new": _shown(change.figure, change.new, system),
        }
        for change in found
    ]


@require_safe
def limits_page(request: HttpRequest) -> HttpResponse:
    now, system = timezone.now(), unit_system_of(request)
    found = limits.version_in_force(now)
    versions = list(limits.versions())
    since = (
        f"Version {found.number} holds, from {timezone.localtime(found.effective_from or found.made_at):%Y-%m-%d}."
        if found
        else f"The defaults of the trade hold, {SHIPPED}; none of them was confirmed by this plant."
    )
    context = {
        "sentence": f"{since} Plans made from now on are checked against them; frozen plans keep theirs.",
        "groups": _groups(limits.content_in_force(now), system),
        "versions": versions,
        "draft": next((version for version in versions if version.state == "draft"), None),
        "edit": right(request, "limits.edit"),
        "story": story([("plant_limits", "limits")], newest_first=True, limit=15),
    }
    return render(request, "setup/limits.html", context)


@require_safe
def version_page(request: HttpRequest, number: int) -> HttpResponse:
    version, system = _version(number), unit_system_of(request)
    context = {
        "version": version,
        "groups": _groups(limits.content_from(version.content), system),
        "changes": _changes(version, system),
        "signatures": signature_rows(version),
        "is_own": version.made_by_id == request.user.pk,
        "others": people_who_may("limits.approve", except_pks=[version.made_by_id])[:3],
        "edit": right(request, "limits.edit"),
        "approve": right(request, "limits.approve"),
    }
    return render(request, "setup/limits_version.html", context)


@BOTH
def draft(request: HttpRequest) -> HttpResponse:
    content = limits.newest_content()
    initial: dict[str, Any] = {figure.name: value_of(content, figure) for figure in FIGURES}
    form = LimitsForm(posted(request), initial=initial, system=unit_system_of(request))
    act = Act(
        title="Next version of the plant’s limits",
        sentence="Change what this plant knows better, and say why. Another person approves it.",
        permission="limits.edit",
        service=services.draft_limits,
        arguments=lambda: {"values": form.values(), "reason": form.text("reason")},
        said=lambda outcome: f"Written: draft {outcome.result.number} of the plant’s limits.",
        then=lambda outcome: reverse("setup-limits-version", args=[outcome.result.number]),
        back_url=reverse("setup-limits"),
        button="Write the draft",
    )
    return act_page(request, form, act)


RULES = RuleVersions(
    "the plant’s limits", "setup-limits", "limits.approve", services.approve_limits, services.withdraw_limits
)


@BOTH
def approve(request: HttpRequest, number: int) -> HttpResponse:
    version, system = _version(number), unit_system_of(request)
    groups = _groups(limits.content_from(version.content), system)
    return RULES.approve(request, version, _changes(version, system), groups)


@BOTH
def withdraw(request: HttpRequest, number: int) -> HttpResponse:
    return RULES.withdraw(request, _version(number))
