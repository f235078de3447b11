"""What a laboratory measures on a sample of resin, how each figure is written, and what it says by itself.

Watch levels are common practice of the trade unless marked; they call for a look and decide nothing.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass
from enum import StrEnum

from regenplant.core.process.vocabulary import ResinFamily


class Property(StrEnum):
    """One figure of a sample."""

    MOISTURE = "moisture"
    TOTAL_CAPACITY = "total_capacity"
    SALT_SPLITTING = "salt_splitting"
    WHOLE_BEADS = "whole_beads"
    FINES = "fines"
    IRON = "iron"
    TOC = "toc"

    @property
    def label(self) -> str:
        return _OF[self].label

    @property
    def kind(self) -> str:
        """Kind of quantity it is written in."""
        return _OF[self].kind

    @property
    def low(self) -> float:
        """Lowest figure that can be, in the SI unit of its kind."""
        return _OF[self].low

    @property
    def high(self) -> float:
        """Highest figure that can be, in the SI unit of its kind."""
        return _OF[self].high

    @property
    def wants_new(self) -> bool:
        """Whether the figure says something only beside that of new resin."""
        return self in (Property.MOISTURE, Property.TOTAL_CAPACITY, Property.SALT_SPLITTING)

    @property
    def is_capacity(self) -> bool:
        return self in (Property.TOTAL_CAPACITY, Property.SALT_SPLITTING)


@dataclass(frozen=True, slots=True)
class _About:
    label: str
    kind: str
    low: float
    high: float


_OF = {
    Property.MOISTURE: _About("Moisture", "fraction", 0.2, 0.9),
    Property.TOTAL_CAPACITY: _About("Total capacity", "capacity", 50.0, 6000.0),
    Property.SALT_SPLITTING: _About("Salt-splitting capacity", "capacity", 20.0, 6000.0),
    Property.WHOLE_BEADS: _About("Whole beads", "fraction", 0.0, 1.0),
    Property.FINES: _About("Fines through 50 mesh", "fraction", 0.0, 1.0),
    Property.IRON: _About("Iron, in the acid soak", "concentration", 0.0, 20.0),
    Property.TOC: _About("Organic carbon leached (TOC)", "concentration", 0.0, 50.0),
}
"""Bounds catch a slip of unit; they are this program's own."""

METHOD_SD_FRAC = 0.05
"""Standard deviation of a capacity test over its value where the laboratory says none; common practice."""
WHOLE_BEADS_LOW, WHOLE_BEADS_WATCH = 0.90, 0.95
"""Sound resin has at least 90 to 95 % whole beads: common practice."""
FINES_HIGH = 0.01
"""Less than 1 % through 50 mesh: common practice."""
IRON_HIGH_KG_PER_M3 = 5e-3
"""Over 5 ppm in a soak of 1 % hydrochloric acid for 5 to 10 minutes the resin is fouled: trade journal 2010, read."""
MOISTURE_STEP = 0.03
"""Three points from new are looked at; this program's choice, the trade names no figure."""
DUE_DAYS = 365
"""Sampled yearly for each pool, full depth: common practice."""


class Finding(StrEnum):
    """What figures of a sample say by themselves."""

    MOISTURE_UP = "moisture_up"
    MOISTURE_DOWN = "moisture_down"
    BROKEN_BEADS = "broken_beads"
    FINES = "fines"
    IRON = "iron"
    WEAK_BASE = "weak_base"


@dataclass(frozen=True, slots=True)
class Figure:
    """One current figure of a lot. ``new``: that of new resin, where it is known."""

    property: Property
    value: float
    new: float | None = None


@dataclass(frozen=True, slots=True)
class Found:
    finding: Finding
    sentence: str


def findings(family: ResinFamily, figures: Collection[Figure]) -> tuple[Found, ...]:
    """What the figures say by themselves, in the order of ``Finding``.

    Parameters
    ----------
    family : ResinFamily
        Of the sampled resin; of a mixed bed that of the resin sampled
    figures : Collection[Figure]
        The newest of each property, SI

    Returns
    -------
    found : tuple[Found, ...]
        Each with its sentence, figures in it
    """
    by_name = {one.property: one for one in figures}
    found: list[Found] = []
    moisture = by_name.get(Property.MOISTURE)
    if moisture is not None and moisture.new is not None:
        step = moisture.value - moisture.new
        if step > MOISTURE_STEP:
            why = (
                "cross-links are being lost (oxidation)"
                if family.is_cation
                else "cross-links or groups are being lost"
            )
            found.append(Found(Finding.MOISTURE_UP, f"Moisture is {_points(step)} above new: {why}."))
        elif step < -MOISTURE_STEP:
            found.append(
                Found(
                    Finding.MOISTURE_DOWN,
                    f"Moisture is {_points(-step)} below new: something fills the beads (fouling).",
                )
            )
    beads = by_name.get(Property.WHOLE_BEADS)
    if beads is not None and beads.value < WHOLE_BEADS_WATCH:
        least = "90 to 95 %" if beads.value >= WHOLE_BEADS_LOW else "90 %"
        found.append(
            Found(
                Finding.BROKEN_BEADS,
                f"Only {beads.value:.0%} of the beads are whole; {least} is the least usual.",
            )
        )
    fines = by_name.get(Property.FINES)
    if fines is not None and fines.value > FINES_HIGH:
        found.append(Found(Finding.FINES, f"{fines.value:.1%} passes 50 mesh; usual is less than 1 %."))
    iron = by_name.get(Property.IRON)
    if iron is not None and iron.value > IRON_HIGH_KG_PER_M3:
        found.append(
            Found(
                Finding.IRON,
                f"The acid soak holds {iron.value * 1e3:.3g} mg/L of iron; over 5 mg/L the resin is fouled.",
            )
        )
    weak = _weak_base(family, by_name)
    if weak is not None:
        found.append(weak)
    return tuple(found)


def _weak_base(family: ResinFamily, by_name: dict[Property, Figure]) -> Found | None:
    """Of anion resin: strong-base groups that became weak ones; total capacity stays, salt splitting falls."""
    total, splitting = by_name.get(Property.TOTAL_CAPACITY), by_name.get(Property.SALT_SPLITTING)
    if not family.is_anion or family is ResinFamily.WBA or total is None or splitting is None:
        return None
    share = splitting.value / total.value
    if share >= 0.8:
        return None
    return Found(
        Finding.WEAK_BASE,
        f"{share:.0%} of the total capacity splits salt; the rest is weak base and holds neither silica nor carbon dioxide.",
    )


def _points(step: float) -> str:
    return f"{100.0 * step:.1f} points"
