"""The class table of drains in force: the newest version that another person approved and that is effective, else the program's."""

from __future__ import annotations

import json
from datetime import datetime

from django.db.models import QuerySet

from regenplant.audit import versions as audited
from regenplant.core.process.drains import CLASS_TABLE, ClassTable, table_of_plain
from regenplant.plant.drain_table_models import DrainTableVersion


def versions() -> QuerySet[DrainTableVersion]:
    """Every version, newest first, with its people."""
    return DrainTableVersion.objects.select_related("made_by", "approved_by")


def table_from(text: str) -> ClassTable:
    """What a version stores, never wider than what the program allows by now."""
    return table_of_plain(json.loads(text))


def version_in_force(at: datetime) -> DrainTableVersion | None:
    """The newest version that is approved and effective; None while the program's table holds. One query."""
    return audited.in_force(DrainTableVersion, at)


def table_in_force(at: datetime) -> ClassTable:
    """The table that decides at a time (EV-01)."""
    version = version_in_force(at)
    return table_from(version.content) if version is not None else CLASS_TABLE


def newest_table() -> ClassTable:
    """The newest approved table, also before it takes force: what the next draft begins with."""
    newest = audited.newest_approved(DrainTableVersion)
    return table_from(newest.content) if newest is not None else CLASS_TABLE


def table_before(version: DrainTableVersion) -> ClassTable:
    """What a version is held against: the newest approved one of a lower number, else the program's."""
    found = audited.approved_before(version)
    return table_from(found.content) if found is not None else CLASS_TABLE
