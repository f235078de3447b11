"""Volume in a tank from its level: upright and lying cylinders with flat or dished ends, boxes, and tables of a tank's own.

Levels count from the lowest point inside. Every shape is the inside one. A lying tank lies level; one that slopes, or is dented,
needs a table of its own. Heads of a lying tank are both alike; an upright one has the dished end below and is taken up to the
end of its straight wall.

Source: geometry; proportions of dished ends as in ``END_PROPORTIONS``. Held against D. Jones' worked examples, the fluids library
and numerical integration in the tests.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from functools import lru_cache
from itertools import pairwise

from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.interpolation import linear, root
from regenplant.core.engineering.ranges import require_positive, require_within
from regenplant.core.errors import OutOfRange


class TankForm(StrEnum):
    """How a tank stands, or how its volume is known."""

    UPRIGHT = "upright"
    LYING = "lying"
    BOX = "box"
    TABLE = "table"

    @property
    def label(self) -> str:
        return {
            "upright": "upright cylinder",
            "lying": "lying cylinder",
            "box": "box, such as a tote",
            "table": "table of level and volume",
        }[self.value]


class Ends(StrEnum):
    """The end of a cylinder."""

    FLAT = "flat"
    TORISPHERICAL_10 = "dished_10"
    TORISPHERICAL_6 = "dished_6"
    ELLIPTICAL = "elliptical"
    HEMISPHERICAL = "hemispherical"

    @property
    def label(self) -> str:
        return {
            "flat": "flat",
            "dished_10": "torispherical, knuckle 10 % of the diameter (DIN 28011)",
            "dished_6": "torispherical, knuckle 6 % of the diameter (flanged and dished)",
            "elliptical": "elliptical, 2 to 1",
            "hemispherical": "hemispherical",
        }[self.value]


END_PROPORTIONS: dict[Ends, tuple[float, float]] = {
    Ends.TORISPHERICAL_10: (1.0, 0.10),
    Ends.TORISPHERICAL_6: (1.0, 0.06),
}
"""(crown radius, knuckle radius) over the inside diameter, as in the table of the fluids library (read): DIN 28011 and ASME F&D."""


@dataclass(frozen=True, slots=True)
class TankShape:
    """The inside of one tank [m].

    ``length_m`` is the straight part between the ends of a cylinder (its straight flanges count with it), the length of a box;
    ``height_m`` the height of a box. ``table`` holds (level, volume) from the lowest point up, the first row at level 0.
    """

    form: TankForm
    ends: Ends = Ends.FLAT
    diameter_m: float = 0.0
    length_m: float = 0.0
    width_m: float = 0.0
    height_m: float = 0.0
    table: tuple[tuple[float, float], ...] = ()

    def __post_init__(self) -> None:
        if self.form is TankForm.TABLE:
            _require_table(self.table)
        elif self.form is TankForm.BOX:
            for value, name in (
                (self.length_m, "length"),
                (self.width_m, "width"),
                (self.height_m, "height"),
            ):
                require_within(value, 0.05, 30.0, f"{name} of the tank", "m")
        else:
            require_within(self.diameter_m, 0.1, 12.0, "diameter of the tank", "m")
            least = 0.0 if self.ends is Ends.HEMISPHERICAL else 0.1
            require_within(self.length_m, least, 30.0, "straight length of the tank", "m")

    @property
    def full_level_m(self) -> float:
        """The highest level that is inside [m]."""
        if self.form is TankForm.TABLE:
            return self.table[-1][0]
        if self.form is TankForm.BOX:
            return self.height_m
        return (
            self.diameter_m
            if self.form is TankForm.LYING
            else self.length_m + end_depth_m(self.ends, self.diameter_m)
        )

    @property
    def full_volume_m3(self) -> float:
        """What it holds up to ``full_level_m`` [m^3]."""
        return volume_up_to(self, self.full_level_m)


def _require_table(table: tuple[tuple[float, float], ...]) -> None:
    if len(table) < 2 or table[0][0] != 0.0:
        raise OutOfRange(
            "A table of a tank has at least two rows of level and volume, the first at level 0.",
            field="table",
            code="table_short",
        )
    for (level, volume), (next_level, next_volume) in pairwise(table):
        if not (next_level > level and next_volume > volume >= 0.0):
            raise OutOfRange(
                f"In a table of a tank level and volume both rise from row to row; after {level:g} m with {volume:g} m³ stands "
                f"{next_level:g} m with {next_volume:g} m³.",
                field="table",
                code="table_falls",
            )
    require_within(table[-1][0], 0.05, 30.0, "highest level of the table", "m")


# --- dished ends ------------------------------------------------------------------------------------------------------
def end_depth_m(ends: Ends, diameter_m: float) -> float:
    """How far an end stands out over the straight wall [m]; 0 for a flat one.

    Parameters
    ----------
    ends : Ends
        Kind of end
    diameter_m : float
        > 0; inside diameter [m]

    Returns
    -------
    depth_m : float
        [m]
    """
    if ends is Ends.FLAT:
        return 0.0
    if ends is Ends.ELLIPTICAL:
        return diameter_m / 4.0
    if ends is Ends.HEMISPHERICAL:
        return diameter_m / 2.0
    return _dish(ends, diameter_m).depth


@dataclass(frozen=True, slots=True)
class _Dish:
    """A torispherical end: a crown that runs into a knuckle, and the knuckle into the straight wall."""

    crown: float
    """Radius of the crown [m]."""
    knuckle: float
    """Radius of the knuckle [m]."""
    centre: float
    """Distance of the knuckle's centre from the axis [m]."""
    joint: float
    """Distance from the axis at which crown and knuckle meet [m]."""
    rise: float
    """Height of the crown above its lowest point, where it meets the knuckle [m]."""
    depth: float

    def depth_at(self, radius: float) -> float:
        """How far the end stands out at this distance from the axis [m]."""
        if radius <= self.joint:
            return self.depth - self.crown + math.sqrt(max(self.crown**2 - radius**2, 0.0))
        return math.sqrt(max(self.knuckle**2 - (radius - self.centre) ** 2, 0.0))


@lru_cache(maxsize=64)
def _dish(ends: Ends, diameter_m: float) -> _Dish:
    crown_share, knuckle_share = END_PROPORTIONS[ends]
    crown, knuckle = crown_share * diameter_m, knuckle_share * diameter_m
    centre = diameter_m / 2.0 - knuckle
    sine = centre / (crown - knuckle)
    cosine = math.sqrt(1.0 - sine * sine)
    return _Dish(
        crown, knuckle, centre, crown * sine, crown * (1.0 - cosine), crown - (crown - knuckle) * cosine
    )


def _upright_end_m3(ends: Ends, diameter_m: float, level_m: float) -> float:
    """What stands in a dished bottom up to a level within it [m^3]."""
    depth = end_depth_m(ends, diameter_m)
    if ends in (Ends.ELLIPTICAL, Ends.HEMISPHERICAL):
        radius = diameter_m / 2.0
        return math.pi * (radius / depth) ** 2 * level_m**2 * (depth - level_m / 3.0)
    dish = _dish(ends, diameter_m)
    in_crown = min(level_m, dish.rise)
    volume = math.pi * in_crown**2 * (dish.crown - in_crown / 3.0)
    if level_m > dish.rise:
        volume += _knuckle_m3(dish, dish.depth - level_m, dish.depth - dish.rise)
    return volume


def _knuckle_m3(dish: _Dish, near: float, far: float) -> float:
    """Inside of the knuckle between two distances from the end of the straight wall [m^3]: π ∫ (c + √(k² − u²))² du."""

    def whole(u: float) -> float:
        u = min(max(u, 0.0), dish.knuckle)
        chord = math.sqrt(dish.knuckle**2 - u * u)
        disc = 0.5 * (u * chord + dish.knuckle**2 * math.asin(u / dish.knuckle))
        return dish.centre**2 * u + 2.0 * dish.centre * disc + dish.knuckle**2 * u - u**3 / 3.0

    return math.pi * (whole(far) - whole(near))


def _lying_end_m3(ends: Ends, diameter_m: float, level_m: float) -> float:
    """What stands in one dished end of a lying cylinder up to a level [m^3]."""
    radius = diameter_m / 2.0
    if ends in (Ends.ELLIPTICAL, Ends.HEMISPHERICAL):
        cap = math.pi * level_m**2 * (radius - level_m / 3.0)
        return 0.5 * end_depth_m(ends, diameter_m) / radius * cap
    dish, height = _dish(ends, diameter_m), level_m - radius

    def ring(distance: float) -> float:
        if distance <= 0.0:
            return 0.0
        angle = math.pi + 2.0 * math.asin(min(max(height / distance, -1.0), 1.0))
        return dish.depth_at(distance) * distance * angle

    return _integral(ring, 0.0, radius, dish.joint, abs(height))


# --- integration ------------------------------------------------------------------------------------------------------
_NODES = 32


@lru_cache(maxsize=1)
def _gauss() -> tuple[tuple[float, float], ...]:
    """Nodes and weights of Gauss and Legendre on 0 to 1."""
    found = []
    for index in range(_NODES):
        x = math.cos(math.pi * (index + 0.75) / (_NODES + 0.5))
        for _ in range(60):
            before, value = 1.0, x
            for degree in range(2, _NODES + 1):
                before, value = value, ((2 * degree - 1) * x * value - (degree - 1) * before) / degree
            slope = _NODES * (x * value - before) / (x * x - 1.0)
            step = value / slope
            x -= step
            if abs(step) < 1e-15:
                break
        found.append((0.5 * (1.0 + x), 1.0 / ((1.0 - x * x) * slope * slope)))
    return tuple(found)


def _integral(function: Callable[[float], float], low: float, high: float, *breaks: float) -> float:
    """Integral of a function that is smooth between the breaks but may run into them like a square root.

    Each part is stretched towards its ends (x = 3t² − 2t³), which takes the root away.
    """
    edges = sorted({low, high, *(edge for edge in breaks if low < edge < high)})
    total = 0.0
    for left, right in pairwise(edges):
        width = right - left
        for t, weight in _gauss():
            at, slope = left + width * t * t * (3.0 - 2.0 * t), 6.0 * t * (1.0 - t)
            total += weight * width * slope * function(at)
    return total


# --- volume and level -------------------------------------------------------------------------------------------------
def volume_up_to(tank: TankShape, level_m: float) -> float:
    """Volume up to a level [m^3].

    Parameters
    ----------
    tank : TankShape
        The inside shape
    level_m : float
        0 to ``full_level_m``; from the lowest point inside [m]

    Raises: OutOfRange below the bottom or above the top.
    """
    level = require_within(
        level_m,
        0.0,
        tank.full_level_m,
        "level in the tank",
        "m",
        "Read the gauge again, and from which point it counts.",
    )
    level = min(max(level, 0.0), tank.full_level_m)
    if tank.form is TankForm.TABLE:
        levels, volumes = zip(*tank.table, strict=True)
        return linear(levels, volumes, level)
    if tank.form is TankForm.BOX:
        return tank.length_m * tank.width_m * level
    if tank.form is TankForm.UPRIGHT:
        depth = end_depth_m(tank.ends, tank.diameter_m)
        below = _upright_end_m3(tank.ends, tank.diameter_m, min(level, depth)) if depth else 0.0
        return below + math.pi * tank.diameter_m**2 / 4.0 * max(level - depth, 0.0)
    radius = tank.diameter_m / 2.0
    segment = radius**2 * _segment_share(level / radius)
    ends = 2.0 * _lying_end_m3(tank.ends, tank.diameter_m, level) if tank.ends is not Ends.FLAT else 0.0
    return segment * tank.length_m + ends


def _segment_share(height: float) -> float:
    """Area of a circular segment over the radius squared, by its height in radii: t − sin t cos t with 1 − cos t = height.

    Near an empty tank the two terms nearly cancel; there the series of u − sin u is taken.
    """
    angle = 2.0 * (2.0 * math.asin(math.sqrt(min(max(height / 2.0, 0.0), 1.0))))
    if angle < 0.1:
        square = angle * angle
        return angle**3 / 12.0 * (1.0 - square / 20.0 * (1.0 - square / 42.0 * (1.0 - square / 72.0)))
    return (angle - math.sin(angle)) / 2.0


def level_of(tank: TankShape, volume_m3: float) -> float:
    """The level at which a volume stands [m]. Raises: OutOfRange for more than the tank holds, or less than nothing.

    Parameters
    ----------
    tank : TankShape
        The inside shape
    volume_m3 : float
        >= 0 [m^3]
    """
    lowest = tank.table[0][1] if tank.form is TankForm.TABLE else 0.0
    require_within(volume_m3, lowest, tank.full_volume_m3, "volume in the tank", "m³")
    if volume_m3 <= lowest:
        return 0.0
    return root(lambda level: volume_up_to(tank, level) - volume_m3, 0.0, tank.full_level_m)


_FORMULAS = {
    TankForm.UPRIGHT: "V_end + π D² / 4 · (h − a)",
    TankForm.LYING: "A(h) · L + 2 V_end(h)",
    TankForm.BOX: "L · B · h",
    TankForm.TABLE: "table V(h)",
}


def volume_of_level(
    tank: TankShape, level_m: float, level_tolerance_m: float, volume_tolerance_frac: float = 0.0
) -> Estimate:
    """Volume up to a level, with how far it may be off.

    Parameters
    ----------
    tank : TankShape
        The inside shape
    level_m : float
        From the lowest point inside [m]
    level_tolerance_m : float
        > 0; how far the gauge and its reader may be off [m]
    volume_tolerance_frac : float
        >= 0; how far the tank itself may differ from its drawing or table, as a share of the volume [-]

    Returns
    -------
    volume : Estimate
        [m^3]; ``uncertainty_abs`` is the root of the summed squares of both

    Raises: OutOfRange.
    """
    require_positive(level_tolerance_m, "tolerance of the gauge", "m")
    require_within(volume_tolerance_frac, 0.0, 0.2, "tolerance of the tank's volume fraction")
    volume = volume_up_to(tank, level_m)
    low = volume_up_to(tank, max(level_m - level_tolerance_m, 0.0))
    high = volume_up_to(tank, min(level_m + level_tolerance_m, tank.full_level_m))
    off = math.hypot(max(high - volume, volume - low), volume_tolerance_frac * volume)
    return Estimate(
        "V",
        f"volume in the {tank.form.label}",
        volume,
        "m^3",
        "liquid_volume",
        _FORMULAS[tank.form],
        (Input("h", "level over the lowest point inside", level_m, "m", "length"), *_dimensions(tank)),
        f"geometry of the {tank.form.label}"
        if tank.form is not TankForm.TABLE
        else "the tank’s own table, straight lines between its rows",
        "tank_geometry" if tank.form is not TankForm.TABLE else "plant_record",
        valid="the tank stands or lies level and has the shape on record",
        uncertainty_abs=off,
    )


def _dimensions(tank: TankShape) -> tuple[Input, ...]:
    if tank.form is TankForm.TABLE:
        return ()
    if tank.form is TankForm.BOX:
        return (
            Input("L", "inside length", tank.length_m, "m", "length"),
            Input("B", "inside width", tank.width_m, "m", "length"),
        )
    found = [Input("D", "inside diameter", tank.diameter_m, "m", "length")]
    if tank.form is TankForm.LYING:
        found.append(Input("L", "straight length", tank.length_m, "m", "length"))
    if tank.ends is not Ends.FLAT or tank.form is TankForm.UPRIGHT:
        depth = end_depth_m(tank.ends, tank.diameter_m)
        found.append(Input("a", f"depth of its end, {tank.ends.label}", depth, "m", "length"))
    return tuple(found)
