"""The discharge permit: what holds, what a draft would change, and its approval by another person."""

from __future__ import annotations

from datetime import date
from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from regenplant import units
from regenplant.core.process.discharge import PermitContent, why_not_in_force
from regenplant.plant import permit, services
from regenplant.plant.selectors import plant_day
from regenplant.web.areas.setup.rule_pages import Groups, RulePages
from regenplant.web.areas.setup.rule_versions import RuleVersions
from regenplant.web.fields import QuantityField
from regenplant.web.house_form import HouseForm, day_field, posted, words_field
from regenplant.web.requests import unit_system_of

BOTH = require_http_methods(["GET", "HEAD", "POST"])
NO_LIMIT = "no limit in the permit"
_DAY_HELP = "Empty where the permit names no limit."


class PermitForm(HouseForm):
    """What the paper of the authority says, and why the next version is written."""

    number = words_field(60, label="Permit number")
    authority = words_field(120, label="Issued by", required=False)
    expires_on = day_field(
        label="Last day", help_text="The last day on which it holds. After it nothing is released."
    )
    is_released_by_two = forms.BooleanField(
        label="Two people sign each release",
        required=False,
        help_text="The plant’s own rule, beside the permit.",
    )
    reason = words_field(300, rows=2, label="Why", help_text="Which paper, of which day.")

    field_order = ("number", "authority", "expires_on")

    def extra_fields(self) -> dict[str, forms.Field]:
        return {
            figure.name: QuantityField(
                figure.kind,
                label=f"{figure.title} in one day" if figure.may_be_none else figure.title,
                required=not figure.may_be_none,
                help_text=_DAY_HELP if figure.may_be_none else "",
            )
            for figure in permit.FIGURES
        }

    def content(self) -> PermitContent:
        """The permit in SI; a figure left alone keeps its stored value."""
        figures: dict[str, Any] = {figure.name: self.quantity(figure.name) for figure in permit.FIGURES}
        day: date = self.cleaned_data["expires_on"]
        return PermitContent(
            number=self.text("number"),
            authority=self.text("authority"),
            expires_on=day.isoformat(),
            is_released_by_two=bool(self.cleaned_data["is_released_by_two"]),
            **figures,
        )


def _figure(value: float | None, kind: str, system: str) -> str:
    return NO_LIMIT if value is None else units.twin(value, kind, system)


def groups_of(content: PermitContent, system: str) -> Groups:
    """Every part of a permit in words, in groups."""
    head = [
        ("Number", content.number or "none on record"),
        ("Issued by", content.authority or "not written"),
        ("Last day", content.expires_on or "none on record"),
        ("Who signs a release", "two people" if content.is_released_by_two else "one person with the right"),
    ]
    figures = [
        (name, [(one.title, _figure(getattr(content, one.name), one.kind, system)) for one in rows])
        for name, rows in permit.GROUPS
    ]
    return [("Permit", head), *figures]


PAGES = RulePages(
    title="Discharge permit",
    rules=RuleVersions(
        "the discharge permit",
        "setup-permit",
        "permit.approve",
        services.approve_permit,
        services.withdraw_permit,
    ),
    edit="permit.edit",
    subject=("discharge_permit", "permit"),
    in_force="The permit in force",
    versions=permit.versions,
    groups_of=lambda version, system: groups_of(permit.content_from(version.content), system),
    groups_before=lambda version, system: groups_of(permit.content_before(version), system),
    draft_service=services.draft_permit,
)


@require_safe
def permit_page(request: HttpRequest) -> HttpResponse:
    now = timezone.now()
    found = permit.permit_in_force(now)
    since = (
        f"Version {found.version.number} holds, from {timezone.localtime(found.version.effective_from or found.version.made_at):%Y-%m-%d}."
        if found.version
        else "No version is written yet; what the plant’s profile says holds, without a budget."
    )
    return PAGES.home(
        request,
        f"{since} Read it from the authority’s paper; the authority decides, not this page.",
        groups_of(found.content, unit_system_of(request)),
        refused=why_not_in_force(found.content, plant_day(now)),
    )


@require_safe
def version_page(request: HttpRequest, number: int) -> HttpResponse:
    return PAGES.version(request, number)


@BOTH
def draft(request: HttpRequest) -> HttpResponse:
    content = permit.newest_content()
    initial: dict[str, Any] = {figure.name: getattr(content, figure.name) for figure in permit.FIGURES}
    for name in ("number", "authority", "expires_on", "is_released_by_two"):
        initial[name] = getattr(content, name)
    form = PermitForm(posted(request), initial=initial, system=unit_system_of(request))
    sentence = (
        "Copy it from the authority’s paper. Another person holds it against the paper and approves it."
    )
    return PAGES.draft(request, form, sentence, lambda: {"content": form.content()})


@BOTH
def approve(request: HttpRequest, number: int) -> HttpResponse:
    return PAGES.approve(request, number)


@BOTH
def withdraw(request: HttpRequest, number: int) -> HttpResponse:
    return PAGES.withdraw(request, number)
