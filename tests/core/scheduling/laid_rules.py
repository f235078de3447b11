"""Whether what is under way is laid inside what there is, minute by minute, without the grid and the board that laid it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Sequence

from regenplant.core.scheduling.problem import BY_HAND_LINES, Problem, RunningBatch, RunningStage, Shift


def over_by_what_waited(
    limits: Problem, batches: Sequence[RunningBatch], begun: Collection[tuple[str, str]] = ()
) -> list[str]:
    """Each people, skid or water limit that a stage breaks which was free to wait; those in ``begun`` (batch, stage) run already and
    take their part first."""
    first: defaultdict[tuple[str, int], float] = defaultdict(float)
    waited: defaultdict[tuple[str, int], float] = defaultdict(float)
    for name, stage in ((batch.id, stage) for batch in batches for stage in batch.stages):
        taken = first if (name, stage.name) in begun else waited
        for what, amount in _takes(stage):
            for minute in range(stage.start_min, stage.end_min):
                taken[what, minute] += amount
    return [
        f"{what}: {amount:g} at {minute} min beside {first[what, minute]:g}, there are {_room(limits, what, minute):g}"
        for (what, minute), amount in waited.items()
        if amount > 1e-9 and amount + first[what, minute] > _room(limits, what, minute) + 1e-6
    ]


def _takes(stage: RunningStage) -> list[tuple[str, float]]:
    found = [
        ("attention", float(stage.attention)),
        ("technicians", float(stage.technicians)),
        ("second people", float(stage.second_people)),
    ]
    if stage.chemical:
        found.append((f"skid {stage.chemical}", 1.0))
    if stage.water:
        found.append((f"water {stage.water}", float(stage.flow_l_per_min)))
    return found


def _room(limits: Problem, what: str, minute: int) -> float:
    kind, _, name = what.partition(" ")
    if kind == "skid":
        lines = limits.chemicals[name].skid_lines
        return float(lines) if lines < BY_HAND_LINES else float("inf")
    if kind == "water":
        return float(limits.water_l_per_min[name])
    if what == "attention":
        return limits.attention_per_operator * _there(limits.operator_shifts, minute)
    return _there(limits.technician_shifts if what == "technicians" else limits.second_shifts, minute)


def _there(shifts: tuple[Shift, ...], minute: int) -> float:
    return sum(shift.people for shift in shifts if shift.start_min <= minute < shift.end_min)
