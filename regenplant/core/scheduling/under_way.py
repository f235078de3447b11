"""What is under way, laid so that it is possible: the rest of each begun batch from now on, one stage after the other.

Stages that run are where they are, whatever they take. All others wait until people, skids, water, stock and waste room that are left
are enough, and the plant is open where the bed must not be left: nothing is ever laid over a limit, but where the chemical, the room
or the day's budget is missing for good. A batch whose bed cannot stand where it is now goes on before all others, up to its next
safe point.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from enum import StrEnum

import numpy as np

from regenplant.core.scheduling.board import BUDGET_TOLERANCE_KG, WASTE_TRIES, Board
from regenplant.core.scheduling.compiled import Compiled, Needs, Step
from regenplant.core.scheduling.figures import stage_need
from regenplant.core.scheduling.problem import Problem, RunningBatch, RunningStage, Stage


@dataclass(frozen=True, slots=True)
class Chain:
    """Stages one after the other."""

    stages: tuple[Stage, ...]
    has_begun: bool = False
    """The first of them runs."""
    stands_min: int | None = None
    """For how long the bed may stand from now on, where it stands; None for as long as it takes."""


@dataclass(frozen=True, slots=True)
class BegunBatch:
    """What is left of a batch. Each round holds the chains that run side by side; a round begins when the one before has ended."""

    id: str
    vessel: str
    tanks: tuple[str, ...]
    litres: float
    to_fill: int
    """Tanks that are still to be filled."""
    rounds: tuple[tuple[Chain, ...], ...]
    beside: str = ""
    """The vessel of the other leg; empty for none."""


class TroubleKind(StrEnum):
    """What is not as it should be with what is under way."""

    OVER = "over"
    """What runs now takes more than there is."""
    STANDS = "stands"
    """The bed stands longer than it may before a stage, and not at a safe point."""
    SHORT = "short"
    """A stage takes more of a chemical, of the waste tank's room or of a budget than there is."""
    NEVER = "never"
    """In the days that are planned there is no time for a stage."""


@dataclass(frozen=True, slots=True)
class Trouble:
    """One thing about what is under way that people have to know."""

    kind: TroubleKind
    batch: str = ""
    stage: str = ""
    what: str = ""
    """Of what more is taken than there is: "operators", "QC technicians", "second people", a chemical's skid ("skid hcl"), its stock
    ("stock hcl"), a water ("water ro"), "waste", a budget ("budget chloride")."""
    taken: float = 0.0
    """So much of it; for a bed that stands, its minutes."""
    room: float = 0.0
    """So much is there; for a bed that stands, the minutes it may."""
    from_min: int = 0
    until_min: int = 0
    """From when to when."""


@dataclass(frozen=True, slots=True)
class Laid:
    """Where everything under way stands."""

    batches: tuple[RunningBatch, ...]
    free_min: tuple[int, ...]
    """When the vessel of each falls free, in the same order."""
    troubles: tuple[Trouble, ...]


@dataclass(slots=True)
class _Row:
    """A chain while it is laid: its steps, and the starts of those that are laid already."""

    batch: BegunBatch
    chain: Chain
    steps: tuple[Step, ...]
    free: int
    """The slot from which on its first step may begin."""
    wait: int | None
    """Slots that the bed may stand from then on; None for any."""
    starts: list[int] = field(default_factory=list)
    is_stuck: bool = False

    @property
    def rest(self) -> tuple[Step, ...]:
        """The steps that are not laid."""
        return () if self.is_stuck else self.steps[len(self.starts) :]

    @property
    def end(self) -> int:
        """When what is laid has ended."""
        return self.starts[-1] + self.steps[len(self.starts) - 1].slots if self.starts else self.free

    @property
    def may_stand(self) -> int | None:
        """Slots that the bed may stand behind what is laid."""
        return self.steps[len(self.starts) - 1].wait if self.starts else self.wait

    @property
    def name(self) -> str:
        """Of the step that comes next."""
        return self.chain.stages[len(self.starts)].name


def laid(limits: Problem, batches: Sequence[BegunBatch], now_min: int) -> Laid:
    """The stages of what is under way in time.

    Parameters
    ----------
    limits : Problem
        Whatever is shared; its tanks, vessels and running batches are not looked at
    batches : sequence of BegunBatch
        In the order in which they go on
    now_min : int
        On the grid

    Returns
    -------
    laid : Laid
        In the order of ``batches``
    """
    board = Board(Compiled(replace(limits, tanks=(), vessels=(), running=(), pins=(), standing=())))
    return _Laying(board, max(0, now_min // limits.slot_min)).all(batches)


class _Laying:
    """One laying of everything under way on one board."""

    def __init__(self, board: Board, now: int) -> None:
        self.board = board
        self.slot_min = board.compiled.slot_min
        self.now = now
        self.troubles: list[Trouble] = []

    def all(self, batches: Sequence[BegunBatch]) -> Laid:
        """What runs, then what must go on up to a safe point, then the rest in order."""
        rounds = [[[self._row(one, chain) for chain in chains] for chains in one.rounds] for one in batches]
        first = [row for of_batch in rounds for row in (of_batch[0] if of_batch else ())]
        before = self._left()
        for row in first:
            if row.chain.has_begun:
                self._put(row, [self.now])
        self._tell_over(before)
        for row in sorted(first, key=lambda row: row.end):
            if row.may_stand is not None and (row.starts or row.wait is not None):
                self._lay(row, _until_safe(row))
        for of_batch in rounds:
            self._lay_rounds(of_batch)
        made = [self._made(one, of_batch) for one, of_batch in zip(batches, rounds, strict=True)]
        return Laid(tuple(one for one, _ in made), tuple(free for _, free in made), tuple(self.troubles))

    def _row(self, batch: BegunBatch, chain: Chain) -> _Row:
        needs = self.board.compiled.needs_of(chain.stages, batch.to_fill, batch.litres, 100.0)
        wait = None if chain.stands_min is None else chain.stands_min // self.slot_min
        return _Row(batch, chain, needs.steps, self.now, wait)

    def _lay_rounds(self, rounds: Sequence[Sequence[_Row]]) -> None:
        """Each round from the end of the one before; nothing behind a chain that is stuck."""
        last: _Row | None = None
        for of_round in rounds:
            for row in of_round:
                if last is not None:
                    row.free, row.wait = last.end, last.may_stand
                self._lay(row, len(row.rest))
            if any(row.is_stuck for row in of_round):
                return
            last = max(of_round, key=lambda row: row.end)

    # --- one chain ---------------------------------------------------------------------------------------------------------

    def _put(self, row: _Row, starts: Sequence[int]) -> None:
        at = len(row.starts)
        self.board.take(row.steps[at : at + len(starts)], starts)
        row.starts += starts

    def _lay(self, row: _Row, count: int) -> None:
        """So many of the next steps: together where they keep every wait, else from safe point to safe point, else one by one."""
        if not count:
            return
        whole = self._fit(row.rest[:count], row.end, row.may_stand)
        if whole is not None:
            self._put(row, whole)
            return
        until = len(row.starts) + count
        while len(row.starts) < until and not row.is_stuck:
            train = row.rest[: min(_until_safe(row), until - len(row.starts))]
            starts = self._fit(train, row.end, row.may_stand) or self._fit(train, row.end, None)
            if starts is not None:
                self._tell_standing(row, starts[0])
                self._put(row, starts)
            else:
                for _ in train:
                    if not row.is_stuck:
                        self._lay_one(row)

    def _lay_one(self, row: _Row) -> None:
        """The next step as soon as people, skid and water are there, if need be over what is in stock and what the waste tank holds."""
        step = row.rest[0]
        starts = self._fit((step,), row.end, None)
        if starts is None:
            unmeasured = tuple((at, lines, 0) for at, lines, _ in step.draws)
            starts = self._fit((replace(step, draws=unmeasured, waste_flow=0, loads=()),), row.end, None)
            if starts is None:
                row.is_stuck = True
                self.troubles.append(Trouble(TroubleKind.NEVER, row.batch.id, row.name))
                return
            self._tell_short(row, step, starts[0])
        self._tell_standing(row, starts[0])
        self._put(row, starts)

    def _fit(self, steps: tuple[Step, ...], earliest: int, wait: int | None) -> list[int] | None:
        """Starts of these steps, each as soon as can be with all others inside their waits; None where there are none."""
        needs = Needs(steps, 0.0, shortest=sum(step.slots for step in steps), after=0, inside=len(steps))
        possible = self.board.possible(needs)
        if possible is None:
            return None
        possible = list(possible)
        for _ in range(WASTE_TRIES):
            starts = _soonest(steps, possible, earliest, wait)
            if starts is None:
                return None
            over = self.board.overflow(steps, starts)
            if over is None:
                return starts
            stage, slots = over
            possible[stage] &= ~(((1 << slots) - 1) << starts[stage])
        return None

    # --- what people have to know ------------------------------------------------------------------------------------------

    def _left(self) -> dict[str, np.ndarray]:
        """What is left of everything shared, slot by slot."""
        board, compiled = self.board, self.board.compiled
        return {
            "operators": board.attention / compiled.problem.attention_per_operator,
            "QC technicians": board.technicians.astype(float),
            "second people": board.second_people.astype(float),
            **{f"skid {one}": board.skid[at].astype(float) for at, one in enumerate(compiled.chemicals)},
            **{f"water {one}": board.water[at].astype(float) for at, one in enumerate(compiled.waters)},
            "waste": compiled.problem.waste.capacity_l - board.level,
        }

    def _tell_over(self, before: dict[str, np.ndarray]) -> None:
        """Where what runs takes more than there is by itself."""
        for what, left in self._left().items():
            over = np.flatnonzero((left < -1e-6) & (left < before[what] - 1e-6))
            if not len(over):
                continue
            at = int(over[0])
            until = at + int(np.argmax(np.append(left[at:] >= -1e-6, True)))
            room = (
                self.board.compiled.problem.waste.capacity_l if what == "waste" else float(before[what][at])
            )
            taken = room - float(left[at]) if what == "waste" else float(before[what][at] - left[at])
            minutes = (at * self.slot_min, until * self.slot_min)
            self.troubles.append(Trouble(TroubleKind.OVER, "", "", what, taken, room, *minutes))

    def _tell_standing(self, row: _Row, start: int) -> None:
        """At a safe point a bed may well stand longer than was reckoned with: that is a delay and no trouble."""
        may = row.may_stand
        is_safe = bool(row.starts) and _is_safe_after(row.steps[len(row.starts) - 1])
        if may is not None and not is_safe and start - row.end > may:
            minutes = ((start - row.end) * self.slot_min, may * self.slot_min)
            span = (row.end * self.slot_min, start * self.slot_min)
            self.troubles.append(Trouble(TroubleKind.STANDS, row.batch.id, row.name, "", *minutes, *span))

    def _tell_short(self, row: _Row, step: Step, start: int) -> None:
        """Which of stock, waste room and budget is missing."""
        board, compiled = self.board, self.board.compiled
        at_min = start * self.slot_min

        def tell(what: str, taken: float, room: float) -> None:
            self.troubles.append(
                Trouble(TroubleKind.SHORT, row.batch.id, row.name, what, taken, room, at_min, at_min)
            )

        for at, _, grams in step.draws:
            left = float(board.stock[at][start:].min())
            if grams > left:
                tell(f"stock {compiled.chemicals[at]}", grams / 1000, max(0.0, left) / 1000)
        for ion, kg in step.loads:
            left = float(board.budget[ion][start])
            if kg > left + BUDGET_TOLERANCE_KG:
                tell(f"budget {compiled.budget_ions[ion]}", kg, max(0.0, left))
        if board.overflow((step,), [start]) is not None:
            tell("waste", step.waste_flow * step.slots * self.slot_min, compiled.problem.waste.capacity_l)

    # --- what comes of it --------------------------------------------------------------------------------------------------

    def _made(self, batch: BegunBatch, rounds: Sequence[Sequence[_Row]]) -> tuple[RunningBatch, int]:
        """The batch, and when its vessel is free: at the end of the days that are planned where it is stuck."""
        rows = [row for of_round in rounds for row in of_round]
        stages = [
            one
            for row in rows
            for stage, start in zip(row.chain.stages, row.starts, strict=False)
            for one in _running(stage, batch, start * self.slot_min, self.slot_min)
        ]
        stages.sort(key=lambda one: (one.start_min, one.end_min))
        ends = [
            start + step.slots
            for row in rows
            for step, start in zip(row.steps, row.starts, strict=False)
            if not step.after_vessel
        ]
        free = self.board.slots if any(row.is_stuck for row in rows) else max(ends, default=self.now)
        made = RunningBatch(batch.id, batch.vessel, batch.tanks, tuple(stages), batch.beside)
        return made, free * self.slot_min


def _until_safe(row: _Row) -> int:
    """How many of the steps to come lead to the next point at which the bed may be left."""
    for at, step in enumerate(row.rest, start=1):
        if _is_safe_after(step):
            return at
    return len(row.rest)


def _is_safe_after(step: Step) -> bool:
    """Whether the bed may be left after the step."""
    return bool(step.wait) and not step.stays_open


def _soonest(
    steps: Sequence[Step], possible: Sequence[int], earliest: int, wait: int | None
) -> list[int] | None:
    """The first start of each step from which the others can follow inside their waits. Starts are sets of slots (slots.py)."""
    follow = [possible[-1]]
    for step, mask in zip(reversed(steps[:-1]), reversed(possible[:-1]), strict=True):
        reach = follow[0] >> step.slots
        for shift in step.shifts:
            reach |= reach >> shift
        follow.insert(0, reach & mask)
    starts: list[int] = []
    at, may = earliest, wait
    for step, mask in zip(steps, follow, strict=True):
        options = mask >> at
        if may is not None:
            options &= (1 << (may + 1)) - 1
        if not options:
            return None
        starts.append(at + (options & -options).bit_length() - 1)
        at, may = starts[-1] + step.slots, step.wait
    return starts


def _running(stage: Stage, batch: BegunBatch, start_min: int, slot_min: int) -> Iterator[RunningStage]:
    """The stage, once for each thing it takes beside others; people are counted once."""
    need = stage_need(stage, batch.to_fill, batch.litres, 100.0, slot_min)
    for at, use in enumerate(need.uses):
        is_first = at == 0
        yield RunningStage(
            name=stage.name,
            start_min=start_min,
            end_min=start_min + need.minutes,
            attention=stage.attention if is_first else 0,
            technicians=stage.technicians if is_first else 0,
            second_people=stage.second_people if is_first else 0,
            chemical=use.chemical,
            grams=use.grams,
            water=use.water,
            flow_l_per_min=use.flow_l_per_min,
            to_waste=use.to_waste,
            load_g=dict(need.load_g) if is_first else {},
        )
