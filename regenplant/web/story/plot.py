"""The plot of the story: which batches ran in the last three weeks, and which are under way now."""

from __future__ import annotations

from dataclasses import dataclass

from regenplant.core.process.vocabulary import StepKind
from regenplant.web.story.papers import Paper


@dataclass(frozen=True, slots=True)
class Run:
    """One batch of the story: which vessel and pool, how many tanks, when, by whom, and how it goes."""

    vessel: str
    resin_type: str
    segregation_class: str
    count: int
    operator: str = "tarn"
    technician: str = "brae"
    releaser: str = "fenn"
    fails: bool = False
    rinses_on: bool = False
    """QC finds it just outside and hands it back to its rinse once."""
    goes_down: str = ""
    """It stands on a plateau, and goes down to the lower product in this class."""
    overfeeds: bool = False
    holds_after: StepKind | None = None
    """Held after this step, and still held now."""
    pauses_after: StepKind | None = None
    """Held after this step for three quarters of an hour, then gone on."""
    recipe: str = ""
    """Code of the recipe; "" is the main one of the family."""
    anion_vessel: str = ""
    seed: int = 0
    is_close: bool = False
    """It ends near its limit, so that an instrument found outside later puts it in doubt."""
    is_logged: bool = False
    """A logger read its rinse, and its file is handed in."""
    waits_at_qc: bool = False
    """Its sample is measured, and nobody has decided."""
    stays_up: bool = False
    """It stands on a plateau now, and nobody has ended it."""
    paper: Paper = Paper.NONE
    tops_up: bool = False
    """Its bed is topped up from the store after the backwash, and what its tanks do not take is kept."""
    ages: float = 0.0
    """How much slower the rinse of ageing resin falls than when it was new: 1 for no slower, and calm; 0: as chance has it."""

    @property
    def is_on_a_plateau(self) -> bool:
        """Its rinse never reaches the limit it was planned for."""
        return self.fails or self.stays_up or bool(self.goes_down)


HISTORY: tuple[tuple[int, int, Run], ...] = (
    (20, 6, Run("C1", "CAT-H", "D", 9)), (20, 7, Run("A1", "AN1-OH", "D", 7, operator="sallow", ages=1.0)),
    (19, 6, Run("S1", "SOFT-NA", "D", 9)), (19, 7, Run("C2", "CAT-H", "C", 4, technician="fenn", releaser="osk", paper=Paper.DELIVERY)),
    (18, 6, Run("A3", "AN2-OH", "D", 5)), (18, 8, Run("C1", "CAT-H", "D", 9, operator="sallow", pauses_after=StepKind.DISPLACE)),
    (17, 6, Run("A1", "AN1-OH", "D", 7, ages=1.0)), (17, 7, Run("S2", "SOFT-NA", "B", 6)),
    (16, 6, Run("S1", "SOFT-NA", "D", 9, operator="sallow")), (15, 6, Run("A2", "AN1-OH", "C", 5)),
    (15, 7, Run("C1", "CAT-H", "D", 9, overfeeds=True)), (14, 6, Run("K1", "CAT-H", "A", 4)),
    (13, 6, Run("A1", "AN1-OH", "D", 7, fails=True)), (13, 7, Run("C2", "CAT-H", "C", 4, paper=Paper.FORGOTTEN)),
    (12, 6, Run("S1", "SOFT-NA", "D", 9, pauses_after=StepKind.BACKWASH)), (12, 7, Run("A3", "AN2-OH", "D", 5, technician="fenn", releaser="brae")),
    (11, 6, Run("C1", "CAT-H", "D", 9, tops_up=True)), (10, 6, Run("A1", "AN1-OH", "D", 7, operator="sallow", rinses_on=True, ages=1.0)),
    (9, 6, Run("S1", "SOFT-NA", "D", 9)), (9, 7, Run("A2", "AN1-OH", "C", 5, goes_down="D")), (8, 6, Run("C1", "CAT-H", "D", 9)),
    (7, 6, Run("A3", "AN2-OH", "D", 5, is_close=True)), (6, 6, Run("A1", "AN1-OH", "D", 7, ages=1.2)), (6, 7, Run("S2", "SOFT-NA", "B", 6)),
    (5, 6, Run("S1", "SOFT-NA", "D", 9)), (5, 7, Run("C2", "CAT-H", "C", 4, is_logged=True, paper=Paper.TANK)), (4, 6, Run("C1", "CAT-H", "D", 9)),
    (19, 8, Run("M1", "MB-W", "D", 8, anion_vessel="M2")), (16, 8, Run("B1", "WBA-FB", "D", 5)),
    (15, 8, Run("C3", "CAT-H", "D", 8, recipe="H-H2SO4-120")), (14, 8, Run("W1", "WAC-H", "D", 5, operator="sallow")),
    (12, 8, Run("P1", "MB-P", "C", 5, anion_vessel="P2", technician="fenn", releaser="osk", paper=Paper.TANK)),
    (13, 8, Run("M1", "MB-W", "D", 8, anion_vessel="M2", recipe="MB-FLOAT-110", operator="sallow", paper=Paper.WITHDRAWN)),
    (10, 8, Run("A4", "ANA-OH", "D", 5)), (9, 8, Run("G1", "GAC-12", "B", 4, operator="sallow")),
    (6, 8, Run("M1", "MB-W", "D", 8, anion_vessel="M2", paper=Paper.DELIVERY)),
    (3, 6, Run("A1", "AN1-OH", "D", 7, ages=1.4)), (3, 7, Run("K1", "CAT-H", "A", 4, paper=Paper.DELIVERY)), (2, 6, Run("S1", "SOFT-NA", "D", 9)),
    (18, 7, Run("A1", "AN1-OH", "D", 7, ages=1.0)), (15, 9, Run("A1", "AN1-OH", "D", 7, operator="sallow", ages=1.0)),
    (11, 7, Run("A1", "AN1-OH", "D", 7, ages=1.0)), (8, 7, Run("A1", "AN1-OH", "D", 7, ages=1.05)),
    (2, 7, Run("A1", "AN1-OH", "D", 7, operator="sallow", ages=1.55)),
)  # fmt: skip
"""(days ago, hour of the day, run)."""

UNDER_WAY: tuple[tuple[int, Run], ...] = (
    (142, Run("C1", "CAT-H", "D", 12, seed=101)),
    (70, Run("S1", "SOFT-NA", "D", 12, operator="sallow", seed=102)),
    (255, Run("A1", "AN1-OH", "D", 8, stays_up=True, seed=103)),
    (205, Run("C2", "CAT-H", "C", 6, operator="sallow", seed=104)),
    (66, Run("A3", "AN2-OH", "D", 6, holds_after=StepKind.BACKWASH, seed=105)),
    (560, Run("M1", "MB-W", "D", 8, anion_vessel="M2", waits_at_qc=True, seed=106)),
    (420, Run("P1", "MB-P", "C", 5, anion_vessel="P2", operator="sallow", seed=107)),
    (85, Run("C3", "CAT-H", "D", 8, recipe="H-H2SO4-120", operator="sallow", seed=108)),
    (75, Run("B1", "WBA-FB", "D", 6, seed=109)),
    (140, Run("W1", "WAC-H", "D", 6, seed=110)),
    (170, Run("A4", "ANA-OH", "D", 6, operator="sallow", seed=111)),
    (100, Run("G1", "GAC-12", "B", 5, seed=112)),
)
"""(minutes before now, run): each lands in the middle of something."""
