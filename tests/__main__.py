"""The one test command: ``python -m tests``. Everything on SQLite, then everything that stands on a database on PostgreSQL.

Prints both closing lines, and what was skipped and why. ``REQUIRE_POSTGRES=1`` and ``REQUIRE_BROWSER=1`` turn a missing server
or browser into a failure. Arguments are handed on to pytest (``python -m tests -k rinse``).
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import time
from dataclasses import dataclass, field
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
ON_A_DATABASE = (
    "tests/test_database.py",
    "tests/audit",
    "tests/people",
    "tests/plant",
    "tests/api",
    "tests/meters",
    "tests/resins",
    "tests/recipes",
    "tests/chemicals",
    "tests/tanks",
    "tests/batches",
    "tests/quality",
    "tests/keeping",
    "tests/shifts",
    "tests/documents",
    "tests/use",
    "tests/waste",
    "tests/safety",
    "tests/planning",
    "tests/web",
    "tests/journeys",
    "tests/long",
)
"""What is run on PostgreSQL too: acts, locks, records and whole working days; of these, the tests that open a database."""

CLOSING = re.compile(r"\d+ (passed|failed|error|skipped|deselected)|no tests ran")
NO_TESTS = 5


@dataclass
class Run:
    """One run of pytest and how it ended."""

    name: str
    code: int = 0
    closing: str = ""
    skipped: list[str] = field(default_factory=list)
    seconds: float = 0.0


def run(name: str, places: list[str], arguments: list[str], **environ: str) -> Run:
    """Run pytest, passing on what it prints."""
    print(f"\n=== {name} ===", flush=True)
    result, begun = Run(name), time.monotonic()
    colour = ["--color=yes"] if sys.stdout.isatty() else []
    process = subprocess.Popen(
        [sys.executable, "-m", "pytest", "-q", *_workers(arguments), *colour, *places, *arguments],
        cwd=ROOT,
        env={**os.environ, **environ},
        stdout=subprocess.PIPE,
        text=True,
        encoding="utf-8",
    )
    assert process.stdout is not None
    for line in process.stdout:
        print(line, end="", flush=True)
        if line.startswith("SKIPPED"):
            result.skipped.append(line.strip())
        elif CLOSING.search(line):
            result.closing = line.strip().strip("= ")
    result.code = process.wait()
    result.seconds = time.monotonic() - begun
    if result.code == NO_TESTS and any(argument.startswith(("-k", "-m")) for argument in arguments):
        result.code = 0  # a selection that leaves nothing for one of the two runs
    return result


def _workers(arguments: list[str]) -> list[str]:
    """As many workers as processors, unless the caller says otherwise."""
    if any(argument.startswith(("-n", "--dist", "--pdb", "--numprocesses")) for argument in arguments):
        return []
    return ["-n", str(min(os.cpu_count() or 1, 8)), "--dist", "worksteal", "--benchmark-disable"]


def postgres_url() -> str:
    """A PostgreSQL that the caller named, "" if one has to be started."""
    given = os.environ.get("DATABASE_URL", "")
    return given if given.startswith("postgres") else ""


def main(arguments: list[str]) -> int:
    from tests import postgres

    sqlite = {"REGENPLANT_TEST_DATABASE": "sqlite", "DATABASE_URL": ""}
    runs = [run("SQLite, with the browser", ["tests"], arguments, **sqlite)]
    missing = "" if postgres_url() else postgres.why_missing()
    if not missing:
        places = [place for place in ON_A_DATABASE if (ROOT / place).exists()]
        second = {"REGENPLANT_TEST_DATABASE": "postgresql", "REGENPLANT_TEST_ONLY_WITH_A_DATABASE": "1"}
        runs.append(run("PostgreSQL", places, arguments, **second))

    print("\n=== Both ===")
    for done in runs:
        print(f"{done.name}: {done.closing or f'pytest ended with code {done.code}'} ({done.seconds:.0f} s)")
        for line in done.skipped:
            print(f"  {line}")
    failed = any(done.code for done in runs)
    if missing:
        is_needed = os.environ.get("REQUIRE_POSTGRES") == "1"
        print(f"PostgreSQL: {'required, but' if is_needed else 'left out:'} {missing}")
        failed = failed or is_needed
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
