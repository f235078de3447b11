"""The weigh ticket of a delivery against what was unloaded: volume times density, and against the papers.

All masses are of the product as it is weighed, not as 100 %. Two weighings of one truck and two readings of a level agree within one
or two per cent (common practice of the trade); what differs by more is a wrong density, a wrong level, a hose that still holds liquid,
another product, or less than was paid for.
"""

from __future__ import annotations

from dataclasses import dataclass

from regenplant.core.engineering.ranges import require_positive

USUAL_TOLERANCE_FRAC = 0.02
"""Largest difference that calls for nobody: 2 % (common practice: 1 to 2 %)."""
LEAST_TOLERANCE_FRAC, MOST_TOLERANCE_FRAC = 0.002, 0.05
"""Bounds of what a plant may choose: a weighbridge is no better than the first (from memory), more than the second hides what is looked for."""


@dataclass(frozen=True, slots=True)
class Weighing:
    """One weigh ticket with what it is held against. Masses in kg of product, fractions of the mass they are compared with."""

    net_kg: float
    by_volume_kg: float
    papers_kg: float
    tolerance_frac: float

    @property
    def volume_gap_frac(self) -> float:
        """Ticket less volume times density, as a fraction of the latter."""
        return self.net_kg / self.by_volume_kg - 1.0

    @property
    def papers_gap_frac(self) -> float:
        """Ticket less papers, as a fraction of the latter."""
        return self.net_kg / self.papers_kg - 1.0

    @property
    def is_beyond(self) -> bool:
        """Whether either difference is more than the tolerance; then a second person says where it comes from."""
        return max(abs(self.volume_gap_frac), abs(self.papers_gap_frac)) > self.tolerance_frac


def weighed(
    net_kg: float,
    volume_m3: float,
    density_kg_per_m3: float,
    grams_100: int,
    strength_frac: float,
    tolerance_frac: float,
) -> Weighing:
    """Hold a ticket against the volume unloaded and against the papers.

    Parameters
    ----------
    net_kg : float
        > 0; net mass of product by the ticket
    volume_m3 : float
        > 0; unloaded, by the rise of the level or a meter
    density_kg_per_m3 : float
        > 0; of the sample of this delivery, at its temperature
    grams_100 : int
        > 0; by the papers, as 100 %
    strength_frac : float
        > 0; weight by weight, of the certificate by which the papers were read
    tolerance_frac : float
        > 0; of the plant

    Raises: OutOfRange for anything that is not above zero.
    """
    for value, name in (
        (net_kg, "net_kg"),
        (volume_m3, "volume_m3"),
        (density_kg_per_m3, "density_kg_per_m3"),
        (float(grams_100), "grams_100"),
        (strength_frac, "strength_frac"),
        (tolerance_frac, "tolerance_frac"),
    ):
        require_positive(value, name)
    return Weighing(net_kg, volume_m3 * density_kg_per_m3, grams_100 / 1000.0 / strength_frac, tolerance_frac)
