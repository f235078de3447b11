"""What a run measured: kept by the test in a file that ``python -m tests.long`` names, printed as a table at the end."""

from __future__ import annotations

import json
import os
from pathlib import Path

KEPT_IN = "REGENPLANT_FIGURES"
"""Environment variable: the file that figures are added to; without it they are dropped."""


def keep(kind: str, database: str, **figures: float | int | str) -> None:
    """Add the figures of one run; names are words with units, as they are printed."""
    target = os.environ.get(KEPT_IN)
    if target:
        with Path(target).open("a", encoding="utf-8") as out:
            for name, value in figures.items():
                out.write(json.dumps([kind, database, name.replace("_", " "), value]) + "\n")


def table(path: Path) -> str:
    """All figures of a file, one a line."""
    rows = [json.loads(line) for line in path.read_text("utf-8").splitlines()] if path.exists() else []
    return "\n".join(
        f"{kind:<8} {database:<11} {name:<46} {shown(value)}" for kind, database, name, value in rows
    )


def shown(value: float | int | str) -> str:
    if isinstance(value, float):
        return f"{value:,.1f}" if abs(value) >= 10 else f"{value:.3f}"
    return f"{value:,}" if isinstance(value, int) else value
