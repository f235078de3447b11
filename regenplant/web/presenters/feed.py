"""The feed analysis in words: each figure, the charge balance, and what such a water reads."""

from __future__ import annotations

from dataclasses import dataclass

from regenplant import units
from regenplant.core.engineering import waters
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.engineering.water import REFERENCE_KELVIN
from regenplant.core.engineering.water_conductivity import conductivity_of
from regenplant.core.process.plan import FeedData
from regenplant.plant.models import PlantProfile
from regenplant.plant.selectors import feed_of
from regenplant.plant.services.feed import BALANCE_FRAC

FIGURES = (
    ("Calcium", "calcium_eq_per_m3", "normality"),
    ("Magnesium", "magnesium_eq_per_m3", "normality"),
    ("Sodium and what is like it", "sodium_eq_per_m3", "normality"),
    ("Alkalinity", "alkalinity_eq_per_m3", "normality"),
    ("Chloride", "chloride_eq_per_m3", "normality"),
    ("Sulfate", "sulfate_eq_per_m3", "normality"),
    ("Nitrate", "nitrate_eq_per_m3", "normality"),
    ("Free carbon dioxide", "carbon_dioxide_mol_per_m3", "amount_concentration"),
    ("Silica", "silica_mol_per_m3", "amount_concentration"),
)


@dataclass(frozen=True, slots=True)
class FeedView:
    """The analysis on record."""

    basis: str
    rows: tuple[tuple[str, str], ...]
    balance: str
    reads: tuple[Estimate, ...]
    """pH and conductivity that these ions give at 25 °C, to hold beside what the laboratory read."""


def feed_view(plant: PlantProfile, system: str) -> FeedView | None:
    """None where no analysis is on record."""
    feed = feed_of(plant)
    if feed is None:
        return None
    water = waters.from_equivalents(feed)
    return FeedView(
        basis=feed.basis,
        rows=tuple(feed_rows(plant, system)),
        balance=balance_sentence(feed, system),
        reads=(waters.ph_of(water, REFERENCE_KELVIN), conductivity_of(water)),
    )


def feed_rows(plant: PlantProfile, system: str) -> list[tuple[str, str]]:
    """Each figure; empty where no analysis is on record."""
    feed = feed_of(plant)
    if feed is None:
        return []
    return [(name, units.format_quantity(getattr(feed, key), kind, system)) for name, key, kind in FIGURES]


def balance_sentence(feed: FeedData, system: str) -> str:
    """ "Cations 6.00 meq/L, anions 6.00 meq/L: 0.0 % apart, at most 10 %."."""
    anions = feed.strong_anions_eq_per_m3 + feed.alkalinity_eq_per_m3
    cations = feed.cations_eq_per_m3
    apart = abs(cations - anions) / ((cations + anions) / 2.0)
    said = (units.format_quantity(value, "normality", system) for value in (cations, anions))
    return f"Cations {next(said)}, anions with alkalinity {next(said)}: {100 * apart:.1f} % apart, at most {100 * BALANCE_FRAC:.0f} %."
