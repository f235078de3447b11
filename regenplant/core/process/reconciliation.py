"""What a tank should hold against what was found in it: one count against the books, and the balance between two counts.

All masses as 100 % substance. A difference that the gauge cannot tell from nothing is no difference; one above it is never
spread or averaged away, it is shown and waits for a person.

Source: mass balance; the watch level of 3 % of the use or 25 L of product is common practice of the trade.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum


@dataclass(frozen=True, slots=True)
class StockFigures:
    """The plant's own figures about stock. The first two are common practice of the trade, the others proposals of this program."""

    reconcile_gap_frac: float = 0.03
    """A balance that does not close by more than this share of the use is looked into; common practice [-]."""
    reconcile_gap_volume_m3: float = 0.025
    """... and by more than this volume of product, whichever is larger; common practice [m^3]."""
    weighed_tolerance_frac: float = 0.01
    """How far a stock that was weighed or measured out may be off, as a share of it; weigh tickets and levels usually agree within
    1 to 2 %, common practice [-]."""
    count_due_days: float = 1.0
    """A tank is counted again after so many days; a level check in each shift is common practice [d]."""
    usual_use_days: float = 28.0
    """How far back the usual use of a day is taken from [d]."""
    delivery_days: float = 5.0
    """From an order to the delivery [d]."""
    due_soon_days: float = 2.0
    """Days ahead at which a check or an expiry counts as due soon [d]."""


class Verdict(StrEnum):
    """How a difference stands."""

    NONE = "within the gauge"
    WITHIN = "within the watch level"
    ABOVE = "above the watch level"


@dataclass(frozen=True, slots=True)
class Balance:
    """Opening + receipts − use − other = closing, of one tank between two counts [kg as 100 %].

    ``other_kg`` is what left otherwise and is on record (drained, spilled), less what came back; ``spread_kg`` what both gauge
    readings may be off together, ``watch_kg`` the difference from which somebody looks.
    """

    opening_kg: float
    received_kg: float
    used_kg: float
    other_kg: float
    closing_kg: float
    spread_kg: float
    watch_kg: float

    @property
    def expected_kg(self) -> float:
        return self.opening_kg + self.received_kg - self.used_kg - self.other_kg

    @property
    def gap_kg(self) -> float:
        """What was found less what should be there: below zero something is missing."""
        return self.closing_kg - self.expected_kg

    @property
    def gap_frac(self) -> float | None:
        """The difference over the use, missing counts as positive [-]; None where nothing was used."""
        return -self.gap_kg / self.used_kg if self.used_kg > 0.0 else None

    @property
    def verdict(self) -> Verdict:
        return judged(self.gap_kg, self.spread_kg, self.watch_kg)


def watch_mass_kg(used_kg: float, figures: StockFigures, concentration_kg_per_m3: float | None) -> float:
    """The difference from which somebody looks: a share of the use or a volume of product, whichever is larger [kg as 100 %].

    ``concentration_kg_per_m3`` is None where no density is known; then the share alone counts.
    """
    by_volume = figures.reconcile_gap_volume_m3 * (concentration_kg_per_m3 or 0.0)
    return max(figures.reconcile_gap_frac * max(used_kg, 0.0), by_volume)


def judged(gap_kg: float, spread_kg: float, watch_kg: float) -> Verdict:
    """How a difference stands; on its edge is within.

    Parameters
    ----------
    gap_kg : float
        Found less expected
    spread_kg, watch_kg : float
        >= 0
    """
    if abs(gap_kg) <= spread_kg:
        return Verdict.NONE
    return Verdict.WITHIN if abs(gap_kg) <= watch_kg else Verdict.ABOVE


def together(*spreads: float) -> float:
    """The spread of a sum or difference of readings that know nothing of each other: the root of the summed squares."""
    return math.hypot(*spreads)
