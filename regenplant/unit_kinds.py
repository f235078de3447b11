"""The kinds of quantity of the plant: which units are read and shown, with how many digits, and what is possible at all.

Data only; ``units`` reads it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class QuantityKind:
    """How one kind of quantity is read and shown.

    ``si_unit`` is what the database holds. ``metric`` and ``us`` are (pint unit, text shown). ``digits`` is the
    number of significant digits on show, ``decimals`` a cap on decimals per system. ``low`` and ``high`` are
    bounds of what is possible at all, in SI; plant limits are tighter and live in records.
    """

    key: str
    name: str
    si_unit: str
    metric: tuple[str, str]
    us: tuple[str, str]
    digits: int = 4
    decimals: tuple[int, int] = (3, 3)
    low: float = -math.inf
    high: float = math.inf
    example: str = ""
    affine: bool = False


def _kinds(*kinds: QuantityKind) -> dict[str, QuantityKind]:
    return {kind.key: kind for kind in kinds}


KINDS: dict[str, QuantityKind] = _kinds(
    QuantityKind(
        "resin_volume",
        "resin volume",
        "m^3",
        ("L", "L"),
        ("ft^3", "ft³"),
        4,
        (1, 2),
        0,
        50,
        "102 L or 3.6 ft3",
    ),
    QuantityKind(
        "liquid_volume",
        "volume",
        "m^3",
        ("L", "L"),
        ("gallon", "US gal"),
        4,
        (1, 1),
        0,
        500,
        "3322 L or 878 gal",
    ),
    QuantityKind(
        "flow",
        "flow",
        "m^3/s",
        ("L/min", "L/min"),
        ("gpm", "US gpm"),
        4,
        (1, 1),
        0,
        0.5,
        "66 L/min or 17.4 gpm",
    ),
    QuantityKind(
        "bed_flow",
        "flow per bed volume",
        "1/s",
        ("1/hour", "BV/h"),
        ("gpm/ft^3", "gpm/ft³"),
        3,
        (2, 3),
        0,
        0.1,
        "4 BV/h or 0.5 gpm/ft3",
    ),
    QuantityKind(
        "flow_bv_per_h",
        "flow per bed volume",
        "1/hour",
        ("1/hour", "BV/h"),
        ("gpm/ft^3", "gpm/ft³"),
        3,
        (2, 3),
        0,
        200,
        "4 BV/h or 0.5 gpm/ft3",
    ),
    QuantityKind(
        "velocity",
        "flow on the bed",
        "m/s",
        ("m/hour", "m/h"),
        ("gpm/ft^2", "gpm/ft²"),
        3,
        (1, 2),
        0,
        0.1,
        "15 m/h or 6 gpm/ft2",
    ),
    QuantityKind("mass", "mass", "kg", ("kg", "kg"), ("lb", "lb"), 4, (1, 1), 0, 200_000, "318 kg or 701 lb"),
    QuantityKind(
        "dose",
        "dose per resin volume",
        "kg/m^3",
        ("g/L", "g/L"),
        ("lb/ft^3", "lb/ft³"),
        3,
        (1, 2),
        0,
        1000,
        "120 g/L or 7.5 lb/ft3",
    ),
    QuantityKind(
        "strength", "strength", "dimensionless", ("percent", "%"), ("percent", "%"), 4, (2, 2), 0, 1, "5.1 %"
    ),
    QuantityKind(
        "fraction", "share", "dimensionless", ("percent", "%"), ("percent", "%"), 3, (1, 1), -10, 100, "60 %"
    ),
    QuantityKind(
        "temperature",
        "temperature",
        "kelvin",
        ("degC", "°C"),
        ("degF", "°F"),
        4,
        (1, 0),
        223.15,
        473.15,
        "21.4 °C or 70.5 °F",
        True,
    ),
    QuantityKind(
        "temperature_rise",
        "temperature rise",
        "kelvin",
        ("delta_degC", "°C"),
        ("delta_degF", "°F"),
        3,
        (1, 1),
        -300,
        300,
        "3.5 °C",
    ),
    QuantityKind(
        "duration",
        "time",
        "s",
        ("minute", "min"),
        ("minute", "min"),
        4,
        (0, 0),
        0,
        30 * 86400,
        "45 min or 0:45",
    ),
    QuantityKind("length", "length", "m", ("m", "m"), ("inch", "in"), 4, (3, 1), 0, 100, "1.2 m or 47 in"),
    QuantityKind(
        "density",
        "density",
        "kg/m^3",
        ("kg/m^3", "kg/m³"),
        ("lb/gallon", "lb/US gal"),
        5,
        (1, 3),
        500,
        3000,
        "1159 kg/m3 or 1.159 g/mL",
    ),
    QuantityKind(
        "conductivity",
        "conductivity",
        "S/m",
        ("microsiemens/cm", "µS/cm"),
        ("microsiemens/cm", "µS/cm"),
        4,
        (3, 3),
        1e-12,
        200,
        "0.112 µS/cm or 8.9 Mohm-cm",
    ),
    QuantityKind(
        "resistivity",
        "resistivity",
        "ohm*m",
        ("megaohm*cm", "MΩ·cm"),
        ("megaohm*cm", "MΩ·cm"),
        3,
        (3, 3),
        1e-4,
        1e7,
        "8.9 Mohm-cm or 0.112 µS/cm",
    ),
    QuantityKind(
        "hardness",
        "hardness as CaCO₃",
        "kg/m^3",
        ("mg/L", "mg/L as CaCO₃"),
        ("grain/gallon", "gr/US gal as CaCO₃"),
        3,
        (2, 3),
        0,
        20,
        "1 mg/L or 0.06 grain/gal",
    ),
    QuantityKind(
        "concentration",
        "concentration",
        "kg/m^3",
        ("mg/L", "mg/L"),
        ("mg/L", "mg/L"),
        3,
        (3, 3),
        0,
        1000,
        "0.6 mg/L",
    ),
    QuantityKind(
        "capacity",
        "capacity",
        "eq/m^3",
        ("eq/L", "eq/L"),
        ("kgr/ft^3", "kgr/ft³ as CaCO₃"),
        3,
        (3, 1),
        0,
        10_000,
        "1.1 eq/L or 24 kgr/ft3",
    ),
    QuantityKind(
        "equivalents",
        "amount of equivalents",
        "eq",
        ("eq", "eq"),
        ("eq", "eq"),
        4,
        (1, 1),
        -1e9,
        1e9,
        "2800 eq",
    ),
    QuantityKind(
        "pressure",
        "pressure",
        "pascal",
        ("kPa", "kPa"),
        ("psi", "psi"),
        3,
        (1, 1),
        0,
        1e8,
        "140 kPa or 20 psi",
    ),
    QuantityKind(
        "pressure_gradient",
        "pressure drop per height",
        "pascal/m",
        ("kPa/m", "kPa/m"),
        ("psi/ft", "psi/ft"),
        3,
        (1, 2),
        0,
        1e8,
        "20 kPa/m",
    ),
    QuantityKind("area", "area", "m^2", ("m^2", "m²"), ("ft^2", "ft²"), 4, (3, 2), 0, 100, "0.5 m2"),
    QuantityKind(
        "ph", "pH", "dimensionless", ("dimensionless", ""), ("dimensionless", ""), 3, (2, 2), -2, 16, "7.2"
    ),
    QuantityKind(
        "bed_volumes",
        "bed volumes",
        "dimensionless",
        ("dimensionless", "BV"),
        ("dimensionless", "BV"),
        3,
        (2, 2),
        0,
        1000,
        "6.5",
    ),
    QuantityKind(
        "ratio",
        "ratio",
        "dimensionless",
        ("dimensionless", ""),
        ("dimensionless", ""),
        3,
        (2, 2),
        -1e6,
        1e6,
        "1.4",
    ),
    QuantityKind(
        "count",
        "number",
        "dimensionless",
        ("dimensionless", ""),
        ("dimensionless", ""),
        6,
        (0, 0),
        0,
        1e9,
        "12",
    ),
    QuantityKind("power", "power", "watt", ("kW", "kW"), ("kW", "kW"), 3, (1, 1), 0, 1e8, "30 kW"),
    QuantityKind(
        "viscosity",
        "viscosity",
        "pascal*s",
        ("mPa*s", "mPa·s"),
        ("mPa*s", "mPa·s"),
        4,
        (3, 3),
        0,
        10,
        "1.0 mPa*s",
    ),
)
