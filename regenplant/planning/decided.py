"""What people decided about a draft, laid over its problem. A later decision about a tank takes the place of an earlier one."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from regenplant.core.scheduling.problem import Pin, Problem

RUSH_PRIORITY = 3
"""The heaviest of the weights of a problem."""


@dataclass(frozen=True, slots=True)
class Decided:
    """One decision in the terms of the problem."""

    pins: tuple[Pin, ...] = ()
    left_out: tuple[str, ...] = ()
    """Serials."""
    rush: Mapping[str, int] = field(default_factory=dict)
    """Minute until which a tank is wanted, by serial."""
    pooled: tuple[str, ...] = ()
    """Serials whose earlier pins fall away: the search is free with them again."""


def decided_to(decided: Decided) -> dict[str, Any]:
    """Plain data."""
    return {
        "pins": [
            {"id": pin.id, "tanks": list(pin.tanks), "vessel": pin.vessel, "start": pin.start_min}
            for pin in decided.pins
        ],
        "left_out": list(decided.left_out),
        "rush": dict(decided.rush),
        "pooled": list(decided.pooled),
    }


def decided_from(data: Mapping[str, Any]) -> Decided:
    """What ``decided_to`` wrote."""
    return Decided(
        pins=tuple(
            Pin(item["id"], tuple(item["tanks"]), item["vessel"], item["start"]) for item in data["pins"]
        ),
        left_out=tuple(data["left_out"]),
        rush={str(serial): int(minute) for serial, minute in data["rush"].items()},
        pooled=tuple(data["pooled"]),
    )


def with_decisions(problem: Problem, decisions: Iterable[Decided]) -> Problem:
    """The problem as it stands after these decisions, in the order in which they were made."""
    pins = list(problem.pins)
    out: set[str] = set()
    rush: dict[str, int] = {}
    for decided in decisions:
        named = {serial for pin in decided.pins for serial in pin.tanks} | set(decided.pooled)
        pins = [pin for pin in pins if not named & set(pin.tanks)] + list(decided.pins)
        out |= set(decided.left_out)
        rush |= decided.rush
    if out:
        pins = [
            replace(pin, tanks=kept)
            for pin in pins
            if (kept := tuple(one for one in pin.tanks if one not in out))
        ]
    weights = dict(problem.priority_weight)
    heaviest = max(weights, default=RUSH_PRIORITY)
    return replace(
        problem,
        tanks=tuple(
            replace(tank, priority=heaviest, due_min=min(tank.due_min, rush[tank.id]))
            if tank.id in rush
            else tank
            for tank in problem.tanks
            if tank.id not in out
        ),
        pins=tuple(replace(pin, id=f"decision {number}") for number, pin in enumerate(pins, start=1)),
    )
