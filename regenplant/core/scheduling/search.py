"""Finding plans: a first plan at once, then taking pieces out and putting them back better (large-neighbourhood search).

A step takes some batches off the board, pools their tanks again by key, and puts new batches where they cost least: the price of
the batch, its lateness, and the changeovers before and after it. Worse plans are taken on with a chance that falls with time
(simulated annealing). Every batch on the board keeps every limit at every moment, so the best plan so far can always be given out.
"""

from __future__ import annotations

import random
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from math import inf

from regenplant.core.scheduling.board import Board, Placed
from regenplant.core.scheduling.compiled import Compiled, Needs

UNPLACED_COST = 1e7
"""Price of a tank without a batch: more than any plan may gain by leaving one out."""

EARLIER_PER_SLOT = 1e-4
"""Of two places that cost the same, the one that is done earlier is taken: so little does a slot count when places are compared."""


@dataclass(slots=True)
class Fit:
    """One place for a batch: vessel, start slots, and what it adds to the score."""

    vessel: int
    needs: Needs
    starts: list[int]
    cost: float
    added: float


class Search:
    """One search on one board. Deterministic for a seed and a number of steps."""

    def __init__(self, compiled: Compiled, seed: int) -> None:
        self.compiled = compiled
        self.board = Board(compiled)
        self.random = random.Random(seed)
        self.batches: list[Placed] = []
        self.unplaced: list[int] = []
        self.score = 0.0

    # --- what things cost -----------------------------------------------------------------------------------------------

    def late_cost(self, tanks: list[int], end_slot: int) -> float:
        """Price of the lateness of tanks that are ready then."""
        compiled = self.compiled
        done = end_slot * compiled.slot_min
        late = 0.0
        for tank in tanks:
            over = done - compiled.due_min[tank]
            if over > 0:
                late += over * compiled.weight[tank]
        return late * compiled.late_per_min

    def fixed_cost(self, vessel: int, volume: float, needs: Needs) -> float:
        """Price of a batch wherever it stands in time."""
        costs = self.compiled.problem.costs
        waiver = costs.underfill_waiver if volume < self.compiled.minimum[vessel] else 0.0
        return costs.batch + waiver + needs.cost

    def changes_cost(self, vessel: int) -> float:
        """Price of the changeovers of a vessel as it stands."""
        return self._changes_cost(vessel, self.board.sequence[vessel])

    def _changes_cost(self, vessel: int, row: list[Placed]) -> float:
        count, before = 0, -1
        for batch in row:
            count += self.change(vessel, before, batch.key) > 0
            before = batch.key
        return count * self.compiled.change_cost[vessel]

    def saved_without(self, batches: list[Placed]) -> float:
        """What changeovers and the end of everything cost less without these batches."""
        rows = list(self.board.sequence)
        saved = 0.0
        for vessel in sorted({batch.vessel for batch in batches}):
            row = rows[vessel]
            rows[vessel] = [batch for batch in row if batch not in batches]
            saved += self._changes_cost(vessel, row) - self._changes_cost(vessel, rows[vessel])
        return saved + self.compiled.span_per_slot * (self.last_end() - self._last_end(rows))

    def change(self, vessel: int, before: int, after: int) -> int:
        """Slots of changeover; ``before`` -1 stands for what the vessel held at first."""
        if before < 0:
            return self.compiled.first_change_slots[vessel][after]
        return self.compiled.change_slots[before][after]

    def whole_score(self) -> float:
        """The score of the board, summed anew."""
        total = sum(batch.cost for batch in self.batches) + UNPLACED_COST * len(self.unplaced)
        total += sum(self.changes_cost(vessel) for vessel in range(len(self.board.sequence)))
        return total + self.compiled.span_per_slot * self.last_end()

    def last_end(self) -> int:
        """The slot in which everything is done."""
        return self._last_end(self.board.sequence)

    def _last_end(self, rows: list[list[Placed]]) -> int:
        if self.compiled.has_after:
            return max((batch.done for row in rows for batch in row), default=0)
        return max((row[-1].end for row in rows if row), default=0)

    # --- where a batch fits -----------------------------------------------------------------------------------------------

    def best_fit(
        self, key: int, tanks: list[int], volume: float, percent: float, pin: int = -1, below: float = inf
    ) -> Fit | None:
        """The place that adds least to the score, of all vessels and gaps; of a pinned batch, of those that were left open. None where
        there is none that adds less than ``below``."""
        compiled = self.compiled
        earliest = max(compiled.received[tank] for tank in tanks)
        last_end = self.last_end()
        best: Fit | None = None
        pinned = compiled.pins[pin] if pin >= 0 else None
        for vessel in compiled.vessels_of[key]:
            if volume > compiled.capacity[vessel]:
                continue
            if pinned is not None and pinned.vessel not in (-1, vessel):
                continue
            needs = compiled.needs(key, vessel, len(tanks), max(volume, compiled.minimum[vessel]), percent)
            fixed = self.fixed_cost(vessel, volume, needs)
            if best is None and below < inf:
                best = Fit(-1, needs, [], 0.0, below)  # none yet, but what one must be better than
            begin_at = pinned.start if pinned is not None else -1
            best = self.best_gap(vessel, key, tanks, needs, fixed, earliest, last_end, best, begin_at)
        return best if best is not None and best.vessel >= 0 else None

    def least_fixed(self, key: int, tanks: int, volume: float, percent: float) -> float:
        """What such a batch costs at least, wherever it stands."""
        compiled = self.compiled
        return min(
            (
                self.fixed_cost(
                    vessel,
                    volume,
                    compiled.needs(key, vessel, tanks, max(volume, compiled.minimum[vessel]), percent),
                )
                for vessel in compiled.vessels_of[key]
                if volume <= compiled.capacity[vessel]
            ),
            default=0.0,
        )

    def best_gap(
        self,
        vessel: int,
        key: int,
        tanks: list[int],
        needs: Needs,
        fixed: float,
        earliest: int,
        last_end: int,
        best: Fit | None,
        begin_at: int = -1,
    ) -> Fit | None:
        """The best of the gaps of one vessel, if better than the best so far. Gaps in order of time: when even an end at once
        would be too dear, the later ones are not looked at."""
        compiled, board = self.compiled, self.board
        row = board.sequence[vessel]
        change_cost = compiled.change_cost[vessel]
        span = compiled.span_per_slot
        before, free = -1, compiled.ready[vessel]
        for at in range(len(row) + 1):
            after = row[at] if at < len(row) else None
            if after is not None and after.start <= earliest:
                before, free = after.key, after.end
                continue
            setup = self.change(vessel, before, key)
            begin = max(earliest, free + setup)
            added = fixed + (change_cost if setup else 0.0)
            end_by = board.slots
            if after is not None:
                next_setup = compiled.change_slots[key][after.key]
                end_by = after.start - next_setup
                added += change_cost * ((next_setup > 0) - (self.change(vessel, before, after.key) > 0))
            if begin + needs.shortest <= end_by:
                least = added + self.late_cost(tanks, begin + needs.shortest + needs.after)
                if best is None or least < best.added - 1e-9:
                    plain = begin_at < 0 and not compiled.standing and not compiled.closed[vessel]
                    found = board.fit(needs, begin, end_by) if plain else None
                    places: Iterable[list[int]] = (found,) if found is not None else ()
                    if not plain:
                        places = self._starts_in(vessel, tanks, needs, begin, end_by, begin_at)
                    for starts in places:
                        end = needs.done(starts)
                        late = self.late_cost(tanks, end) + compiled.moves_cost(tanks, vessel, starts[0])
                        total = added + late + span * max(0, end - last_end) + EARLIER_PER_SLOT * end
                        if best is None or total < best.added:
                            best = Fit(vessel, needs, starts, fixed + late, total)
                elif (
                    fixed + self.late_cost(tanks, begin + needs.shortest + needs.after) - change_cost
                    >= best.added
                ):
                    break
            if after is not None:
                before, free = after.key, after.end
        return best

    def _starts_in(
        self, vessel: int, tanks: list[int], needs: Needs, begin: int, end_by: int, begin_at: int
    ) -> Iterator[list[int]]:
        """Places in one gap of a vessel: the earliest in what closed windows leave of it and, for tanks that a known plan begins
        later, the earliest from there on."""
        compiled, board = self.compiled, self.board
        for first, last in compiled.open_parts(vessel, begin, end_by):
            if begin_at >= 0 and not first <= begin_at < last:
                continue
            starts = board.fit(needs, first, last, begin_at)
            if starts is None:
                continue
            yield starts
            known = [compiled.standing[tank].start_min for tank in tanks if tank in compiled.standing]
            if known and begin_at < 0:
                then = -(-min(known) // compiled.slot_min)
                if first < then < last:
                    later = board.fit(needs, then, last, then) or board.fit(needs, then, last)
                    if later is not None:
                        yield later
            return

    def put(
        self, key: int, tanks: list[int], volume: float, percent: float, fit: Fit, pin: int = -1
    ) -> Placed:
        """A new batch onto the board."""
        batch = Placed(key, tanks, volume, percent, fit.vessel, fit.needs, pin)
        batch.starts = fit.starts
        batch.start = fit.starts[0]
        batch.end = fit.needs.vessel_free(fit.starts)
        batch.done = fit.needs.done(fit.starts)
        batch.cost = fit.cost
        self.board.put(batch)
        self.batches.append(batch)
        return batch

    def take_off(self, batch: Placed) -> None:
        """A batch from the board."""
        self.board.remove(batch)
        self.batches.remove(batch)

    # --- forming batches ---------------------------------------------------------------------------------------------------

    def fill(self, tanks: list[int], capacity: float) -> tuple[list[int], float]:
        """Of tanks in order those that fit, each skipped one giving way to the next."""
        volume = self.compiled.volume
        chosen, total = [], 0.0
        for tank in tanks:
            if total + volume[tank] <= capacity:
                chosen.append(tank)
                total += volume[tank]
        return chosen, total
