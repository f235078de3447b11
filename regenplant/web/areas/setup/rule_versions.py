"""Rules that a plant sets for itself in versions, its limits or how long it keeps records: approved and withdrawn alike."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from regenplant.audit.use_case import Outcome
from regenplant.audit.version_model import Version
from regenplant.web.act_page import Act, act_page
from regenplant.web.areas.setup.versions import ApproveForm, WithdrawForm
from regenplant.web.house_form import posted


@dataclass(frozen=True, slots=True)
class RuleVersions:
    """One set of such rules. ``page`` names its address; that of one version is the same with "-version" behind it."""

    noun: str
    page: str
    permission: str
    approve_version: Callable[..., Outcome]
    withdraw_version: Callable[..., Outcome]

    def approve(
        self, request: HttpRequest, version: Version, changes: Sequence[dict[str, str]]
    ) -> HttpResponse:
        """A second person looks at what changes and approves."""
        form = ApproveForm(posted(request))
        act = Act(
            title=f"Approve version {version.number} of {self.noun}",
            sentence=f"Written by {version.made_by.full_name}: {version.reason}",
            permission=self.permission,
            service=self.approve_version,
            arguments=lambda: {
                "version_id": version.pk,
                "effective_from": form.cleaned_data["effective_from"],
            },
            said=lambda outcome: f"Approved: version {version.number} of {self.noun}.",
            then=lambda outcome: reverse(self.page),
            back_url=self._version_url(version),
            button="Approve",
        )
        facts = [(change["what"], f"{change['old']} → {change['new']}") for change in changes]
        return act_page(request, form, act, facts=facts)

    def withdraw(self, request: HttpRequest, version: Version) -> HttpResponse:
        """A draft, or a version before its day, is taken out with a reason."""
        form = WithdrawForm(posted(request))
        act = Act(
            title=f"Withdraw version {version.number} of {self.noun}",
            sentence="A draft, or one that has not taken force yet.",
            permission=self.permission,
            service=self.withdraw_version,
            arguments=lambda: {"version_id": version.pk, "reason": form.text("reason")},
            said=lambda outcome: f"Withdrawn: version {version.number} of {self.noun}.",
            then=lambda outcome: reverse(self.page),
            back_url=self._version_url(version),
            button="Withdraw",
            is_stopping=True,
        )
        return act_page(request, form, act)

    def _version_url(self, version: Version) -> str:
        return reverse(f"{self.page}-version", args=[version.number])
