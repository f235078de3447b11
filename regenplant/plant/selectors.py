"""Reading the plant's set-up, and handing it to the core as plain data."""

from __future__ import annotations

from datetime import date, datetime

from django.db.models import QuerySet
from django.utils import timezone

from regenplant.core.engineering.ions import eq_per_m3_from_calcium_carbonate
from regenplant.core.errors import RecordRefused
from regenplant.core.process.plan import FeedData, SkidData, VesselData, WasteData, WaterData
from regenplant.core.process.vocabulary import Chemical, ResinFamily, WaterKind
from regenplant.plant.calibrations import was_valid
from regenplant.plant.days import plant_day, profile
from regenplant.plant.models import (
    FEED_FIGURES,
    Instrument,
    MeterFeed,
    PlantProfile,
    Skid,
    Vessel,
    WasteTank,
    WaterSupply,
)
from regenplant.plant.permit import permit_in_force

__all__ = [
    "feed_data",
    "feed_of",
    "is_eyewash_overdue",
    "is_instrument_valid",
    "plant_day",
    "profile",
    "skid_data",
    "skid_for",
    "skids_by_chemical",
    "vessel_data",
    "vessels",
    "waste_data",
    "waste_tank",
    "water_by_kind",
    "water_data",
    "waters_by_kind",
]


def is_eyewash_overdue(plant: PlantProfile, today: date) -> bool:
    """Whether the eyewash test is overdue; never tested counts as overdue."""
    if plant.eyewash_tested_on is None:
        return True
    return (today - plant.eyewash_tested_on).days > plant.eyewash_test_interval_days


def is_instrument_valid(instrument: Instrument, on: date, at: datetime | None = None) -> bool:
    """Whether its readings prove something on this day: in use, calibrated by then, not past the due day, not out of service.

    A day before its newest calibration is judged by the calibration of then, never by a later one. With the moment ``at`` a
    time out of service counts to the minute; without it, today's standing costs no query. Rows keep the answer of when they
    were written (``instrument_was_valid``): what a later calibration finds makes a list to look at, and changes no row.
    """
    if not instrument.is_active or instrument.calibrated_on is None or instrument.calibration_due_on is None:
        return False
    if instrument.pk is not None and (at is not None or on < instrument.calibrated_on):
        return was_valid(instrument, on, at)
    out = instrument.out_of_service_at
    if out is not None and plant_day(out) <= on:
        return False
    return instrument.calibrated_on <= on <= instrument.calibration_due_on


def open_meter_feeds() -> QuerySet[MeterFeed]:
    """Meter feeds that may send, by code, with instrument, vessel and account."""
    return MeterFeed.objects.filter(is_active=True, account__is_active=True).select_related(
        "instrument", "vessel", "account"
    )


def vessels() -> QuerySet[Vessel]:
    """Vessels in use, by code."""
    return Vessel.objects.filter(is_active=True)


def waste_tank() -> WasteTank | None:
    """The waste tank to which the drains run; None before set-up. While nobody has said which of several, the first by code."""
    return WasteTank.objects.order_by("-receives", "code").first()


def skid_for(chemical: str) -> Skid | None:
    """The skid for a chemical: one that works before one that is locked out, then by code."""
    found = list(Skid.objects.filter(is_active=True, chemical=chemical))
    return min(found, key=lambda skid: (bool(skid.lock_out_reason), skid.code), default=None)


def water_by_kind() -> dict[str, WaterSupply]:
    """Supplies by the value of their ``WaterKind``."""
    return {supply.kind: supply for supply in WaterSupply.objects.all()}


# --- as the core wants it -------------------------------------------------------------------------------------------
def vessel_data(vessel: Vessel) -> VesselData:
    """A vessel for a plan, as it stands now."""
    return VesselData(
        code=vessel.code,
        internal_diameter_m=vessel.internal_diameter_m,
        straight_height_m=vessel.straight_height_m,
        bed_volume_min_m3=vessel.bed_volume_min_m3,
        bed_volume_max_m3=vessel.bed_volume_max_m3,
        families=tuple(ResinFamily(value) for value in vessel.families),
        segregation_classes=tuple(vessel.segregation_classes),
        chemicals=tuple(Chemical(value) for value in vessel.chemicals),
        takes_anion_leg_only=vessel.takes_anion_leg_only,
        last_chemical=Chemical(vessel.last_chemical) if vessel.last_chemical else None,
        is_flushed=vessel.is_flushed,
        last_segregation_class=vessel.last_segregation_class,
        lock_out_reason=vessel.lock_out_reason or ("" if vessel.is_active else "taken out of use"),
        max_flow_m3_per_s=vessel.max_flow_m3_per_s,
        side_outlet_height_m=vessel.side_outlet_height_m,
        air_max_m3_per_s=vessel.air_max_m3_per_s,
    )


def skid_data(skid: Skid) -> SkidData:
    """A skid for a plan, as it stands now."""
    return SkidData(
        code=skid.code,
        chemical=Chemical(skid.chemical),
        flow_min_m3_per_s=skid.flow_min_m3_per_s,
        flow_max_m3_per_s=skid.flow_max_m3_per_s,
        heater_max_temperature_kelvin=skid.heater_max_temperature_kelvin,
        lock_out_reason=skid.lock_out_reason,
    )


def skids_by_chemical() -> dict[str, SkidData]:
    """The skid of each chemical that has one, by the value of ``Chemical``."""
    found: dict[str, SkidData] = {}
    for skid in sorted(
        Skid.objects.filter(is_active=True), key=lambda skid: (bool(skid.lock_out_reason), skid.code)
    ):
        found.setdefault(skid.chemical, skid_data(skid))
    return found


def water_data(supply: WaterSupply) -> WaterData:
    """A water for a plan, with what was last measured."""
    return WaterData(
        kind=WaterKind(supply.kind),
        temperature_kelvin=supply.temperature_kelvin,
        hardness_eq_per_m3=eq_per_m3_from_calcium_carbonate(supply.hardness_kg_per_m3),
        max_flow_m3_per_s=supply.max_flow_m3_per_s,
        available_m3=supply.available_m3,
    )


def waters_by_kind() -> dict[str, WaterData]:
    """The waters for a plan, by the value of ``WaterKind``."""
    return {kind: water_data(supply) for kind, supply in water_by_kind().items()}


def feed_data() -> FeedData | None:
    """The usual feed of the tanks, for a plan; None where no analysis is on record."""
    return feed_of(profile())


def feed_of(plant: PlantProfile) -> FeedData | None:
    """The feed analysis of a profile; None where none is on record."""
    if not plant.feed_basis:
        return None
    figures = {name.removeprefix("feed_"): getattr(plant, name) for name in FEED_FIGURES}
    return FeedData(**figures, basis=plant.feed_basis)


def waste_data(at: datetime | None = None) -> WasteData:
    """Room in the waste tank and the permit's window.

    Raises: RecordRefused before a waste tank is set up: without room nothing is planned.
    """
    tank = waste_tank()
    if tank is None:
        raise RecordRefused(
            "No waste tank is set up, so no room is known for spent regenerant. Write it under Set-up.",
            code="no_waste_tank",
        )
    permit = permit_in_force(at or timezone.now()).content
    return WasteData(
        capacity_m3=tank.capacity_m3,
        level_m3=tank.level_m3,
        reserve_m3=tank.reserve_m3,
        ph_low=permit.ph_low,
        ph_high=permit.ph_high,
    )
