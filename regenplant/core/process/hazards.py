"""Cautions: the hazard where it is, what to wear, what to do.

Signal words are Z535's, for what a person meets at a step; the container's own label follows the SDS. Pictograms are
those that usually go with the substance at the strength; the supplier's SDS in force decides, and every caution says
who has the last word. Dilute regenerant in the line is still corrosive for planning: gear stays on through
displacement.
"""

from __future__ import annotations

from regenplant.core.process.hazard_chemicals import (
    HOT_WATER_KELVIN,
    line_cautions,
    soaking_caution,
    standing_caution,
    stock_cautions,
)
from regenplant.core.process.hazard_words import (
    AUTHORITY,
    FLOOR_GEAR,
    LINE_GEAR,
    QC_GEAR,
    caution,
)
from regenplant.core.process.plan import Caution, SignalWord
from regenplant.core.process.vocabulary import Chemical, LegArrangement, StepKind

__all__ = [
    "AUTHORITY",
    "HOT_WATER_KELVIN",
    "protective_equipment",
    "standing_caution",
    "step_cautions",
    "stock_cautions",
]

_HANDLING = caution(
    "beads_on_floor",
    SignalWord.CAUTION,
    "Resin beads on the floor roll like ball bearings.",
    ("Sweep or wash a spill before you walk on.",),
    FLOOR_GEAR,
    (),
    "trade_practice",
)
_OXIDIZER = caution(
    "oxidizer",
    SignalWord.DANGER,
    "Resin that met nitric acid, chromic acid, permanganate or another oxidizer can catch fire or burst its vessel.",
    ("Stop at colored or oxidizing water, hold the tank and call the safety lead.",),
    (),
    ("GHS03",),
    "trade_practice",
)
_VESSEL = caution(
    "opening_vessel",
    SignalWord.WARNING,
    "A vessel may be under pressure and may hold the last chemical.",
    ("Vent, drain and lock out before you open it.", "A closed vessel with drained resin may lack air: no entry without a permit."),
    LINE_GEAR,
    (),
    "trade_practice",
)  # fmt: skip
_OVERFLOW = caution(
    "backwash_loss",
    SignalWord.NOTICE,
    "Cold water lifts the bed higher: too much flow washes resin out.",
    ("Raise the flow slowly and watch the catcher.",),
    (),
    (),
    "richardson_zaki",
)
_SEPARATED = caution(
    "separated_bed",
    SignalWord.NOTICE,
    "From here to the end of the cut the bed is no hold point: the layers blur.",
    ("Open and close valves slowly. If the water stops, separate again.",),
    (),
    (),
    "trade_practice",
)
_FLOATING = caution(
    "floating_resin",
    SignalWord.NOTICE,
    "The anion resin floats at the top of the solution: fed too high, it leaves by the upper outlet.",
    (
        "Feed slowly and watch the catcher and the sight glass.",
        "Beads shrink in the solution and swell again in water: displace slowly, or old beads break.",
    ),
    (),
    (),
    "trade_practice",
)
_MOVING_RESIN = caution(
    "moving_resin",
    SignalWord.WARNING,
    "Resin is moved by water under pressure: hoses whip and spray.",
    ("Couple, pin and tie the hose before the water flows; vent both vessels.", "Relieve the pressure before you uncouple."),
    FLOOR_GEAR,
    (),
    "trade_practice",
)  # fmt: skip
_MEETING_LEGS = caution(
    "legs_meet",
    SignalWord.WARNING,
    "Acid left in the cation resin and caustic left in the anion resin heat where they meet.",
    ("Join only when both legs are rinsed and both pH readings are written down.",),
    LINE_GEAR,
    ("GHS05",),
    "rpi_mixed_bed",
)
_UNBALANCED = caution(
    "unbalanced_legs",
    SignalWord.DANGER,
    "Acid and caustic run in one vessel: unbalanced flows meet in the bed, heat, and can steam and burst it.",
    (
        "Watch both flows and the temperature of the drain all the time; a person stays with the vessel.",
        "If one flow stops, stop the other at once and displace both.",
        "Vent open, relief valve tested.",
    ),
    LINE_GEAR,
    ("GHS05",),
    "rpi_mixed_bed",
)
_AIR = caution(
    "compressed_air",
    SignalWord.WARNING,
    "Air under pressure moves water and resin with force and can burst a closed vessel.",
    (
        "Vent wide open before the air; the relief valve is set for the vessel and tested.",
        "Set the regulator below the rating of the vessel. Never put a hand or the face over the vent.",
        "Oil-free air only: oil fouls the resin and meets oxidizers badly.",
    ),
    ("goggles", "gloves", "boots", "hearing protection"),
    (),
    "trade_practice",
)
_CARBON_AIR = caution(
    "carbon_takes_oxygen",
    SignalWord.DANGER,
    "Wet carbon takes the oxygen from the air of a closed tank or vessel: a person inside passes out without a warning.",
    ("Put neither head nor body into a tank. No entry without a permit, a gas test and a standby.", "Open tanks outdoors or in moving air."),
    FLOOR_GEAR,
    (),
    "handbook_memory",
)  # fmt: skip
_CARBON_DUST = caution(
    "carbon_dust",
    SignalWord.CAUTION,
    "Carbon dust irritates eyes and lungs, and dry dust can burn.",
    ("Wet the carbon as it is poured. No flame, no sparks, no compressed air to clean up.", "Keep it away from oxidizers and solvents."),
    ("goggles", "gloves", "boots", "dust mask"),
    (),
    "handbook_memory",
)  # fmt: skip
_SPENT_CARBON = caution(
    "spent_carbon",
    SignalWord.WARNING,
    "Spent carbon holds what it took from the water and may be a hazardous waste.",
    ("Label the container before it is full.", "It leaves only after a named person has decided in writing what waste it is."),
    LINE_GEAR,
    (),
    "trade_practice",
)  # fmt: skip
_SAMPLING = caution(
    "sampling",
    SignalWord.CAUTION,
    "Early rinse water is acid or caustic.",
    ("Wear glasses and gloves at the sample tap.",),
    QC_GEAR,
    (),
    "trade_practice",
)
_SAMPLING_AMMONIA = caution(
    "sampling",
    SignalWord.CAUTION,
    "Early rinse water is caustic and gives off ammonia.",
    ("Wear glasses and gloves at the sample tap; stand upwind of it, in moving air.",),
    QC_GEAR,
    (),
    "trade_practice",
)
_RESIDUE = caution(
    "residual_sanitizer",
    SignalWord.CAUTION,
    "Early rinse water holds sanitizer.",
    (
        "Wear glasses and gloves at the sample tap.",
        "Nothing goes to customers or to carbon before the residual is measured.",
    ),
    QC_GEAR,
    (),
    "trade_practice",
)

_BY_KIND: dict[StepKind, tuple[Caution, ...]] = {
    StepKind.LOAD: (_VESSEL, _OXIDIZER, _HANDLING),
    StepKind.BACKWASH: (_OVERFLOW, _HANDLING),
    StepKind.SEPARATE: (_OVERFLOW, _SEPARATED, _HANDLING),
    StepKind.CUT: (_SEPARATED, _MOVING_RESIN, _HANDLING),
    StepKind.JOIN: (_MEETING_LEGS, _MOVING_RESIN, _HANDLING),
    StepKind.AIR_MIX: (_AIR,),
    StepKind.EMPTY: (_CARBON_AIR, _SPENT_CARBON, _CARBON_DUST, _VESSEL),
    StepKind.FILL: (_CARBON_DUST, _CARBON_AIR),
}
"""What a kind of step brings whatever the chemical. Settling brings nothing."""

_GRAVITY = {
    word: rank
    for rank, word in enumerate(
        (SignalWord.DANGER, SignalWord.WARNING, SignalWord.CAUTION, SignalWord.NOTICE)
    )
}
_JUDGED = (StepKind.FAST_RINSE, StepKind.RECIRCULATE, StepKind.SAMPLE)


def step_cautions(
    kind: StepKind,
    chemical: Chemical | None,
    strength_frac: float | None,
    stock_strength_frac: float | None,
    temperature_kelvin: float,
    arrangement: LegArrangement = LegArrangement.APART,
) -> tuple[Caution, ...]:
    """The cautions of one step, the gravest signal word first.

    Parameters
    ----------
    kind : StepKind
        What is done
    chemical : Chemical | None
        What is brought, or what was brought last before this step; None before the first chemical
    strength_frac : float | None
        Strength in the line, weight per weight [-]
    stock_strength_frac : float | None
        Strength of the concentrate at the skid, None where none is handled [-]
    temperature_kelvin : float
        Temperature of what flows [K]
    arrangement : LegArrangement
        How the legs of a mixed bed are regenerated; together, acid and caustic are in one vessel
    """
    found = _of_step(kind, chemical, strength_frac, stock_strength_frac, temperature_kelvin, arrangement)
    return tuple(sorted(found, key=lambda entry: _GRAVITY[entry.signal]))


def _of_step(
    kind: StepKind,
    chemical: Chemical | None,
    strength_frac: float | None,
    stock_strength_frac: float | None,
    temperature_kelvin: float,
    arrangement: LegArrangement,
) -> tuple[Caution, ...]:
    found = _BY_KIND.get(kind)
    if found is not None:
        return found
    if chemical is None:
        return ()
    strength = strength_frac or 0.0
    if kind in (StepKind.INJECT, StepKind.SANITIZE, StepKind.FLOAT):
        concentrate = stock_cautions(chemical, stock_strength_frac) if stock_strength_frac else ()
        line = line_cautions(chemical, strength, temperature_kelvin)
        together = arrangement is LegArrangement.TOGETHER and (chemical.is_acid or chemical.is_base)
        balance = (_UNBALANCED,) if together and kind is StepKind.INJECT else ()
        standing: tuple[Caution, ...] = (
            (standing_caution(chemical),) if kind is StepKind.INJECT else (soaking_caution(chemical),)
        )
        if kind is StepKind.FLOAT:
            standing = (*standing, _FLOATING, _SEPARATED)
        return (*balance, *concentrate, *line, *standing)
    if kind is StepKind.SOAK:
        return (*line_cautions(chemical, strength, temperature_kelvin), soaking_caution(chemical))
    if kind in (StepKind.DISPLACE, StepKind.RINSE):
        return line_cautions(chemical, strength, temperature_kelvin)
    if kind in _JUDGED and chemical is not Chemical.SODIUM_CHLORIDE:
        if chemical is Chemical.AMMONIA:
            return (_SAMPLING_AMMONIA,)
        return (_RESIDUE,) if chemical.is_oxidizer else (_SAMPLING,)
    return ()


def protective_equipment(cautions: tuple[Caution, ...]) -> tuple[str, ...]:
    """All gear that a step asks for, each once, in the order met."""
    seen: dict[str, None] = {}
    for entry in cautions:
        seen.update(dict.fromkeys(entry.protective_equipment))
    items = list(seen)
    if "goggles and face shield" in seen:
        items = [item for item in items if item not in ("goggles", "safety glasses")]
    if "goggles" in items:
        items = [item for item in items if item != "safety glasses"]
    if "chemical-resistant gloves" in seen:
        items = [item for item in items if item != "gloves"]
    return tuple(items)
