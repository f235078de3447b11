"""The day's mass budget of the sewer (EV-06): what went, what would still go, and what of it fits.

Masses are of the ion itself, chloride as Cl and sulfate as SO4. Dissolved solids are the sum of all ions that are counted; what the
water itself brought is in it only where the composition of the tank counts it. A day is a calendar day at the plant.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

from regenplant.core.process.wording import listed, say

IONS = ("chloride", "sodium", "sulfate", "tds")
WORDS = {"chloride": "chloride", "sodium": "sodium", "sulfate": "sulfate", "tds": "dissolved solids"}
_ROUNDING = 1e-9
"""Share of a limit that the arithmetic may cost: what is exactly at the limit fits."""
_PLAN_IONS = ("chloride", "sodium", "sulfate", "calcium", "magnesium", "nitrate", "ammonium")


@dataclass(frozen=True, slots=True)
class Loads:
    """Masses [kg]."""

    chloride_kg: float = 0.0
    sodium_kg: float = 0.0
    sulfate_kg: float = 0.0
    tds_kg: float = 0.0

    def of(self, ion: str) -> float:
        """The mass of one of ``IONS`` [kg]."""
        return float(getattr(self, f"{ion}_kg"))

    def __add__(self, other: Loads) -> Loads:
        return Loads(*(self.of(ion) + other.of(ion) for ion in IONS))

    def times(self, share: float) -> Loads:
        """This share of them."""
        return Loads(*(self.of(ion) * share for ion in IONS))


def total(parts: Iterable[Loads]) -> Loads:
    """The sum; nothing for no parts."""
    return sum(parts, Loads())


def loads_of_plan(totals: Mapping[str, float]) -> Loads:
    """What a planned batch sends to the sewer, from the masses among its totals ("chloride_kg" and the like) [kg]."""
    masses = {ion: totals.get(f"{ion}_kg", 0.0) for ion in _PLAN_IONS}
    return Loads(masses["chloride"], masses["sodium"], masses["sulfate"], sum(masses.values()))


@dataclass(frozen=True, slots=True)
class SewerFigures:
    """The plant's own figures about the sewer; proposals of this program."""

    sewer_day_warn_frac: float = 0.8
    """Share of what a day takes from which it is said that its edge is near [-]."""


@dataclass(frozen=True, slots=True)
class BudgetLine:
    """One ion of one day [kg]."""

    ion: str
    limit_kg: float
    gone_kg: float
    """Discharged on this day."""
    coming_kg: float
    """What stands in the waste tank and what batches under way still bring."""
    wanted_kg: float = 0.0
    """What is asked for now."""

    @property
    def left_kg(self) -> float:
        """What the day still takes beside what went and what is coming; never below 0."""
        return max(self.limit_kg - self.gone_kg - self.coming_kg, 0.0)

    @property
    def spoken_for_kg(self) -> float:
        """What went, what is coming and what is wanted."""
        return self.gone_kg + self.coming_kg + self.wanted_kg

    @property
    def is_over(self) -> bool:
        return self.wanted_kg > 0.0 and self.spoken_for_kg > self.limit_kg * (1.0 + _ROUNDING)

    def is_near(self, warn_frac: float) -> bool:
        """Whether it reaches this share of the day, over or not."""
        return self.spoken_for_kg > 0.0 and self.spoken_for_kg >= self.limit_kg * warn_frac * (
            1.0 - _ROUNDING
        )

    @property
    def sentence(self) -> str:
        """ "chloride 96 kg: the day takes 240 kg, 0 kg went, 192 kg are coming, so 48 kg are left"."""
        coming = f" {say(self.coming_kg, 'mass')} are coming," if self.coming_kg > 0.0 else ""
        return (
            f"{WORDS[self.ion]} {say(self.wanted_kg, 'mass')}: the day takes {say(self.limit_kg, 'mass')}, "
            f"{say(self.gone_kg, 'mass')} went,{coming} so {say(self.left_kg, 'mass')} are left"
        )


def budget_lines(
    budget_kg: Mapping[str, float], *, gone: Loads, coming: Loads | None = None, wanted: Loads | None = None
) -> tuple[BudgetLine, ...]:
    """A line for each ion that the permit limits, in the order of ``IONS``."""
    coming, wanted = coming or Loads(), wanted or Loads()
    return tuple(
        BudgetLine(ion, budget_kg[ion], gone.of(ion), coming.of(ion), wanted.of(ion))
        for ion in IONS
        if ion in budget_kg
    )


def over(lines: Iterable[BudgetLine]) -> tuple[BudgetLine, ...]:
    """The lines that would exceed the day."""
    return tuple(line for line in lines if line.is_over)


def share_that_fits(lines: Iterable[BudgetLine]) -> float:
    """How much of what is asked for the day still takes, by its narrowest ion: 0 to 1."""
    return min(
        (min(line.left_kg / line.wanted_kg, 1.0) for line in lines if line.wanted_kg > 0.0), default=1.0
    )


def too_much(lines: Iterable[BudgetLine]) -> str:
    """What would exceed the day, in words; "" where all of it fits."""
    return listed([line.sentence for line in over(lines)])


def near_the_edge(lines: Iterable[BudgetLine], warn_frac: float) -> str:
    """Which ions come near what the day takes, in words; "" for none. ``warn_frac``: the share from which it is said [-]."""
    return listed(
        [
            f"{WORDS[line.ion]} {say(line.spoken_for_kg, 'mass')} of {say(line.limit_kg, 'mass')}"
            for line in lines
            if line.is_near(warn_frac)
        ]
    )
