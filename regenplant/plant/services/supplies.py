"""Acts on skids, waters and the waste tank."""

from __future__ import annotations

from dataclasses import dataclass

from regenplant import units
from regenplant.audit.by import By
from regenplant.audit.records import (
    code_of,
    one_of,
    refuse_known,
    saved_words,
    values_of,
    within,
    words_of,
    write_changed,
)
from regenplant.audit.use_case import Outcome, use_case
from regenplant.audit.wording import say
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.core.process.vocabulary import Chemical, WaterKind
from regenplant.plant.models import Skid, WasteTank, WaterSupply
from regenplant.plant.selectors import waste_tank


@dataclass(frozen=True, slots=True)
class SkidSettings:
    """A dilution skid for one chemical."""

    code: str
    name: str
    chemical: str
    flow_min_m3_per_s: float
    flow_max_m3_per_s: float
    heater_max_temperature_kelvin: float | None = None
    is_active: bool = True


@dataclass(frozen=True, slots=True)
class WaterSettings:
    """A water with what was last measured of it. Hardness as CaCO3."""

    kind: str
    temperature_kelvin: float
    max_flow_m3_per_s: float
    hardness_kg_per_m3: float = 0.0
    available_m3: float | None = None


@dataclass(frozen=True, slots=True)
class WasteTankSettings:
    """The neutralization tank; ``reserve_m3`` is kept for one emergency dump."""

    code: str
    name: str
    capacity_m3: float
    reserve_m3: float


# --- skids ----------------------------------------------------------------------------------------------------------
def _skid_subject(skid: Skid) -> tuple[str, str, str]:
    return ("skid", str(skid.pk), skid.code)


@use_case("skid.saved", permission="plant.edit")
def save_skid(*, by: By, skid: SkidSettings, version: int | None = None) -> Outcome:
    """Add a skid, or change the one with this code.

    Raises: RecordRefused, OutOfRange, StaleRecord.
    """
    code = code_of(skid.code, "The skid’s code", longest=12)
    words_of(skid.name, "The skid’s name", field="name", most=80, least=2)
    one_of(skid.chemical, [item.value for item in Chemical], "The chemical", field="chemical")
    high = within(skid.flow_max_m3_per_s, 1e-6, 0.5, "Largest flow", "flow", field="flow_max_m3_per_s")
    if not 0 < skid.flow_min_m3_per_s <= high:
        raise OutOfRange(
            f"Smallest flow is {units.twin(skid.flow_min_m3_per_s, 'flow')}; it lies above zero and at most at the largest, "
            f"{units.twin(high, 'flow')}.",
            field="flow_min_m3_per_s",
        )
    if skid.heater_max_temperature_kelvin is not None:
        within(
            skid.heater_max_temperature_kelvin, 283.15, 353.15, "Highest temperature of the heater", "temperature",
            field="heater_max_temperature_kelvin",
        )  # fmt: skip
    values = {**values_of(skid), "code": code, "name": skid.name.strip()}
    record = Skid.objects.select_for_update().filter(code=code).first()
    if record is None:
        record = Skid.objects.create(**values)
        return Outcome(subject=_skid_subject(record), after={"name": record.name}, result=record)
    if version is None:
        refuse_known(Skid, code, "Skid")
    before, after = write_changed(record, values, version=version, label=f"Skid {code}")
    return Outcome(subject=_skid_subject(record), before=before, after=after, result=record)


def _skid(skid_id: int) -> Skid:
    found = Skid.objects.select_for_update().filter(pk=skid_id).first()
    if found is None:
        raise RecordRefused("This skid is not known here.", code="unknown")
    return found


@use_case("skid.locked_out", permission="plant.lock_out")
def lock_out_skid(*, by: By, skid_id: int, reason: str, version: int | None = None) -> Outcome:
    """Take a skid out of work. Raises: RecordRefused, StaleRecord."""
    skid = _skid(skid_id)
    if skid.lock_out_reason:
        raise RecordRefused(f"{skid.code} is locked out already: {skid.lock_out_reason}", code="locked_out")
    words = words_of(reason, "The reason", field="reason", most=200, least=5)
    before, after = write_changed(
        skid, {"lock_out_reason": words}, version=version, label=f"Skid {skid.code}"
    )
    return Outcome(subject=_skid_subject(skid), before=before, after=after, reason=words, result=skid)


@use_case("skid.lock_out_lifted", permission="plant.lock_out")
def lift_skid_lock_out(*, by: By, skid_id: int, checked: str, version: int | None = None) -> Outcome:
    """Put a skid back to work. Raises: RecordRefused, StaleRecord."""
    skid = _skid(skid_id)
    if not skid.lock_out_reason:
        raise RecordRefused(f"{skid.code} is not locked out.", code="not_locked_out")
    words = words_of(checked, "What was checked", field="checked", most=300, least=10)
    before, after = write_changed(skid, {"lock_out_reason": ""}, version=version, label=f"Skid {skid.code}")
    return Outcome(subject=_skid_subject(skid), before=before, after=after, reason=words, result=skid)


# --- waters ---------------------------------------------------------------------------------------------------------
@use_case("water.saved", permission="plant.daily")
def save_water_supply(*, by: By, water: WaterSettings, version: int | None = None) -> Outcome:
    """What was measured of a water: temperature, hardness, flow, and what is stored of it.

    Raises: RecordRefused, OutOfRange, StaleRecord.
    """
    kind = one_of(water.kind, [item.value for item in WaterKind], "The water", field="kind")
    label = WaterKind(kind).label.capitalize()
    within(
        water.temperature_kelvin,
        273.25,
        363.15,
        f"{label}: temperature",
        "temperature",
        field="temperature_kelvin",
    )
    within(water.hardness_kg_per_m3, 0.0, 5.0, f"{label}: hardness", "hardness", field="hardness_kg_per_m3")
    within(water.max_flow_m3_per_s, 1e-6, 0.5, f"{label}: largest flow", "flow", field="max_flow_m3_per_s")
    if water.available_m3 is not None:
        within(
            water.available_m3, 0.0, 500.0, f"{label}: stored volume", "liquid_volume", field="available_m3"
        )
    record = WaterSupply.objects.select_for_update().filter(kind=kind).first()
    if record is None:
        record = WaterSupply.objects.create(**values_of(water), measured_at=by.at)
        return Outcome(
            subject=("water", kind, label),
            after={"temperature_kelvin": water.temperature_kelvin},
            result=record,
        )
    # A measurement that finds the same values is still a measurement: its time is written.
    values = {**values_of(water), "measured_at": by.at}
    before, after = write_changed(record, values, version=version, label=label)
    return Outcome(subject=("water", kind, label), before=before, after=after, result=record)


# --- waste ----------------------------------------------------------------------------------------------------------
@use_case("waste.tank_saved", permission="plant.edit")
def save_waste_tank(*, by: By, tank: WasteTankSettings, version: int | None = None) -> Outcome:
    """Add a waste tank, or change the one with this code. The drains go on running where they run: to the first one added.

    Raises: RecordRefused, OutOfRange, StaleRecord.
    """
    code = code_of(tank.code, "The waste tank’s code", longest=12)
    words_of(tank.name, "The waste tank’s name", field="name", most=80, least=2)
    capacity = within(tank.capacity_m3, 0.01, 500.0, "Capacity", "liquid_volume", field="capacity_m3")
    within(
        tank.reserve_m3,
        0.0,
        capacity,
        "Reserve",
        "liquid_volume",
        field="reserve_m3",
        why="It is part of the capacity.",
    )
    values = {**values_of(tank), "code": code, "name": tank.name.strip()}
    record = WasteTank.objects.select_for_update().filter(code=code).first()
    if record is None:
        receiving = waste_tank()
        if (
            receiving is not None and not receiving.receives
        ):  # nobody has said so yet: it is said before there are two
            write_changed(receiving, {"receives": True}, version=None, label=f"Waste tank {receiving.code}")
        record = WasteTank.objects.create(**values, receives=receiving is None)
        return Outcome(
            subject=("waste_tank", str(record.pk), code), after={"name": record.name}, result=record
        )
    if version is None:
        refuse_known(WasteTank, code, "Waste tank")
    if capacity < record.level_m3:
        raise OutOfRange(
            f"Capacity is {units.twin(capacity, 'liquid_volume')}, under the level written last, "
            f"{units.twin(record.level_m3, 'liquid_volume')}. Write the level first.",
            field="capacity_m3",
        )
    before, after = write_changed(record, values, version=version, label=f"Waste tank {code}")
    return Outcome(subject=("waste_tank", str(record.pk), code), before=before, after=after, result=record)


say("skid.saved", saved_words("Skid"))
say("skid.locked_out", "Skid {subject} was locked out: {reason}")
say("skid.lock_out_lifted", "Skid {subject} went back to work. Checked: {reason}")
say("water.saved", saved_words(""))
say("waste.tank_saved", saved_words("Waste tank"))
