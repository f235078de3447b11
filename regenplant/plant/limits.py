"""The plant's limits in force: the newest version that another person approved and that is effective, else the defaults.

A plan carries the limits it was made under, so a frozen batch keeps them whatever is approved later.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, fields
from datetime import datetime
from typing import Any

from django.db.models import QuerySet
from django.utils import timezone

from regenplant.audit import versions as audited
from regenplant.audit.limits import RecordLimits
from regenplant.core.process.limits import PlantLimits
from regenplant.core.process.reconciliation import StockFigures
from regenplant.core.process.sewer_budget import SewerFigures
from regenplant.plant.limit_figures import (
    FIGURES,
    Figure,
    LimitContent,
    RecordFigures,
    SampleFigures,
    value_of,
)
from regenplant.plant.models import LimitsVersion

DEFAULTS = LimitContent()


def content_from(text: str) -> LimitContent:
    """What a version stores. A figure the program got later has its default until the next version."""
    stored: dict[str, dict[str, Any]] = json.loads(text)

    def part(kind: type[Any], values: dict[str, Any]) -> Any:
        known = {item.name for item in fields(kind)}
        return kind(**{name: float(value) for name, value in values.items() if name in known})

    return LimitContent(
        part(PlantLimits, stored.get("process", {})),
        part(RecordFigures, stored.get("record", {})),
        part(SampleFigures, stored.get("samples", {})),
        part(StockFigures, stored.get("stock", {})),
        part(SewerFigures, stored.get("sewer", {})),
    )


def versions() -> QuerySet[LimitsVersion]:
    """Every version, newest first, with its people."""
    return LimitsVersion.objects.select_related("made_by", "approved_by")


def version_in_force(at: datetime) -> LimitsVersion | None:
    """The newest version that is approved and effective; None while the defaults hold."""
    return audited.in_force(LimitsVersion, at)


def content_in_force(at: datetime) -> LimitContent:
    """The figures in force at a time."""
    version = version_in_force(at)
    return content_from(version.content) if version is not None else DEFAULTS


def limits_in_force(at: datetime) -> PlantLimits:
    """What a plan made at this time is checked against."""
    return content_in_force(at).process


def record_limits() -> RecordLimits:
    """What the log asks for at every act."""
    record = content_in_force(timezone.now()).record
    return RecordLimits(record.late_after_s, record.clock_step_s)


def newest_content() -> LimitContent:
    """The newest approved figures, also before they take force: what the next draft begins with."""
    newest = audited.newest_approved(LimitsVersion)
    return content_from(newest.content) if newest is not None else DEFAULTS


@dataclass(frozen=True, slots=True)
class FigureChange:
    """One figure that differs between two versions [SI]."""

    figure: Figure
    old: float
    new: float


def changes_between(old: LimitContent, new: LimitContent) -> tuple[FigureChange, ...]:
    """The figures that differ, in the order of the page."""
    return tuple(
        FigureChange(figure, value_of(old, figure), value_of(new, figure))
        for figure in FIGURES
        if value_of(old, figure) != value_of(new, figure)
    )


def content_before(version: LimitsVersion) -> LimitContent:
    """What a version is held against: the newest approved one of a lower number, else the defaults."""
    found = audited.approved_before(version)
    return content_from(found.content) if found is not None else DEFAULTS
