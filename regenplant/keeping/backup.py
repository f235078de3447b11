"""A backup of everything the database holds, and the way back, on either database.

A backup is one ZIP: ``manifest.json`` and, for each table, its rows as canonical text, one row a line, in the order of their keys.
The manifest names the migrations the tables stand at, how many rows each table has, the digest of its lines, and the head of
the chain. The text of a row is the same on SQLite and PostgreSQL (``audit.digests``), so a backup made of the one is restored
into the other, and a backup made of what was restored has the same digests.

Scans and papers are rows; there are no files beside the database but the secret key of the machine, which is not copied.
A backup holds the digests of all passwords: it is kept like the database itself.
"""

from __future__ import annotations

import hashlib
import json
import os
import zipfile
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import asdict, dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from django.apps import apps
from django.db import connection, models
from django.db.migrations.recorder import MigrationRecorder

from regenplant import CORE_VERSION
from regenplant.audit import chain
from regenplant.audit.digests import columns_of, selected, values_of
from regenplant.audit.sealed import Shape, kind_of
from regenplant.audit.verifying.snapshot import snapshot
from regenplant.core.errors import RecordRefused
from regenplant.core.process.canonical import canonical_text

FORMAT, MANIFEST = "regenplant backup 1", "manifest.json"
LEFT_OUT = {
    "sessions": "nobody stays signed in over a restore",
    "axes": "failed sign-ins are counted anew; what must be remembered of them is an act",
}
"""Apps whose rows are no record and are not copied, and why."""
_AT_ONCE = 2000
_DATE = (1980, 1, 1, 0, 0, 0)


@dataclass(frozen=True, slots=True)
class Kept:
    """One table in a backup. ``digest`` is SHA-256 over its lines."""

    table: str
    rows: int
    digest: str


@dataclass(frozen=True, slots=True)
class Manifest:
    """What a backup says of itself. ``head_number`` and ``head`` are those of the chain of acts when it was made."""

    made_at: str
    core_version: str
    migrations: tuple[str, ...]
    """ "app.name" of every migration of a copied app that was applied."""
    head_number: int
    head: str
    tables: tuple[Kept, ...]

    @property
    def text(self) -> str:
        return canonical_text({"format": FORMAT, **asdict(self)})

    @property
    def digest(self) -> str:
        """SHA-256 over the manifest, which names the digest of every table: whoever keeps it can prove the whole backup."""
        return hashlib.sha256(self.text.encode()).hexdigest()

    @property
    def rows(self) -> int:
        return sum(table.rows for table in self.tables)


# --- what is copied -------------------------------------------------------------------------------------------------
def copied_models() -> dict[str, type[models.Model]]:
    """Every table that is copied, by its name."""
    found = {
        model._meta.db_table: model
        for model in apps.get_models(include_auto_created=True)
        if model._meta.managed and not model._meta.proxy and model._meta.app_label not in LEFT_OUT
    }
    return dict(sorted(found.items()))


def shape_of(model: type[models.Model]) -> Shape:
    """All columns of a table, those too that no seal covers."""
    columns = sorted((str(field.column), kind_of(field)) for field in model._meta.concrete_fields)
    return Shape(model._meta.db_table, tuple(columns))


def lines_of(model: type[models.Model]) -> Iterator[bytes]:
    """The rows of a table as canonical text, in the order of their keys."""
    shape, key = shape_of(model), model._meta.pk
    plain = columns_of(shape, connection.vendor)
    quoted = connection.ops.quote_name
    what = f"SELECT {selected(shape)} FROM {quoted(shape.table)}"

    def written(rows: list[Any]) -> Iterator[bytes]:
        for row in rows:
            yield f"{canonical_text(plain(values_of(row)))}\n".encode("utf-8", "surrogateescape")

    with connection.chunked_cursor() as cursor:
        if kind_of(key) == "int":
            cursor.execute(f"{what} ORDER BY {quoted(str(key.column))}")
            while rows := cursor.fetchmany(_AT_ONCE):
                yield from written(rows)
        else:  # the two databases order words differently
            cursor.execute(what)
            yield from sorted(written(cursor.fetchall()))


def kept(model: type[models.Model]) -> Kept:
    """A table as it stands, as a manifest says it."""
    digest, count = hashlib.sha256(), 0
    for line in lines_of(model):
        digest.update(line)
        count += 1
    return Kept(model._meta.db_table, count, digest.hexdigest())


def migrations_applied() -> tuple[str, ...]:
    """The migrations the copied tables stand at."""
    recorder = MigrationRecorder(connection)
    labels = {model._meta.app_label for model in copied_models().values()}
    if not recorder.has_table():
        return ()
    return tuple(sorted(f"{app}.{name}" for app, name in recorder.applied_migrations() if app in labels))


# --- out ----------------------------------------------------------------------------------------------------------
def back_up(path: Path, at: datetime) -> Manifest:
    """Write a backup of the database as it stands now; acts written meanwhile wait for the next one, and wait for nobody.

    It is written beside its place and put there whole, readable by its owner only. Raises: RecordRefused when something is there
    already, or the folder cannot be written.
    """
    if path.exists():
        raise RecordRefused(
            f"{path} is there already. A backup takes the place of none: choose another name."
        )
    unfinished = path.with_name(f"{path.name}.unfinished")
    try:
        with snapshot(), os.fdopen(_only_mine(unfinished), "wb") as file:
            manifest = _written(file, at)
            file.flush()
            os.fsync(file.fileno())
        os.link(unfinished, path)  # fails where a file has come to stand meanwhile
    except OSError as error:
        raise RecordRefused(f"{path} cannot be written: {error.strerror}. Choose another place.") from error
    finally:
        with suppress(FileNotFoundError):
            unfinished.unlink()
    return manifest


def _only_mine(path: Path) -> int:
    return os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)


def _written(file: Any, at: datetime) -> Manifest:
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        tables = tuple(_table_written(archive, model) for model in copied_models().values())
        number, head = chain.head()
        manifest = Manifest(
            at.astimezone(UTC).isoformat(), str(CORE_VERSION), migrations_applied(), number, head, tables
        )
        archive.writestr(_member(MANIFEST), manifest.text.encode())
    return manifest


def _table_written(archive: zipfile.ZipFile, model: type[models.Model]) -> Kept:
    digest, count = hashlib.sha256(), 0
    with archive.open(_member(_member_name(model._meta.db_table)), "w", force_zip64=True) as member:
        for line in lines_of(model):
            member.write(line)
            digest.update(line)
            count += 1
    return Kept(model._meta.db_table, count, digest.hexdigest())


def _member(name: str) -> zipfile.ZipInfo:
    info = zipfile.ZipInfo(name, _DATE)
    info.compress_type = zipfile.ZIP_DEFLATED
    return info


def _member_name(table: str) -> str:
    return f"tables/{table}.jsonl"


# --- reading a backup ---------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Backup:
    """A backup whose digests were compared with what it holds."""

    path: Path
    manifest: Manifest

    def rows(self, table: str) -> Iterator[dict[str, Any]]:
        """The rows of a table, as plain data by column."""
        with zipfile.ZipFile(self.path) as archive, archive.open(_member_name(table)) as member:
            for line in member:
                yield json.loads(line.decode("utf-8", "surrogateescape"))


def read(path: Path) -> Backup:
    """Open a backup and compare it with its manifest. Raises: RecordRefused, naming what does not fit."""
    try:
        with zipfile.ZipFile(path) as archive:
            manifest = _manifest_of(path, archive)
            _compare(path, archive, manifest)
    except FileNotFoundError as error:
        raise RecordRefused(f"{path} is not there. Look at the name.") from error
    except (zipfile.BadZipFile, EOFError, OSError, ValueError, KeyError, TypeError) as error:
        raise RecordRefused(
            f"{path} cannot be read as a backup ({error}). It is damaged or something else."
        ) from error
    return Backup(path, manifest)


def _manifest_of(path: Path, archive: zipfile.ZipFile) -> Manifest:
    content = json.loads(archive.read(MANIFEST))
    if content.pop("format", "") != FORMAT:
        raise RecordRefused(
            f"{path} is no backup of the kind “{FORMAT}”. Restore it with the program that made it."
        )
    tables = tuple(Kept(**table) for table in content.pop("tables"))
    return Manifest(**{**content, "migrations": tuple(content["migrations"])}, tables=tables)


def _compare(path: Path, archive: zipfile.ZipFile, manifest: Manifest) -> None:
    names = {MANIFEST, *(_member_name(table.table) for table in manifest.tables)}
    if strange := sorted(set(archive.namelist()) ^ names):
        raise RecordRefused(
            f"{path}: {', '.join(strange)} should not be there, or is missing. Take another backup."
        )
    for table in manifest.tables:
        digest, count = hashlib.sha256(), 0
        with archive.open(_member_name(table.table)) as member:
            for line in member:
                digest.update(line)
                count += 1
        if (count, digest.hexdigest()) != (table.rows, table.digest):
            raise RecordRefused(
                f"{path}: {table.table} holds {count} rows that do not fit the digest in the manifest ({table.rows} rows). "
                "It was altered or damaged. Take another backup."
            )
