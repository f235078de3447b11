"""The plant's own class table of drains, as signed versions."""

from __future__ import annotations

from regenplant.audit.version_model import Version, constraints_of


class DrainTableVersion(Version):
    """One version of the class table; ``content`` is the canonical text of ``core.process.drains.plain_of_table``."""

    class Meta:
        app_label = "plant"
        ordering = ["-number"]
        constraints = constraints_of("drain_table")

    @property
    def subject(self) -> tuple[str, str, str]:
        return ("drain_table", "drains", "Class table of drains")

    @property
    def noun(self) -> str:
        return "the class table of drains"
