"""Reading the record of one batch into what it took: by chemical, with the part of each customer and lot. Writes nothing.

A mass belongs to the step that ended at the moment it left the stock; what no step explains is divided among the steps of that chemical as
they were planned. Only steps that ended count as planned: a batch that was given up is not held against what it never came to.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Batch, StepRun
from regenplant.chemicals.models import Movement, Place
from regenplant.core.process.lifecycle import StepState
from regenplant.core.process.plan import BatchPlan, PlannedStep
from regenplant.core.process.use_audit import (
    Sums,
    compared_sums,
    shared,
    shared_sums,
    shift_at,
    variance_step,
)
from regenplant.core.process.vocabulary import Leg
from regenplant.plant.selectors import profile
from regenplant.resins.models import LotParent, ResinLot
from regenplant.use.models import UseShare
from regenplant.use.pricing import PriceList
from regenplant.use.watching import WATCH_BUILT_IN, Watch, watch_at

RATIO = "regenerant_ratio_frac"
"""Figure of an injection that regenerates: its equivalents over the load of the resin."""


@dataclass(frozen=True, slots=True)
class StepUse:
    """One step that brings a chemical. Masses as 100 % in grams."""

    number: int
    chemical: str
    regenerates: bool
    theory_grams: int
    planned_grams: int
    used_grams: int


@dataclass(frozen=True, slots=True)
class ChemicalTaken:
    """What a batch took of one chemical, and the share of each customer, resin lot and chemical lot by kind and code."""

    chemical: str
    sums: Sums
    shares: Mapping[str, Mapping[str, Sums]]
    customer_lots: Mapping[str, Mapping[str, int]]
    """Of each customer's share the resin lots, in millilitres."""


@dataclass(frozen=True, slots=True)
class Taken:
    """All that a batch took, with when and in which shift it was started."""

    day: date
    shift: str
    chemicals: tuple[ChemicalTaken, ...]


def movements_of(number: str) -> list[Movement]:
    """What went into this batch and what was taken back, in order."""
    kind = Place.Kind.BATCH
    rows = Movement.objects.filter(reference=number).select_related(
        "from_place", "to_place", "lot__data_sheet", "moved_by", "corrects"
    )
    return [row for row in rows.order_by("number") if kind in (row.from_place.kind, row.to_place.kind)]


def signed_grams(movement: Movement) -> int:
    """Into the batch above zero, back below."""
    return movement.grams_100 if movement.to_place.kind == Place.Kind.BATCH else -movement.grams_100


def steps_of_movements(
    movements: Iterable[Movement], steps: Iterable[tuple[StepRun, PlannedStep]]
) -> dict[int, int | None]:
    """By number of the movement: the step it names; of an older program the one that ended at its moment, None where none did. A correction
    goes with what it takes back."""
    free = sorted(steps, key=lambda pair: pair[0].number)
    numbers = {step.number for step, _ in free}
    found: dict[int, int | None] = {}
    for movement in movements:
        if movement.corrects is not None:
            found[movement.number] = found.get(movement.corrects.number)
            continue
        if movement.step_number is not None:
            found[movement.number] = movement.step_number if movement.step_number in numbers else None
            continue
        match = next(
            (
                pair
                for pair in free
                if pair[1].chemical is not None
                and pair[1].chemical.value == movement.chemical
                and pair[0].finished_at == movement.moved_at
            ),
            None,
        )
        found[movement.number] = match[0].number if match else None
        if match:
            free.remove(match)
    return found


def steps_used(batch: Batch, movements: list[Movement]) -> tuple[StepUse, ...]:
    """Every ended step that brings a chemical, with its theory, plan and use; and, with number 0, what no step of the plan brings."""
    plan = plan_of(batch)
    ended = [
        (step, plan.step(step.number))
        for step in batch.steps.filter(state=StepState.DONE.value).order_by("number")
        if plan.step(step.number).chemical is not None
    ]
    of_movement = steps_of_movements(movements, ended)
    planned = [one for _, one in ended]
    used = {one.number: 0 for one in planned}
    left: dict[str, int] = {}
    for movement in movements:
        number = of_movement[movement.number]
        if number is not None:
            used[number] += signed_grams(movement)
        else:
            left[movement.chemical] = left.get(movement.chemical, 0) + signed_grams(movement)
    strays = []
    for chemical, grams in left.items():
        weights = {str(one.number): one.value("chemical_kg_100") for one in planned if _name(one) == chemical}
        if weights:
            for number_text, part in shared(grams, weights).items():
                used[int(number_text)] += part
        else:
            strays.append(StepUse(0, chemical, False, 0, 0, grams))
    return (
        *(
            StepUse(
                one.number,
                _name(one),
                RATIO in one.figures,
                round(theory_kg_100(one, planned) * 1000),
                round(one.value("chemical_kg_100") * 1000),
                used[one.number],
            )
            for one in planned
        ),
        *strays,
    )


def theory_kg_100(step: PlannedStep, planned: Iterable[PlannedStep]) -> float:
    """What stoichiometry asks of this step, as 100 % [kg]: its part of what the load asks for, where injections regenerate the same resin in
    turns, as they were planned; 0 where it elutes nothing (cleaning, sanitizing, brine ahead of a separation)."""
    if RATIO not in step.figures:
        return 0.0
    own = step.value("chemical_kg_100")
    sharing = sum(
        one.value("chemical_kg_100")
        for one in planned
        if one.chemical is step.chemical and one.leg is step.leg and RATIO in one.figures
    )
    return own / step.value(RATIO) * (own / sharing)


def _name(step: PlannedStep) -> str:
    assert step.chemical is not None
    return step.chemical.value


def taken_by(batch: Batch, prices: PriceList, watch: Watch | None = None) -> Taken | None:
    """What the record says this batch took; None for one that was not started, or took nothing of anything."""
    if batch.started_at is None:
        return None
    movements = movements_of(batch.number)
    steps = steps_used(batch, movements)
    local = batch.started_at.astimezone(ZoneInfo(profile().time_zone))
    levels = watch or watch_at(batch.started_at) or WATCH_BUILT_IN
    volume_ml, plan = batch.resin_volume_m3 * 1e6, plan_of(batch)
    customers, lots = customer_weights(batch), resin_lot_weights(batch)
    of_tanks = lots_by_customer(batch, customers, lots)
    chemicals = []
    for chemical in sorted({one.chemical for one in steps}):
        own = [one for one in steps if one.chemical == chemical]
        drawn = _by_lot(movements, chemical)
        sums = _sums(own, round(volume_ml * component_frac(plan, chemical)), drawn, prices)
        weights = {
            UseShare.Kind.CUSTOMER.value: customers,
            UseShare.Kind.RESIN_LOT.value: lots,
            UseShare.Kind.CHEMICAL_LOT.value: _lot_weights(drawn),
        }
        shares = {kind: shared_sums(sums, by_key) for kind, by_key in weights.items()}
        by_customer = shares[UseShare.Kind.CUSTOMER.value]
        customer_lots = {
            code: shared(by_customer[code].volume_ml, own_lots) for code, own_lots in of_tanks.items()
        }
        chemicals.append(ChemicalTaken(chemical, sums, shares, customer_lots))
    if not chemicals:
        return None
    return Taken(local.date(), shift_at(local.hour * 60 + local.minute, levels.shifts), tuple(chemicals))


def component_frac(plan: BatchPlan, chemical: str) -> float:
    """Share of the resin a chemical is meant for: of a mixed bed the cation resin's for the acid, the anion resin's for the caustic, as
    doses are stated; 1 of any other bed, and for what goes over the whole of a mixed one."""
    mixed = plan.request.mixed
    own = [step for step in plan.steps if step.chemical is not None and step.chemical.value == chemical]
    legs = {step.leg for step in own if RATIO in step.figures} or {step.leg for step in own}
    if mixed is None or not legs or Leg.WHOLE in legs:
        return 1.0
    shares = {Leg.CATION: mixed.cation_frac, Leg.ANION: 1.0 - mixed.cation_frac}
    return sum(shares[leg] for leg in legs)


def _sums(steps: list[StepUse], volume_ml: int, drawn: Mapping[str, int], prices: PriceList) -> Sums:
    planned, used = sum(one.planned_grams for one in steps), sum(one.used_grams for one in steps)
    count, total, squares = compared_sums(variance_step(used, planned))
    costs = [prices.cost_milli(code, grams) for code, grams in drawn.items()]
    return Sums(
        batches=1,
        volume_ml=volume_ml,
        theory_grams=sum(one.theory_grams for one in steps),
        planned_grams=planned,
        used_grams=used,
        regenerating_grams=sum(one.used_grams for one in steps if one.regenerates),
        compared=count,
        variance_sum=total,
        variance_squares=squares,
        cost_milli=sum(cost for cost in costs if cost is not None),
        priced_grams=sum(
            grams for (_, grams), cost in zip(drawn.items(), costs, strict=True) if cost is not None
        ),
    )


def _by_lot(movements: Iterable[Movement], chemical: str) -> dict[str, int]:
    """Net grams by chemical lot; "" for a movement without one."""
    found: dict[str, int] = {}
    for movement in movements:
        if movement.chemical == chemical:
            code = movement.lot.code if movement.lot is not None else ""
            found[code] = found.get(code, 0) + signed_grams(movement)
    return found


def _lot_weights(drawn: Mapping[str, int]) -> dict[str, float]:
    """Chemical lots by what came of them; where nothing is left of it (all was taken back), the first stands for the whole."""
    if any(grams > 0 for grams in drawn.values()):
        return {code: float(max(grams, 0)) for code, grams in drawn.items() if grams > 0}
    return {min(drawn, default=""): 1.0}


def customer_weights(batch: Batch) -> dict[str, float]:
    """Resin volume in the batch by customer code."""
    found: dict[str, float] = {}
    for code, volume in batch.tank_links.values_list("visit__customer__code", "resin_volume_m3"):
        found[code] = found.get(code, 0.0) + volume
    return found or {"": 1.0}


def resin_lot_weights(batch: Batch) -> dict[str, float]:
    """Resin by the lots it came from: of the lot that was made of it, its parents; before that, what the tanks hold. What is not on record
    stands under "". A batch that was given up keeps what it had when it was: its tanks went on."""
    made = _lot_made(batch)
    if made is not None:
        links = LotParent.objects.filter(child=made).values_list("parent__code", "fraction")
        return _with_unknown(dict(links), 1.0)
    kept = _kept_lots(batch) if batch.finished_at is not None else {}
    if kept:
        return kept
    origin = batch
    while origin.parent is not None:
        origin = origin.parent
        if origin.lot is not None:
            return {origin.lot.code: 1.0}
    found: dict[str, float] = {}
    links_of = origin.tank_links.values_list("visit__tank__resin_lot__code", "resin_volume_m3")
    for code, volume in links_of:
        found[code or ""] = found.get(code or "", 0.0) + volume
    return found or {"": 1.0}


def lots_by_customer(
    batch: Batch, customers: Mapping[str, float], lots: Mapping[str, float]
) -> dict[str, dict[str, float]]:
    """Of which lots each customer's part consists, by volume: of the tanks while they hold them, later what was kept then. Where it is not
    on record (a rework; a batch of before it was kept), every customer's part is taken to consist of the lots of the batch."""
    found: dict[str, dict[str, float]] = {}
    if batch.parent is None and _lot_made(batch) is None and batch.finished_at is None:
        tanks = batch.tank_links.values_list(
            "visit__customer__code", "visit__tank__resin_lot__code", "resin_volume_m3"
        )
        for code, lot, volume in tanks:
            own = found.setdefault(code, {})
            own[lot or ""] = own.get(lot or "", 0.0) + volume
    else:
        rows = UseShare.objects.filter(row__number=batch.number, kind=UseShare.Kind.CUSTOMER).exclude(lots={})
        found = {code: dict(kept) for code, kept in rows.order_by("row__chemical").values_list("key", "lots")}
    return {code: found.get(code) or dict(lots) for code in customers}


def _lot_made(batch: Batch) -> ResinLot | None:
    """The lot this batch or, where it failed, a rework of it made."""
    waiting = [batch]
    while waiting:
        one = waiting.pop()
        if one.lot is not None:
            return one.lot
        waiting.extend(Batch.objects.filter(parent=one).select_related("lot"))
    return None


def _with_unknown(weights: dict[str, float], whole: float) -> dict[str, float]:
    rest = whole - sum(weights.values())
    return {**weights, "": rest} if rest > 1e-6 * whole else weights


def _kept_lots(batch: Batch) -> dict[str, float]:
    rows = UseShare.objects.filter(row__number=batch.number, kind=UseShare.Kind.RESIN_LOT)
    first = rows.order_by("row__chemical").values_list("row_id", flat=True).first()
    return {code: float(volume) for code, volume in rows.filter(row=first).values_list("key", "volume_ml")}


def started_of(batch: Batch) -> datetime:
    """When it was started; only of batches that were."""
    assert batch.started_at is not None
    return batch.started_at
