"""The long runs behind one command: ``python -m tests.long [kind ...] [--database sqlite|postgresql]``. Without a kind: all of them.

Each kind runs on SQLite and on PostgreSQL, one after the other, and prints what it measured as a table at the end. It ends with
a code other than zero when anything failed. Each kind has a short version among the usual tests.
"""

from __future__ import annotations

import argparse
import os
import platform
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

from tests import postgres
from tests.long import figures

ROOT = Path(__file__).resolve().parents[2]
DATABASES = ("sqlite", "postgresql")


@dataclass(frozen=True)
class Kind:
    """One kind of long run: what it is, and which tests it is."""

    sentence: str
    places: tuple[str, ...]
    arguments: tuple[str, ...] = ("-m", "long")
    databases: tuple[str, ...] = DATABASES


KINDS: dict[str, Kind] = {
    "acts": Kind(
        "random people do random acts in any order, at least 10,000 of them (Hypothesis)",
        ("tests/journeys",),
    ),
    "tamper": Kind(
        "every way to falsify a record behind the program's back is found and named",
        ("tests/audit/test_tampering.py",),
        ("-m", "long or not long"),
    ),
    "kill": Kind(
        "the server is killed 200 times in the middle of writes (SIGKILL)",
        ("tests/long/test_servers.py",),
        ("-m", "long", "-k", "killed"),
    ),
    "crowd": Kind(
        "many people at the same things at once: 50 on PostgreSQL, 12 on SQLite",
        ("tests/long/test_servers.py",),
        ("-m", "long", "-k", "crowd"),
    ),
    "matrix": Kind(
        "every cell of the authority matrix, through the service and over HTTP",
        ("tests/people/test_authority_cells.py", "tests/web/test_doors.py"),
        ("-m", "long or not long"),
    ),
    "chain": Kind(
        "a million events verified, and 1, 8 and 32 writers at the chain",
        ("tests/audit", "tests/long/test_servers.py"),
        ("-m", "long", "-k", "writers or million"),
    ),
    "use": Kind(
        "the audit of use with two hundred thousand batches: its page, by every group",
        ("tests/long/test_use.py",),
    ),
    "readings": Kind(
        "a million readings of meters, a hundred thousand of them on one rinse page",
        ("tests/long/test_many_readings.py",),
    ),
    "trace": Kind(
        "resin lots traced both ways among a million visits",
        ("tests/long/test_lot_trace.py",),
    ),
}


@dataclass
class Ended:
    """How one kind ended on one database."""

    kind: str
    database: str
    code: int
    seconds: float
    load: float


def run(name: str, database: str, kept: Path) -> Ended:
    kind = KINDS[name]
    print(f"\n=== {name} on {database}: {kind.sentence} ===", flush=True)
    environ = {
        **os.environ, "REGENPLANT_TEST_DATABASE": database, figures.KEPT_IN: str(kept),
        **({"DATABASE_URL": ""} if database == "sqlite" else {}),
    }  # fmt: skip
    begun = time.monotonic()
    command = [
        sys.executable,
        "-m",
        "pytest",
        "-q",
        "--benchmark-disable",
        "-p",
        "no:cacheprovider",
        *kind.places,
        *kind.arguments,
    ]
    code = subprocess.run(command, cwd=ROOT, env=environ, check=False).returncode
    return Ended(name, database, code, time.monotonic() - begun, os.getloadavg()[0])


def main(arguments: list[str]) -> int:
    said = argparse.ArgumentParser(prog="python -m tests.long", description=__doc__)
    said.add_argument("kinds", nargs="*", metavar="kind", help=", ".join(KINDS))
    said.add_argument("--database", choices=DATABASES, help="only on this one")
    asked = said.parse_args(arguments)
    unknown = [kind for kind in asked.kinds if kind not in KINDS]
    if unknown:
        said.error(f"no kind {', '.join(unknown)}; known are {', '.join(KINDS)}")
    missing = postgres.why_missing()
    ended: list[Ended] = []
    with tempfile.TemporaryDirectory(prefix="regenplant-figures-") as folder:
        kept = Path(folder) / "figures"
        for name in asked.kinds or KINDS:
            for database in KINDS[name].databases:
                if asked.database in (None, database) and not (missing and database == "postgresql"):
                    ended.append(run(name, database, kept))
        print(f"\n=== Figures ({os.cpu_count()} processors, Python {platform.python_version()}) ===")
        print(figures.table(kept))
    for one in ended:
        how = "held" if one.code == 0 else f"failed (pytest ended with code {one.code})"
        print(
            f"{one.kind:<8} {one.database:<11} {how}, {one.seconds:.0f} s, load of the machine at its end {one.load:.1f}"
        )
    if missing:
        print(f"PostgreSQL left out: {missing}")
    failed = (
        any(one.code for one in ended)
        or not ended
        or bool(missing and os.environ.get("REQUIRE_POSTGRES") == "1")
    )
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
