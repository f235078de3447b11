"""Volume from a level: worked examples, a public library, plain numerical integration, and properties of every shape."""

import math
import re

import pytest
from fluids import geometry
from hypothesis import given, settings
from hypothesis import strategies as st

from regenplant.core.engineering import tank_levels
from regenplant.core.engineering.tank_levels import (
    Ends,
    TankForm,
    TankShape,
    level_of,
    volume_of_level,
    volume_up_to,
)
from regenplant.core.errors import OutOfRange
from tests.core.formula import is_closed
from tests.core.reference_rows import Row, rows

INCH, GALLON = 0.0254, 231 * 0.0254**3
"""Exact by definition: 25.4 mm, 231 cubic inches."""


def shape_of(row: Row) -> tuple[TankShape, float]:
    """Shape and level that a row asks about, in metres."""
    unit = INCH if " in;" in row.inputs else 1.0
    numbers = {
        name: float(value) * unit for name, value in re.findall(r"(D|L|depth|level) ([\d.]+)", row.inputs)
    }
    form = TankForm.LYING if "lying" in row.quantity else TankForm.UPRIGHT
    ends = next(
        ends for word, ends in (
            ("knuckle 0.06", Ends.TORISPHERICAL_6), ("knuckle 0.10", Ends.TORISPHERICAL_10),
            ("elliptical", Ends.ELLIPTICAL), ("hemispherical", Ends.HEMISPHERICAL),
        ) if word in row.inputs + row.quantity
    )  # fmt: skip
    return TankShape(form, ends, numbers["D"], numbers.get("L", 4.0)), numbers["level"]


@pytest.mark.parametrize("row", rows("tank_levels"))
def test_volumes_from_outside(row: Row) -> None:
    shape, level = shape_of(row)
    if "depth" in row.inputs:
        (depth,) = row.numbers(r"depth ([\d.]+)")
        unit = INCH if " in;" in row.inputs else 1.0
        assert tank_levels.end_depth_m(shape.ends, shape.diameter_m) == pytest.approx(float(depth) * unit)
    row.check(volume_up_to(shape, level) / (GALLON if row.unit == "US gal" else 1.0))


# --- plain integration ------------------------------------------------------------------------------------------------
def by_slices(shape: TankShape, level: float, slices: int = 400) -> float:
    """Volume by Simpson's rule over slices of a body of revolution: no formula of the program.

    Upright: discs of the end's outline. Lying: along the axis, circular segments of the radius that stands there.
    """
    radius, depth = shape.diameter_m / 2.0, end_depth(shape)

    def outline(out: float) -> float:
        """Radius of the end, ``out`` metres beyond the straight wall."""
        if shape.ends in (Ends.ELLIPTICAL, Ends.HEMISPHERICAL):
            return radius * math.sqrt(max(1.0 - (out / depth) ** 2, 0.0))
        share = 0.10 if shape.ends is Ends.TORISPHERICAL_10 else 0.06
        knuckle, crown = share * 2 * radius, 2 * radius
        # Where crown and knuckle touch, their centres and the point lie on one line.
        sine = (radius - knuckle) / (crown - knuckle)
        if out <= knuckle * math.sqrt(1.0 - sine**2):
            return radius - knuckle + math.sqrt(knuckle**2 - out**2)
        return math.sqrt(max(crown**2 - (out + crown - depth) ** 2, 0.0))

    def segment(r: float) -> float:
        height = min(max(level - radius, -r), r)
        return (
            r * r * math.acos(-height / r) + height * math.sqrt(max(r * r - height * height, 0.0))
            if r > 0
            else 0.0
        )

    def simpson(function, low: float, high: float) -> float:  # type: ignore[no-untyped-def]
        step = (high - low) / (2 * slices)
        values = [function(low + index * step) for index in range(2 * slices + 1)]
        return step / 3 * (values[0] + values[-1] + 4 * sum(values[1::2]) + 2 * sum(values[2:-1:2]))

    if shape.form is TankForm.LYING:
        ends = 2 * simpson(lambda out: segment(outline(out)), 0.0, depth) if depth else 0.0
        return segment(radius) * shape.length_m + ends
    low = min(level, depth)
    bottom = simpson(lambda z: math.pi * outline(depth - z) ** 2, 0.0, low) if low else 0.0
    return bottom + math.pi * radius**2 * (level - low)


def end_depth(shape: TankShape) -> float:
    """Depth of the end by the right-angled triangle of the two centres (crown D, knuckle k D), by ratio for the others."""
    diameter = shape.diameter_m
    if shape.ends in (Ends.FLAT, Ends.ELLIPTICAL, Ends.HEMISPHERICAL):
        return {Ends.FLAT: 0.0, Ends.ELLIPTICAL: 0.25, Ends.HEMISPHERICAL: 0.5}[shape.ends] * diameter
    k = 0.10 if shape.ends is Ends.TORISPHERICAL_10 else 0.06
    return diameter * (1.0 - math.sqrt((1.0 - k) ** 2 - (0.5 - k) ** 2))


CYLINDERS = [TankShape(form, ends, 1.9, 3.2) for form in (TankForm.UPRIGHT, TankForm.LYING) for ends in Ends]


@pytest.mark.parametrize("shape", CYLINDERS, ids=lambda shape: f"{shape.form} {shape.ends}")
@pytest.mark.parametrize("share", [0.03, 0.11, 0.3, 0.5, 0.77, 0.98, 1.0])
def test_every_cylinder_by_slices(shape: TankShape, share: float) -> None:
    level = share * shape.full_level_m
    assert volume_up_to(shape, level) == pytest.approx(by_slices(shape, level), rel=2e-4)


@settings(max_examples=60, deadline=None)
@given(
    st.floats(0.5, 4.0),
    st.floats(0.5, 12.0),
    st.floats(0.001, 0.999),
    st.sampled_from(["dished_10", "dished_6"]),
)
def test_lying_dished_tanks_by_the_library(diameter: float, length: float, share: float, ends: str) -> None:
    shape = TankShape(TankForm.LYING, Ends(ends), diameter, length)
    knuckle = 0.10 if ends == "dished_10" else 0.06
    theirs = geometry.V_horiz_torispherical(diameter, length, 1.0, knuckle, share * diameter)
    assert volume_up_to(shape, share * diameter) == pytest.approx(theirs, rel=1e-7)


# --- properties -------------------------------------------------------------------------------------------------------
BOX = TankShape(TankForm.BOX, length_m=1.0, width_m=1.2, height_m=1.1)
TABLE = TankShape(TankForm.TABLE, table=((0.0, 0.05), (0.4, 0.45), (1.0, 1.0)))
SHAPES = [*CYLINDERS, BOX, TABLE]


@settings(max_examples=150, deadline=None)
@given(st.sampled_from(SHAPES), st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_more_level_is_more_volume_and_back(shape: TankShape, one: float, other: float) -> None:
    low, high = sorted((one * shape.full_level_m, other * shape.full_level_m))
    assert volume_up_to(shape, low) <= volume_up_to(shape, high) + 1e-12
    volume = volume_up_to(shape, high)
    assert volume_up_to(shape, level_of(shape, volume)) == pytest.approx(volume, abs=1e-9)


@pytest.mark.parametrize(
    "shape", [shape for shape in CYLINDERS if shape.form is TankForm.LYING], ids=lambda s: s.ends
)
@pytest.mark.parametrize("share", [0.07, 0.31, 0.5])
def test_a_lying_tank_is_alike_above_and_below_its_middle(shape: TankShape, share: float) -> None:
    below, above = (volume_up_to(shape, part * shape.diameter_m) for part in (share, 1.0 - share))
    assert below + above == pytest.approx(shape.full_volume_m3, rel=1e-9)


def test_full_tanks_by_closed_forms() -> None:
    """A lying tank with hemispheres is a cylinder and a sphere; one with 2:1 ellipses a cylinder and half a sphere."""
    cylinder, sphere = math.pi * 1.9**2 / 4 * 3.2, math.pi * 1.9**3 / 6
    full = {s.ends: s.full_volume_m3 for s in CYLINDERS if s.form is TankForm.LYING}
    assert full[Ends.FLAT] == pytest.approx(cylinder)
    assert full[Ends.HEMISPHERICAL] == pytest.approx(cylinder + sphere)
    assert full[Ends.ELLIPTICAL] == pytest.approx(cylinder + sphere / 2)
    assert volume_up_to(BOX, 0.5) == pytest.approx(0.6) and volume_up_to(TABLE, 0.7) == pytest.approx(0.725)


def test_an_empty_tank_holds_what_its_table_says() -> None:
    assert volume_up_to(TABLE, 0.0) == 0.05 and level_of(TABLE, 0.05) == 0.0
    assert all(
        volume_up_to(shape, 0.0) == pytest.approx(0.0, abs=1e-12) for shape in SHAPES if shape is not TABLE
    )


# --- spread and working -----------------------------------------------------------------------------------------------
def test_the_tolerance_of_the_gauge_becomes_a_volume() -> None:
    """Upright, flat: half a centimetre is the area times it, with 1 % of the tank beside it as a root of squares."""
    shape = TankShape(TankForm.UPRIGHT, Ends.FLAT, 2.0, 4.0)
    found = volume_of_level(shape, 1.5, 0.005, 0.01)
    area = math.pi
    assert found.value == pytest.approx(area * 1.5)
    assert found.spread() == pytest.approx(math.hypot(area * 0.005, 0.01 * area * 1.5))
    lying = TankShape(TankForm.LYING, Ends.FLAT, 2.0, 4.0)
    middle, low = (volume_of_level(lying, level, 0.005).spread() for level in (1.0, 0.1))
    assert middle == pytest.approx(2.0 * 4.0 * 0.005, rel=1e-4)
    assert low is not None and middle is not None and low < middle


@pytest.mark.parametrize("shape", SHAPES, ids=lambda shape: f"{shape.form} {shape.ends}")
def test_every_shape_shows_its_working(shape: TankShape) -> None:
    found = volume_of_level(shape, 0.4 * shape.full_level_m, 0.01)
    assert found.unit == "m^3" and found.source in ("tank_geometry", "plant_record")
    assert found.inputs[0].value == pytest.approx(0.4 * shape.full_level_m)


def test_box_working_closes() -> None:
    assert is_closed(volume_of_level(BOX, 0.4, 0.01))


# --- refused ------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("level", [-0.01, 1.91, math.nan, math.inf])
def test_a_level_outside_the_tank_is_refused(level: float) -> None:
    with pytest.raises(
        OutOfRange, match=r"level in the tank is .*; possible here is 0 to 1\.9 m\. Read the gauge again"
    ):
        volume_up_to(TankShape(TankForm.LYING, Ends.FLAT, 1.9, 3.2), level)


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"form": TankForm.LYING, "diameter_m": 0.0, "length_m": 2.0}, "diameter of the tank"),
        ({"form": TankForm.LYING, "diameter_m": 190.0, "length_m": 2.0}, "diameter of the tank is 190 m"),
        ({"form": TankForm.UPRIGHT, "diameter_m": 1.0, "length_m": 0.0}, "straight length"),
        ({"form": TankForm.BOX, "length_m": 1.0, "width_m": 0.0, "height_m": 1.0}, "width of the tank"),
        ({"form": TankForm.TABLE, "table": ((0.0, 0.0),)}, "at least two rows"),
        ({"form": TankForm.TABLE, "table": ((0.1, 0.0), (1.0, 1.0))}, "the first at level 0"),
        ({"form": TankForm.TABLE, "table": ((0.0, 0.0), (1.0, 1.0), (0.5, 2.0))}, "both rise from row to row; after 1 m"),
        ({"form": TankForm.TABLE, "table": ((0.0, 0.0), (1.0, 1.0), (1.5, 1.0))}, "both rise from row to row"),
    ],
)  # fmt: skip
def test_a_shape_that_cannot_be_is_refused(values: dict, words: str) -> None:  # type: ignore[type-arg]
    with pytest.raises(OutOfRange, match=words):
        TankShape(**values)


def test_more_than_the_tank_holds_has_no_level() -> None:
    with pytest.raises(OutOfRange, match="volume in the tank"):
        level_of(BOX, 1.33)
    with pytest.raises(OutOfRange, match="tolerance of the gauge"):
        volume_of_level(BOX, 0.5, 0.0)
