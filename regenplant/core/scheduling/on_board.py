"""A plan that is there already, put back onto a board: so that one batch can be taken off and everything else kept."""

from __future__ import annotations

from dataclasses import dataclass

from regenplant.core.scheduling.compiled import Compiled
from regenplant.core.scheduling.plan import Plan
from regenplant.core.scheduling.search import Fit, Search


@dataclass(frozen=True, slots=True)
class Parts:
    """The score of a board in its parts, each in the money of the problem."""

    late: float
    batches: float
    waivers: float
    chemicals: float
    """Chemicals, water and waste."""
    changeovers: float
    makespan: float
    moves: float

    @property
    def total(self) -> float:
        """As the search and the checker count it."""
        return (
            self.late
            + self.batches
            + self.waivers
            + self.chemicals
            + self.changeovers
            + self.makespan
            + self.moves
        )

    def less(self, other: Parts) -> Parts:
        """What this one has more, part by part."""
        return Parts(*(getattr(self, name) - getattr(other, name) for name in self.__slots__))


def on_board(compiled: Compiled, plan: Plan, seed: int = 1) -> Search:
    """A search with the batches of this plan on its board, in their order; tanks of no batch are unplaced."""
    search = Search(compiled, seed)
    problem = compiled.problem
    tank_at = {tank.id: at for at, tank in enumerate(problem.tanks)}
    vessel_at = {vessel.id: at for at, vessel in enumerate(problem.vessels)}
    pin_at = {frozenset(pin.tanks): at for at, pin in enumerate(compiled.pins)}
    for batch in plan.batches:
        tanks = [tank_at[name] for name in batch.tanks]
        vessel = vessel_at[batch.vessel]
        starts = [stage.start_min // compiled.slot_min for stage in batch.stages]
        put_at(search, tanks, vessel, starts, pin_at.get(frozenset(tanks), -1))
    placed = {tank for batch in search.batches for tank in batch.tanks}
    search.unplaced = [tank for tank in range(len(problem.tanks)) if tank not in placed]
    search.score = search.whole_score()
    return search


def put_at(search: Search, tanks: list[int], vessel: int, starts: list[int], pin: int = -1) -> None:
    """One batch onto the board where it is said to stand; the board is not asked whether it fits."""
    compiled = search.compiled
    key = compiled.key_of[tanks[0]]
    volume = sum(compiled.volume[tank] for tank in tanks)
    percent = max(compiled.percent[tank] for tank in tanks)
    needs = compiled.needs(key, vessel, len(tanks), max(volume, compiled.minimum[vessel]), percent)
    cost = search.fixed_cost(vessel, volume, needs) + search.late_cost(tanks, needs.done(starts))
    cost += compiled.moves_cost(tanks, vessel, starts[0])
    search.put(key, tanks, volume, percent, Fit(vessel, needs, starts, cost, cost), pin)


def parts_of(search: Search) -> Parts:
    """What the batches on the board cost. Tanks without a batch are not counted."""
    compiled, costs = search.compiled, search.compiled.problem.costs
    underfilled = sum(batch.volume < compiled.minimum[batch.vessel] for batch in search.batches)
    return Parts(
        late=sum(search.late_cost(batch.tanks, batch.done) for batch in search.batches),
        batches=costs.batch * len(search.batches),
        waivers=costs.underfill_waiver * underfilled,
        chemicals=sum(batch.needs.cost for batch in search.batches),
        changeovers=sum(search.changes_cost(vessel) for vessel in range(len(search.board.sequence))),
        makespan=compiled.span_per_slot * search.last_end(),
        moves=sum(compiled.moves_cost(batch.tanks, batch.vessel, batch.start) for batch in search.batches),
    )
