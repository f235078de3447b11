"""A complete copy of one batch as one canonical JSON document: rows, acts, signatures, versions, everything that proves it.

What it holds is said by ``parts``; who has the copy needs nothing else to work out every digest in it (``verify_copy``).
"""

from __future__ import annotations

import base64
from dataclasses import dataclass
from typing import Any

from django.db.models import Model

from regenplant import CORE_VERSION
from regenplant.audit import extracts
from regenplant.audit.selectors import chain_head
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch, StepEntry
from regenplant.batches.selectors import batch_numbered
from regenplant.core.process.canonical import canonical_text
from regenplant.core.process.lifecycle import BatchState, StepState
from regenplant.keeping.gathering import Rows, Sealed, rows_about, sealed_rows
from regenplant.keeping.nothing import said_nothing, why_nothing
from regenplant.keeping.parts import parts
from regenplant.keeping.verify_copy import FORMAT, FORMAT_VERSION
from regenplant.people.models import Person
from regenplant.plant.selectors import profile

COPIED = "batch.copied"
"""The act that makes a complete copy."""
LARGEST_SCAN = 2_500_000
"""Bytes of one scan that go into a copy."""
HOW_TO_READ = (
    "Every row stands as its table holds it: the name of a column ends in its unit (SI), limits and what was typed stand beside "
    "the value, with the unit as typed. Times are UTC; “made.zone” names the zone of the plant.",
    "“parts” are the rows by what they are, “acts” in “events” the audit trail: each payload with the digest over the digest before "
    "and the payload. A payload's “rows” names every row the act wrote, with the digest before and after it.",
    "“not_written” says for each thing that was to be written down and is not, which kind of nothing it is: not_yet, not_done or "
    "not_applicable.",
    "“beside” holds what no seal covers because a digest in the row does: a plan, a scan as base 64. A scan of more than "
    f"{LARGEST_SCAN:,} bytes is left out; its digest stands in the row.",
    "“elsewhere” names rows of other records that acts in this copy wrote too; they are no part of it.",
)


@dataclass(frozen=True, slots=True)
class Made:
    """Who made a copy, when and where. ``paper_sha256`` is the digest of the print that goes with it, "" for none."""

    at: str = ""
    by: str = ""
    roles: str = ""
    terminal: str = ""
    paper_sha256: str = ""
    paper_issue: int = 0


def batch_copy(number: str, made: Made | None = None) -> bytes:
    """The copy as canonical JSON, UTF-8. Raises RecordRefused for an unknown batch."""
    batch = batch_numbered(number)
    return canonical_text(_content(batch, made or Made())).encode()


def _content(batch: Batch, made: Made) -> dict[str, Any]:
    rows = rows_about(batch)
    sealed = sealed_rows(rows)
    head, digest = chain_head()
    shown = _parts(rows, sealed)
    return {
        "format": FORMAT,
        "format_version": FORMAT_VERSION,
        "batch": batch.number,
        "made": {
            "at": made.at,
            "by": made.by,
            "roles": made.roles,
            "terminal": made.terminal,
            "plant": profile().name,
            "zone": profile().time_zone,
            "calculation": CORE_VERSION,
        },
        "head": {"number": head, "digest": digest},
        "paper": {"sha256": made.paper_sha256, "issue": made.paper_issue},
        "how_to_read": list(HOW_TO_READ),
        "counts": {
            "events": len(sealed.acts),
            "parts": {name: len(part["rows"]) for name, part in shown.items()},
        },
        "parts": shown,
        "people": _people(rows, sealed),
        "not_written": _not_written(batch),
        "events": [
            {"number": act.number, "previous": act.previous, "digest": act.digest, "payload": act.payload}
            for act in sealed.acts
        ],
        "shapes": _shapes(sealed),
        "elsewhere": _elsewhere(sealed),
    }


def _parts(rows: Rows, sealed: Sealed) -> dict[str, Any]:
    """The rows by part; a part without rows stands empty, so that nobody has to guess."""
    return {
        part.name: {
            "table": part.table,
            "rows": [_row(part.table, row, sealed) for row in rows.of(part)],
        }
        for part in parts()
    }


def _row(table: str, row: Model, sealed: Sealed) -> dict[str, Any]:
    place = (table, str(row.pk))
    return {
        "key": place[1],
        "columns": sealed.columns[place],
        "beside": {name: _plain(getattr(row, name)) for name in extracts.left_out_of(table)},
        "history": "whole" if sealed.has_whole_history(place) else "in part",
    }


def _plain(value: Any) -> Any:
    """A column that no seal covers; bytes (a scan) as base 64, "" for more than a copy takes: its digest stands beside it."""
    if not isinstance(value, (bytes, memoryview)):
        return value
    return base64.b64encode(value).decode() if len(value) <= LARGEST_SCAN else ""


def _people(rows: Rows, sealed: Sealed) -> list[dict[str, Any]]:
    """Everybody whom a row or an act names: who is meant, and nothing of their account beyond that."""
    keys = rows.people | {int(key) for act in sealed.acts if (key := act.actor)}
    found = Person.objects.filter(pk__in=keys).order_by("pk")
    return [
        {
            "id": person.pk,
            "user_name": person.username,
            "full_name": person.full_name,
            "initials": person.initials,
            "is_active": person.is_active,
        }
        for person in found
    ]


def _not_written(batch: Batch) -> list[dict[str, Any]]:
    """What the plan asks for and nobody wrote a value for, each with its kind of nothing and the reason, if one was given."""
    plan, state = plan_of(batch), BatchState(batch.state)
    standing = StepEntry.objects.filter(step__batch=batch, replaced_by__isnull=True)
    written = {(row.step_id, row.key): row for row in standing}
    return [
        {
            "step": step.number,
            "key": spec.key,
            "name": spec.name,
            "why": (said_nothing(row.standing) if row else why_nothing(StepState(step.state), state)).value,
            "reason": row.reason if row else "",
        }
        for step in batch.steps.order_by("number")
        for spec in plan.step(step.number).entries
        if (row := written.get((step.pk, spec.key))) is None or row.standing != StepEntry.Standing.WRITTEN
    ]


def _shapes(sealed: Sealed) -> dict[str, Any]:
    """The lists of columns that the seals of these rows cover."""
    names = {seals[-1].shape for place, seals in sealed.seals.items() if place in sealed.columns}
    found = {name: extracts.shape_of(name) for name in sorted(names)}
    return {name: shape for name, shape in found.items() if shape is not None}


def _elsewhere(sealed: Sealed) -> dict[str, list[str]]:
    """Rows that acts in the copy wrote and that are no part of it, by table."""
    found: dict[str, list[str]] = {}
    for (table, key), seals in sorted(sealed.seals.items()):
        if (table, key) not in sealed.columns and seals[-1].after:
            found.setdefault(table, []).append(key)
    return found
