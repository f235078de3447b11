"""Treating what stands in a waste tank, and giving it to a licensed collector."""

from __future__ import annotations

import math

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.records import one_of, words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.chemicals.services import draw_to_treat
from regenplant.core.engineering.equilibria import REAGENTS
from regenplant.core.errors import OutOfRange, RecordRefused, StaleRecord
from regenplant.core.process.plan import StockData
from regenplant.core.process.vocabulary import Chemical
from regenplant.core.process.waste_held import poured_in
from regenplant.plant.models import WasteTank
from regenplant.waste.discharges import open_discharge
from regenplant.waste.models import Discharge, WasteMovement
from regenplant.waste.selectors import last_movement
from regenplant.waste.services._moving import held_now, take_out, tank_of, write_movement
from regenplant.waste.treatment import against, brings_mol, kilograms_100, neutralizers, treatment_of

SAME = 1e-9
"""Relative: the same volume typed twice, with the same unit or another one."""


@use_case("waste.treated", permission="waste.treat")
def treat_waste(
    *,
    by: By,
    waste_tank_id: int,
    chemical: str,
    volume_m3: float,
    volume_again_m3: float,
    note: str = "",
    shown_number: int | None = None,
) -> Outcome:
    """A neutralizer was given: its volume from stock, typed twice; the mass leaves the ledger of chemicals. ``result`` is the row.

    Without a measured pH only the first stage of the plan is taken; a second treatment wants a pH measured after the first.
    ``shown_number``: the last movement the person saw; None: not asked.
    Raises: RecordRefused, OutOfRange, StaleRecord.
    """
    tank = tank_of(waste_tank_id)
    _refuse_stale(tank, shown_number)
    one_of(chemical, sorted(REAGENTS), "The neutralizer", field="chemical")
    kind, words = Chemical(chemical), words_of(note, "The note", field="note", most=200)
    _refuse_while_it_runs_out(tank)
    before = held_now(tank)
    _refuse_volumes(tank, before.volume_m3, volume_m3, volume_again_m3)
    stock = _stock(by, kind)
    kg_100 = kilograms_100(stock, volume_m3)
    stop = against(treatment_of(tank, by.at), kind, kg_100, by.at)
    if stop:
        raise RecordRefused(stop, code="not_now", field="volume_m3")
    drawn = draw_to_treat(
        by=by, chemical=chemical, grams_100=round(kg_100 * 1000.0), reference=f"waste tank {tank.code}"
    )
    after = poured_in(before, volume_m3, brings_mol(chemical, kg_100), stock.temperature_kelvin)
    row = write_movement(
        by=by,
        tank=tank,
        kind=WasteMovement.Kind.TREATMENT,
        before=before,
        after=after,
        temperature_kelvin=stock.temperature_kelvin,
        movement=drawn.result,
        reference=f"movement {drawn.result.number}",
        reason=words,
    )
    return Outcome(
        subject=("waste_tank", str(tank.pk), tank.code),
        before={"level_m3": before.volume_m3},
        after={"level_m3": after.volume_m3},
        facts={
            "chemical": kind.label.lower(),
            "shown": units.twin(volume_m3, "liquid_volume"),
            "kg_100": kg_100,
            "mass": units.twin(kg_100, "mass"),
            "lot": stock.lot_code,
            "number": row.number,
        },
        reason=words,
        related=(("movement", str(drawn.result.number)),),
        result=row,
    )


def _refuse_stale(tank: WasteTank, shown_number: int | None) -> None:
    last = last_movement(tank)
    stands = last.number if last is not None else 0
    if shown_number is not None and shown_number != stands:
        raise StaleRecord(
            f"Something came into {tank.code} or left it since this page was shown. Look at what it holds now, then give what it needs.",
            seen=shown_number,
            present=stands,
        )


def _refuse_while_it_runs_out(tank: WasteTank) -> None:
    """Nothing is given to a tank whose outlet is open: what leaves is then other than what was proven. Raises: RecordRefused."""
    under_way = open_discharge(tank)
    if under_way is not None and under_way.state == Discharge.State.RELEASED:
        raise RecordRefused(
            f"{under_way.number} is released: the outlet of {tank.code} may be open. Shut it and write down what went, then treat.",
            code="outlet_open",
        )


def _refuse_volumes(tank: WasteTank, held_m3: float, volume_m3: float, again_m3: float) -> None:
    room = tank.capacity_m3 - held_m3
    if not 0.0 < volume_m3 <= max(room, 0.0):
        raise OutOfRange(
            f"{units.twin(volume_m3, 'liquid_volume')} cannot be given: more than nothing, and at most the room in {tank.code}, "
            f"{units.twin(max(room, 0.0), 'liquid_volume')}.",
            field="volume_m3",
            seen=volume_m3,
            allowed_low=0.0,
            allowed_high=room,
        )
    if not math.isclose(volume_m3, again_m3, rel_tol=SAME):
        raise RecordRefused(
            f"The volume was typed as {units.twin(volume_m3, 'liquid_volume')} and then as {units.twin(again_m3, 'liquid_volume')}. "
            "Nothing was written. Look again, then write it anew.",
            code="typed_differently",
            field="volume_again_m3",
        )


def _stock(by: By, chemical: Chemical) -> StockData:
    """The stock in use, with a strength the plant knows. Raises: RecordRefused."""
    stock = neutralizers(by.at).get(chemical.value)
    if stock is None:
        raise RecordRefused(
            f"No lot of {chemical.label.lower()} is in use. Put a checked lot in use first.",
            code="no_lot",
            field="chemical",
        )
    if stock.check_age_days is None or stock.check_age_days > stock.max_check_age_days:
        raise RecordRefused(
            f"The strength of lot {stock.lot_code} was not checked in the last {stock.max_check_age_days:g} days. Check it first: the "
            "amount follows from it.",
            code="check_overdue",
            field="chemical",
        )
    return stock


@use_case("waste.taken_away", permission="waste.take_away")
def take_waste_away(
    *,
    by: By,
    waste_tank_id: int,
    volume_m3: float,
    collector: str,
    document: str,
    shown_number: int | None = None,
) -> Outcome:
    """Somebody licensed for it collected waste from the tank; ``document`` is its paper. ``result`` is the row.

    Raises: RecordRefused, OutOfRange for more than stands there, StaleRecord.
    """
    tank = tank_of(waste_tank_id)
    _refuse_stale(tank, shown_number)
    who = words_of(collector, "Who collected it", field="collector", most=100, least=3)
    paper = words_of(document, "The paper", field="document", most=60, least=3)
    loads = take_out(
        by=by,
        tank_id=tank.pk,
        volume_m3=volume_m3,
        why=f"Collected by {who}",
        discharge_number=paper,
        kind=WasteMovement.Kind.TAKEN_AWAY,
    )
    return Outcome(
        subject=("waste_tank", str(tank.pk), tank.code),
        after={"level_m3": loads.movement.level_m3},
        facts={
            "shown": units.twin(volume_m3, "liquid_volume"),
            "collector": who,
            "document": paper,
            "number": loads.movement.number,
        },
        result=loads.movement,
    )


say("waste.treated", "{subject} was treated with {shown} of {chemical}, {mass} as 100 % (lot {lot})")
say("waste.taken_away", "{shown} were taken away from {subject} by {collector} ({document})")
