"""Reference rows from outside the project, as parameters of tests.

Each row of ``tests/reference/*.csv`` keeps where its value comes from and how it was obtained; both are in the name of
the test and in its failure, so that a reader sees what a number was held against. Rows "from memory" are never mixed
with the others: they are asked for by name and stand in tests that say so.
"""

from __future__ import annotations

import csv
import re
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import pytest

REFERENCE = Path(__file__).resolve().parents[1] / "reference"

SEEN: list[Seen] = []
"""What the test under way held against outside values; ``conftest`` takes it over after each test."""


@dataclass(frozen=True)
class Row:
    """One reference value with its provenance."""

    id: str
    quantity: str
    inputs: str
    text: str
    unit: str
    tolerance: str
    source: str
    how_obtained: str

    @property
    def value(self) -> float:
        return float(self.text)

    @property
    def is_from_memory(self) -> bool:
        return "memory" in self.how_obtained

    def allowed(self) -> float:
        """The tolerance as an absolute number in the unit of the row."""
        match = re.match(r"\s*([\d.eE+-]+)\s*(%?)", self.tolerance)
        assert match, f"{self.id}: tolerance {self.tolerance!r} is not understood"
        number = float(match[1])
        return abs(self.value) * number / 100.0 if match[2] else number

    def numbers(self, pattern: str) -> tuple[str, ...]:
        """Groups of a pattern in ``inputs``; a row that does not fit is a defect of the test."""
        match = re.search(pattern, self.inputs)
        assert match, f"{self.id}: {self.inputs!r} does not fit {pattern!r}"
        return match.groups()

    def check(self, ours: float, allowed: float | None = None) -> None:
        """Fail with the whole provenance when ours is further off than allowed."""
        allowed = self.allowed() if allowed is None else allowed
        SEEN.append(Seen(self, ours, allowed))
        assert abs(ours - self.value) <= allowed, (
            f"{self.id}: {self.quantity}, {self.inputs}\n  ours {ours:.8g}, outside {self.value:.8g} {self.unit}, "
            f"allowed ±{allowed:.3g} ({self.tolerance})\n  source: {self.source}\n  obtained: {self.how_obtained}"
        )


@dataclass(frozen=True)
class Seen:
    """One of our numbers beside the outside value it was held against."""

    row: Row
    ours: float
    allowed: float


@lru_cache(maxsize=64)
def _read(name: str) -> tuple[Row, ...]:
    with (REFERENCE / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return tuple(
            Row(
                row["id"], row["quantity"], row["inputs"], row["value"], row["unit"],
                row["tolerance"], row["source"], row["how_obtained"],
            )
            for row in csv.DictReader(file)
        )  # fmt: skip


def rows(
    *names: str,
    quantity: str = "",
    inputs: str = "",
    memory: bool = False,
    leave_out: frozenset[str] = frozenset(),
) -> list[object]:
    """Rows of these files as pytest parameters: those that were read or computed, or only those from memory.

    ``quantity`` and ``inputs`` are patterns that the row must contain; ``leave_out`` names rows by id.
    """
    found = [
        row
        for name in names
        for row in _read(name)
        if re.search(quantity, row.quantity)
        and re.search(inputs, row.inputs)
        and row.is_from_memory is memory
        and row.id not in leave_out
    ]
    assert found, f"no reference rows in {names} for {quantity!r}"
    return [pytest.param(row, id=f"{row.id} [{row.how_obtained[:24]}: {row.source[:48]}]") for row in found]


def kelvin(celsius: str) -> float:
    return float(celsius) + 273.15
