"""Why a batch stands in its vessel and not in another, and why these tanks and not more or fewer: every other way is tried with
everything else kept, and its price compared.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from enum import StrEnum

from regenplant.core.scheduling.board import Placed
from regenplant.core.scheduling.compiled import Compiled
from regenplant.core.scheduling.improve import keep, restore
from regenplant.core.scheduling.limits import Place, Wanted
from regenplant.core.scheduling.on_board import Parts, on_board, parts_of
from regenplant.core.scheduling.plan import Plan
from regenplant.core.scheduling.problem import Problem
from regenplant.core.scheduling.search import Search
from regenplant.core.scheduling.why_now import Lifted, lifted

MOST_TRIED = 12
"""So many tanks of other batches are tried in a batch, and so many of its own apart: those due nearest to its own first."""


class Refusal(StrEnum):
    """Why a batch cannot be in a vessel."""

    FAMILY = "family"
    SEGREGATION = "segregation"
    TOO_SMALL = "too_small"
    CLOSED = "closed"
    """Locked out for all the days that are planned."""
    NO_PLACE = "no_place"
    """No place in the days that are planned, everything else kept."""
    DECIDED = "decided"
    """Somebody decided on another vessel."""


@dataclass(frozen=True, slots=True)
class Elsewhere:
    """Another vessel: what refuses the batch there, or when it would be ready and what that costs more."""

    vessel: str
    refusal: Refusal | None
    ready_min: int | None = None
    costs: Parts | None = None
    is_underfilled: bool = False


@dataclass(frozen=True, slots=True)
class WhyHere:
    """A batch against every other vessel, in the order of the problem."""

    batch: str
    vessel: str
    volume_l: float
    others: tuple[Elsewhere, ...]


class Way(StrEnum):
    """Another pooling of tanks."""

    ADD = "add"
    """A tank of another batch goes with this one."""
    APART = "apart"
    """A tank of this batch goes by itself."""
    JOIN = "join"
    """All of another batch goes with this one."""


@dataclass(frozen=True, slots=True)
class Pooling:
    """Another pooling and what it costs more; ``costs`` None where it has no place in the days that are planned."""

    way: Way
    tank: str
    """Of ADD and APART."""
    batch: str
    """The other batch, of ADD and JOIN."""
    costs: Parts | None


@dataclass(frozen=True, slots=True)
class WhyTanks:
    """The tanks of a batch against other poolings."""

    batch: str
    tanks: tuple[str, ...]
    volume_l: float
    room_l: float
    """What its vessel still takes."""
    same_key: int
    """Other tanks of the plan with the same resin, class, owner and treatment."""
    too_big: tuple[str, ...]
    """Those of them that its vessel and every other allowed one are too small for, together with the batch."""
    come_later: tuple[str, ...]
    """Those that are not there yet when it is loaded."""
    cheapest_added: Pooling | None
    cheapest_apart: Pooling | None
    cheapest_joined: Pooling | None


def why_here(problem: Problem, plan: Plan, name: str) -> WhyHere:
    """The batch of this name against every other vessel. Raises: OutOfRange where there is none."""
    return why_lifted_here(lifted(problem, plan, name))


def why_lifted_here(found: Lifted) -> WhyHere:
    """As ``why_here``, of a batch that is taken off already."""
    problem = found.search.compiled.problem
    batch = found.batch
    return WhyHere(
        batch=found.name,
        vessel=problem.vessels[batch.vessel].id,
        volume_l=batch.volume,
        others=tuple(_elsewhere(found, at) for at in range(len(problem.vessels)) if at != batch.vessel),
    )


def _elsewhere(found: Lifted, vessel: int) -> Elsewhere:
    compiled, batch = found.search.compiled, found.batch
    row, key = compiled.problem.vessels[vessel], compiled.keys[batch.key]
    refusal: Refusal | None = None
    if key.family not in row.families:
        refusal = Refusal.FAMILY
    elif key.segregation not in row.segregation:
        refusal = Refusal.SEGREGATION
    elif batch.volume > row.max_fill_l:
        refusal = Refusal.TOO_SMALL
    elif batch.pin >= 0 and compiled.pins[batch.pin].vessel not in (-1, vessel):
        refusal = Refusal.DECIDED
    if refusal is not None:
        return Elsewhere(row.id, refusal)
    wanted = Wanted(batch.key, tuple(batch.tanks), vessel, batch.volume, batch.percent, batch.pin)
    place = Place(found.search, wanted)
    starts = place.earliest()
    if starts is None:
        shut = list(compiled.open_parts(vessel, place.first, compiled.slots))
        return Elsewhere(row.id, Refusal.NO_PLACE if shut else Refusal.CLOSED)
    return Elsewhere(
        row.id,
        None,
        place.needs.done(starts) * compiled.slot_min,
        found.costs_at(vessel, starts),
        batch.volume < row.min_fill_l,
    )


def why_tanks(problem: Problem, plan: Plan, name: str) -> WhyTanks:
    """The tanks of the batch of this name against other poolings. Raises: OutOfRange where there is none."""
    lifted(problem, plan, name)  # refuses a name that is not there
    search = on_board(Compiled(problem), plan)
    names = [batch.id for batch in plan.batches]
    return _Poolings(search, dict(zip(names, search.batches, strict=True)), name).answer()


class _Poolings:
    """Every other pooling of one batch, each tried on the board and taken back."""

    def __init__(self, search: Search, batches: dict[str, Placed], name: str) -> None:
        self.search = search
        self.compiled = search.compiled
        self.batches = batches
        self.name = name
        self.batch = batches[name]
        self.kept = keep(search)
        self.before = parts_of(search)

    def answer(self) -> WhyTanks:
        compiled, batch = self.compiled, self.batch
        tanks = compiled.problem.tanks
        largest = max(compiled.capacity[vessel] for vessel in compiled.vessels_of[batch.key])
        others = self._others()
        too_big = [tank for tank, _ in others if batch.volume + compiled.volume[tank] > largest]
        later = [tank for tank, _ in others if compiled.received[tank] > batch.start and tank not in too_big]
        pinned = batch.pin >= 0
        added = [] if pinned else self._added([(tank, home) for tank, home in others if tank not in too_big])
        apart = [] if pinned or len(batch.tanks) < 2 else self._apart()
        joined = [] if pinned else self._joined(largest)
        return WhyTanks(
            batch=self.name,
            tanks=tuple(tanks[tank].id for tank in batch.tanks),
            volume_l=batch.volume,
            room_l=compiled.capacity[batch.vessel] - batch.volume,
            same_key=len(others),
            too_big=tuple(tanks[tank].id for tank in too_big),
            come_later=tuple(tanks[tank].id for tank in later),
            cheapest_added=_cheapest(added),
            cheapest_apart=_cheapest(apart),
            cheapest_joined=_cheapest(joined),
        )

    def _others(self) -> list[tuple[int, str]]:
        """Tanks of the same key in other batches, those due nearest first, with the name of their batch."""
        due = min(self.compiled.due_min[tank] for tank in self.batch.tanks)
        found = [
            (tank, name)
            for name, other in self.batches.items()
            if name != self.name and other.key == self.batch.key
            for tank in other.tanks
        ]
        return sorted(found, key=lambda item: (abs(self.compiled.due_min[item[0]] - due), item[0]))

    def _added(self, others: Sequence[tuple[int, str]]) -> Iterator[Pooling]:
        names = self.compiled.problem.tanks
        for tank, home in others[:MOST_TRIED]:
            donor = self.batches[home]
            if donor.pin >= 0:
                continue
            left = [one for one in donor.tanks if one != tank]
            costs = self._tried([self.batch, donor], [[*self.batch.tanks, tank], left])
            yield Pooling(Way.ADD, names[tank].id, home, costs)

    def _apart(self) -> Iterator[Pooling]:
        names = self.compiled.problem.tanks
        for tank in self.batch.tanks[:MOST_TRIED]:
            left = [one for one in self.batch.tanks if one != tank]
            yield Pooling(Way.APART, names[tank].id, "", self._tried([self.batch], [left, [tank]]))

    def _joined(self, largest: float) -> Iterator[Pooling]:
        near = sorted(
            (abs(other.start - self.batch.start), name)
            for name, other in self.batches.items()
            if name != self.name and other.key == self.batch.key and other.pin < 0
        )
        for _, name in near[:MOST_TRIED]:
            other = self.batches[name]
            if self.batch.volume + other.volume <= largest:
                costs = self._tried([self.batch, other], [[*self.batch.tanks, *other.tanks]])
                yield Pooling(Way.JOIN, "", name, costs)

    def _tried(self, off: Sequence[Placed], groups: Sequence[list[int]]) -> Parts | None:
        """What the plan costs more with these batches off and these tanks together, each where it costs least."""
        search, compiled = self.search, self.compiled
        for batch in off:
            search.take_off(batch)
        placed = True
        for group in groups:
            if not group:
                continue
            volume = sum(compiled.volume[tank] for tank in group)
            percent = max(compiled.percent[tank] for tank in group)
            fit = search.best_fit(self.batch.key, group, volume, percent)
            if fit is None:
                placed = False
                break
            search.put(self.batch.key, group, volume, percent, fit)
        found = parts_of(search).less(self.before) if placed else None
        restore(search, self.kept)
        return found


def _cheapest(poolings: Iterable[Pooling]) -> Pooling | None:
    """The one that costs least; one without a place only where none has any."""
    return min(
        poolings,
        key=lambda item: (
            item.costs is None,
            item.costs.total if item.costs is not None else 0.0,
            item.tank,
            item.batch,
        ),
        default=None,
    )
