"""The page "How we know" in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from regenplant.web.presenters.words import counted, thousands


@dataclass(frozen=True, slots=True)
class Method:
    """One calculation of the bench behind a line."""

    key: str
    title: str
    method: str
    valid: str
    source: str


@dataclass(frozen=True, slots=True)
class Line:
    """One kind of number: how it is worked out, against what it was held, how far off it was."""

    key: str
    title: str
    values: int
    kinds: str
    worst: str
    worst_where: str
    share_percent: int
    note: str
    sources: tuple[str, ...]
    methods: tuple[Method, ...]


def opening(found: Mapping[str, Any]) -> str:
    """How many values there are, and of which kind."""
    return (
        f"{counted(found['values'], 'outside value')} stand behind the numbers of this plant: {thousands(found['read'])} read in publications, "
        f"{thousands(found['computed'])} computed with public programs or from definitions. {found['memory']} more are from memory: they "
        "are tested apart and prove nothing."
    )


def rows(found: Mapping[str, Any]) -> tuple[Line, ...]:
    """The lines in the order of the release."""
    return tuple(_line(row) for row in found["rows"])


def _line(row: Mapping[str, Any]) -> Line:
    kinds = [
        f"{row[name]} {word}" for name, word in (("read", "read"), ("computed", "computed")) if row[name]
    ]
    if row["memory"]:
        kinds.append(f"{row['memory']} from memory, not counted")
    worst, unit = row["worst_row"], row["unit"]
    return Line(
        key=row["key"],
        title=row["title"],
        values=row["values"],
        kinds=", ".join(kinds),
        worst=f"{_short(row['worst'])} {unit}".strip() if row["values"] else "not counted",
        worst_where=f"{worst['quantity']}: {_short(worst['ours'])} here, {_short(worst['value'])} outside ({worst['id']})",
        share_percent=round(row["worst_share_of_allowed"] * 100),
        note=row["note"],
        sources=tuple(row["sources"]),
        methods=tuple(Method(**method) for method in row["methods"]),
    )


def _short(number: float) -> str:
    return "0" if abs(number) < 1e-9 else f"{number:.4g}"
