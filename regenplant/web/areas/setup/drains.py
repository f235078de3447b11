"""The class table of drains: what holds, what a draft would change, and its approval by another person."""

from __future__ import annotations

from typing import Any

from django import forms
from django.http import HttpRequest, HttpResponse
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_safe

from regenplant.core.process.drains import (
    CLASS_TABLE,
    OPEN_CLASSES,
    ClassTable,
    Destination,
    Drained,
    cell_name,
)
from regenplant.plant import drain_table, services
from regenplant.web.areas.setup.rule_pages import Groups, RulePages
from regenplant.web.areas.setup.rule_versions import RuleVersions
from regenplant.web.house_form import HouseForm, posted, words_field
from regenplant.web.presenters.words import sentence_case
from regenplant.web.requests import unit_system_of

BOTH = require_http_methods(["GET", "HEAD", "POST"])
NOWHERE = "nowhere: nothing of it is planned or started"
NOTE = (
    "A plant’s table can only be stricter than the program’s: acid, caustic and what carries metals never go straight to the sewer. "
    "A step that waits is held against the table in force when it starts. The permit and the authority decide."
)


class DrainTableForm(HouseForm):
    """Where each drain may go, of what the program allows at most."""

    reason = words_field(300, rows=2, label="Why", help_text="Which rule or which letter asks for it.")

    def extra_fields(self) -> dict[str, forms.Field]:
        return {
            cell_name(kind, drained): forms.MultipleChoiceField(
                label=f"Class {kind.value}: {drained.label}",
                choices=[(item.value, item.label) for item in CLASS_TABLE[kind][drained]],
                widget=forms.CheckboxSelectMultiple,
                required=False,
            )
            for kind in OPEN_CLASSES
            for drained in Drained
        }

    def table(self) -> ClassTable:
        """What is ticked, in the order of the program; the rest as the program has it."""
        return {
            kind: {
                drained: tuple(
                    Destination(item.value)
                    for item in row[drained]
                    if item.value in self.cleaned_data[cell_name(kind, drained)]
                )
                if kind in OPEN_CLASSES
                else row[drained]
                for drained in Drained
            }
            for kind, row in CLASS_TABLE.items()
        }


def groups_of(table: ClassTable) -> Groups:
    """Every cell in words, by class."""
    return [
        (
            f"Class {kind.value}, {kind.label}",
            [
                (
                    sentence_case(drained.label),
                    ", ".join(item.label for item in table[kind][drained]) or NOWHERE,
                )
                for drained in Drained
            ],
        )
        for kind in CLASS_TABLE
    ]


PAGES = RulePages(
    title="What may drain where",
    rules=RuleVersions(
        "the class table of drains",
        "setup-drains",
        "drains.approve",
        services.approve_drain_table,
        services.withdraw_drain_table,
    ),
    edit="drains.edit",
    subject=("drain_table", "drains"),
    in_force="The table in force",
    versions=drain_table.versions,
    groups_of=lambda version, system: groups_of(drain_table.table_from(version.content)),
    groups_before=lambda version, system: groups_of(drain_table.table_before(version)),
    draft_service=services.draft_drain_table,
)


@require_safe
def drains_page(request: HttpRequest) -> HttpResponse:
    now = timezone.now()
    found = drain_table.version_in_force(now)
    since = (
        f"Version {found.number} holds, from {timezone.localtime(found.effective_from or found.made_at):%Y-%m-%d}."
        if found
        else "The program’s table holds, by common practice; this plant has written none of its own."
    )
    sentence = f"{since} No step starts toward a destination that it does not allow."
    return PAGES.home(request, sentence, groups_of(drain_table.table_in_force(now)), note=NOTE)


@require_safe
def version_page(request: HttpRequest, number: int) -> HttpResponse:
    return PAGES.version(request, number)


@BOTH
def draft(request: HttpRequest) -> HttpResponse:
    table = drain_table.newest_table()
    initial: dict[str, Any] = {
        cell_name(kind, drained): [item.value for item in table[kind][drained]]
        for kind in OPEN_CLASSES
        for drained in Drained
    }
    form = DrainTableForm(posted(request), initial=initial, system=unit_system_of(request))
    sentence = "Take away what may not be at this plant. Where nothing is ticked, nothing of it is planned or started. Another person approves it."
    return PAGES.draft(request, form, sentence, lambda: {"table": form.table()})


@BOTH
def approve(request: HttpRequest, number: int) -> HttpResponse:
    return PAGES.approve(request, number)


@BOTH
def withdraw(request: HttpRequest, number: int) -> HttpResponse:
    return PAGES.withdraw(request, number)
