"""The plant's limits: what holds, what a draft would change, and its approval by another person."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from regenplant import units
from regenplant.plant import limits, services
from regenplant.plant.limit_figures import FIGURES, GROUPS, Figure, LimitContent, value_of
from regenplant.web.areas.setup.rule_pages import Groups, RulePages
from regenplant.web.areas.setup.rule_versions import RuleVersions
from regenplant.web.areas.setup.versions import SHIPPED
from regenplant.web.fields import QuantityField
from regenplant.web.house_form import HouseForm, posted, words_field
from regenplant.web.requests import unit_system_of

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


def _groups(content: LimitContent, system: str) -> Groups:
    return [
        (name, [(figure.title, _shown(figure, value_of(content, figure), system)) for figure in figures])
        for name, figures in GROUPS
    ]


PAGES = RulePages(
    title="Plant limits",
    rules=RuleVersions(
        "the plant’s limits",
        "setup-limits",
        "limits.approve",
        services.approve_limits,
        services.withdraw_limits,
    ),
    edit="limits.edit",
    subject=("plant_limits", "limits"),
    in_force="Limits in force",
    versions=limits.versions,
    groups_of=lambda version, system: _groups(limits.content_from(version.content), system),
    groups_before=lambda version, system: _groups(limits.content_before(version), system),
    draft_service=services.draft_limits,
)


@require_safe
def limits_page(request: HttpRequest) -> HttpResponse:
    now = timezone.now()
    found = limits.version_in_force(now)
    since = (
        f"Version {found.number} holds, from {timezone.localtime(found.effective_from or found.made_at):%Y-%m-%d}."
        if found
        else f"The defaults of the trade hold, {SHIPPED}; none of them was confirmed by this plant."
    )
    sentence = f"{since} Plans made from now on are checked against them; frozen plans keep theirs."
    return PAGES.home(request, sentence, _groups(limits.content_in_force(now), unit_system_of(request)))


@require_safe
def version_page(request: HttpRequest, number: int) -> HttpResponse:
    return PAGES.version(request, number)


@BOTH
def draft(request: HttpRequest) -> HttpResponse:
    content = limits.newest_content()
    initial: dict[str, Any] = {figure.name: value_of(content, figure) for figure in FIGURES}
    form = LimitsForm(posted(request), initial=initial, system=unit_system_of(request))
    sentence = "Change what this plant knows better, and say why. Another person approves it."
    return PAGES.draft(request, form, sentence, lambda: {"values": form.values()})


@BOTH
def approve(request: HttpRequest, number: int) -> HttpResponse:
    return PAGES.approve(request, number)


@BOTH
def withdraw(request: HttpRequest, number: int) -> HttpResponse:
    return PAGES.withdraw(request, number)
