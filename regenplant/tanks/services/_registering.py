"""Making a tank's row: shared by the acts that register one."""

from __future__ import annotations

import math

from regenplant.audit.records import one_of, refuse_known, words_of
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.core.process.intake import MAX_FILL_FRAC, is_too_full
from regenplant.core.process.vocabulary import SegregationClass
from regenplant.resins.models import ResinLot, ResinType
from regenplant.tanks.models import Customer, Tank, TankSize
from regenplant.tanks.selectors import next_serial
from regenplant.tanks.services._rules import serial_of
from regenplant.units import twin


def new_tank(
    *,
    size_id: int,
    resin_type_id: int,
    segregation_class: str,
    serial: str = "",
    resin_volume_m3: float | None = None,
    dedicated_to_id: int | None = None,
    resin_lot_id: int | None = None,
    neck_band: str = "",
) -> Tank:
    """Make, check and store the row; see ``add_tank`` for what is refused."""
    size = TankSize.objects.get(pk=size_id)
    volume_m3 = size.nominal_resin_m3 if resin_volume_m3 is None else resin_volume_m3
    require_room(volume_m3, size.gross_m3, field="resin_volume_m3")
    one_of(
        segregation_class, [item.value for item in SegregationClass], "The class", field="segregation_class"
    )
    if segregation_class == SegregationClass.DEDICATED.value and dedicated_to_id is None:
        raise RecordRefused(
            "A class A tank belongs to one customer. Say to whom it is dedicated.", field="dedicated_to_id"
        )
    tank = Tank(
        serial=serial_of(serial) if serial.strip() else next_serial(),
        size=size,
        resin_type=ResinType.objects.get(pk=resin_type_id),
        segregation_class=segregation_class,
        dedicated_to=Customer.objects.get(pk=dedicated_to_id) if dedicated_to_id is not None else None,
        resin_lot=ResinLot.objects.get(pk=resin_lot_id) if resin_lot_id is not None else None,
        resin_volume_m3=volume_m3,
        neck_band=words_of(neck_band, "The neck band", field="neck_band", most=40),
    )
    refuse_known(Tank, tank.serial, "Tank", field="serial")
    _lot_fits(tank)
    tank.save()
    return tank


def above_zero(value: float, *, field: str) -> float:
    """The value. Raises: OutOfRange unless it is finite and above zero."""
    if not (math.isfinite(value) and value > 0):
        raise OutOfRange(f"{value:.4g} cannot be; it must be above zero.", field=field, seen=value)
    return value


def require_room(resin_m3: float, gross_m3: float, *, field: str) -> None:
    """Raise OutOfRange unless this much resin [m^3] is above zero and fits a cylinder of this volume [m^3]."""
    above_zero(resin_m3, field=field)
    if is_too_full(resin_m3, gross_m3):
        most_m3 = MAX_FILL_FRAC * gross_m3
        raise OutOfRange(
            f"{twin(resin_m3, 'resin_volume')} of resin do not fit: at most {MAX_FILL_FRAC:.0%} of the cylinder may be "
            f"resin, that is {twin(most_m3, 'resin_volume')}.",
            field=field,
            seen=resin_m3,
            allowed_high=most_m3,
        )


def _lot_fits(tank: Tank) -> None:
    lot = tank.resin_lot
    if lot is not None and (lot.resin_type_id, lot.segregation_class) != (
        tank.resin_type_id,
        tank.segregation_class,
    ):
        raise RecordRefused(
            f"Lot {lot.code} is {lot.resin_type.code} of class {lot.segregation_class}; {tank.serial} is "
            f"{tank.resin_type.code} of class {tank.segregation_class}. They are never mixed.",
            field="resin_lot_id",
        )
