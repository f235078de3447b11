"""What was delivered or found, as mass of 100 % substance: from a volume, a mass of product, or that mass itself."""

from __future__ import annotations

from enum import StrEnum

from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.ranges import require_positive
from regenplant.core.engineering.solutions import mass_concentration
from regenplant.core.engineering.substances import substance
from regenplant.core.errors import OutOfRange

REFERENCE_KELVIN = 293.15
"""20 °C: the temperature a volume is taken at when none is written."""


class Basis(StrEnum):
    """How a quantity of a chemical is counted."""

    PRODUCT_VOLUME = "volume"
    PRODUCT_MASS = "product"
    PURE_MASS = "pure"

    @property
    def label(self) -> str:
        return {
            "volume": "volume of product, as delivered",
            "product": "mass of product, as delivered",
            "pure": "mass as 100 % substance",
        }[self.value]

    @property
    def kind(self) -> str:
        """The quantity kind it is typed as."""
        return "liquid_volume" if self is Basis.PRODUCT_VOLUME else "mass"


def mass_as_100(
    chemical: str,
    basis: Basis,
    quantity: float,
    strength_frac: float,
    temperature_kelvin: float = REFERENCE_KELVIN,
) -> Estimate:
    """Mass of pure substance in a quantity of product.

    Parameters
    ----------
    chemical : str
        Value of ``Chemical``
    basis : Basis
        What ``quantity`` counts
    quantity : float
        > 0; [m^3] for a volume, [kg] for a mass
    strength_frac : float
        Weight of pure substance per weight of product [-]
    temperature_kelvin : float
        Temperature of the volume [K]

    Returns
    -------
    mass : Estimate
        Mass as 100 % [kg]

    Raises: OutOfRange for a quantity that is not above zero, or a volume of a strength whose density is not known.
    """
    require_positive(quantity, "quantity")
    formula = substance(chemical).formula
    name = f"{formula} as 100 %"
    if basis is Basis.PURE_MASS:
        return Estimate(
            "m_100",
            name,
            quantity,
            "kg",
            "mass",
            "m_100",
            (Input("m_100", "as typed", quantity, "kg", "mass"),),
            "as typed",
            "plant_record",
        )
    strength = Input(
        "w",
        f"strength, weight of {formula} per weight of product",
        strength_frac,
        "dimensionless",
        "strength",
    )
    if basis is Basis.PRODUCT_MASS:
        product = Input("m", "mass of product", quantity, "kg", "mass")
        return Estimate(
            "m_100",
            name,
            quantity * strength_frac,
            "kg",
            "mass",
            "m · w",
            (product, strength),
            "mass balance",
            "mass_balance",
        )
    concentration = mass_concentration(chemical, strength_frac, temperature_kelvin)
    volume = Input(
        "V", f"volume of product at {temperature_kelvin - 273.15:.0f} °C", quantity, "m^3", "liquid_volume"
    )
    return Estimate(
        "m_100",
        name,
        quantity * concentration.value,
        "kg",
        "mass",
        "V · c_m",
        (volume, concentration.as_input()),
        concentration.method,
        concentration.source,
        valid=concentration.valid,
        uncertainty_frac=concentration.uncertainty_frac,
    )


def whole_grams(mass: Estimate) -> int:
    """The mass as the ledger keeps it: whole grams of 100 % substance, rounded to the nearest."""
    return round(mass.value * 1000.0)


def product_volume_m3(chemical: str, grams_100: int, strength_frac: float) -> float | None:
    """Volume that a mass of pure substance takes as product at 20 °C; None where its density is not known (a solid)."""
    try:
        return grams_100 / 1000.0 / mass_concentration(chemical, strength_frac, REFERENCE_KELVIN).value
    except OutOfRange:
        return None
