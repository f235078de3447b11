"""Files that a command reads and writes."""

from __future__ import annotations

import json
import os
import tempfile
from pathlib import Path
from typing import Any

from django.core.management.base import CommandError

_MOST_BYTES = 200_000_000


def read_json(path: Path, kind: str) -> Any:
    """What the file holds.

    Raises: CommandError saying what and where, if it is no JSON of a size that is read.
    """
    try:
        size = path.stat().st_size
        if size > _MOST_BYTES:
            raise CommandError(f"{path} has {size:,} bytes; at most {_MOST_BYTES:,} are read. Split it.")
        return json.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as trouble:
        raise CommandError(f"{path} cannot be read: {trouble.strerror}.") from trouble
    except UnicodeDecodeError as trouble:
        raise CommandError(
            f"{path} is not text in UTF-8 (byte {trouble.start}); allowed is JSON in UTF-8."
        ) from trouble
    except json.JSONDecodeError as trouble:
        raise CommandError(
            f"{path}, line {trouble.lineno}, column {trouble.colno}: not JSON ({trouble.msg})."
        ) from trouble
    except ValueError as trouble:
        raise CommandError(f"{path} holds a number that is too long to be one: {trouble}.") from trouble
    except RecursionError as trouble:
        raise CommandError(f"{path} is nested too deep to be {kind}.") from trouble


def write_text(path: Path, text: str) -> None:
    """All of it or nothing: a half-written file would pass for a short one."""
    try:
        with tempfile.NamedTemporaryFile("w", encoding="utf-8", dir=path.parent, delete=False) as kept:
            kept.write(text)
    except OSError as trouble:
        raise CommandError(f"{path} cannot be written: {trouble.strerror}.") from trouble
    try:
        os.chmod(kept.name, 0o644)
        os.replace(kept.name, path)
    except OSError as trouble:
        Path(kept.name).unlink()
        raise CommandError(f"{path} cannot be written: {trouble.strerror}.") from trouble
