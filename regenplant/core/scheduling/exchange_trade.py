"""Fields of an instance beyond the exchange format: openings, closed vessels, budgets, running batches, decisions. Each may be left out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from itertools import pairwise
from typing import Any

from regenplant.core.scheduling.problem import (
    Budget,
    Pin,
    Problem,
    RunningBatch,
    RunningStage,
    Shift,
    Standing,
    Window,
)
from regenplant.core.scheduling.telling import When, in_minutes


def windows_from(items: Any) -> tuple[Window, ...]:
    """Windows of ``{"start", "end"}``, in order of time."""
    return tuple(sorted(Window(int(item["start"]), int(item["end"])) for item in items or ()))


def trade_fields(data: Mapping[str, Any]) -> dict[str, Any]:
    """Keyword arguments of a Problem. Raises what reading raises: KeyError, TypeError, ValueError."""
    return {
        "second_shifts": tuple(
            Shift(int(item["start"]), int(item["end"]), int(item["people"]))
            for item in data.get("second_shifts") or ()
        ),
        "openings": windows_from(data.get("openings")),
        "budgets": tuple(
            Budget(str(item["ion"]), int(item["start"]), int(item["end"]), float(item["kg"]))
            for item in data.get("budgets") or ()
        ),
        "running": tuple(_running(item) for item in data.get("running") or ()),
        "pins": tuple(
            Pin(
                str(item["id"]),
                tuple(str(name) for name in item["tanks"]),
                None if item.get("vessel") is None else str(item["vessel"]),
                None if item.get("start") is None else int(item["start"]),
            )
            for item in data.get("pins") or ()
        ),
        "standing": tuple(
            Standing(tuple(str(name) for name in item["tanks"]), str(item["vessel"]), int(item["start"]))
            for item in data.get("standing") or ()
        ),
    }


def _running(item: Mapping[str, Any]) -> RunningBatch:
    return RunningBatch(
        id=str(item["id"]),
        vessel=str(item["vessel"]),
        tanks=tuple(str(name) for name in item["tanks"]),
        stages=tuple(
            RunningStage(
                name=str(stage["name"]),
                start_min=int(stage["start"]),
                end_min=int(stage["end"]),
                attention=int(stage.get("attention", 0)),
                technicians=int(stage.get("technicians", 0)),
                second_people=int(stage.get("second_people", 0)),
                chemical=stage.get("chemical"),
                grams=int(stage.get("grams", 0)),
                water=stage.get("water"),
                flow_l_per_min=int(stage.get("flow_l_per_min", 0)),
                to_waste=bool(stage.get("to_waste", False)),
                load_g=dict(stage.get("load_g") or {}),
            )
            for stage in item["stages"]
        ),
        beside=str(item.get("beside") or ""),
    )


def trade_troubles(problem: Problem, when: When = in_minutes) -> Iterator[str]:
    """What does not fit together in these fields. ``when`` tells a moment to whoever reads it."""
    tanks = {tank.id: tank for tank in problem.tanks}
    vessels = {vessel.id for vessel in problem.vessels}
    named = Counter(name for pin in problem.pins for name in pin.tanks)
    for name, count in named.items():
        if count > 1:
            yield f"tank {name} stands in {count} pins"
    for pin in problem.pins:
        unknown = [name for name in pin.tanks if name not in tanks]
        if unknown:
            yield f"pin {pin.id} names the tank {unknown[0]}, which is not there"
        elif not pin.tanks:
            yield f"pin {pin.id} names no tank"
        elif len({tanks[name].key for name in pin.tanks}) > 1:
            keys = sorted({str(tanks[name].key) for name in pin.tanks})
            yield f"pin {pin.id} joins tanks that must not go together: {'; '.join(keys)}"
        if pin.vessel is not None and pin.vessel not in vessels:
            yield f"pin {pin.id} names the vessel {pin.vessel}, which is not there"
    for name, count in Counter(name for item in problem.standing for name in item.tanks).items():
        if count > 1:
            yield f"tank {name} stands in {count} known batches"
    for before, after in pairwise(problem.openings):
        if after.start_min <= before.end_min:
            yield f"the openings from {when(before.start_min)} and from {when(after.start_min)} touch; give them as one"
    for what, windows in (
        ("opening", problem.openings),
        *((f"closing of vessel {vessel.id}", vessel.closed) for vessel in problem.vessels),
        *((f"unchecked time of {name}", supply.unusable) for name, supply in problem.chemicals.items()),
        ("budget", tuple(Window(item.start_min, item.end_min) for item in problem.budgets)),
    ):
        for window in windows:
            if window.start_min >= window.end_min:
                yield f"{what}: from {when(window.start_min)} to {when(window.end_min)} is no time"
    yield from _running_troubles(problem, vessels)
    yield from _budget_troubles(problem, when)


def _running_troubles(problem: Problem, vessels: set[str]) -> Iterator[str]:
    for batch in problem.running:
        if batch.vessel not in vessels:
            yield f"running batch {batch.id} stands in the vessel {batch.vessel}, which is not there"
        for stage in batch.stages:
            if stage.chemical is not None and stage.chemical not in problem.chemicals:
                yield f"running batch {batch.id} takes the chemical {stage.chemical}, which has no stock"
            if stage.water is not None and stage.water not in problem.water_l_per_min:
                yield f"running batch {batch.id} takes the water {stage.water}, which is not made"


def _budget_troubles(problem: Problem, when: When) -> Iterator[str]:
    """Days of one ion that overlap, or that do not begin and end on the grid: a load must belong to one day."""
    by_ion: dict[str, list[Budget]] = {}
    for budget in problem.budgets:
        by_ion.setdefault(budget.ion, []).append(budget)
    for ion, budgets in by_ion.items():
        budgets.sort(key=lambda item: item.start_min)
        for before, after in pairwise(budgets):
            if after.start_min < before.end_min:
                yield f"two budgets of {ion} hold at {when(after.start_min)}"
        for item in budgets:
            if item.start_min % problem.slot_min or item.end_min % problem.slot_min:
                yield (
                    f"the budget of {ion} from {when(item.start_min)} to {when(item.end_min)} is off the grid of "
                    f"{problem.slot_min} min"
                )
