"""A resin bed in its vessel: volume in a stated form, depth, fill, velocity, freeboard."""

from __future__ import annotations

import math

from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.ranges import require_positive, require_within


def cross_section_m2(internal_diameter_m: float) -> float:
    """Cross-section of the vessel.

    Parameters
    ----------
    internal_diameter_m : float
        Internal diameter, > 0 [m]

    Returns
    -------
    area_m2 : float
        Cross-section [m^2]

    Raises: OutOfRange for a diameter that is not above zero.
    """
    require_positive(internal_diameter_m, "vessel diameter", "m")
    return math.pi * internal_diameter_m**2 / 4.0


def _diameter(internal_diameter_m: float) -> Input:
    return Input("D", "internal diameter of the vessel", internal_diameter_m, "m", "length")


def volume_in_exhausted_form(volume_m3: float, swelling_frac: float, is_regenerated: bool) -> Estimate:
    """Resin volume in its exhausted (reference) form from a volume counted in either form.

    Parameters
    ----------
    volume_m3 : float
        Settled volume as counted, > 0 [m^3]
    swelling_frac : float
        Growth from the exhausted to the regenerated form, -0.5 to 1; 0.07 is 7 % larger [-]
    is_regenerated : bool
        Whether the volume was counted in the regenerated form

    Returns
    -------
    volume : Estimate
        Volume in the exhausted form [m^3]

    Raises: OutOfRange for a volume not above zero or a swelling outside its range.
    Source: supplier_sheet (swelling is a property of the resin type).
    """
    require_positive(volume_m3, "resin volume", "m³")
    require_within(
        swelling_frac, -0.5, 1.0, "swelling", "", "Growth from the exhausted to the regenerated form."
    )
    counted = Input(
        "V",
        f"resin volume as loaded, {'regenerated' if is_regenerated else 'exhausted'} form",
        volume_m3,
        "m^3",
        "resin_volume",
    )
    swelling = Input(
        "s", "growth from exhausted to regenerated form", swelling_frac, "dimensionless", "fraction"
    )
    return Estimate(
        symbol="V_r",
        name="resin volume, settled, reference (exhausted) form",
        value=volume_m3 / (1.0 + swelling_frac) if is_regenerated else volume_m3,
        unit="m^3",
        kind="resin_volume",
        formula="V / (1 + s)" if is_regenerated else "V",
        inputs=(counted, swelling) if is_regenerated else (counted,),
        method="swelling of the resin type",
        source="supplier_sheet",
        valid="settled, not tapped",
    )  # fmt: skip


def bed_depth(volume_m3: float, internal_diameter_m: float) -> Estimate:
    """Depth of the settled bed.

    Parameters
    ----------
    volume_m3 : float
        Settled bed volume, > 0 [m^3]
    internal_diameter_m : float
        Internal diameter of the vessel, > 0 [m]

    Returns
    -------
    depth : Estimate
        Bed depth [m]

    Raises: OutOfRange for a volume or diameter that is not above zero.
    Source: geometry.
    """
    require_positive(volume_m3, "resin volume", "m³")
    return Estimate(
        symbol="h_0",
        name="settled bed depth",
        value=volume_m3 / cross_section_m2(internal_diameter_m),
        unit="m",
        kind="length",
        formula="4 · V_r / (π · D^2)",
        inputs=(
            Input("V_r", "resin volume, settled", volume_m3, "m^3", "resin_volume"),
            _diameter(internal_diameter_m),
        ),
        method="geometry of a cylinder",
        source="geometry",
        valid="cylindrical part; domes and supports are not counted",
    )


def linear_velocity(flow: Estimate, internal_diameter_m: float) -> Estimate:
    """Superficial velocity on the bed.

    Parameters
    ----------
    flow : Estimate
        Volume flow [m^3/s]
    internal_diameter_m : float
        Internal diameter of the vessel, > 0 [m]

    Returns
    -------
    velocity : Estimate
        Flow per cross-section [m/s]

    Raises: OutOfRange for a diameter that is not above zero.
    Source: geometry.
    """
    return Estimate(
        symbol="u",
        name="flow on the bed",
        value=flow.value / cross_section_m2(internal_diameter_m),
        unit="m/s",
        kind="velocity",
        formula=f"4 · {flow.symbol} / (π · D^2)",
        inputs=(flow.as_input(), _diameter(internal_diameter_m)),
        method="geometry of a cylinder",
        source="geometry",
    )


def flow_at_velocity(velocity: Estimate, internal_diameter_m: float) -> Estimate:
    """Volume flow that gives a superficial velocity.

    Parameters
    ----------
    velocity : Estimate
        Superficial velocity [m/s]
    internal_diameter_m : float
        Internal diameter of the vessel, > 0 [m]

    Returns
    -------
    flow : Estimate
        Volume flow [m^3/s]

    Raises: OutOfRange for a diameter that is not above zero.
    Source: geometry.
    """
    return Estimate(
        symbol="Q",
        name="flow",
        value=velocity.value * cross_section_m2(internal_diameter_m),
        unit="m^3/s",
        kind="flow",
        formula=f"{velocity.symbol} · π · D^2 / 4",
        inputs=(velocity.as_input(), _diameter(internal_diameter_m)),
        method="geometry of a cylinder",
        source="geometry",
        uncertainty_frac=velocity.uncertainty_frac,
    )


def expanded_height(depth: Estimate, expansion: Estimate) -> Estimate:
    """Height of the expanded bed above its support.

    Parameters
    ----------
    depth : Estimate
        Settled bed depth [m]
    expansion : Estimate
        Expansion, 0.5 is 50 % [-]

    Returns
    -------
    height : Estimate
        Expanded height [m]

    Source: geometry.
    """
    return Estimate(
        symbol="h_E",
        name="height of the expanded bed",
        value=depth.value * (1.0 + expansion.value),
        unit="m",
        kind="length",
        formula=f"{depth.symbol} · (1 + {expansion.symbol})",
        inputs=(depth.as_input(), expansion.as_input()),
        method="geometry",
        source="geometry",
        uncertainty_frac=expansion.uncertainty_frac,
    )


def expansion_that_fits(depth_m: float, straight_height_m: float, free_share_frac: float = 0.0) -> float:
    """Largest expansion that stays inside the vessel, with a share of the height kept free.

    Parameters
    ----------
    depth_m : float
        Settled bed depth, > 0 [m]
    straight_height_m : float
        Straight height above the bed support, > 0 [m]
    free_share_frac : float
        Share of the straight height kept free, 0 to 0.5 [-]

    Returns
    -------
    expansion_frac : float
        Expansion; negative when the bed itself is too deep [-]

    Raises: OutOfRange for lengths that are not above zero.
    """
    require_positive(depth_m, "bed depth", "m")
    require_positive(straight_height_m, "straight height", "m")
    require_within(free_share_frac, 0.0, 0.5, "share of the height kept free")
    return straight_height_m * (1.0 - free_share_frac) / depth_m - 1.0
