"""From the level in a tank to mass: volume by its shape, concentration by the strength that stands in it and its temperature."""

from __future__ import annotations

from dataclasses import dataclass

from regenplant.chemicals.models import ChemicalLot, Place, StrengthCheck, TankGeometry
from regenplant.chemicals.selectors import lots_received_into, place_of, strengths_standing
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.solutions import mass_concentration
from regenplant.core.engineering.substances import substance
from regenplant.core.engineering.tank_levels import Ends, TankForm, TankShape, level_of, volume_of_level
from regenplant.core.errors import OutOfRange, RecordRefused
from regenplant.core.process.reconciliation import together
from regenplant.core.process.vocabulary import Chemical

EXPANSION_PER_KELVIN = 0.001
"""No stock solution of the tables changes its density by more than this share per kelvin (a test holds it against them): how far
the density of a check may be off at another temperature [1/K]."""
FARTHEST_FROM_CHECK_KELVIN = 15.0
"""Beyond this the density of a check says nothing about a tank whose solution no table knows [K]."""


@dataclass(frozen=True, slots=True)
class StrengthThere:
    """Strength by weight of what stands in one tank, and of what it was found."""

    strength_frac: float
    lots: str
    """The lot that was checked, with those that came on top: "A-117 with A-118"."""
    check: StrengthCheck
    is_blend: bool


@dataclass(frozen=True, slots=True)
class LevelMass:
    """What a level means. ``mass.uncertainty_abs`` is what gauge, tank and density may be off together [kg]."""

    volume: Estimate
    concentration: Estimate
    mass: Estimate

    @property
    def found_grams_100(self) -> int:
        return round(self.mass.value * 1000.0)

    @property
    def spread_grams_100(self) -> int:
        return round((self.mass.spread() or 0.0) * 1000.0)


def shape_of(geometry: TankGeometry) -> TankShape:
    """The shape as the core knows it. Raises: OutOfRange for one that cannot be."""
    return TankShape(
        TankForm(geometry.form),
        Ends(geometry.ends),
        geometry.diameter_m,
        geometry.length_m,
        geometry.width_m,
        geometry.height_m,
        tuple((float(level), float(volume)) for level, volume in geometry.table),
    )


def geometry_of(place: Place) -> TankGeometry | None:
    """The newest shape of a tank; None where none was written."""
    return place.geometries.order_by("-number").first()


def strength_there(place: Place) -> StrengthThere:
    """The plant-checked strength of what stands in a tank: of the lot in use there, else of the newest checked lot in it.

    Raises: RecordRefused where nobody at the plant checked it.
    """
    lot, standing = strengths_standing().get(place.chemical, (None, None))
    if lot is not None and standing is not None and place_of(lot) == place:
        if standing.check is None or standing.strength_frac is None:
            raise _unknown(place, lot)
        lots = " with ".join((standing.check.lot.code, *standing.added))
        return StrengthThere(standing.strength_frac, lots, standing.check, standing.is_blend)
    newest = lots_received_into(place).first()
    check = next(iter(newest.checks.all()), None) if newest is not None else None
    if newest is None or check is None:
        raise _unknown(place, newest)
    return StrengthThere(check.strength_frac, newest.code, check, False)


def _unknown(place: Place, lot: ChemicalLot | None) -> RecordRefused:
    of = (
        f"of what stands in {place.code} (lot {lot.code})"
        if lot is not None
        else f"of what stands in {place.code}"
    )
    return RecordRefused(
        f"Nobody at the plant has checked the strength {of}, so a level says no mass. Check the strength first, or count by weight.",
        code="strength_unknown",
    )


def concentration_there(chemical: str, there: StrengthThere, temperature_kelvin: float) -> Estimate:
    """Substance per volume of what stands in a tank, at its temperature [kg/m^3].

    By the tables where they know the solution, else by the density of the plant's own check, with what another temperature may
    change. Raises: RecordRefused where neither tells it.
    """
    try:
        return mass_concentration(chemical, there.strength_frac, temperature_kelvin)
    except OutOfRange:
        pass
    check = there.check
    away = abs(temperature_kelvin - check.temperature_kelvin)
    if check.density_kg_per_m3 is None or there.is_blend or away > FARTHEST_FROM_CHECK_KELVIN:
        raise RecordRefused(
            f"No table knows the density of {Chemical(chemical).label.lower()} of this strength, and the check of lot {there.lots} does not "
            f"tell it for this temperature. Check strength and density in the tank as it is now, or count by weight.",
            field="temperature_kelvin",
            code="density_unknown",
        )
    return Estimate(
        "c_m",
        f"{substance(chemical).formula} as 100 % per volume of product",
        check.density_kg_per_m3 * there.strength_frac,
        "kg/m^3",
        "density",
        "ρ · w",
        (
            Input("ρ", "density of the plant’s check", check.density_kg_per_m3, "kg/m^3", "density"),
            Input("w", "strength in the tank", there.strength_frac, "dimensionless", "strength"),
        ),
        "density of the plant’s check",
        "plant_record",
        uncertainty_frac=EXPANSION_PER_KELVIN * away,
    )


def mass_at_level(
    place: Place, geometry: TankGeometry, there: StrengthThere, level_m: float, temperature_kelvin: float
) -> LevelMass:
    """What stands in a tank by its level, as 100 %.

    Parameters
    ----------
    level_m : float
        As read, from the gauge's zero [m]
    temperature_kelvin : float
        Of what stands in the tank [K]

    The error of the strength check itself is not in the spread: use is worked out with the same strength. Raises: OutOfRange for a
    level outside the tank; RecordRefused where the density is not known.
    """
    volume = volume_of_level(
        shape_of(geometry),
        level_m + geometry.zero_above_bottom_m,
        geometry.level_tolerance_m,
        geometry.volume_tolerance_frac,
    )
    concentration = concentration_there(place.chemical, there, temperature_kelvin)
    value = volume.value * concentration.value
    spread = together(
        (volume.spread() or 0.0) * concentration.value, (concentration.uncertainty_frac or 0.0) * value
    )
    mass = Estimate(
        "m_100",
        f"{substance(place.chemical).formula} as 100 %",
        value,
        "kg",
        "mass",
        "V · c_m",
        (volume.as_input(), concentration.as_input()),
        f"{volume.method}; {concentration.method}",
        concentration.source,
        valid=concentration.valid,
        uncertainty_abs=spread,
    )
    return LevelMass(volume, concentration, mass)


def expected_level_m(place: Place, geometry: TankGeometry, volume: float | None) -> float | None:
    """The level a volume would stand at, as the gauge reads [m]; None where it is not known or outside the tank."""
    if volume is None:
        return None
    try:
        return level_of(shape_of(geometry), volume) - geometry.zero_above_bottom_m
    except OutOfRange:
        return None
