"""Reading a waste tank: its level, and with it temperature and pH. What the books had otherwise is written beside it."""

from __future__ import annotations

from dataclasses import dataclass

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.records import within, words_of
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.engineering.equilibria import HIGHEST_KELVIN, LOWEST_KELVIN
from regenplant.core.errors import RecordRefused, StaleRecord
from regenplant.core.process.waste_held import level_read
from regenplant.plant.models import Instrument, WasteTank
from regenplant.plant.selectors import is_instrument_valid, plant_day
from regenplant.waste.models import WasteMovement
from regenplant.waste.services._moving import held_now, tank_of, write_movement


@dataclass(frozen=True, slots=True)
class WasteReading:
    """What was read beside the level. ``ph`` with the meter that showed it; None: not measured."""

    temperature_kelvin: float | None = None
    ph: float | None = None
    instrument_id: int | None = None


NOT_MEASURED = WasteReading()


@use_case("waste.level_set", permission="plant.daily")
def set_waste_level(
    *,
    by: By,
    waste_tank_id: int,
    level_m3: float,
    note: str = "",
    reading: WasteReading = NOT_MEASURED,
    version: int | None = None,
) -> Outcome:
    """Write the level as read at the tank, and temperature and pH where they were measured.

    Less than the books say takes its ions along; more is of unknown composition. ``result`` is the tank.
    Raises: RecordRefused, OutOfRange, StaleRecord.
    """
    tank = tank_of(waste_tank_id)
    label = f"Waste tank {tank.code}"
    within(
        level_m3,
        0.0,
        tank.capacity_m3,
        "The level",
        "liquid_volume",
        field="level_m3",
        why="The tank holds no more.",
    )
    words = words_of(note, "The note", field="note", most=200)
    instrument, valid = _measured(by, reading)
    shown = tank.version if version is None else version
    before = held_now(tank)
    after = level_read(before, level_m3, reading.temperature_kelvin)
    if WasteTank.objects.filter(pk=tank.pk, version=shown).update(version=shown + 1) != 1:
        raise StaleRecord(
            f"{label} was changed since you opened it: it is at version {tank.version}, you had version {shown}. "
            "What you typed still stands here. Look at the present state, then write again.",
            seen=shown,
            present=tank.version,
            table=WasteTank._meta.db_table,
            key=str(tank.pk),
        )
    row = write_movement(
        by=by,
        tank=tank,
        kind=WasteMovement.Kind.READING,
        before=before,
        after=after,
        reason=words,
        temperature_kelvin=reading.temperature_kelvin,
        ph=reading.ph,
        instrument=instrument,
        instrument_was_valid=valid,
    )
    tank.refresh_from_db()
    facts = {
        "shown": units.twin(level_m3, "liquid_volume"),
        "books": units.twin(before.volume_m3, "liquid_volume"),
        "gap_m3": level_m3 - before.volume_m3,
        "number": row.number,
    }
    if reading.ph is not None:
        facts["ph"] = units.format_quantity(reading.ph, "ph")
    return Outcome(
        subject=("waste_tank", str(tank.pk), tank.code),
        before={"level_m3": before.volume_m3},
        after={"level_m3": level_m3},
        facts=facts,
        reason=words,
        result=tank,
    )


def _measured(by: By, reading: WasteReading) -> tuple[Instrument | None, bool]:
    """The pH meter and whether it proves anything today. Raises: RecordRefused, OutOfRange."""
    if reading.temperature_kelvin is not None:
        within(
            reading.temperature_kelvin,
            LOWEST_KELVIN,
            HIGHEST_KELVIN,
            "The temperature",
            "temperature",
            field="temperature_kelvin",
            why="Look at the thermometer; hotter waste is left to cool first.",
        )
    if reading.ph is None:
        return None, True
    within(reading.ph, 0.0, 14.0, "The pH", "ph", field="ph")
    meters = Instrument.objects.filter(kind=Instrument.Kind.PH)
    instrument = meters.filter(pk=reading.instrument_id).first() if reading.instrument_id else None
    if instrument is None:
        raise RecordRefused(
            "A pH comes with the meter that showed it. Choose the pH meter.",
            field="instrument",
            code="no_meter",
        )
    return instrument, is_instrument_valid(instrument, plant_day(by.happened_at), at=by.happened_at)


def _say_level(subject: str, stored: dict[str, object]) -> str:
    facts = stored.get("facts")
    found = facts if isinstance(facts, dict) else {}
    ph = f", pH {found['ph']}" if found.get("ph") else ""
    return f"Waste tank {subject}: level {found.get('shown', '')}{ph}"


say("waste.level_set", _say_level)
