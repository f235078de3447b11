"""What a planner is given: tanks, vessels, recipes, shared limits, shifts and prices. Frozen; knows nothing of a solution.

Times are whole minutes from 00:00 of day 0. Volumes are litres, masses kilograms of 100 % substance, flows litres per minute: the
units in which the trade writes a day down, and in which the exchange files hold it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
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


class Window(NamedTuple):
    """From one minute up to another."""

    start_min: int
    end_min: int


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
    closed: tuple[Window, ...] = ()
    """Locked out, or in service: no batch stands in it then."""


@dataclass(frozen=True, slots=True)
class Beside:
    """What the other leg of a mixed bed takes while a stage runs, where both legs run at the same time in two vessels."""

    chemical: str | None = None
    """Its skid is held; 0 as the dose means that the chemical was drawn when an earlier stage began."""
    dose_g_per_l: float = 0.0
    water: str | None = None
    flow_bv_per_h: float = 0.0
    to_waste: bool = False
    flow_l_per_min: float = 0.0
    """As in the stage."""


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
    second_people: int = 0
    """People who must be there beside the technician, so that one signs and the other releases."""
    in_one_opening: bool = False
    """The bed must not stand between this stage and the next while the plant is closed: both lie in one opening, with the wait
    between them. A chain of such stages ends where the bed may safely be left."""
    load_g_per_l: Mapping[str, float] = field(default_factory=dict)
    """What drains with the stage and counts against a daily budget, in grams of each ion per litre of resin at 100 % dose."""
    beside: tuple[Beside, ...] = ()
    flow_l_per_min: float = 0.0
    """A flow that follows from the vessel and not from the filling (backwash), in place of ``flow_bv_per_h``; 0 for none."""
    after_vessel: bool = False
    """The tanks are filled and the vessel is free; what follows (record review, release) takes people only. Such stages come last."""

    @property
    def parts(self) -> tuple[Stage | Beside, ...]:
        """The stage itself and what runs beside it."""
        return (self, *self.beside)


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


BY_HAND_LINES = 1_000
"""Skid lines of a chemical that comes by no skid but is made up by hand: none is ever waited for."""


@dataclass(frozen=True, slots=True)
class ChemicalSupply:
    """A chemical's skid lines (``BY_HAND_LINES`` where it needs none) and stock."""

    skid_lines: int
    initial_kg: float
    min_kg: float
    deliveries: tuple[Delivery, ...]
    unusable: tuple[Window, ...] = ()
    """The check of its strength has expired and is not renewed yet: no injection begins then."""


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
    move_per_tank_hour: float = 0.0
    """For each tank that stood in a plan already, and each hour its batch begins earlier or later than it did there."""
    other_vessel_per_tank: float = 0.0
    """For each tank that goes into another vessel than it did there."""


@dataclass(frozen=True, slots=True)
class Budget:
    """So much of an ion may drain from one minute to another: a day of the permit, less what has gone already."""

    ion: str
    start_min: int
    end_min: int
    kg: float


@dataclass(frozen=True, slots=True)
class RunningStage:
    """What is left of one stage of a batch that has begun: it takes its part and cannot be moved."""

    name: str
    start_min: int
    end_min: int
    attention: int = 0
    technicians: int = 0
    second_people: int = 0
    chemical: str | None = None
    grams: int = 0
    """Still to be drawn when the stage begins; 0 where it was drawn already."""
    water: str | None = None
    flow_l_per_min: int = 0
    to_waste: bool = False
    load_g: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class RunningBatch:
    """A batch that has begun. Its vessel is not ready before it ends, and holds its resin as the last one."""

    id: str
    vessel: str
    tanks: tuple[str, ...]
    stages: tuple[RunningStage, ...]
    beside: str = ""
    """The vessel of the other leg of a mixed bed, which it has as well; empty for none."""


@dataclass(frozen=True, slots=True)
class Pin:
    """Somebody decided that exactly these tanks are one batch; and, if given, in which vessel and when its loading begins."""

    id: str
    tanks: tuple[str, ...]
    vessel: str | None = None
    start_min: int | None = None


@dataclass(frozen=True, slots=True)
class Standing:
    """A batch of the plan that people know already: moving its tanks costs (``Costs.move_per_tank_hour``)."""

    tanks: tuple[str, ...]
    vessel: str
    start_min: int


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
    second_shifts: tuple[Shift, ...] = ()
    """People who may be the second person of a stage (``Stage.second_people``)."""
    openings: tuple[Window, ...] = ()
    """When somebody is in the plant, in order and apart. None given: always."""
    budgets: tuple[Budget, ...] = ()
    running: tuple[RunningBatch, ...] = ()
    pins: tuple[Pin, ...] = ()
    standing: tuple[Standing, ...] = ()
    vessel_recipes: Mapping[tuple[str, str, str], tuple[Stage, ...]] = field(default_factory=dict)
    """By vessel, family and treatment, where a vessel has stages of its own; elsewhere ``recipes`` holds."""

    def stages(self, vessel: str, key: Key) -> tuple[Stage, ...] | None:
        """The stages of a batch of this key in this vessel; None where there is no recipe."""
        own = self.vessel_recipes.get((vessel, key.family, key.treatment))
        return own if own is not None else self.recipes.get((key.family, key.treatment))

    def allowed(self, vessel: Vessel, key: Key) -> bool:
        """Whether the vessel may hold resin of this key."""
        return key.family in vessel.families and key.segregation in vessel.segregation
