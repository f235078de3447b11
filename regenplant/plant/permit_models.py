"""The discharge permit as signed versions."""

from __future__ import annotations

from regenplant.audit.version_model import Version, constraints_of


class PermitVersion(Version):
    """One version of the discharge permit; ``content`` is the canonical text of a ``PermitContent``."""

    class Meta:
        app_label = "plant"
        ordering = ["-number"]
        constraints = constraints_of("permit")

    @property
    def subject(self) -> tuple[str, str, str]:
        return ("discharge_permit", "permit", "Discharge permit")

    @property
    def noun(self) -> str:
        return "the discharge permit"
