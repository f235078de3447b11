"""What people must know before they trust a predicted separation: sentences, in the order of weight."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Protocol

from regenplant.core.engineering.beads import BeadPopulation
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.engineering.fluidization import Bead, Fluid, layer_density_kg_per_m3, settling_curve
from regenplant.core.engineering.layers import Order, SettledBed
from regenplant.core.engineering.separation_flow import floating_share, flow_for_expansion

LEAST_RATIO = 1.2
"""Below this ratio of settling velocities resins do not part (trade rule)."""
WORTH_SAYING_FRAC = 0.01
_LOST_FRAC = 0.001


class SeparatedResins(Protocol):
    """What the warnings look at of a separation case."""

    @property
    def cation(self) -> BeadPopulation: ...
    @property
    def anion(self) -> BeadPopulation: ...
    @property
    def is_exhausted(self) -> bool: ...


def separation_warnings(
    case: SeparatedResins,
    bed: SettledBed,
    ratio: Estimate,
    end_ratio: Estimate,
    velocity_m_per_s: float,
    fluid: Fluid,
) -> tuple[str, ...]:
    """The warnings of a separation.

    Parameters
    ----------
    case : SeparatedResins
        Both resins and whether they were exhausted
    bed : SettledBed
        The bed at rest
    ratio : Estimate
        Settling velocity of the median cation over that of the median anion bead [-]
    end_ratio : Estimate
        The same for the slowest cation and the fastest anion beads [-]
    velocity_m_per_s : float
        Upward flow; 0 where the anion floats [m/s]
    fluid : Fluid
        Density and viscosity

    Returns
    -------
    warnings : tuple of str
        Sentences for people
    """
    found = [*_ratio_warnings(ratio.value, end_ratio.value), *_form_warnings(case)]
    found += (
        _float_warnings(case, fluid)
        if velocity_m_per_s == 0.0
        else _flow_warnings(case, velocity_m_per_s, fluid)
    )
    found += _order_warnings(bed)
    return tuple(found)


def _ratio_warnings(ratio: float, end_ratio: float) -> Iterator[str]:
    if 0.0 < ratio < LEAST_RATIO:
        yield (
            f"The cation beads settle {ratio:.2f} times as fast as the anion beads; below {LEAST_RATIO:g} these resins "
            "do not separate by backwash. Use brine or caustic that floats the anion, or other resin."
        )
    elif 0.0 < end_ratio < LEAST_RATIO:
        yield (
            f"The slowest cation beads settle only {end_ratio:.2f} times as fast as the fastest anion beads: "
            "screen out fines and coarse anion beads, and look for the overlap."
        )


def _form_warnings(case: SeparatedResins) -> Iterator[str]:
    if not case.is_exhausted:
        yield (
            "Not exhausted first: mixed forms blur the gap in density, and hydrogen and hydroxide beads clump. "
            "Exhaust both resins first; brine or a little caustic loosens clumps."
        )


def _flow_warnings(case: SeparatedResins, velocity_m_per_s: float, fluid: Fluid) -> Iterator[str]:
    cation, anion = case.cation, case.anion
    moves = flow_for_expansion(
        Bead(cation.diameter_m, cation.density_kg_per_m3, cation.settled_void_frac), 0.0, fluid
    ).value
    if velocity_m_per_s < moves:
        yield (
            f"At {velocity_m_per_s * 3600:.3g} m/h the cation resin does not move (it needs {moves * 3600:.3g} m/h): "
            "anion beads stay trapped in it. Begin with more flow as far as the height allows, then lower it."
        )
    lost = settling_curve(anion, fluid).share_below(velocity_m_per_s)
    if lost > _LOST_FRAC:
        yield f"{lost * 100:.2g} % of the anion beads rise with this flow and are lost; check the catcher."
    layers = [
        layer_density_kg_per_m3(
            beads.diameter_m, beads.density_kg_per_m3, velocity_m_per_s, fluid, beads.settled_void_frac
        )
        for beads in (cation, anion)
    ]
    if layers[0] <= layers[1]:
        yield "At this flow the cation layer is the lighter one: the layers turn over. Lower the flow."


def _float_warnings(case: SeparatedResins, fluid: Fluid) -> Iterator[str]:
    sinks = 1.0 - floating_share(case.anion, fluid.density_kg_per_m3)
    floats = floating_share(case.cation, fluid.density_kg_per_m3)
    if sinks > _LOST_FRAC or floats > _LOST_FRAC:
        yield (
            f"In a fluid of {fluid.density_kg_per_m3:.0f} kg/m³, {sinks * 100:.2g} % of the anion beads sink and "
            f"{floats * 100:.2g} % of the cation beads float; a density midway between the two parts them best."
        )


def _order_warnings(bed: SettledBed) -> Iterator[str]:
    chosen, other = bed.misplaced_m / bed.depth_m, bed.other_misplaced_m / bed.depth_m
    if chosen - other > WORTH_SAYING_FRAC:
        rule = Order.LAYER_DENSITY if bed.order is Order.SETTLING else Order.SETTLING
        yield (
            f"Two rules disagree: by {bed.order.value} {chosen * 100:.2g} % of the bed lies on the wrong side, "
            f"by {rule.value} {other * 100:.2g} %. The larger is shown."
        )
