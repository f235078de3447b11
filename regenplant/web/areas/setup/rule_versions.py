"""Rules that a plant sets for itself in versions, its limits or how long it keeps records: approved and withdrawn alike."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from django.http import HttpRequest, HttpResponse
from django.urls import reverse

from regenplant.audit.use_case import Outcome
from regenplant.audit.version_model import Version
from regenplant.web.areas.setup.signed_versions import Fact, approve_page, withdraw_page


@dataclass(frozen=True, slots=True)
class RuleVersions:
    """One set of such rules. ``page`` names its address; that of one version is the same with "-version" behind it."""

    noun: str
    page: str
    permission: str
    approve_version: Callable[..., Outcome]
    withdraw_version: Callable[..., Outcome]

    def approve(
        self,
        request: HttpRequest,
        version: Version,
        changes: Sequence[dict[str, str]],
        groups: Sequence[tuple[str, Sequence[Fact]]],
    ) -> HttpResponse:
        """A second person looks at what changes and at all of it, and signs."""
        return approve_page(
            request,
            version,
            title=f"Approve version {version.number} of {self.noun}",
            permission=self.permission,
            service=self.approve_version,
            back_url=self._version_url(version),
            then_url=reverse(self.page),
            changes=changes,
            groups=groups,
        )

    def withdraw(self, request: HttpRequest, version: Version) -> HttpResponse:
        """A draft, or a version before its day, is taken out with a reason."""
        return withdraw_page(
            request,
            version,
            title=f"Withdraw version {version.number} of {self.noun}",
            sentence="A draft, or one that has not taken force yet.",
            permission=self.permission,
            service=self.withdraw_version,
            back_url=self._version_url(version),
            then_url=reverse(self.page),
            button="Withdraw",
        )

    def _version_url(self, version: Version) -> str:
        return reverse(f"{self.page}-version", args=[version.number])
