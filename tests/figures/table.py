"""Medians of what was measured, as a table in Markdown."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from statistics import median
from typing import Any

HEAD = (
    "size",
    "within",
    "seeds",
    "first come",
    "score",
    "worst",
    "late h",
    "batches",
    "bound",
    "gap",
    "worst gap",
    "first plan",
    "memory",
)


def gap_frac(figures: dict[str, Any]) -> float:
    """How far a plan lies above the bound at most, as part of its score."""
    return 1 - figures["bound"] / figures["score"] if figures["score"] else 0.0


def table(measured: Iterable[dict[str, Any]]) -> str:
    """A line for each size and time, in the order in which they were measured first."""
    groups: dict[tuple[str, float], list[dict[str, Any]]] = defaultdict(list)
    for figures in measured:
        groups[figures["size"], figures["seconds"]].append(figures)
    lines = [f"| {' | '.join(HEAD)} |", f"|{'---|' * len(HEAD)}"]
    lines += [f"| {' | '.join(_cells(*name, group))} |" for name, group in groups.items()]
    return "\n".join(lines)


def _cells(size: str, seconds: float, group: list[dict[str, Any]]) -> list[str]:
    def middle(name: str) -> float:
        return median(item[name] for item in group)

    firsts = [item["first_s"] for item in group if item["first_s"] is not None]
    return [
        size,
        f"{seconds:g} s",
        str(len(group)),
        f"{middle('first_come'):,.0f}",
        f"{middle('score'):,.0f}",
        f"{max(item['score'] for item in group):,.0f}",
        f"{middle('late_h'):,.0f}",
        f"{middle('batches'):g}",
        f"{middle('bound'):,.0f}",
        f"{median(gap_frac(item) for item in group):.1%}",
        f"{max(gap_frac(item) for item in group):.1%}",
        f"{median(firsts):.2f} s" if len(firsts) == len(group) else "not each",
        f"{max(item['memory_mib'] for item in group)} MiB",
    ]
