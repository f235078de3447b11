"""Causes a rinse may suffer from: what speaks for each, the next test, and what helps if the test agrees.

From the trade's practice and the physics of the rinse (failure shapes). Weights are an order of likelihood, common practice, not
probabilities. Tests come cheapest first: the meter and the water before the resin.
"""

from __future__ import annotations

from dataclasses import dataclass

from regenplant.core.process.forecasting.rinse_so_far import RinsedBed
from regenplant.core.process.forecasting.signs import Sign

_ALL = frozenset(RinsedBed)
_CATION = frozenset({RinsedBed.CATION_AFTER_ACID})
_ANION = frozenset({RinsedBed.ANION_AFTER_CAUSTIC})
_MIXED = frozenset({RinsedBed.MIXED_BED})
_SOFTENER = frozenset({RinsedBed.SOFTENER_AFTER_BRINE})

_PROTECTION = "protective equipment as the safety data sheet and local rules say."
_ACID_BURNS = f"Acid burns: {_PROTECTION}"


@dataclass(frozen=True, slots=True)
class Cause:
    """``speaks`` weighs each sign for (or, below 0, against) the cause; ``needs`` lists signs of which at least one must be there."""

    code: str
    name: str
    beds: frozenset[RinsedBed]
    speaks: dict[Sign, float]
    needs: frozenset[Sign]
    next_test: str
    what_helps: str
    caution: str = ""


CAUSES: tuple[Cause, ...] = (
    Cause(
        "meter", "meter, cell or compensation", _ALL,
        {Sign.FROZEN: 3.0, Sign.CLIPPED: 1.0, Sign.WARM_START: 1.2, Sign.PLATEAU: 0.5, Sign.SAW_TOOTH: 0.3},
        frozenset({Sign.FROZEN, Sign.CLIPPED, Sign.WARM_START, Sign.PLATEAU}),
        "Hold a second meter into the flow cell, not an open cup, and compare temperature and compensation.",
        "Clean or change the cell; readings taken with it wait for its check.",
    ),
    Cause(
        "rinse_water", "rinse water has become worse", _ALL,
        {Sign.RINSE_WATER_ROSE: 3.0, Sign.RINSE_WATER_HIGH: 2.5, Sign.RISE: 1.0, Sign.PLATEAU: 1.0, Sign.LATE: 0.3},
        frozenset({Sign.RINSE_WATER_ROSE, Sign.RINSE_WATER_HIGH, Sign.RISE, Sign.PLATEAU}),
        "Measure the rinse water at the vessel's inlet now.",
        "Change to a fresh source, then rinse on.",
    ),
    Cause(
        "valve_leak", "untreated water or regenerant leaks past a valve", _ALL,
        {Sign.PLATEAU: 1.6, Sign.RISE: 1.0, Sign.LATE: 0.4, Sign.HARDNESS: 0.8, Sign.ACID: 0.3, Sign.ALKALINE: 0.3, Sign.RINSE_WATER_ROSE: -0.8},
        frozenset({Sign.PLATEAU, Sign.RISE}),
        "Close the regenerant and raw-water valves by hand one after another and watch the conductivity for 1 BV each.",
        "Lock out and repair the valve, then rinse on.",
        f"Regenerant lines may hold acid or caustic under pressure: {_PROTECTION}",
    ),
    Cause(
        "channelling", "channelling or a poor distributor", _ALL,
        {Sign.STEP_ON_FLOW: 1.8, Sign.SLOW: 0.8, Sign.RISE: 0.4, Sign.LATE: 0.5, Sign.LOW_FLOW: 0.4},
        frozenset({Sign.STEP_ON_FLOW, Sign.SLOW, Sign.LATE}),
        "Change the flow by a quarter and read again; measure the bed's depth at ten points, 15 % spread points to channels.",
        "Stop, backwash to loosen the bed, let it settle, displace and rinse again.",
    ),
    Cause(
        "dead_leg", "a dead leg or pocket gives off regenerant", _ALL,
        {Sign.STEP_ON_FLOW: 1.5, Sign.SLOW: 0.6, Sign.RISE: 0.5, Sign.AFTER_STANDSTILL: 0.3},
        frozenset({Sign.STEP_ON_FLOW, Sign.SLOW, Sign.RISE}),
        "Flush drains, sample lines and the regenerant header for a minute each and read before and after.",
        "Flush it with the rinse water each time; have the pipe shortened.",
    ),
    Cause(
        "air", "air in the bed or a pulsing pump", _ALL,
        {Sign.SAW_TOOTH: 2.0, Sign.RISE: 0.5, Sign.LOW_FLOW: 0.3},
        frozenset({Sign.SAW_TOOTH}),
        "Open the vent until water comes without bubbles; look at the flow for a minute.",
        "Vent, fill slowly from below, rinse on; average readings over a pulse.",
    ),
    Cause(
        "standstill", "what left the beads while the water stood", _ALL,
        {Sign.AFTER_STANDSTILL: 1.6, Sign.RISE: 0.6},
        frozenset({Sign.AFTER_STANDSTILL}),
        "Pass one more bed volume and read again.",
        "Rinse on; a rise after a standstill leaves within about a bed volume.",
    ),
    Cause(
        "cold", "cold water", _ALL,
        {Sign.COLD: 1.6, Sign.SLOW: 0.6, Sign.LATE: 0.2},
        frozenset({Sign.COLD}),
        "Compare with rinses of this pool at the same temperature.",
        "Slower flow, or warmer rinse water within the resin's limit.",
    ),
    Cause(
        "low_flow", "less flow than set", _ALL,
        {Sign.LOW_FLOW: 1.5, Sign.LATE: 0.3},
        frozenset({Sign.LOW_FLOW}),
        "Measure the flow with bucket and watch; look at strainer, pressure and the outlet screen.",
        "Clear what blocks; the volume to the end point changes less than the time.",
    ),
    Cause(
        "organics", "organic matter on the anion resin", _ANION | _MIXED,
        {Sign.SLOW: 1.6, Sign.LATE: 0.8, Sign.POOL_AGES: 1.0, Sign.ACID: 0.5, Sign.POOL_GIVES_UP: 0.5, Sign.COLD: -0.5},
        frozenset({Sign.SLOW, Sign.LATE, Sign.POOL_AGES}),
        "Shake a sample of resin in brine: tea colour points to organic matter.",
        "Cleaning with warm alkaline brine as its recipe says, then a double regeneration.",
        f"Hot caustic brine burns: {_PROTECTION}",
    ),
    Cause(
        "silica", "silica on the anion resin, or too little or too cold caustic", _ANION | _MIXED,
        {Sign.SILICA: 2.2, Sign.LATE: 0.2},
        frozenset({Sign.SILICA}),
        "Compare the caustic's amount, temperature and contact time with the recipe.",
        "Regenerate with a double dose, warm within the resin's limit, with long contact.",
        f"Hot caustic burns: {_PROTECTION}",
    ),
    Cause(
        "cation_in_anion", "cation resin in the anion layer, or caustic that leaks sodium", _ANION | _MIXED,
        {Sign.ALKALINE: 1.8, Sign.PLATEAU: 1.0, Sign.POOL_GIVES_UP: 0.3},
        frozenset({Sign.ALKALINE, Sign.PLATEAU}),
        "Float test of a resin sample in brine; measure pH and sodium of the water that leaves.",
        "Separate again and regenerate the cation part; look for the pool it came from.",
    ),
    Cause(
        "cation_exhausted", "cation bed in front exhausted, or its sodium leaks into the anion bed", _ANION,
        {Sign.ALKALINE: 1.5, Sign.PLATEAU: 0.6, Sign.RISE: 0.4},
        frozenset({Sign.ALKALINE}),
        "Measure sodium or conductivity behind the cation unit.",
        "Rinse with water behind a good cation unit.",
    ),
    Cause(
        "anion_weak", "acid left: anion part too small, exhausted or fouled", _MIXED | _ANION,
        {Sign.ACID: 1.6, Sign.PLATEAU: 0.5},
        frozenset({Sign.ACID}),
        "Measure chloride or sulfate; compare the caustic given with the recipe.",
        "Half a dose of caustic again (in a mixed bed after separating), then rinse.",
    ),
    Cause(
        "not_mixed", "mixed bed not mixed, or parted again while filling", _MIXED,
        {Sign.PLATEAU: 1.2, Sign.SLOW: 0.5, Sign.ACID: 0.3, Sign.ALKALINE: 0.3, Sign.HARDNESS: -0.5},
        frozenset({Sign.PLATEAU, Sign.SLOW}),
        "Look through the sight glass, or sample resin at top and bottom: colour and float test.",
        "Mix again with the water low and drain fast while mixed.",
    ),
    Cause(
        "mixed_cross", "mixed bed badly separated before regeneration", _MIXED,
        {Sign.PLATEAU: 1.1, Sign.ALKALINE: 0.6, Sign.POOL_GIVES_UP: 0.4, Sign.HARDNESS: 0.3},
        frozenset({Sign.PLATEAU}),
        "Sample both resins and look at the separation's interface reading.",
        "Separate again and half the doses again.",
    ),
    Cause(
        "carbon_dioxide", "carbon dioxide from air", _MIXED | _ANION,
        {Sign.PLATEAU: 0.6, Sign.ACID: 0.4, Sign.SAW_TOOTH: 0.3},
        frozenset({Sign.PLATEAU}),
        "Read in a closed flow cell, and look for air at the pump's suction.",
        "Tighten what draws air.",
    ),
    Cause(
        "calcium_sulfate", "calcium sulfate from a sulfuric acid step", _CATION,
        {Sign.SLOW: 1.0, Sign.LATE: 0.7, Sign.HARDNESS: 0.8, Sign.PLATEAU: 0.5},
        frozenset({Sign.SLOW, Sign.LATE, Sign.HARDNESS}),
        "Test the water that leaves for sulfate and hardness; look for white, hard beads and rising pressure.",
        "Long wash with dilute hydrochloric acid where the vessel allows it; sulfuric acid in steps next time.",
        _ACID_BURNS,
    ),
    Cause(
        "iron", "iron or manganese on the cation resin", _CATION | _SOFTENER,
        {Sign.SLOW: 0.7, Sign.LATE: 0.5, Sign.POOL_AGES: 0.6, Sign.HARDNESS: 0.5},
        frozenset({Sign.SLOW, Sign.LATE, Sign.HARDNESS}),
        "A pinch of resin in dilute hydrochloric acid turns yellow with iron.",
        "Cleaning as its recipe says; rinse before anything alkaline.",
        _ACID_BURNS,
    ),
    Cause(
        "under_regenerated", "too little regenerant, or too weak", _ALL,
        {Sign.HARDNESS: 1.4, Sign.PLATEAU: 0.5, Sign.SILICA: 0.5, Sign.POOL_GIVES_UP: 0.4},
        frozenset({Sign.HARDNESS, Sign.SILICA, Sign.POOL_GIVES_UP}),
        "Compare amount and plant-checked strength of the regenerant with the plan.",
        "Half a dose again, displace, rinse.",
    ),
    Cause(
        "capacity_used", "raw rinse water uses the bed up", _CATION | _ANION | _MIXED,
        {Sign.RISE: 1.2, Sign.RINSE_WATER_HIGH: 0.8, Sign.LATE: 0.6, Sign.HARDNESS: 0.4},
        frozenset({Sign.RISE}),
        "Multiply the water passed by its ions and compare with the bed's capacity.",
        "Stop; regenerate again and rinse with better water, or in a loop.",
    ),
    Cause(
        "pool_old", "the pool is ageing", _ALL,
        {Sign.POOL_AGES: 1.4, Sign.POOL_GIVES_UP: 0.8, Sign.SLOW: 0.3},
        frozenset({Sign.POOL_AGES, Sign.POOL_GIVES_UP}),
        "Core sample over the full depth: capacity, moisture, whole beads, organic matter.",
        "Clean or replace; a lower capacity in the plan until then.",
    ),
)  # fmt: skip
