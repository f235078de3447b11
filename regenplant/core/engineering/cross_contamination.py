"""What a separated bed holds on the wrong side, before and after an interface cut, as estimates that show their working."""

from __future__ import annotations

import math

from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.interpolation import solve_rising
from regenplant.core.engineering.layers import InterfaceCut, SettledBed

_VALID = (
    "estimate, good to a factor of about two; whole beads, even flow, no clumps; the separation seen decides"
)
_E = Input("e", "base of natural logarithms", math.e, "dimensionless")


def _depths(bed: SettledBed) -> tuple[Input, Input]:
    return (
        Input("h_c", "settled depth of the cation resin", bed.cation_depth_m, "m", "length"),
        Input("h_a", "settled depth of the anion resin", bed.anion_depth_m, "m", "length"),
    )


def overlap(bed: SettledBed) -> Estimate:
    """Share of the bed in which the two resins are not apart: each above 1 % by order, or above 5 % by mixing.

    Parameters
    ----------
    bed : SettledBed
        The bed at rest

    Returns
    -------
    share : Estimate
        Share of the resin volume [-]

    Source: layer_order, velocity_order, interface_mixing.
    """
    sorted_m = bed.beads.overlap_m()
    by_length = bed.mixing_length_m * math.log(10.0)
    reaches_end = by_length >= bed.reach_m
    zone = sorted_m + 2.0 * min(by_length, bed.reach_m)
    is_all = zone >= bed.depth_m
    mixing = "r" if reaches_end else "ℓ / log10(e)"
    entry = (
        Input("r", "how far mixing can go", bed.reach_m, "m", "length")
        if reaches_end
        else Input("ℓ", "mixing length", bed.mixing_length_m, "m", "length")
    )
    return Estimate(
        symbol="f_o",
        name="share of the bed in which the resins overlap",
        value=1.0 if is_all else zone / bed.depth_m,
        unit="dimensionless",
        kind="fraction",
        formula="(h_c + h_a) / (h_c + h_a)" if is_all else f"(z + 2 · {mixing}) / (h_c + h_a)",
        inputs=(
            Input("z", f"overlap by {bed.order.value}", sorted_m, "m", "length"),
            entry,
            _E,
            *_depths(bed),
        ),
        method=f"order by {bed.order.value}, with mixing at the interface",
        source="interface_mixing",
        valid=_VALID,
        uncertainty_frac=1.0,
    )


def cation_in_anion(cut: InterfaceCut) -> Estimate:
    """Share of cation resin in what is taken as anion resin.

    Parameters
    ----------
    cut : InterfaceCut
        The settled bed and the depth cut away on either side, 0 for none

    Returns
    -------
    share : Estimate
        Share of the upper layer's volume [-]

    Source: layer_order, velocity_order, interface_mixing.
    """
    return _other_resin(
        cut,
        symbols=("x_ca", "h_a", "h_c"),
        name="cation resin in the anion resin",
        sorted_m=cut.sorted_above_m,
        other_m=cut.cation_above_m,
    )


def anion_in_cation(cut: InterfaceCut) -> Estimate:
    """Share of anion resin in what is taken as cation resin.

    Parameters
    ----------
    cut : InterfaceCut
        The settled bed and the depth cut away on either side, 0 for none

    Returns
    -------
    share : Estimate
        Share of the lower layer's volume [-]

    Source: layer_order, velocity_order, interface_mixing.
    """
    return _other_resin(
        cut,
        symbols=("x_ac", "h_c", "h_a"),
        name="anion resin in the cation resin",
        sorted_m=cut.sorted_below_m,
        other_m=cut.anion_below_m,
    )


def _other_resin(
    cut: InterfaceCut,
    *,
    symbols: tuple[str, str, str],
    name: str,
    sorted_m: float,
    other_m: float,
) -> Estimate:
    symbol, own, other = symbols
    bed, half_cut_m, mixed_m = cut.bed, cut.half_m, cut.mixed_m
    stays_mixed = other_m < sorted_m + mixed_m
    depth = (bed.anion_depth_m if own == "h_a" else bed.cation_depth_m) - half_cut_m
    when = " after the cut" if half_cut_m > 0.0 else " before a cut"
    mixing = " + ℓ / 2 · (e^(−c / ℓ) − e^(−r / ℓ))" if mixed_m > 0.0 else ""
    return Estimate(
        symbol=symbol,
        name=name + when,
        value=other_m / depth,
        unit="dimensionless",
        kind="fraction",
        formula=f"{other} / (h_c + h_a)" if stays_mixed else f"(a{mixing}) / ({own} − c)",
        inputs=(
            Input("a", f"depth of {name}, by {bed.order.value}", sorted_m, "m", "length"),
            Input("ℓ", "mixing length at the interface", bed.mixing_length_m, "m", "length"),
            Input("c", "depth of the cut on this side", half_cut_m, "m", "length"),
            Input("r", "how far mixing can go", bed.reach_m, "m", "length"),
            _E,
            *_depths(bed),
        ),
        method="the bed stays mixed"
        if stays_mixed
        else f"order by {bed.order.value}, with mixing at the interface",
        source="interface_mixing",
        valid=_VALID,
        uncertainty_frac=1.0,
    )


def smallest_cut(bed: SettledBed, allowed_frac: float) -> Estimate | None:
    """The smallest interface cut that leaves both resins as clean as asked; None where no cut does.

    Parameters
    ----------
    bed : SettledBed
        The bed at rest
    allowed_frac : float
        Most of the other resin in either [-]

    Returns
    -------
    cut : Estimate or None
        Share of the whole resin volume to take out [-]

    Source: layer_order, velocity_order, interface_mixing.
    """

    largest = 0.9 * min(bed.cation_depth_m, bed.anion_depth_m)
    if bed.cut(largest).worst_frac > allowed_frac:
        return None
    half = (
        0.0
        if bed.cut(0.0).worst_frac <= allowed_frac
        else solve_rising(lambda c: -bed.cut(c).worst_frac, -allowed_frac, 0.0, largest, halvings=16)
    )
    return Estimate(
        symbol="f_c",
        name="interface cut that leaves both resins clean enough",
        value=2.0 * half / bed.depth_m,
        unit="dimensionless",
        kind="fraction",
        formula="solve larger of x_ca and x_ac after the cut = x_max",
        inputs=(
            Input("x_max", "most of the other resin allowed", allowed_frac, "dimensionless", "fraction"),
            *_depths(bed),
        ),
        method=f"order by {bed.order.value}, with mixing at the interface",
        source="interface_mixing",
        valid=_VALID,
        uncertainty_frac=0.5,
    )
