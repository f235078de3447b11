"""Which rows go when a batch is purged, what holds them back, and whether its complete copy holds each of them.

What goes is what belongs to this batch alone (``OWN``). What others use stays: tanks and visits, lots, people, the ledger of
chemicals, recipes, papers issued. The acts stay as well, because they are one chain: they still tell what was done, and each
digest of a row that went stands in the act that wrote it, in its tombstone, and in the copy.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator
from typing import Any

from django.apps import apps
from django.db import connection
from django.db.models import Model, Q

from regenplant.audit import sealed, seals
from regenplant.audit.naming import name_of
from regenplant.audit.selectors import acts_about
from regenplant.batches.models import Batch
from regenplant.core.errors import RecordRefused
from regenplant.core.process.canonical import canonical_text, digest
from regenplant.keeping.copy import COPIED
from regenplant.keeping.gathering import AT_ONCE, digest_of
from regenplant.keeping.models import PurgedRow
from regenplant.keeping.parts import parts
from regenplant.keeping.selectors import unconfirmed_words
from regenplant.keeping.verify_copy import Unreadable, verify
from regenplant.people.models import Signature
from regenplant.tanks.models import TankVisit

PURGED = "retention.purged"
TOMBSTONES = "keeping_purgedrow"
OWN = (
    "batches.EntryCheck",
    "batches.StepEntry",
    "batches.RinseReading",
    "batches.MeterLogSetAside",
    "batches.MeterLog",
    "batches.Hold",
    "quality.Release",
    "quality.RecordReview",
    "quality.RecordReopening",
    "quality.SampleDiscard",
    "quality.RetainedSample",
    "quality.DowngradeOrder",
    "quality.Downgrade",
    "quality.ReworkProposal",
    "quality.RinseContinuation",
    "quality.QcDecision",
    "quality.QcMeasurement",
    "batches.Deviation",
    "keeping.PaperScan",
    "keeping.PaperForm",
    "waste.StepDrain",
    "batches.StepRun",
    "batches.BatchTank",
    "people.Signature",
    "batches.Batch",
)
"""Models whose rows may go; what points to others stands first."""
DERIVED = ("batches.RinseStanding", "batches.ForecastMade")
"""Models whose rows are worked out from the others and go with them, without a tombstone: they are no record."""
LEFT = ("shipped", "refused")
"""States of a visit whose tank is no longer here."""
Rows = dict[str, dict[int, Model]]


def table_of(label: str) -> str:
    return str(apps.get_model(label)._meta.db_table)


# --- what goes --------------------------------------------------------------------------------------------------------
def own_rows(batch: Batch) -> Rows:
    """Every row that belongs to this batch alone, by model ("app.Model") and key."""
    lookups = {part.label: part.hangs_on for part in parts()}
    rows: Rows = {"batches.Batch": {batch.pk: batch}}
    for label in OWN:
        if label in ("batches.Batch", "people.Signature", "keeping.PaperScan"):
            continue
        condition = Q()
        for lookup in lookups[label]:
            condition |= Q(**{lookup: batch})
        rows[label] = _by_key(apps.get_model(label)._default_manager.filter(condition).distinct())
    scans = apps.get_model("keeping.PaperScan")._default_manager.defer("content")
    rows["keeping.PaperScan"] = _by_key(scans.filter(form__batch=batch))
    rows["people.Signature"] = _signatures(batch, rows)
    return {label: rows[label] for label in OWN}


def _by_key(found: Iterable[Model]) -> dict[int, Model]:
    return {int(row.pk): row for row in found}


def _signatures(batch: Batch, rows: Rows) -> dict[int, Model]:
    """Those that rows which go bear, and those that name the batch."""
    keys = {
        getattr(row, field.attname)
        for own in rows.values()
        for row in own.values()
        for field in row._meta.concrete_fields
        if field.related_model is Signature
    }
    found = _by_key(Signature.objects.filter(record_key=batch.number))
    for some in _in_parts(keys - {None}):
        found |= _by_key(Signature.objects.filter(pk__in=some))
    return found


def _in_parts(keys: Iterable[Any]) -> Iterator[list[Any]]:
    ordered = sorted(keys)
    for start in range(0, len(ordered), AT_ONCE):
        yield ordered[start : start + AT_ONCE]


def tombstones(rows: Rows) -> list[PurgedRow]:
    """What stays of each row, not yet written, in the order of tables and keys."""
    found = []
    for label, own in rows.items():
        table = sealed.tables()[table_of(label)]
        digests = seals.digests_of(table, (str(key) for key in own))
        numbered = label in ("batches.Batch", "batches.Deviation", "keeping.PaperForm")
        found += [
            PurgedRow(
                table_name=table.table,
                row_key=str(key),
                number=row.number if numbered else "",  # type: ignore[attr-defined]
                digest=digests[str(key)],
            )
            for key, row in own.items()
        ]
    return sorted(found, key=lambda row: (row.table_name, int(row.row_key)))


def digest_of_rows(rows: Iterable[PurgedRow]) -> str:
    """One digest over all tombstones of a purge, whatever order they come in."""
    return digest(canonical_text(sorted([row.table_name, row.row_key, row.digest] for row in rows)))


def counted(rows: Iterable[PurgedRow]) -> dict[str, int]:
    """How many rows of which table."""
    found: dict[str, int] = {}
    for row in rows:
        found[row.table_name] = found.get(row.table_name, 0) + 1
    return dict(sorted(found.items()))


def counted_in_words(batch: Batch) -> list[tuple[str, str]]:
    """(what, how many) of the rows that would go, for people."""
    return in_words({table_of(label): len(own) for label, own in own_rows(batch).items()})


def in_words(counts: dict[str, int]) -> list[tuple[str, str]]:
    """(what, how many) for counts by table, in the order of a copy."""
    named = [(part.name, counts.get(table_of(part.label), 0)) for part in parts()]
    return [(name[:1].upper() + name[1:], str(count)) for name, count in named if count]


def remove(rows: Rows) -> None:
    """Delete the rows. The database lets those go that have a tombstone, inside an act, and no others."""
    quoted = connection.ops.quote_name
    with connection.cursor() as cursor:
        for label, pk in ((label, pk) for label in DERIVED for pk in rows["batches.Batch"]):
            cursor.execute(f"DELETE FROM {quoted(table_of(label))} WHERE batch_id = %s", [pk])
        for label, own in rows.items():
            for some in _in_parts(own):
                marks = ", ".join(["%s"] * len(some))
                cursor.execute(f"DELETE FROM {quoted(table_of(label))} WHERE id IN ({marks})", some)


# --- what holds them back ---------------------------------------------------------------------------------------------
def refuse_in_use(batch: Batch, rows: Rows) -> None:
    """Raise RecordRefused while something open, or another record, refers to what would go."""
    reasons = [
        f"Deviation {row.number} is not decided."
        for row in batch.deviations.filter(decided_at=None).order_by("number")
    ]
    reasons += unconfirmed_words(batch)
    here = TankVisit.objects.filter(batch_links__batch=batch).exclude(state__in=LEFT)
    reasons += [
        f"Tank {visit.tank.serial} is still here on the visit {visit.number} that was in it."
        for visit in here.select_related("tank").order_by("number")
    ]
    reasons += [f"The {name_of(table, key)} refers to it." for table, key in _pointing_in(rows)]
    if reasons:
        more = f" And {len(reasons) - 5} more." if len(reasons) > 5 else ""
        raise RecordRefused(
            f"Batch {batch.number} is still in use. {' '.join(reasons[:5])}{more} End that first.",
            code="in_use",
        )


def _pointing_in(rows: Rows) -> Iterator[tuple[str, str]]:
    """Rows that would be left pointing at nothing."""
    for model in apps.get_models(include_auto_created=True):
        if model._meta.label in DERIVED:
            continue
        own = rows.get(model._meta.label, {})
        for field in model._meta.concrete_fields:
            target = field.related_model
            if not getattr(field, "db_constraint", True):
                continue  # made to outlive what it names
            if not field.is_relation or target is None or target._meta.label not in rows:
                continue
            for some in _in_parts(rows[target._meta.label]):
                found = model._default_manager.filter(**{f"{field.name}__in": some})
                for key in found.order_by("pk").values_list("pk", flat=True):
                    if key not in own:
                        yield str(model._meta.db_table), str(key)


# --- the copy ---------------------------------------------------------------------------------------------------------
def copy_act(batch: Batch, container: bytes) -> int:
    """Number of the act that made this very copy. Raises RecordRefused when it was made by none of this batch."""
    own = hashlib.sha256(container).hexdigest()
    for line in acts_about([("batch", batch.number)], [COPIED]):
        if line.facts["facts"]["container_sha256"] == own:
            return line.number
    raise RecordRefused(
        f"This file is no complete copy of batch {batch.number} as it was made here; its digest is {own[:16]}. Make a complete copy, "
        "keep it where it is safe, and give that very file.",
        field="file",
        code="not_this_copy",
    )


def read_back(container: bytes, stones: Iterable[PurgedRow]) -> str:
    """Read the copy and find every row that goes in it, as it stands. Gives the digest of its record.

    A scan that is too large for a copy is in it by its digest only. Raises: RecordRefused.
    """
    try:
        result = verify(container)
    except Unreadable as error:
        raise RecordRefused(
            f"The copy cannot be read back. {error}", field="file", code="unreadable"
        ) from error
    if result.findings:
        raise RecordRefused(
            f"The copy does not hold: {result.findings[0].sentence} Make another one.",
            field="file",
            code="copy_broken",
        )
    held = {
        (part["table"], row["key"]): row["columns"]
        for part in result.record["parts"].values()
        for row in part["rows"]
    }
    for stone in stones:
        place = (stone.table_name, stone.row_key)
        if place not in held or digest_of(place, held[place]) != stone.digest:
            raise RecordRefused(
                f"The {name_of(*place)} is not in this copy as it stands. The record was written on since. Make another copy.",
                field="file",
                code="copy_old",
            )
    return result.digest
