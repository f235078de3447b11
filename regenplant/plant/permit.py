"""The discharge permit in force: the newest version that another person approved and that is effective.

Before the first version, what the plant's profile says holds: number, last day and pH window, and no budget.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, fields
from datetime import datetime

from django.db.models import QuerySet

from regenplant.audit import versions as audited
from regenplant.core.process.canonical import from_plain
from regenplant.core.process.discharge import PermitContent
from regenplant.plant.days import profile
from regenplant.plant.permit_models import PermitVersion


@dataclass(frozen=True, slots=True)
class PermitFigure:
    """One figure of a permit: its name in the data, what it is called, its kind (key of ``units.KINDS``), whether it may be left out."""

    name: str
    title: str
    kind: str
    may_be_none: bool = False


GROUPS: tuple[tuple[str, tuple[PermitFigure, ...]], ...] = (
    ("Window", (
        PermitFigure("ph_low", "Lowest pH", "ph"),
        PermitFigure("ph_high", "Highest pH", "ph"),
        PermitFigure("temperature_max_kelvin", "Warmest water to the sewer", "temperature"),
    )),
    ("How a discharge is proven", (
        PermitFigure("mixing_min_s", "Mixing before the first reading", "duration"),
        PermitFigure("readings_apart_s", "Between the two good readings, at least", "duration"),
        PermitFigure("readings_hold_s", "The last reading holds for", "duration"),
    )),
    ("Most in one day", (
        PermitFigure("volume_m3_per_day", "Volume", "liquid_volume", may_be_none=True),
        PermitFigure("chloride_kg_per_day", "Chloride", "mass", may_be_none=True),
        PermitFigure("sodium_kg_per_day", "Sodium", "mass", may_be_none=True),
        PermitFigure("sulfate_kg_per_day", "Sulfate", "mass", may_be_none=True),
        PermitFigure("tds_kg_per_day", "Dissolved solids", "mass", may_be_none=True),
    )),
)  # fmt: skip
"""Every figure, in groups, in the order of the page. None: the permit names no such limit."""

FIGURES: tuple[PermitFigure, ...] = tuple(figure for _, figures in GROUPS for figure in figures)


@dataclass(frozen=True, slots=True)
class Permit:
    """What holds at a moment. ``version`` is None while the profile's own words hold."""

    content: PermitContent
    version: PermitVersion | None = None

    @property
    def title(self) -> str:
        """ "Permit 4711, version 2", for papers and sentences."""
        number = self.content.number or "without a number"
        return f"Permit {number}, {f'version {self.version.number}' if self.version else 'by the profile'}"


def content_from(text: str) -> PermitContent:
    """What a version stores. A figure the program got later has its default until the next version."""
    stored = json.loads(text)
    known = {item.name for item in fields(PermitContent)}
    return from_plain(PermitContent, {name: value for name, value in stored.items() if name in known})


def versions() -> QuerySet[PermitVersion]:
    """Every version, newest first, with its people."""
    return PermitVersion.objects.select_related("made_by", "approved_by")


def permit_in_force(at: datetime) -> Permit:
    """The permit that holds at a time; one that ended is still it (``core.process.discharge.why_not_in_force`` says so)."""
    version = audited.in_force(PermitVersion, at)
    if version is not None:
        return Permit(content_from(version.content), version)
    return Permit(_of_profile())


def newest_content() -> PermitContent:
    """The newest approved content, also before it takes force: what the next draft begins with."""
    newest = audited.newest_approved(PermitVersion)
    return content_from(newest.content) if newest is not None else _of_profile()


def content_before(version: PermitVersion) -> PermitContent:
    """What a version is held against: the newest approved one of a lower number, else the profile's."""
    found = audited.approved_before(version)
    return content_from(found.content) if found is not None else _of_profile()


def _of_profile() -> PermitContent:
    plant = profile()
    return PermitContent(
        number=plant.permit_number,
        expires_on=plant.permit_expires_on.isoformat() if plant.permit_expires_on else "",
        ph_low=plant.permit_ph_low,
        ph_high=plant.permit_ph_high,
    )
