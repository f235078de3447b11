"""The container: deterministic, verified by strangers' tools, and safe to open whatever it holds."""

from __future__ import annotations

import hashlib
import io
import json
import shutil
import subprocess
import zipfile
from pathlib import Path

import pytest

from regenplant.core.process.canonical import canonical_text
from regenplant.keeping import container, verify_copy
from regenplant.keeping.reading import read_copy
from regenplant.keeping.verify_copy import Unreadable
from tests.keeping.scene import DIGESTS, PAPER, RECORD, Opened, zipped
from tests.keeping.test_copy_altered import verified_alone

SMALL = {"format": verify_copy.FORMAT, "format_version": verify_copy.FORMAT_VERSION}


# --- what it is -------------------------------------------------------------------------------------------------------
def test_the_same_files_make_the_same_container() -> None:
    first, second = (container.packed(b"{}", b"%PDF", "B-1", "Plant") for _ in range(2))
    assert first == second
    with zipfile.ZipFile(io.BytesIO(first)) as source:
        assert source.namelist() == sorted(verify_copy.FILES)
        assert {info.date_time for info in source.infolist()} == {(1980, 1, 1, 0, 0, 0)}


@pytest.mark.requirement("ER-32", "ER-23")
@pytest.mark.skipif(shutil.which("sha256sum") is None, reason="needs the system's own sha256sum")
def test_the_systems_own_tool_confirms_the_digests(copy_bytes: bytes, tmp_path: Path) -> None:
    with zipfile.ZipFile(io.BytesIO(copy_bytes)) as source:
        source.extractall(tmp_path)
    run = subprocess.run(["sha256sum", "--check", DIGESTS], cwd=tmp_path, capture_output=True, text=True, check=False)  # fmt: skip
    assert run.returncode == 0 and run.stdout.count(": OK") == 4
    (tmp_path / PAPER).write_bytes(b"another print")
    run = subprocess.run(["sha256sum", "--check", DIGESTS], cwd=tmp_path, capture_output=True, text=True, check=False)  # fmt: skip
    assert run.returncode != 0


@pytest.mark.requirement("ER-23", "ER-32")
def test_the_shipped_verifier_confirms_the_copy_alone(
    copy_bytes: bytes, opened: Opened, tmp_path: Path
) -> None:
    (tmp_path / "copy.zip").write_bytes(copy_bytes)
    run = verified_alone(tmp_path, "copy.zip", opened.files["verify_copy.py"])
    own = hashlib.sha256(opened.files[RECORD]).hexdigest()
    assert run.returncode == 0, run.stdout + run.stderr
    assert "Everything holds." in run.stdout and own in run.stdout and run.stderr == ""


def test_it_reads_the_unpacked_record_with_what_lies_beside(opened: Opened, tmp_path: Path) -> None:
    for name, content in opened.files.items():
        (tmp_path / name).write_bytes(content)
    assert "record.pdf against" in verified_alone(tmp_path, RECORD, opened.files["verify_copy.py"]).stdout
    (tmp_path / PAPER).write_bytes(b"another print")
    run = verified_alone(tmp_path, RECORD, opened.files["verify_copy.py"])
    assert run.returncode == 1 and "(paper.altered)" in run.stdout and "(file.altered)" in run.stdout


@pytest.mark.requirement("ER-32")
def test_a_digest_that_came_another_way_is_compared(
    copy_bytes: bytes, opened: Opened, tmp_path: Path
) -> None:
    (tmp_path / "copy.zip").write_bytes(copy_bytes)
    own, script = hashlib.sha256(opened.files[RECORD]).hexdigest(), opened.files["verify_copy.py"]
    assert verified_alone(tmp_path, "copy.zip", script, "--digest", own.upper()).returncode == 0
    run = verified_alone(tmp_path, "copy.zip", script, "--digest", "0" * 64)
    assert run.returncode == 1 and "(file.other)" in run.stdout


def test_it_says_how_it_is_asked(opened: Opened, tmp_path: Path) -> None:
    script = opened.files["verify_copy.py"]
    assert verified_alone(tmp_path, "--help", script).returncode == 2
    missing = verified_alone(tmp_path, "no-such-file.zip", script)
    assert missing.returncode == 2 and "cannot be opened" in missing.stdout


def test_the_word_to_the_reader_names_the_digest_and_the_way(opened: Opened) -> None:
    text = opened.files["READ-ME.txt"].decode()
    assert hashlib.sha256(opened.files[RECORD]).hexdigest() in text
    assert "python verify_copy.py" in text and "compliant" not in text.lower()


# --- what nobody should send ------------------------------------------------------------------------------------------
def bomb() -> bytes:
    """A hundred million noughts in a few kilobytes."""
    return zipped({RECORD: b"0" * 100_000_000})


def locked_zip() -> bytes:
    data = bytearray(zipped({RECORD: b"{}"}))
    data[data.index(b"PK\x01\x02") + 8] |= 1
    data[6] |= 1
    return bytes(data)


def lying_zip() -> bytes:
    """Says that it unpacks to ten bytes, and does not."""
    data = bytearray(zipped({RECORD: b"0" * 40_000_000}))
    for mark, place in ((b"PK\x03\x04", 22), (b"PK\x01\x02", 24)):
        start = data.index(mark) + place
        data[start : start + 4] = (10).to_bytes(4, "little")
    return bytes(data)


def doubled_zip() -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as target, pytest.warns(UserWarning, match="Duplicate"):
        target.writestr(RECORD, b"{}")
        target.writestr(RECORD, b"[]")
    return buffer.getvalue()


def record(**more: object) -> bytes:
    return canonical_text({**SMALL, **more}).encode()


HOSTILE = {
    "nothing": (b"", "no JSON text"),
    "words": (b"hello", "no JSON text"),
    "half a file": (zipped({RECORD: b"{}"})[:40], "damaged"),
    "no zip": (b"PK\x03\x04 nothing follows", "damaged"),
    "a path": (zipped({"../../etc/cron.d/x": b"x", RECORD: b"{}"}), "does not belong in a copy"),
    "another file": (zipped({"setup.exe": b"x", RECORD: b"{}"}), "does not belong in a copy"),
    "many files": (zipped({f"{n}.json": b"{}" for n in range(500)}), "holds 500 files"),
    "no record": (zipped({PAPER: b"%PDF"}), "There is no record.json"),
    "a bomb": (bomb(), "unpacks to more than"),
    "a locked file": (locked_zip(), "locked by a password"),
    "deep": (b'{"a":' * 5000 + b"1" + b"}" * 5000, "nested deeper"),
    "deep inside text only": (record(a="[" * 5000), "not built as a copy"),
    "not a number": (b'{"format": NaN}', "NaN stands where a number should"),
    "endless": (b'{"format": Infinity}', "Infinity stands"),
    "a name twice": (b'{"format": 1, "format": 2}', "stands twice"),
    "a huge number": (b'{"format": ' + b"9" * 100_000 + b"}", "100000 digits"),
    "half a character": (b'{"format": "\\ud800"}', "Half of a character"),
    "latin text": ("{“é”}".encode("latin-1", "replace") + b"\xe9", "no UTF-8 text"),
    "another document": (b'{"format": "something else"}', "no copy of a batch record"),
    "a list": (b"[]", "no copy of a batch record"),
    "a later format": (record(format_version=99), "knows format version 1 only"),
    "nothing in it": (record(), "not built as a copy"),
    "wrong kinds": (record(made=[], events={}, parts=[], counts=3, head=None), "not built as a copy"),
    "an act that is no text": (record(made={"at": "", "by": "", "plant": "", "zone": ""}, parts={}, events=[{"number": 1, "payload": 3}]), "not built as a copy"),
}  # fmt: skip


@pytest.mark.parametrize("name", sorted(HOSTILE))
def test_what_nobody_should_send_is_refused_in_a_sentence(name: str) -> None:
    data, words = HOSTILE[name]
    with pytest.raises(Unreadable) as refusal:
        read_copy(data)
    assert words in str(refusal.value)
    assert str(refusal.value).endswith(".")


def test_a_file_that_lies_about_its_size_is_not_believed() -> None:
    with pytest.raises(Unreadable, match=r"damaged|unpacks to more"):
        read_copy(lying_zip())


def test_a_file_that_stands_twice_is_refused() -> None:
    with pytest.raises(Unreadable, match="stands twice"):
        read_copy(doubled_zip())


def test_every_part_taken_away_or_turned_to_nonsense_is_refused_or_named(opened: Opened) -> None:
    """No reader's crash: each name of the record gone, or holding what it should not."""
    for name in sorted(opened.record):
        for wrong in (None, [], {}, "words", 7, [None], {"a": None}):
            changed = {**opened.record, name: wrong}
            text = json.dumps(changed, sort_keys=True, ensure_ascii=False, separators=(",", ":")).encode()
            try:
                assert read_copy(text).findings or name in ("how_to_read", "not_written", "people", "paper", "elsewhere")  # fmt: skip
            except Unreadable as refusal:
                assert str(refusal)
