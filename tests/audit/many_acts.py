"""Very many acts in a scratch database, written in bulk with the digests the recorder would have given them.

As in three weeks of the demonstration an act writes about two rows, one of them new, is about two subjects, and its payload has
some 800 characters. The rows are instruments, because they stand alone.
"""

from __future__ import annotations

import hashlib
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any, TypeVar
from uuid import UUID

from django.db import connection, transaction

from regenplant.audit import chain, locks, sealed, seals
from regenplant.audit.appending import _insert, subjects_of
from regenplant.audit.links import GENESIS, link, related_text
from regenplant.audit.models import AuditEvent, EventSubject
from regenplant.audit.verifying import registry
from regenplant.core.process.canonical import canonical_text
from regenplant.people.models import Person
from regenplant.plant.models import Instrument

T = TypeVar("T")
START = datetime(2026, 1, 1, tzinfo=UTC)
HOT = 1000
"""Rows that are written again and again."""
AT_ONCE = 1000 // 16
"""Rows in one statement; SQLite takes no more values in one."""
EVENTS = ("entry.written", "reading.recorded", "step.finished", "tank.received", "batch.started")


def make_acts(count: int) -> None:
    """Fill an empty log with ``count`` acts, and the table of instruments with the rows they wrote. Commits in pieces."""
    locks.remove()
    person = Person.objects.create(username="many", full_name="M. Any", initials="MA")
    from_before = seals._all_rows({})
    rows = _rows((2 * count) // 3)
    previous = GENESIS
    events: list[dict[str, Any]] = []
    subjects: list[dict[str, Any]] = []
    for number in range(1, count + 1):
        event, pairs = _act(number, count, person, rows, previous, from_before if number == 1 else {})
        previous = event["digest"]
        events.append(event)
        subjects += [{"event": number, "kind": kind, "key": key} for kind, key in pairs]
        if len(events) >= 5000:
            _write(events, subjects)
            events, subjects = [], []
    _write(events, subjects)
    locks.install()


def _rows(count: int) -> dict[int, str]:
    """Instruments 1 to ``count`` and their digests."""
    with transaction.atomic():
        for start in range(1, count + 1, 2000):
            Instrument.objects.bulk_create(
                Instrument(
                    pk=number, code=f"I-{number}", name=f"Instrument {number}", kind="conductivity", cell_constant_per_cm=0.1,
                    compensation="none", calibrated_on=START.date(), uncertainty_frac=number / 7e6,
                )
                for number in range(start, min(start + 2000, count + 1))
            )  # fmt: skip
    table = sealed.tables()["plant_instrument"]
    return {int(key): digest for key, digest in seals.rows_in(table.shape, table.key)}


def _act(
    number: int, count: int, person: Person, rows: dict[int, str], previous: str, also: seals.Rows
) -> tuple[dict[str, Any], list[tuple[str, str]]]:
    at = START + timedelta(seconds=20 * number, microseconds=number % 1_000_000)
    batch, name = f"B-{10001 + number // 130}", EVENTS[number % len(EVENTS)]
    related = (("tank", f"T-{20001 + number % 5000}"),) if number % 2 else ()
    operation = UUID(int=number)
    payload = canonical_text(
        {
            "schema": 2,
            "number": number,
            "operation": str(operation),
            "event": name,
            "actor": str(person.pk),
            "actor_name": person.full_name,
            "actor_roles": ["operator"],
            "at": at.isoformat(),
            "occurred_at": at.isoformat(),
            "terminal": f"10.0.0.{number % 8}",
            "subject": {"kind": "batch", "key": batch, "label": f"Batch {batch}"},
            "related": [list(pair) for pair in related],
            "facts": {
                "before": {},
                "after": {"value": f"{number % 977} L/min"},
                "facts": {"step": "Slow rinse", "name": "Flow", "entry": number, "is_within": True, "value_si": number / 7.0},
                "reason": "",
            },
            "rows": {sealed.tables()["plant_instrument"].name: _seals(number, count, rows), **also},
        }
    )  # fmt: skip
    event = {
        "number": number, "operation": operation, "event": name, "actor_id": person.pk, "actor_name": person.full_name,
        "actor_roles": "operator", "at": at, "occurred_at": at, "terminal": f"10.0.0.{number % 8}", "subject_kind": "batch",
        "subject_key": batch, "subject_label": f"Batch {batch}", "related": related_text(related), "payload": payload,
        "previous_digest": previous, "digest": link(previous, payload),
    }  # fmt: skip
    return event, subjects_of(("batch", batch), related)


def _seals(number: int, count: int, rows: dict[int, str]) -> dict[str, str]:
    """A new row, and one of the hot rows once more; the last time it becomes what it is."""
    found = {}
    hot = min(HOT, len(rows))
    if number <= len(rows):
        found[str(number)] = seals.seal(
            "", rows[number] if number > hot else _passing(number, hot, count, rows)
        )
    if number > hot:
        key = (number - 1) % hot + 1
        found[str(key)] = seals.seal(
            _passing(number - hot, hot, count, rows), _passing(number, hot, count, rows)
        )
    return found


def _passing(number: int, hot: int, count: int, rows: dict[int, str]) -> str:
    """The digest a hot row has after this act: what it is in the end, if no later act writes it."""
    if number + hot > count:
        return rows[(number - 1) % hot + 1]
    return hashlib.sha256(str(number).encode()).hexdigest()


def _write(events: list[dict[str, Any]], subjects: list[dict[str, Any]]) -> None:
    with transaction.atomic():
        for start in range(0, len(events), AT_ONCE):
            _insert(AuditEvent, events[start : start + AT_ONCE])
        for start in range(0, len(subjects), 300):
            _insert(EventSubject, subjects[start : start + 300])


# --- figures ------------------------------------------------------------------------------------------------------------
@dataclass(frozen=True)
class Figures:
    """What a look at very many acts took, in seconds of this process."""

    acts: int
    megabytes: float
    hashing_s: float
    """The bytes hashed, and nothing else."""
    reading_s: float
    """The bytes read from the database and hashed: what anybody must do who looks at the chain."""
    chain_s: float
    """The chain verified, every column of every act with it."""
    whole_s: float
    """Everything: chain, subjects, rows, and all other checks."""
    findings: int

    def __str__(self) -> str:
        return (
            f"{self.acts} acts, {self.megabytes:.0f} MB: hashing alone {self.hashing_s:.1f} s ({self.megabytes / self.hashing_s:.0f} MB/s), "
            f"read and hashed {self.reading_s:.1f} s, chain with all columns {self.chain_s:.1f} s ({self.chain_s / self.reading_s:.1f} "
            f"times that, {self.chain_s / self.hashing_s:.1f} times hashing alone, {self.megabytes / self.chain_s:.0f} MB/s), "
            f"everything {self.whole_s:.1f} s ({self.acts / self.whole_s:.0f} acts/s)"
        )


def measure() -> Figures:
    """Hash the same bytes; read and hash them; verify the chain; verify everything."""
    hashing, acts, size = _hashing(list(_bytes_hashed()))
    reading, _ = _took(lambda: sum(1 for piece in _bytes_hashed() if hashlib.sha256(piece).hexdigest() == ""))
    chain_s, breaks = _took(lambda: list(chain.verify()))
    whole, report = _took(registry.run)
    return Figures(acts, size, hashing, reading, chain_s, whole, len(breaks) + len(report.findings))


def _hashing(pieces: list[bytes]) -> tuple[float, int, float]:
    """Seconds to hash these, their number, their megabytes."""
    seconds, _ = _took(lambda: [hashlib.sha256(piece).hexdigest() for piece in pieces])
    return seconds, len(pieces), sum(map(len, pieces)) / 1e6


def _took(work: Callable[[], T]) -> tuple[float, T]:
    since = time.process_time()
    result = work()
    return time.process_time() - since, result


def _bytes_hashed() -> Iterator[bytes]:
    with connection.chunked_cursor() as cursor:
        cursor.execute("SELECT previous_digest, payload FROM audit_auditevent ORDER BY number")
        while rows := cursor.fetchmany(2000):
            for previous, payload in rows:
                yield f"{previous}\n{payload}".encode()
