"""The ledger behind the page "How we know": every outside value that a test held one of our numbers against.

``python -m tests.outside`` runs the tests of the core and writes ``regenplant/web/outside_values.json`` and the table in the
README from what they saw. Every later run of all tests of the core compares, and fails when the file no longer says what
the tests see: nothing in it is typed.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from collections.abc import Iterable
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import pytest

from regenplant.bench.answers import answer
from regenplant.core.bench.registry import quantity_named
from regenplant.core.engineering.sources import source
from tests.outside_groups import GROUPS, Group

ROOT = Path(__file__).resolve().parents[1]
STORED = ROOT / "regenplant" / "web" / "outside_values.json"
README = ROOT / "README.md"
BEGIN, END = "<!-- outside values: begin -->", "<!-- outside values: end -->"
WRITE_TO = "OUTSIDE_VALUES_TO"
"""Environment variable: where a run writes what it saw, instead of comparing."""
WHOLE = (["tests"], ["tests/core"])


@dataclass(frozen=True)
class Held:
    """One of our numbers beside an outside value."""

    id: str
    quantity: str
    unit: str
    source: str
    how_obtained: str
    value: float
    ours: float
    allowed: float

    @property
    def is_from_memory(self) -> bool:
        return "memory" in self.how_obtained

    @property
    def is_read(self) -> bool:
        return self.how_obtained.startswith("read") and not self.is_from_memory


def take(report: pytest.TestReport, ledger: dict[str, Held]) -> None:
    """What a test held against outside values, once per row: the larger deviation stands."""
    if report.when != "teardown":
        return
    for name, seen in report.user_properties:
        if name == "outside":
            held = Held(*seen)
            known = ledger.get(held.id)
            if known is None or abs(held.ours - held.value) > abs(known.ours - known.value):
                ledger[held.id] = held


# --- summing up -------------------------------------------------------------------------------------------------------
def summed_up(ledger: Iterable[Held]) -> dict[str, Any]:
    """Per quantity: how many values, of which kind, from where, and the worst deviation seen."""
    by_group: dict[str, list[Held]] = {}
    for held in ledger:
        group = next((group for group in GROUPS if group.takes(held.quantity)), None)
        assert group is not None, f"{held.id}: no group of tests/outside_groups.py takes {held.quantity!r}"
        by_group.setdefault(group.key, []).append(held)
    rows = [_row(group, by_group[group.key]) for group in GROUPS if group.key in by_group]
    return {
        "rows": rows,
        "values": sum(row["values"] for row in rows),
        "read": sum(row["read"] for row in rows),
        "computed": sum(row["computed"] for row in rows),
        "memory": sum(row["memory"] for row in rows),
    }


def _row(group: Group, seen: list[Held]) -> dict[str, Any]:
    counted = [held for held in seen if not held.is_from_memory]
    judged = counted or seen
    worst = max(judged, key=lambda held: group.deviation(held.ours, held.value))
    nearest = max(judged, key=lambda held: _share(held))
    sources = list(dict.fromkeys(held.source for held in sorted(seen, key=lambda held: held.id)))
    return {
        "key": group.key,
        "title": group.title,
        "note": group.note,
        "methods": [method_of(name) for name in group.bench],
        "values": len(counted),
        "read": sum(held.is_read for held in counted),
        "computed": sum(not held.is_read for held in counted),
        "memory": len(seen) - len(counted),
        "sources": sources,
        "unit": group.unit,
        "worst": _rounded(group.deviation(worst.ours, worst.value)),
        "worst_row": {**asdict(worst), "ours": _rounded(worst.ours, 6)},
        "worst_share_of_allowed": _rounded(_share(nearest)),
        "nearest_row": nearest.id,
    }


def method_of(name: str) -> dict[str, str]:
    """How the bench works a quantity out, by its own example: method, range and source as it says them itself.

    ``name`` may carry inputs that replace those of the example: "density chemical=NaOH".
    """
    name, *others = name.split(" ")
    quantity = quantity_named(name)
    assert quantity is not None, f"the bench knows no {name!r}"
    inputs = {**quantity.example, **dict(other.split("=") for other in others)}
    estimate = answer(name, inputs).answer.main
    return {
        "key": quantity.key,
        "title": quantity.title,
        "method": estimate.method,
        "valid": estimate.valid or quantity.range_words,
        "source": source(estimate.source).citation(),
    }


def _share(held: Held) -> float:
    off = abs(held.ours - held.value)
    return off / held.allowed if held.allowed > 0 else (0.0 if off == 0.0 else float("inf"))


def _rounded(value: float, digits: int = 3) -> float:
    return 0.0 if abs(value) < 1e-9 else float(f"{value:.{digits}g}")


# --- comparing and writing --------------------------------------------------------------------------------------------
def differences(seen: dict[str, Any], stored: dict[str, Any]) -> list[str]:
    """What the stored file says otherwise than the tests; last digits of a float are no difference."""
    found = []
    ours, theirs = ({row["key"]: row for row in one["rows"]} for one in (seen, stored))
    for key in sorted(ours.keys() | theirs.keys()):
        a, b = ours.get(key), theirs.get(key)
        if a is None or b is None:
            found.append(f"{key}: {'not in the file' if b is None else 'no longer tested'}")
            continue
        for name in ("title", "note", "values", "read", "computed", "memory", "sources", "methods"):
            if a[name] != b[name]:
                found.append(f"{key}: {name} is {a[name]!r}, the file says {b[name]!r}")
        for name in ("worst", "worst_share_of_allowed"):
            if abs(a[name] - b[name]) > 0.05 * max(abs(a[name]), abs(b[name])) + 1e-4:
                found.append(f"{key}: {name} is {a[name]:g}, the file says {b[name]:g}")
    return found


def at_the_end(session: pytest.Session, ledger: dict[str, Held]) -> None:
    """Write or compare what a whole run saw; a part of the tests says nothing."""
    config = session.config
    if hasattr(config, "workerinput") or not ledger:
        return
    target = os.environ.get(WRITE_TO)
    if target:
        Path(target).write_text(as_text(summed_up(ledger.values())), encoding="utf-8")
        return
    chosen = config.option.keyword or config.option.markexpr not in ("", "not long")
    if list(config.args) not in WHOLE or chosen or session.shouldstop:
        return
    stored = json.loads(STORED.read_text(encoding="utf-8")) if STORED.exists() else {"rows": []}
    found = differences(summed_up(ledger.values()), stored)
    if found:
        print("\nHow we know is stale; write it anew with: python -m tests.outside")
        print("\n".join(f"  {line}" for line in found[:20]))
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def as_text(summary: dict[str, Any]) -> str:
    return json.dumps(summary, indent=1, ensure_ascii=False, sort_keys=True) + "\n"


def readme_table(summary: dict[str, Any]) -> str:
    """The README's table, from the same numbers."""
    lines = [
        "| quantity | outside values | read in publications | worst deviation seen | share of the tolerance used |",
        "|---|---|---|---|---|",
    ]
    for row in summary["rows"]:
        worst = f"{row['worst']:g} {row['unit']}".strip() if row["values"] else "memory only"
        lines.append(
            f"| {row['title']} | {row['values']} | {row['read']} | {worst} | {row['worst_share_of_allowed'] * 100:.0f} % |"
        )
    lines.append(
        f"| **all** | **{summary['values']}** | **{summary['read']}** | | |\n\n{summary['memory']} further values from memory stand in "
        "tests that say so and are not counted."
    )
    return "\n".join(lines)


def write() -> int:
    """Run the tests of the core and write the file and the README's table."""
    environ = {**os.environ, WRITE_TO: str(STORED)}
    command = [sys.executable, "-m", "pytest", "-q", "-n", "2", "tests/core"]
    code = subprocess.run(command, cwd=ROOT, env=environ, check=False).returncode
    if code:
        return code
    summary = json.loads(STORED.read_text(encoding="utf-8"))
    text = README.read_text(encoding="utf-8")
    head, rest = text.split(BEGIN)
    _, tail = rest.split(END)
    README.write_text(f"{head}{BEGIN}\n{readme_table(summary)}\n{END}{tail}", encoding="utf-8")
    print(
        f"{summary['values']} outside values, {summary['read']} of them read in publications, in {len(summary['rows'])} quantities"
    )
    return 0


if __name__ == "__main__":
    sys.exit(write())
