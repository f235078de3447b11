"""The pages of rules that a plant sets for itself in versions: what holds, one version, its draft, its approval.

Limits, the discharge permit and the class table of drains differ in what they say, not in how they are shown.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from django.db.models import QuerySet
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, render
from django.urls import reverse

from regenplant.audit.selectors import story
from regenplant.audit.use_case import Outcome
from regenplant.people.selectors import people_who_may
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.setup.rule_versions import RuleVersions
from regenplant.web.areas.setup.signed_versions import signature_rows
from regenplant.web.house_form import HouseForm
from regenplant.web.requests import unit_system_of
from regenplant.web.rights import right

Groups = list[tuple[str, list[tuple[str, str]]]]
"""Everything a version says: a name and its rows of words, in the order of the page."""


def changes_between(old: Groups, new: Groups) -> list[dict[str, str]]:
    """The rows that differ, in the order of the page."""
    return [
        {"where": name, "what": what, "old": was, "new": now}
        for (name, old_rows), (_, new_rows) in zip(old, new, strict=True)
        for (what, was), (_, now) in zip(old_rows, new_rows, strict=True)
        if was != now
    ]


@dataclass(frozen=True, slots=True)
class RulePages:
    """One set of such rules."""

    title: str
    """ "Plant limits"."""
    rules: RuleVersions
    edit: str
    """The right to write a draft."""
    subject: tuple[str, str]
    """What the log calls it."""
    in_force: str
    """The way back to what holds: "Limits in force"."""
    versions: Callable[[], QuerySet[Any]]
    groups_of: Callable[[Any, str], Groups]
    """What a version says, in a unit system."""
    groups_before: Callable[[Any, str], Groups]
    """What it is held against."""
    draft_service: Callable[..., Outcome]

    def home(
        self, request: HttpRequest, sentence: str, groups: Groups, *, refused: str = "", note: str = ""
    ) -> HttpResponse:
        """What holds, the draft that waits, and every version."""
        versions = list(self.versions())
        context = {
            "pages": self,
            "sentence": sentence,
            "refused": refused,
            "note": note,
            "groups": groups,
            "versions": versions,
            "draft": next((version for version in versions if version.state == "draft"), None),
            "edit": right(request, self.edit),
            "story": story([self.subject], newest_first=True, limit=15),
        }
        return render(request, "setup/rules.html", context)

    def version(self, request: HttpRequest, number: int) -> HttpResponse:
        """One version: what it changes, who wrote and signed it, all it says."""
        version, system = self._of(number), unit_system_of(request)
        context = {
            "pages": self,
            "version": version,
            "groups": self.groups_of(version, system),
            "changes": self._changes(version, system),
            "signatures": signature_rows(version),
            "is_own": version.made_by_id == request.user.pk,
            "others": people_who_may(self.rules.permission, except_pks=[version.made_by_id])[:3],
            "approve": right(request, self.rules.permission),
        }
        return render(request, "setup/rules_version.html", context)

    def draft(
        self, request: HttpRequest, form: HouseForm, sentence: str, arguments: Callable[[], Mapping[str, Any]]
    ) -> HttpResponse:
        """The next version, as one person writes it."""
        act = Act(
            title=f"Next version of {self.rules.noun}",
            sentence=sentence,
            permission=self.edit,
            service=self.draft_service,
            arguments=lambda: {**arguments(), "reason": form.text("reason")},
            said=lambda outcome: f"Written: draft {outcome.result.number} of {self.rules.noun}.",
            then=lambda outcome: reverse(f"{self.rules.page}-version", args=[outcome.result.number]),
            back_url=reverse(self.rules.page),
            button="Write the draft",
        )
        return act_page(request, form, act)

    def approve(self, request: HttpRequest, number: int) -> HttpResponse:
        version, system = self._of(number), unit_system_of(request)
        return self.rules.approve(
            request, version, self._changes(version, system), self.groups_of(version, system)
        )

    def withdraw(self, request: HttpRequest, number: int) -> HttpResponse:
        return self.rules.withdraw(request, self._of(number))

    def _of(self, number: int) -> Any:
        return get_object_or_404(self.versions(), number=number)

    def _changes(self, version: Any, system: str) -> Sequence[dict[str, str]]:
        return changes_between(self.groups_before(version, system), self.groups_of(version, system))
