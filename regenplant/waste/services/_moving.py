"""The one writer of the waste ledger: a row, and the level of the tank beside it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from django.db.models import Max

from regenplant import units
from regenplant.audit.by import By
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.core.process.waste_held import ION_WEIGHTS_KG_PER_MOL, WasteHeld, taken_out
from regenplant.plant.models import WasteTank
from regenplant.waste.held import held_in
from regenplant.waste.models import WasteMovement

ALMOST_M3 = 1e-9


def tank_of(waste_tank_id: int) -> WasteTank:
    """The tank, locked for this act. Raises: RecordRefused."""
    tank = WasteTank.objects.select_for_update().filter(pk=waste_tank_id).first()
    if tank is None:
        raise RecordRefused("This waste tank is not known here.", code="unknown")
    return tank


def held_now(tank: WasteTank) -> WasteHeld:
    """What stands in the tank by its ledger."""
    return held_in(tank, WasteMovement.objects.filter(tank=tank).order_by("-number").first())


def write_movement(
    *,
    by: By,
    tank: WasteTank,
    kind: WasteMovement.Kind,
    before: WasteHeld,
    after: WasteHeld,
    temperature_kelvin: float | None = None,
    **fields: Any,
) -> WasteMovement:
    """One row from what stood in the tank to what stands in it now. Call inside an act, which makes writers follow one another."""
    highest = WasteMovement.objects.aggregate(highest=Max("number"))["highest"] or 0
    names = {*before.amounts_mol, *after.amounts_mol}
    amounts = {
        name: after.amounts_mol.get(name, 0.0) - before.amounts_mol.get(name, 0.0) for name in sorted(names)
    }
    row = WasteMovement.objects.create(
        number=highest + 1,
        tank=tank,
        kind=kind.value,
        volume_m3=after.volume_m3 - before.volume_m3,
        amounts_mol={name: moles for name, moles in amounts.items() if moles},
        temperature_kelvin=temperature_kelvin,
        level_m3=after.volume_m3,
        held_mol={name: moles for name, moles in sorted(after.amounts_mol.items()) if moles},
        unknown_m3=after.unknown_m3,
        held_temperature_kelvin=after.temperature_kelvin,
        moved_at=by.happened_at,
        moved_by=by.user,
        **fields,
    )
    WasteTank.objects.filter(pk=tank.pk).update(level_m3=after.volume_m3)
    tank.level_m3 = after.volume_m3
    return row


@dataclass(frozen=True, slots=True)
class Loads:
    """What left a waste tank."""

    movement: WasteMovement
    volume_m3: float
    chloride_kg: float
    sodium_kg: float
    sulfate_kg: float
    tds_kg: float


def loads_from(movement: WasteMovement, amounts_mol: Mapping[str, float]) -> Loads:
    """Masses of what a movement took out."""
    mass = {name: moles * ION_WEIGHTS_KG_PER_MOL[name] for name, moles in amounts_mol.items()}
    return Loads(
        movement,
        -movement.volume_m3,
        mass.get("chloride", 0.0),
        mass.get("sodium", 0.0),
        mass.get("sulfate", 0.0),
        sum(mass.values()),
    )


def take_out(
    *,
    by: By,
    tank_id: int,
    volume_m3: float,
    why: str = "",
    discharge_number: str = "",
    kind: WasteMovement.Kind = WasteMovement.Kind.DISCHARGE,
) -> Loads:
    """A volume leaves the tank, every ion in proportion. Call inside an act.

    Raises: RecordRefused for an unknown tank; OutOfRange for a volume not above zero, or more than stands in it.
    """
    tank = tank_of(tank_id)
    before = held_now(tank)
    if not 0.0 < volume_m3 <= before.volume_m3 + ALMOST_M3:
        raise OutOfRange(
            f"{units.twin(volume_m3, 'liquid_volume')} cannot leave: by the books {units.twin(before.volume_m3, 'liquid_volume')} "
            f"stand in {tank.code}. Read the level first if that is wrong.",
            field="volume_m3",
            seen=volume_m3,
            allowed_low=0.0,
            allowed_high=before.volume_m3,
        )
    after, left = taken_out(before, min(volume_m3, before.volume_m3))
    row = write_movement(
        by=by, tank=tank, kind=kind, before=before, after=after, reference=discharge_number, reason=why
    )
    return loads_from(row, left)
