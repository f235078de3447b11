"""Backup and restore: equal digests on both databases, whole or not at all (ER-27)."""

from __future__ import annotations

import hashlib
import json
import os
import stat
import subprocess
import sys
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.core.management import call_command

from regenplant.audit import chain, locks
from regenplant.audit.selectors import story
from regenplant.batches.models import Batch
from regenplant.core.errors import RecordRefused
from regenplant.core.process.canonical import canonical_text
from regenplant.keeping import backup, restoring
from tests import factories, postgres
from tests.factories import START

pytestmark = pytest.mark.requirement("ER-27")
ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def made(batch: Batch, tmp_path: Path) -> backup.Backup:
    """A backup of a plant with one eventful batch."""
    path = tmp_path / "first.zip"
    backup.back_up(path, START)
    return backup.read(path)


def manage(url: str, folder: Path, *words: str) -> subprocess.CompletedProcess[str]:
    """A command on another database, as the plant's machine runs it."""
    environment = {
        name: value for name, value in os.environ.items() if not name.startswith(("REGENPLANT_", "DJANGO_"))
    }
    return subprocess.run(
        [sys.executable, str(ROOT / "manage.py"), *words],
        env={**environment, "DATABASE_URL": url, "REGENPLANT_DATA": str(folder)},
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )


@pytest.fixture
def server() -> Iterator[postgres.Server]:
    if why := postgres.why_missing():
        pytest.fail(why)
    running = postgres.Server()
    yield running
    running.stop()


def test_restored_into_each_database_in_turn_every_digest_is_equal(
    made: backup.Backup, server: postgres.Server, tmp_path: Path
) -> None:
    """Here to PostgreSQL, back to SQLite: tables, head of the chain, and all that verify_records looks at."""
    source = made.path
    for name, url in (("second", server.url), ("third", f"sqlite:///{tmp_path / 'restored.sqlite3'}")):
        restored = manage(
            url,
            tmp_path,
            "restore",
            str(source),
            "--digest",
            made.manifest.digest if name == "second" else "",
        )
        assert restored.returncode == 0, restored.stdout + restored.stderr
        assert "All records hold." in restored.stdout and made.manifest.head in restored.stdout
        again = tmp_path / f"{name}.zip"
        assert manage(url, tmp_path, "backup", str(again)).returncode == 0
        source = again
        manifest = backup.read(again).manifest
        if name == "second":
            assert manifest.tables == made.manifest.tables
            assert (manifest.head_number, manifest.head) == (made.manifest.head_number, made.manifest.head)
        else:  # one act more: the backup of the second was written down in the second after it was made
            assert manifest.tables == made.manifest.tables
    assert {table.table for table in made.manifest.tables if table.rows} >= {
        "batches_batch",
        "people_signature",
        "audit_auditevent",
    }


def test_a_backup_that_breaks_half_way_leaves_nothing(made: backup.Backup, tmp_path: Path) -> None:
    """A tank visit of a tank that is not there; the digests of the forged backup fit."""
    forged = tmp_path / "forged.zip"
    url = f"sqlite:///{tmp_path / 'other.sqlite3'}"
    _forge(made.path, forged, "tanks_tankvisit", "tank_id", 987654)
    refused = manage(url, tmp_path, "restore", str(forged))
    assert refused.returncode != 0 and "Nothing was restored" in refused.stderr
    restored = manage(
        url, tmp_path, "restore", str(made.path)
    )  # into an empty database only: so it was left empty
    assert restored.returncode == 0, restored.stdout + restored.stderr
    twice = manage(url, tmp_path, "restore", str(made.path))
    assert twice.returncode != 0 and "This database is in use" in twice.stderr


def _forge(source: Path, target: Path, table: str, column: str, value: object) -> None:
    with zipfile.ZipFile(source) as archive:
        files = {name: archive.read(name) for name in archive.namelist()}
    name = f"tables/{table}.jsonl"
    rows = [json.loads(line) for line in files[name].splitlines()]
    rows[0][column] = value
    files[name] = "".join(f"{canonical_text(row)}\n" for row in rows).encode()
    manifest = json.loads(files[backup.MANIFEST])
    entry = next(entry for entry in manifest["tables"] if entry["table"] == table)
    entry["digest"] = hashlib.sha256(files[name]).hexdigest()
    files[backup.MANIFEST] = canonical_text(manifest).encode()
    with zipfile.ZipFile(target, "w") as archive:
        for name, content in files.items():
            archive.writestr(name, content)


def test_nothing_is_restored_into_a_database_in_use(made: backup.Backup) -> None:
    before = [backup.kept(model) for model in backup.copied_models().values()]
    with pytest.raises(RecordRefused, match="in use") as refused:
        restoring.restore(made)
    assert refused.value.code == "not_empty"
    assert [backup.kept(model) for model in backup.copied_models().values()] == before
    assert locks.missing() == ()


def test_a_backup_of_other_tables_is_refused(made: backup.Backup, tmp_path: Path) -> None:
    other = tmp_path / "other.zip"
    with zipfile.ZipFile(made.path) as archive, zipfile.ZipFile(other, "w") as target:
        for name in archive.namelist():
            content = archive.read(name)
            if name == backup.MANIFEST:
                manifest = json.loads(content)
                manifest["migrations"].append("tanks.0099_from_later")
                content = canonical_text(manifest).encode()
            target.writestr(name, content)
    with pytest.raises(RecordRefused, match=r"only in the backup: tanks\.0099_from_later"):
        restoring.restore(backup.read(other))


def test_an_altered_or_damaged_backup_is_refused(made: backup.Backup, tmp_path: Path) -> None:
    altered, cut = tmp_path / "altered.zip", tmp_path / "cut.zip"
    with zipfile.ZipFile(made.path) as archive, zipfile.ZipFile(altered, "w") as target:
        for name in archive.namelist():
            content = archive.read(name)
            target.writestr(
                name, content.replace(b"released", b"scrapped") if "batches_batch." in name else content
            )
    cut.write_bytes(made.path.read_bytes()[:-2000])
    with pytest.raises(RecordRefused, match=r"batches_batch holds 1 rows that do not fit"):
        backup.read(altered)
    with pytest.raises(RecordRefused, match="damaged or something else"):
        backup.read(cut)
    with pytest.raises(RecordRefused, match="is not there"):
        backup.read(tmp_path / "nowhere.zip")


def test_a_backup_takes_the_place_of_none_and_is_readable_by_its_owner_only(made: backup.Backup) -> None:
    size = made.path.stat().st_size
    with pytest.raises(RecordRefused, match="is there already"):
        backup.back_up(made.path, START)
    assert made.path.stat().st_size == size
    assert stat.S_IMODE(made.path.stat().st_mode) == 0o600
    assert [file.name for file in made.path.parent.iterdir()] == [made.path.name]


def test_that_a_backup_was_made_is_an_act(plant: factories.SmallPlant, tmp_path: Path) -> None:
    number, head = chain.head()
    call_command("backup", str(tmp_path / "nightly.zip"), verbosity=0)
    manifest = backup.read(tmp_path / "nightly.zip").manifest
    assert (manifest.head_number, manifest.head) == (number, head)
    told = story([("record", "backup")])[0].sentence
    assert "nightly.zip" in told and f"up to event {number}" in told


def test_every_table_is_copied_or_left_out_with_a_reason() -> None:
    copied = set(backup.copied_models())
    assert {
        "people_person",
        "auth_group",
        "audit_auditevent",
        "audit_eventsubject",
        "keeping_paperscan",
    } <= copied
    assert not {"django_session", "axes_accessattempt"} & copied
    assert all(len(why) > 20 for why in backup.LEFT_OUT.values())
