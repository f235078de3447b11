"""Typed readers of the environment. Each refuses a bad value at start, in a sentence."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any
from urllib.parse import parse_qsl, unquote, urlsplit

from django.core.exceptions import ImproperlyConfigured


def text(name: str, default: str = "") -> str:
    return os.environ.get(name, default)


def flag(name: str, default: bool) -> bool:
    raw = os.environ.get(name)
    if raw is None or raw == "":
        return default
    if raw.lower() in ("1", "true", "yes", "on"):
        return True
    if raw.lower() in ("0", "false", "no", "off"):
        return False
    raise ImproperlyConfigured(f"{name} is {raw!r}; it can be yes or no.")


def whole(name: str, default: int, low: int, high: int) -> int:
    raw = os.environ.get(name)
    if raw is None or raw == "":
        return default
    try:
        number = int(raw)
    except ValueError as error:
        raise ImproperlyConfigured(f"{name} is {raw!r}; it must be a whole number.") from error
    if not low <= number <= high:
        raise ImproperlyConfigured(f"{name} is {number}; it must lie between {low} and {high}.")
    return number


def listing(name: str, default: list[str]) -> list[str]:
    raw = os.environ.get(name)
    return default if not raw else [item.strip() for item in raw.split(",") if item.strip()]


SQLITE_INIT = (
    "PRAGMA journal_mode=WAL; PRAGMA synchronous=FULL; PRAGMA foreign_keys=ON; PRAGMA busy_timeout=20000; "
    "PRAGMA temp_store=MEMORY; PRAGMA recursive_triggers=ON;"
)
"""WAL for readers beside one writer; FULL so that an acknowledged act survives a power cut; recursive_triggers so
that INSERT OR REPLACE cannot slip past the triggers that freeze signed rows."""


CONNECTION_KEPT_S = 60
"""A connection serves the requests of a minute: to open one, SQLite reads the whole schema, 7 ms of every page. Where another file was put
in the place of the database meanwhile, it is opened anew (``audit/same_file.py``)."""


def database(default_folder: Path) -> dict[str, Any]:
    """The database from ``DATABASE_URL``; without it the embedded SQLite file."""
    raw = os.environ.get("DATABASE_URL", "")
    if not raw:
        return sqlite(str(default_folder / "regenplant.sqlite3"))
    parts = urlsplit(raw)
    if parts.scheme == "sqlite":
        return sqlite(unquote(parts.path[1:]))  # sqlite:///relative.sqlite3 or sqlite:////absolute.sqlite3
    if parts.scheme not in ("postgres", "postgresql"):
        raise ImproperlyConfigured(
            f"DATABASE_URL starts with {parts.scheme!r}; it can start with sqlite or postgresql."
        )
    options: dict[str, Any] = dict(parse_qsl(parts.query))
    host = options.pop("host", None) or (unquote(parts.hostname) if parts.hostname else "")
    return {
        "ENGINE": "django.db.backends.postgresql",
        "NAME": unquote(parts.path.lstrip("/")),
        "USER": unquote(parts.username or ""),
        "PASSWORD": unquote(parts.password or ""),
        "HOST": host,
        "PORT": str(parts.port or ""),
        "CONN_MAX_AGE": CONNECTION_KEPT_S,
        "CONN_HEALTH_CHECKS": True,  # a connection that died with a restarted database is not used again
        "OPTIONS": options,
    }


def sqlite(path: str) -> dict[str, Any]:
    return {
        "ENGINE": "django.db.backends.sqlite3",
        "NAME": path,
        "CONN_MAX_AGE": CONNECTION_KEPT_S,
        "OPTIONS": {"transaction_mode": "IMMEDIATE", "timeout": 20, "init_command": SQLITE_INIT},
    }
