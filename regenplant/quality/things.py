"""What a batch used: resin and chemical lots, vessels, skids, instruments, waters, and who worked; for many batches at once.

At most nine queries, whatever the number of batches: the page of a year is as quick as that of a day.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from enum import StrEnum
from functools import lru_cache

from regenplant.batches.models import Batch, BatchTank, MeterLog, RinseReading, StepEntry, StepRun
from regenplant.chemicals.models import Movement
from regenplant.quality.models import QcMeasurement
from regenplant.resins.models import LotParent


class Thing(StrEnum):
    """What two batches can have in common; the more telling first."""

    RESIN_LOT = "resin_lot"
    CHEMICAL_LOT = "chemical_lot"
    VESSEL = "vessel"
    SKID = "skid"
    INSTRUMENT = "instrument"
    PERSON = "person"
    WATER = "water"

    @property
    def label(self) -> str:
        """As people call it."""
        return _LABELS[self]


_LABELS = {
    Thing.RESIN_LOT: "resin lot",
    Thing.CHEMICAL_LOT: "chemical lot",
    Thing.VESSEL: "vessel",
    Thing.SKID: "skid",
    Thing.INSTRUMENT: "instrument",
    Thing.PERSON: "person at a step",
    Thing.WATER: "water supply",
}
SHARED_BY_BATCHES = tuple(thing for thing in Thing if thing is not Thing.PERSON)
"""What is compared between batches. Who worked is asked about a person only: everybody shares a shift."""

Things = dict[Thing, frozenset[str]]


def things_of(batches: Iterable[Batch], wanted: Iterable[Thing] = SHARED_BY_BATCHES) -> dict[int, Things]:
    """What each batch used, by its key. At most nine queries for all of them."""
    rows = {batch.pk: batch for batch in batches}
    finders = {
        Thing.RESIN_LOT: _resin_lots,
        Thing.CHEMICAL_LOT: _chemical_lots,
        Thing.VESSEL: _vessels,
        Thing.SKID: _skids,
        Thing.INSTRUMENT: _instruments,
        Thing.PERSON: _people,
        Thing.WATER: _waters,
    }
    found: dict[int, dict[Thing, set[str]]] = {pk: {} for pk in rows}
    for thing in wanted:
        for pk, code in finders[thing](rows):
            if pk in found and code:
                found[pk].setdefault(thing, set()).add(code)
    return {pk: {thing: frozenset(codes) for thing, codes in things.items()} for pk, things in found.items()}


Found = Iterator[tuple[int, str]]


def _vessels(rows: dict[int, Batch]) -> Found:
    for pk, batch in rows.items():
        yield pk, batch.vessel.code
        if batch.anion_vessel is not None:
            yield pk, batch.anion_vessel.code


def _resin_lots(rows: dict[int, Batch]) -> Found:
    """The lots that went in, and the lot that was made: a lot that one batch made and another took in is what they share.

    Of a batch that never passed, what went in is what its tanks are said to hold, or, once they were refilled after a rework, what
    the lot in them came from.
    """
    made: dict[int, set[int]] = {}
    for pk, batch in rows.items():
        if batch.lot is not None:
            yield pk, batch.lot.code
            made.setdefault(batch.lot.pk, set()).add(pk)
    links = BatchTank.objects.filter(batch__in=[pk for pk, batch in rows.items() if batch.lot_id is None])
    for pk, later, code in links.values_list(
        "batch_id", "visit__refilled_lot_id", "visit__tank__resin_lot__code"
    ):
        if later is not None:
            made.setdefault(later, set()).add(pk)
        else:
            yield pk, code or ""
    for child, code in LotParent.objects.filter(child__in=made).values_list("child_id", "parent__code"):
        for pk in made[child]:
            yield pk, code


def _chemical_lots(rows: dict[int, Batch]) -> Found:
    """The lots that were drawn; where nothing was drawn yet, those it was planned with."""
    numbers = {batch.number: pk for pk, batch in rows.items()}
    drawn: set[int] = set()
    moves = Movement.objects.filter(reference__in=numbers, lot__isnull=False, corrects__isnull=True)
    for number, code in moves.order_by().values_list("reference", "lot__code").distinct():
        drawn.add(numbers[number])
        yield numbers[number], code
    for pk, batch in rows.items():
        if pk not in drawn:
            for code in batch.chemical_lots.values():
                yield pk, code


def _skids(rows: dict[int, Batch]) -> Found:
    """The skid each chemical was planned through, as the frozen plan names it."""
    for pk, text in Batch.objects.filter(pk__in=rows).values_list("pk", "plan_text"):
        for chemical, skid in _part_of(text, "skids").items():
            if chemical in rows[pk].chemical_lots:
                yield pk, skid["code"]


def _part_of(plan_text: str, name: str) -> dict[str, dict[str, str]]:
    """One part of a frozen plan, read without the rest: a plan is long, and many are looked through."""
    mark = f'"{name}":'
    place = plan_text.find(mark)
    if place < 0:
        return {}
    found: dict[str, dict[str, str]] = json.JSONDecoder().raw_decode(plan_text, place + len(mark))[0]
    return found


def _instruments(rows: dict[int, Batch]) -> Found:
    """What it was read and measured with."""
    for model, batch in (
        (RinseReading, "batch_id"),
        (MeterLog, "batch_id"),
        (QcMeasurement, "batch_id"),
        (StepEntry, "step__batch_id"),
    ):
        used = model._default_manager.filter(
            **{f"{batch.removesuffix('_id')}__in": rows}, instrument__isnull=False
        )
        yield from used.order_by().values_list(batch, "instrument__code").distinct()


def _people(rows: dict[int, Batch]) -> Found:
    steps = StepRun.objects.filter(batch__in=rows).order_by()
    for role in ("started_by", "finished_by"):
        yield from (
            steps.filter(**{f"{role}__isnull": False})
            .values_list("batch_id", f"{role}__full_name")
            .distinct()
        )


def _waters(rows: dict[int, Batch]) -> Found:
    """The supplies its recipe takes water from."""
    for pk, batch in rows.items():
        for kind in _waters_of(batch.recipe_version.digest, batch.recipe_version.content):
            yield pk, kind


@lru_cache(maxsize=256)
def _waters_of(recipe_digest: str, content: str) -> tuple[str, ...]:
    steps = json.loads(content).get("steps", ())
    return tuple(sorted({step["water"] for step in steps if step.get("water")}))
