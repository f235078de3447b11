"""What runs side by side in a batch: the legs of a mixed bed, what stands in each, and which vessel is whose.

Reads steps and the frozen plan; nothing is queried and nothing is changed here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol, TypeVar

from regenplant.batches.models import Batch, StepRun
from regenplant.core.process.lifecycle import StepState
from regenplant.core.process.plan import BatchPlan
from regenplant.core.process.vocabulary import Chemical, Leg, StepKind
from regenplant.plant.models import Vessel

OPEN = (StepState.WAITING, StepState.RUNNING)
BEGUN = (StepState.RUNNING, StepState.DONE)
_RINSED_OUT = (StepKind.DISPLACE, StepKind.RINSE, StepKind.FAST_RINSE)
"""What takes a sanitizer out; what was injected is taken out by displacement only."""
BETWEEN_VESSELS = (StepKind.CUT, StepKind.JOIN)
"""Steps that move resin from one vessel to the other."""


class Placed(Protocol):
    """A step with its place in the batch."""

    @property
    def number(self) -> int: ...
    @property
    def leg(self) -> str: ...
    @property
    def state(self) -> str: ...


PlacedT = TypeVar("PlacedT", bound=Placed)


def is_before(earlier: Placed, step: Placed) -> bool:
    """Whether a step comes before another: of its own leg or of the whole bed; before a step of the whole bed come all."""
    if earlier.number >= step.number:
        return False
    return step.leg == Leg.WHOLE or earlier.leg in (Leg.WHOLE, step.leg)


def predecessors(step: Placed, steps: Iterable[PlacedT]) -> list[PlacedT]:
    """The steps that come before this one, in order."""
    return sorted((one for one in steps if is_before(one, step)), key=lambda one: one.number)


def standing_chemicals(steps: Iterable[StepRun], plan: BatchPlan) -> dict[Leg, Chemical]:
    """The chemical that stands in each leg now: from the start of an injection to the end of its displacement, a soak
    included; a sanitizer to the end of its rinse. Only legs with a chemical appear."""
    found: dict[Leg, tuple[Chemical, StepKind]] = {}
    for step in sorted(steps, key=lambda one: one.number):
        kind, leg, chemical = StepKind(step.kind), Leg(step.leg), plan.step(step.number).chemical
        if chemical is not None and step.state in BEGUN:
            found[leg] = (chemical, kind)
        elif step.state == StepState.DONE and leg in found:
            takes_out = _RINSED_OUT if found[leg][1] is StepKind.SANITIZE else (StepKind.DISPLACE,)
            if kind in takes_out:
                del found[leg]
    return {leg: chemical for leg, (chemical, _) in found.items()}


def standing_words(standing: Mapping[Leg, Chemical]) -> str:
    """What stands where, as the subject of a sentence in the singular; "" where nothing does."""
    names = [_named_in(chemical.label, leg) for leg, chemical in standing.items()]
    if len(names) < 2:
        return "".join(names)
    return f"{names[0]}, as well as {' and '.join(name[:1].lower() + name[1:] for name in names[1:])},"


def _named_in(name: str, leg: Leg) -> str:
    """A chemical with its leg: "Hydrochloric acid (in the cation leg)"; never two brackets one behind the other."""
    if leg is Leg.WHOLE:
        return name
    return f"{name[:-1]}, in the {leg.label})" if name.endswith(")") else f"{name} (in the {leg.label})"


def next_safe_point(steps: Sequence[StepRun], standing: Mapping[Leg, Chemical]) -> str:
    """The steps after which the bed may stand, in words: of every leg with a chemical in it, else of the next step."""
    ordered = sorted(steps, key=lambda one: one.number)
    found: dict[int, str] = {}
    for leg in tuple(standing) or (Leg.WHOLE,):
        for step in ordered:
            in_way = leg is Leg.WHOLE or step.leg in (leg, Leg.WHOLE)
            if in_way and step.is_safe_hold_after and step.state in OPEN:
                found[step.number] = f"the end of {step.name[:1].lower()}{step.name[1:]}"
                break
    return " and of ".join(
        words.removeprefix("the end of ") if index else words for index, words in enumerate(found.values())
    )


def now_at_work(steps: Iterable[PlacedT]) -> list[PlacedT]:
    """The steps a person can work on now: of each leg the running one, else the next one whose turn it is."""
    ordered = sorted(steps, key=lambda one: one.number)
    found = []
    for step in ordered:
        if step.state not in OPEN or any(is_before(one, step) for one in ordered if one.state in OPEN):
            continue
        found.append(step)
    return found


def is_apart(batch: Batch, steps: Iterable[StepRun]) -> bool:
    """Whether the resin of this batch stands in two vessels now: the cut has begun and the join is not done."""
    if batch.anion_vessel_id is None:
        return False
    state = {StepKind(step.kind): step.state for step in steps}
    cut, join = state.get(StepKind.CUT), state.get(StepKind.JOIN)
    return cut in BEGUN and join != StepState.DONE


def vessel_of(batch: Batch, leg: str) -> Vessel:
    """The vessel a leg runs in."""
    if leg == Leg.ANION and batch.anion_vessel is not None:
        return batch.anion_vessel
    return batch.vessel


def vessels_of(batch: Batch, step: StepRun) -> tuple[Vessel, ...]:
    """The vessels a step works in: both, where it moves resin from one to the other."""
    if StepKind(step.kind) in BETWEEN_VESSELS and batch.anion_vessel is not None:
        return (batch.vessel, batch.anion_vessel)
    return (vessel_of(batch, step.leg),)


def vessel_codes(batch: Batch) -> tuple[str, ...]:
    """The vessel of a batch, and its anion vessel."""
    both = (batch.vessel, batch.anion_vessel)
    return tuple(vessel.code for vessel in both if vessel is not None)


@dataclass(frozen=True, slots=True)
class Standing:
    """A chemical in a leg while no step of that leg runs: it must not be left so."""

    leg: Leg
    chemical: Chemical
    vessel: Vessel
    next_step: str


def left_standing(batch: Batch, steps: Sequence[StepRun], plan: BatchPlan) -> tuple[Standing, ...]:
    """Legs where a chemical stands and nothing runs."""
    running = {step.leg for step in steps if step.state == StepState.RUNNING}
    waiting = {step.leg: step for step in reversed(now_at_work(steps)) if step.state == StepState.WAITING}
    return tuple(
        Standing(leg, chemical, vessel_of(batch, leg), waiting[leg].name if leg in waiting else "")
        for leg, chemical in standing_chemicals(steps, plan).items()
        if leg not in running
    )
