"""From the plan of one batch to the stages that the day plan moves about: how long, which skid, which water, whose hands.

A batch plan is exact for its tanks and its vessel. The day plan needs it by the litre, so that it can weigh other fillings; what is
accepted is planned exactly again. Times of a batch plan hardly depend on the filling, since flows are set in bed volumes.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise

from regenplant.core.process.plan import BatchPlan, PlannedStep
from regenplant.core.process.sewer_budget import IONS, loads_of_plan
from regenplant.core.process.vocabulary import Leg, StepKind
from regenplant.core.scheduling.problem import Beside, Stage

WHOLE_OPERATOR = 4
"""Attention units of one operator."""

ATTENTION: Mapping[StepKind, int] = {
    StepKind.LOAD: 4, StepKind.EMPTY: 4, StepKind.FILL: 4, StepKind.CUT: 4, StepKind.JOIN: 4,
    StepKind.BACKWASH: 1, StepKind.SEPARATE: 1, StepKind.FLOAT: 1, StepKind.INJECT: 1, StepKind.SANITIZE: 1, StepKind.AIR_MIX: 1,
    StepKind.SAMPLE: 1,
}  # fmt: skip
"""Hands-on steps take a whole operator, watched ones a quarter, rinses none: common practice of the trade."""


BY_VESSEL = (StepKind.BACKWASH, StepKind.SEPARATE)
"""Their flow follows from the cross-section of the vessel, however full it is."""


@dataclass(frozen=True, slots=True)
class Hands:
    """How much of people the plant reckons with; each is the plant's own figure, the defaults are planning values from memory.

    ``safe_wait_min``: how long a bed may stand after a safe hold point; ``unsafe_wait_min`` after any other step but an injection,
    which goes straight on.
    """

    attention: Mapping[StepKind, int] = field(default_factory=lambda: dict(ATTENTION))
    safe_wait_min: int = 720
    unsafe_wait_min: int = 10
    judging_min: int = 20
    judging_wait_min: int = 960
    filling_min: int = 15
    filling_per_tank_min: int = 6
    release_min: int = 20
    release_wait_min: int = 2880
    slot_min: int = 5
    """The grid of the day plan: both legs of a mixed bed are cut on it."""


def stages_of(plan: BatchPlan, waste_m3: Mapping[int, float], hands: Hands) -> tuple[Stage, ...]:
    """The stages of a batch plan, by the litre of its resin.

    Parameters
    ----------
    plan : BatchPlan
        With a usable stock of each chemical; without one its dose counts as planned, its dilution not at all
    waste_m3 : Mapping
        What each step sends to the waste tank, by step number [m^3]; steps that send nothing may be left out
    hands : Hands
        People and waits

    Returns
    -------
    stages : tuple of Stage
        The steps in order, both legs of a mixed bed beside each other, then judging, filling and release
    """
    litres = plan.totals["resin_volume_m3"].value * 1000
    before = [step for step in plan.steps if step.leg is Leg.WHOLE]
    legs = [[step for step in plan.steps if step.leg is leg] for leg in (Leg.CATION, Leg.ANION)]
    first_of_leg = min((step.number for leg in legs for step in leg), default=None)
    made = _Made(waste_m3, hands, litres)
    stages: list[Stage] = []
    for step in before:
        if first_of_leg is not None and step.number > first_of_leg:
            stages.extend(made.side_by_side(legs))
            first_of_leg = None
        stages.extend(made.stages(step))
    if first_of_leg is not None:
        stages.extend(made.side_by_side(legs))
    stages = _with_load(stages, plan, litres)
    return (*stages, *_behind(hands))


Rounds = tuple[tuple[tuple[Stage, ...], ...], ...]
"""What is left of a batch: rounds one after the other, each of chains of stages that run side by side."""


def rest_of(
    plan: BatchPlan,
    waste_m3: Mapping[int, float],
    hands: Hands,
    left_min: Mapping[int, float],
    running: Collection[int],
) -> Rounds:
    """What is left of a batch under way.

    Parameters
    ----------
    plan, waste_m3, hands
        As in ``stages_of``
    left_min : Mapping
        What is left of each step that is not ended yet, by its number [min]; steps that are not named are over
    running : Collection of int
        Numbers of the steps that have begun: their chemical is drawn

    Returns
    -------
    rounds : tuple
        One chain, as ``stages_of`` has it, until a leg of a mixed bed has begun; from then on each leg goes on by itself, and
        what follows both is a round of its own. The first stage of a step that runs lasts what is left of it
    """
    litres = plan.totals["resin_volume_m3"].value * 1000
    made = _Made(waste_m3, hands, litres)
    in_legs = [step for step in plan.steps if step.leg is not Leg.WHOLE]
    whole = [step for step in plan.steps if step.leg is Leg.WHOLE and step.number in left_min]
    first = min((step.number for step in in_legs), default=0)
    before = [one for step in whole if step.number < first for one in made.left(step, left_min, running)]
    after = [one for step in whole if step.number > first for one in made.left(step, left_min, running)]
    rounds: list[list[list[Stage]]]
    if all(step.number in left_min and step.number not in running for step in in_legs):
        legs = [[step for step in in_legs if step.leg is leg] for leg in (Leg.CATION, Leg.ANION)]
        rounds = [[[*before, *(made.side_by_side(legs) if in_legs else ()), *after, *_behind(hands)]]]
    else:
        apart = [
            [one for step in in_legs if step.leg is leg and step.number in left_min
             for one in made.left(step, left_min, running)]
            for leg in (Leg.CATION, Leg.ANION)
        ]  # fmt: skip
        rounds = [[before], [leg for leg in apart if leg], [[*after, *_behind(hands)]]]
    fed = [step.number for step in plan.steps if step.chemical is not None]
    if all(number in left_min and number not in running for number in fed):
        rounds[0][0] = _with_load(rounds[0][0], plan, litres)
    kept = (tuple(tuple(chain) for chain in of_round if chain) for of_round in rounds)
    return tuple(of_round for of_round in kept if of_round)


def _what_is_left(stages: Sequence[Stage], left_min: float) -> list[Stage]:
    """The end of the stages of one step that runs, so that they last what is left of it, at least a minute."""
    gone = sum(stage.minutes for stage in stages) - max(1, math.ceil(left_min - 1e-9))
    rest = list(stages)
    while len(rest) > 1 and gone >= rest[0].minutes:
        gone -= rest.pop(0).minutes
    first = rest[0]
    return [replace(first, minutes=max(1, first.minutes - max(0, gone)), dose_g_per_l=0.0), *rest[1:]]


def _behind(hands: Hands) -> tuple[Stage, ...]:
    """What follows the last step of every recipe."""
    nothing = Stage("", 0, 0, None, 0.0, None, 0.0, False, 0, 0, 0)
    return (
        replace(
            nothing,
            name="judge",
            minutes=hands.judging_min,
            technicians=1,
            max_wait_after_min=hands.judging_wait_min,
        ),
        replace(
            nothing,
            name="fill tanks",
            minutes=hands.filling_min,
            minutes_per_tank=hands.filling_per_tank_min,
            attention=WHOLE_OPERATOR,
            max_wait_after_min=hands.release_wait_min,
        ),
        replace(nothing, name="release", minutes=hands.release_min, second_people=1, after_vessel=True),
    )


def _with_load(stages: Sequence[Stage], plan: BatchPlan, litres: float) -> list[Stage]:
    """What the batch sends to the sewer counts when its first chemical is fed: the same day, and before anything drains."""
    loads = loads_of_plan({key: figure.value for key, figure in plan.totals.items()})
    by_litre = {ion: loads.of(ion) * 1000 / litres for ion in IONS if loads.of(ion) > 0.0}
    at = next((at for at, stage in enumerate(stages) if stage.chemical is not None), None)
    found = list(stages)
    if at is not None and by_litre:
        found[at] = replace(found[at], load_g_per_l=by_litre)
    return found


class _Made:
    """Makes stages for one batch."""

    def __init__(self, waste_m3: Mapping[int, float], hands: Hands, litres: float) -> None:
        self.waste_m3 = waste_m3
        self.hands = hands
        self.litres = litres

    def _minutes(self, step: PlannedStep) -> int:
        return max(1, math.ceil(step.value("duration_s") / 60 - 1e-9))

    def _flow_bv_per_h(self, volume_m3: float, minutes: float) -> float:
        return volume_m3 * 1000 / self.litres / (minutes / 60)

    def _wait_min(self, step: PlannedStep) -> int:
        if step.is_safe_hold_after:
            return self.hands.safe_wait_min
        return 0 if step.kind is StepKind.INJECT else self.hands.unsafe_wait_min

    def stages(self, step: PlannedStep) -> list[Stage]:
        """The stage of a step; two where only the first part of its water goes to the waste tank."""
        minutes = self._minutes(step)
        volume = _water_m3(step)
        kept = self.waste_m3.get(step.number, 0.0)
        whole = Stage(
            name=f"{step.number} {step.name}",
            minutes=minutes,
            minutes_per_tank=0,
            chemical=step.chemical.value if step.chemical is not None else None,
            dose_g_per_l=self._dose(step),
            water=step.water.value if step.water is not None and volume > 0.0 else None,
            flow_bv_per_h=0.0 if step.kind in BY_VESSEL else self._flow_bv_per_h(volume, minutes),
            flow_l_per_min=volume * 1000 / minutes if step.kind in BY_VESSEL else 0.0,
            to_waste=kept > 0.0,
            attention=self.hands.attention.get(step.kind, 0),
            technicians=0,
            max_wait_after_min=self._wait_min(step),
            in_one_opening=not step.is_safe_hold_after,
        )
        share = kept / volume if volume > 0.0 else 0.0
        first_min = math.ceil(minutes * share - 1e-9)
        if not 0.0 < share < 1.0 or not 0 < first_min < minutes:
            return [whole]
        first = replace(whole, minutes=first_min, max_wait_after_min=0, in_one_opening=False)
        return [
            first,
            replace(
                whole, name=f"{whole.name}, clean", minutes=minutes - first_min, to_waste=False,
                chemical=None, dose_g_per_l=0.0,
            ),
        ]  # fmt: skip

    def left(self, step: PlannedStep, left_min: Mapping[int, float], running: Collection[int]) -> list[Stage]:
        """The stages of a step that is not ended, as far as they are not over."""
        stages = self.stages(step)
        return _what_is_left(stages, left_min[step.number]) if step.number in running else stages

    def _dose(self, step: PlannedStep) -> float:
        if step.chemical is None or "chemical_kg_100" not in step.figures:
            return 0.0
        return step.value("chemical_kg_100") * 1000 / self.litres

    def side_by_side(self, legs: Sequence[Sequence[PlannedStep]]) -> list[Stage]:
        """Both legs from one moment on, cut wherever a step of either begins: each cut is a stage, the other leg beside it."""
        timed = [self._timed(leg) for leg in legs if leg]
        cuts = sorted({at for leg in timed for begin, end, _ in leg for at in (begin, end)})
        stages = []
        for begin, end in pairwise(cuts):
            parts = [
                (stage if at == begin else replace(stage, dose_g_per_l=0.0))
                for leg in timed
                for at, until, stage in leg
                if at <= begin < until
            ]
            main, *others = parts
            stages.append(
                replace(
                    main,
                    name=" + ".join(part.name for part in parts),
                    minutes=end - begin,
                    attention=min(WHOLE_OPERATOR, sum(part.attention for part in parts)),
                    max_wait_after_min=0,
                    in_one_opening=False,
                    beside=tuple(
                        Beside(
                            part.chemical, part.dose_g_per_l, part.water, part.flow_bv_per_h, part.to_waste
                        )
                        for part in others
                    ),
                )
            )
        last = [leg[-1][2] for leg in timed]
        wait = min(stage.max_wait_after_min for stage in last)
        unsafe = any(stage.in_one_opening for stage in last)
        return [*stages[:-1], replace(stages[-1], max_wait_after_min=wait, in_one_opening=unsafe)]

    def _timed(self, leg: Sequence[PlannedStep]) -> list[tuple[int, int, Stage]]:
        at, timed = 0, []
        for step in leg:
            for stage in self.stages(step):
                until = at + -(-stage.minutes // self.hands.slot_min) * self.hands.slot_min
                timed.append((at, until, stage))
                at = until
        return timed


def _water_m3(step: PlannedStep) -> float:
    """What a step takes of its water; a rinse in a loop takes the filling of the loop."""
    key = "loop_fill_m3" if step.kind is StepKind.RECIRCULATE else "volume_m3"
    return step.figures[key].value if key in step.figures else 0.0
