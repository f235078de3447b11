"""What a planner is given: tanks, vessels, recipes, shared limits, shifts and prices. Frozen; knows nothing of a solution.

Times are whole minutes from 00:00 of day 0. Volumes are litres, masses kilograms of 100 % substance, flows litres per minute: the
units in which the trade writes a day down, and in which the exchange files hold it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple


class Key(NamedTuple):
    """What tanks must share to be in one batch: a batch never crosses it."""

    family: str
    segregation: str
    lot: str | None
    treatment: str

    def __str__(self) -> str:
        owner = f", lot {self.lot}" if self.lot else ""
        return f"{self.family} {self.segregation}{owner}, {self.treatment}"


class VesselState(NamedTuple):
    """What a vessel held last."""

    family: str
    segregation: str
    lot: str | None


@dataclass(frozen=True, slots=True)
class Tank:
    """One exhausted tank with the volume of its resin, and when it comes and is due."""

    id: str
    family: str
    volume_l: float
    segregation: str
    lot: str | None
    condition: str
    received_min: int
    due_min: int
    priority: int

    @property
    def key(self) -> Key:
        """The pooling key with the treatment that the condition asks for."""
        return Key(
            self.family, self.segregation, self.lot, "clean" if self.condition == "fouled" else "standard"
        )


@dataclass(frozen=True, slots=True)
class Vessel:
    """A regeneration vessel: its fill, what it may hold, what it held last and when it is free."""

    id: str
    max_fill_l: float
    min_fill_l: float
    families: frozenset[str]
    segregation: frozenset[str]
    previous: VesselState
    ready_min: int


@dataclass(frozen=True, slots=True)
class Stage:
    """One stage of a recipe: how long, what it takes, and how long the bed may stand after it."""

    name: str
    minutes: int
    minutes_per_tank: int
    chemical: str | None
    dose_g_per_l: float
    water: str | None
    flow_bv_per_h: float
    to_waste: bool
    attention: int
    technicians: int
    max_wait_after_min: int


@dataclass(frozen=True, slots=True)
class Changeover:
    """Minutes between one content of a vessel and the next, and the water a changeover takes."""

    family_min: Mapping[str, Mapping[str, int]]
    segregation_min: Mapping[str, Mapping[str, int]]
    other_lot_min: int
    water: str
    water_l_per_l_vessel: float

    def minutes(self, before: VesselState | Key, after: VesselState | Key) -> int:
        """The longest of the three that apply; 0 where nothing changes."""
        longest = max(
            self.family_min[before.family][after.family],
            self.segregation_min[before.segregation][after.segregation],
        )
        return max(longest, self.other_lot_min) if before.lot != after.lot else longest


@dataclass(frozen=True, slots=True)
class Delivery:
    """So much of a chemical arrives then."""

    at_min: int
    kg: float


@dataclass(frozen=True, slots=True)
class ChemicalSupply:
    """A chemical's skid lines and stock."""

    skid_lines: int
    initial_kg: float
    min_kg: float
    deliveries: tuple[Delivery, ...]


@dataclass(frozen=True, slots=True)
class WasteTank:
    """The neutralization tank as a leaky bucket: constant drain while it is not empty."""

    capacity_l: float
    initial_l: float
    drain_l_per_min: float


@dataclass(frozen=True, slots=True)
class Shift:
    """So many people from one minute to another."""

    start_min: int
    end_min: int
    people: int


@dataclass(frozen=True, slots=True)
class Costs:
    """Prices, in one currency."""

    late_per_weighted_hour: float
    batch: float
    underfill_waiver: float
    changeover: float
    per_kg: Mapping[str, float]
    per_m3: Mapping[str, float]
    makespan_per_hour: float


@dataclass(frozen=True, slots=True)
class Problem:
    """Everything that is given for one plan."""

    name: str
    slot_min: int
    calendar_end_min: int
    tanks: tuple[Tank, ...]
    vessels: tuple[Vessel, ...]
    recipes: Mapping[tuple[str, str], tuple[Stage, ...]]
    """By family and treatment."""
    changeover: Changeover
    dose_percent: Mapping[str, float]
    """By a tank's condition."""
    priority_weight: Mapping[int, float]
    chemicals: Mapping[str, ChemicalSupply]
    water_l_per_min: Mapping[str, float]
    waste: WasteTank
    attention_per_operator: int
    operator_shifts: tuple[Shift, ...]
    technician_shifts: tuple[Shift, ...]
    costs: Costs

    def allowed(self, vessel: Vessel, key: Key) -> bool:
        """Whether the vessel may hold resin of this key."""
        return key.family in vessel.families and key.segregation in vessel.segregation
