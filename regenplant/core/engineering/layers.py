"""A separated bed, settled: the order of its beads from bottom to top, and what lies on which side of a cut.

Heights are settled depths per cross-section [m]; multiplied by the cross-section they are volumes. Both resins are taken to
settle with their own void fraction unchanged, so volume is conserved bead by bead.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from regenplant.core.engineering.beads import BeadPopulation, PropertyCurve
from regenplant.core.engineering.fluidization import Fluid, layer_density_curve, settling_curve
from regenplant.core.engineering.interpolation import bracket_rising


class Order(StrEnum):
    """The rule that says who lies above whom."""

    LAYER_DENSITY = "density of the layers in the flow"
    SETTLING = "settling velocity of the beads"


NO_DEPTH_M = 1e-12
"""Less than this is the dust of floating point [m]."""


@dataclass(frozen=True, slots=True)
class Layers:
    """How much of each resin lies in the lower layer, in the cut and in the upper layer: depths [m] or volumes [m^3]."""

    cation_lower: float
    anion_lower: float
    cation_cut: float
    anion_cut: float
    cation_upper: float
    anion_upper: float

    def times(self, area_m2: float) -> Layers:
        """Depths to volumes."""
        return Layers(
            self.cation_lower * area_m2,
            self.anion_lower * area_m2,
            self.cation_cut * area_m2,
            self.anion_cut * area_m2,
            self.cation_upper * area_m2,
            self.anion_upper * area_m2,
        )


@dataclass(frozen=True, slots=True)
class OrderedBeads:
    """Both resins ordered by one property, the higher the lower down."""

    cation: PropertyCurve
    anion: PropertyCurve
    cation_depth_m: float
    anion_depth_m: float

    def cation_above_m(self, depth_above_m: float) -> float:
        """Cation among the uppermost ``depth_above_m`` of the resin; beads that are alike are shared out evenly."""
        low = min(self.cation.lowest, self.anion.lowest)
        high = max(self.cation.highest, self.anion.highest)
        low, high = bracket_rising(self._above, depth_above_m, low, high)
        before, after = self._above(low), self._above(high)
        part = min(max((depth_above_m - before) / (after - before), 0.0), 1.0) if after > before else 1.0
        cation_before, cation_after = self._cation_above(low), self._cation_above(high)
        return cation_before + part * (cation_after - cation_before)

    def anion_below_m(self, depth_above_m: float) -> float:
        """Anion under the uppermost ``depth_above_m`` of the resin: what is not above."""
        return max(self.anion_depth_m - depth_above_m + self.cation_above_m(depth_above_m), 0.0)

    def _cation_above(self, value: float) -> float:
        return self.cation_depth_m * self.cation.share_below(value)

    def _above(self, value: float) -> float:
        return self._cation_above(value) + self.anion_depth_m * self.anion.share_below(value)

    def misplaced_m(self) -> float:
        """Cation above the interface, and so anion below it."""
        return self.cation_above_m(self.anion_depth_m)

    def overlap_m(self) -> float:
        """Depth between the slowest 1 % of the cation and the fastest 1 % of the anion, 0 where they do not reach."""
        low, high = self.cation.quantile(0.01), self.anion.quantile(0.99)
        return max(self._above(high) - self._above(low), 0.0) if high > low else 0.0


@dataclass(frozen=True, slots=True)
class SettledBed:
    """The separated bed at rest, from the ordering rule that parts the resins less."""

    beads: OrderedBeads
    order: Order
    misplaced_m: float
    """Cation above the interface, and so anion below it, by this rule."""
    other_misplaced_m: float
    """The same by the other rule."""
    mixing_length_m: float
    reach_m: float
    """How far mixing can go: the thinner of the two layers that touch."""

    @property
    def cation_depth_m(self) -> float:
        return self.beads.cation_depth_m

    @property
    def anion_depth_m(self) -> float:
        return self.beads.anion_depth_m

    @property
    def depth_m(self) -> float:
        return self.cation_depth_m + self.anion_depth_m

    def mixed_m(self, half_cut_m: float) -> float:
        """Resin mixed across the interface that lies beyond the edge of the cut, on either side."""
        length = self.mixing_length_m
        if length == 0.0 or half_cut_m >= self.reach_m:
            return 0.0
        return length / 2.0 * (math.exp(-half_cut_m / length) - math.exp(-self.reach_m / length))

    def cut(self, half_cut_m: float) -> InterfaceCut:
        """What a cut of this depth on either side of the interface leaves; 0 for no cut."""
        if half_cut_m == 0.0:
            above = below = self.misplaced_m
        else:
            above = self.beads.cation_above_m(self.anion_depth_m - half_cut_m)
            below = self.beads.anion_below_m(self.anion_depth_m + half_cut_m)
        # differences of sums leave some 1e-17 m where nothing is: no depth, and no figure to print
        above, below = (depth if depth > NO_DEPTH_M else 0.0 for depth in (above, below))
        return InterfaceCut(self, half_cut_m, above, below, self.mixed_m(half_cut_m))


@dataclass(frozen=True, slots=True)
class InterfaceCut:
    """A cut through a settled bed: the same depth taken from either side of the interface."""

    bed: SettledBed
    half_m: float
    sorted_above_m: float
    """Cation that the ordering rule puts above the upper edge of the cut."""
    sorted_below_m: float
    """Anion that the ordering rule puts below the lower edge of the cut."""
    mixed_m: float
    """Resin mixed across the interface beyond either edge."""

    @property
    def cation_above_m(self) -> float:
        """Cation in the upper layer; never more than in a bed that stays mixed."""
        bed = self.bed
        most = bed.cation_depth_m / bed.depth_m * (bed.anion_depth_m - self.half_m)
        return min(self.sorted_above_m + self.mixed_m, most)

    @property
    def anion_below_m(self) -> float:
        """Anion in the lower layer; never more than in a bed that stays mixed."""
        bed = self.bed
        most = bed.anion_depth_m / bed.depth_m * (bed.cation_depth_m - self.half_m)
        return min(self.sorted_below_m + self.mixed_m, most)

    @property
    def worst_frac(self) -> float:
        """The larger of the two shares of other resin."""
        return max(
            self.cation_above_m / (self.bed.anion_depth_m - self.half_m),
            self.anion_below_m / (self.bed.cation_depth_m - self.half_m),
        )

    def layers(self) -> Layers:
        """All depths by layer; each resin adds up to what was loaded."""
        cation_upper, anion_lower = self.cation_above_m, self.anion_below_m
        cation_lower = self.bed.cation_depth_m - self.half_m - anion_lower
        anion_upper = self.bed.anion_depth_m - self.half_m - cation_upper
        return Layers(
            cation_lower=cation_lower,
            anion_lower=anion_lower,
            cation_cut=self.bed.cation_depth_m - cation_lower - cation_upper,
            anion_cut=self.bed.anion_depth_m - anion_lower - anion_upper,
            cation_upper=cation_upper,
            anion_upper=anion_upper,
        )


def ordered_bed(
    *,
    cation: BeadPopulation,
    anion: BeadPopulation,
    cation_depth_m: float,
    anion_depth_m: float,
    velocity_m_per_s: float,
    fluid: Fluid,
    mixing_length_m: float,
    floating_frac: float,
) -> SettledBed:
    """The settled bed by the rule that parts the resins less.

    Parameters
    ----------
    cation : BeadPopulation
        Beads of the cation resin
    anion : BeadPopulation
        Beads of the anion resin
    cation_depth_m : float
        Settled depth of the cation resin alone [m]
    anion_depth_m : float
        Settled depth of the anion resin alone [m]
    velocity_m_per_s : float
        Upward superficial velocity; 0 where the anion floats [m/s]
    fluid : Fluid
        Density and viscosity
    mixing_length_m : float
        Length over which mixing at the interface falls by a factor e [m]
    floating_frac : float
        Share of the anion that floats and does not touch the cation [-]

    Returns
    -------
    bed : SettledBed
        The bed at rest

    Source: layer_order, velocity_order, interface_mixing.
    """
    settling = OrderedBeads(
        settling_curve(cation, fluid), settling_curve(anion, fluid), cation_depth_m, anion_depth_m
    )
    by_settling = settling.misplaced_m()
    reach = min(cation_depth_m, anion_depth_m * (1.0 - floating_frac))
    if velocity_m_per_s == 0.0:
        return SettledBed(settling, Order.SETTLING, by_settling, by_settling, mixing_length_m, reach)
    layered = OrderedBeads(
        layer_density_curve(cation, velocity_m_per_s, fluid),
        layer_density_curve(anion, velocity_m_per_s, fluid),
        cation_depth_m,
        anion_depth_m,
    )
    by_layers = layered.misplaced_m()
    if by_layers > by_settling:
        return SettledBed(layered, Order.LAYER_DENSITY, by_layers, by_settling, mixing_length_m, reach)
    return SettledBed(settling, Order.SETTLING, by_settling, by_layers, mixing_length_m, reach)
