"""Intake of a returned tank: what is looked at, which findings stop it, which class it may be accepted to.

Every rule here is common practice of exchange plants, a plant hold and not a publication's limit: it keeps a tank
that may carry acid, caustic, metals or an oxidizer out of a shared bed until a competent person has looked. Local
codes, the safety data sheet (SDS) and licensed practice come first.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum

from regenplant.core.process.hazards import AUTHORITY
from regenplant.core.process.lifecycle import Blocker
from regenplant.core.process.plan import Caution, SignalWord
from regenplant.core.process.vocabulary import SegregationClass

FIRST_DRAIN_PH_LOW = 4.0
FIRST_DRAIN_PH_HIGH = 10.0
"""Window of the pH of the first water out of a returned tank [-]. Outside it, acid or caustic stands in the tank.
Common practice (plant hold), no published limit."""

MAX_FILL_FRAC = 0.95
"""Largest share of a tank's gross cylinder that resin may fill [-]. Common practice; the rest is dome and distributor."""

USUAL_FULL_WEIGHT_KG_PER_M3 = (1050.0, 1450.0)
"""Usual weight of a full tank per gross cylinder volume [kg/m^3]: resin, water and shell. Band around the trade's
table of tank sizes (6 x 18 to 24 x 72 in), which is from memory: it gives a remark, never a stop."""

POSSIBLE_WEIGHT_KG_PER_M3 = (50.0, 2500.0)
"""Outside this weight per gross volume the scale, the unit or the tank size is wrong [kg/m^3]. An empty plastic shell
weighs more than the one, a tank full of wet sand less than the other (estimate)."""

SHORTEST_REASON = 10
"""Least letters of a reason for a downgrade or a written disposition."""

DOOR_CAUTION = Caution(
    code="returned_tank",
    signal=SignalWord.WARNING,
    headline="A returned tank may hold pressure, acid, caustic or matter nobody declared.",
    measures=(
        "Let the pressure off through the vent before the head comes off; stand aside of head and drain.",
        "Catch the first water and measure it before anything goes to a drain.",
        "If it is warm, hisses, fumes, or the strip colours: leave it closed, hold it, call the safety lead.",
        AUTHORITY,
    ),
    protective_equipment=("goggles", "chemical-resistant gloves", "apron", "boots"),
)
"""What a person meets at the door (common practice)."""


class ReturnReason(StrEnum):
    """Why the tank came back, in the driver's or customer's terms."""

    EXHAUSTED = "exhausted"
    SLOW_FLOW = "slow flow"
    BAD_QUALITY = "bad quality"
    LEAK = "leak"
    CONTRACT_END = "contract end"
    OTHER = "other"


class ShellCondition(StrEnum):
    SOUND = "sound"
    CRACKED = "cracked"
    LEAKING = "leaking"
    BULGED = "bulged"
    FROZEN = "frozen"


class FittingCondition(StrEnum):
    """Head, riser, screens, threads and seals."""

    SOUND = "sound"
    WORN = "worn"
    MISSING = "missing"
    DAMAGED = "damaged"


class Odour(StrEnum):
    NONE = "none"
    MUSTY = "musty"
    SULFIDE = "sulfide"
    CHLORINE = "chlorine"
    SOLVENT = "solvent"


class WaterColour(StrEnum):
    CLEAR = "clear"
    MILKY = "milky"
    BROWN = "brown"
    BLACK = "black"
    YELLOW = "yellow"
    ORANGE = "orange"
    BLUE = "blue"
    GREEN = "green"


class OxidizerStrip(StrEnum):
    """The test strip held into the first water."""

    NONE = "none"
    COLOURED = "coloured"


@dataclass(frozen=True, slots=True)
class InspectionData:
    """What was seen at the door. The texts as typed are the record, the floats are for the rules."""

    shell: ShellCondition
    head_and_fittings: FittingCondition
    odour: Odour
    water_colour: WaterColour
    oxidizer_strip: OxidizerStrip
    first_drain_ph: float | None = None
    """pH of the first water [-]; None when nothing drained."""
    first_drain_ph_as_typed: str = ""
    weight_kg: float | None = None
    """Weight as it came, with water [kg]; None when not weighed."""
    weight_as_typed: str = ""
    foreign_material: str = ""
    note: str = ""


# --- findings -----------------------------------------------------------------------------------------------------------
_SHELL_STOPS = {
    ShellCondition.CRACKED: "The shell is cracked.",
    ShellCondition.LEAKING: "The shell leaks.",
    ShellCondition.BULGED: "The shell is bulged; it may burst under pressure.",
    ShellCondition.FROZEN: "The tank is frozen. Let it thaw slowly and closed, then look again.",
}
_ODOUR_STOPS = {
    Odour.CHLORINE: "It smells of chlorine: an oxidizer may be inside.",
    Odour.SOLVENT: "It smells of solvent or oil.",
}
_COLOURS_THAT_STOP = (WaterColour.YELLOW, WaterColour.ORANGE, WaterColour.BLUE, WaterColour.GREEN)


def stops_by_itself(seen: StrEnum) -> bool:
    """Whether this one choice of the look-over forbids acceptance, for the words beside it."""
    return seen in (
        *_SHELL_STOPS,
        *_ODOUR_STOPS,
        *_COLOURS_THAT_STOP,
        FittingCondition.DAMAGED,
        OxidizerStrip.COLOURED,
    )


def findings_that_stop(inspection: InspectionData) -> tuple[str, ...]:
    """The sentences that forbid acceptance, in the order of the look-over; none if nothing stops."""
    found = [_SHELL_STOPS.get(inspection.shell, "")]
    if inspection.head_and_fittings is FittingCondition.DAMAGED:
        found.append("Head or threads are damaged; they do not hold pressure.")
    found += [_ODOUR_STOPS.get(inspection.odour, ""), _colour_stop(inspection.water_colour)]
    found.append(_ph_stop(inspection.first_drain_ph))
    if inspection.oxidizer_strip is OxidizerStrip.COLOURED:
        found.append("The oxidizer strip is coloured: an oxidizer and resin can burn or burst.")
    return tuple(sentence for sentence in found if sentence)


def _colour_stop(colour: WaterColour) -> str:
    if colour not in _COLOURS_THAT_STOP:
        return ""
    return f"The first water is {colour.value}: metals or chromate are possible. Nothing of it goes to the drain."


def _ph_stop(ph: float | None) -> str:
    allowed = f"{FIRST_DRAIN_PH_LOW:g} to {FIRST_DRAIN_PH_HIGH:g}"
    if ph is None:
        return f"The first drain pH is not measured; it must be {allowed}. If nothing drains, add clean water and measure."
    if ph < FIRST_DRAIN_PH_LOW:
        return f"First drain pH {ph:.4g}, at least {FIRST_DRAIN_PH_LOW:g}."
    if ph > FIRST_DRAIN_PH_HIGH:
        return f"First drain pH {ph:.4g}, at most {FIRST_DRAIN_PH_HIGH:g}."
    return ""


def remarks(inspection: InspectionData, gross_m3: float) -> tuple[str, ...]:
    """What should be known and does not stop: worn parts, smell of sulfide, short or heavy weight.

    ``gross_m3`` is the gross cylinder volume of the tank, > 0 [m^3].
    """
    found = []
    if inspection.head_and_fittings is FittingCondition.WORN:
        found.append("A seal or O-ring is worn: renew it before the tank is filled.")
    if inspection.head_and_fittings is FittingCondition.MISSING:
        found.append("Parts of the head are missing: complete it before the tank is filled.")
    if inspection.odour is Odour.SULFIDE:
        found.append(
            "It smells of sulfide: acid sets toxic hydrogen sulfide free. Open it in moving air, rinse before any acid."
        )
    if inspection.odour is Odour.MUSTY:
        found.append("It smells musty: growth is possible. Sanitize as the class asks.")
    if inspection.foreign_material:
        found.append(f"Foreign material: {inspection.foreign_material}.")
    return (*found, *_weight_remark(inspection.weight_kg, gross_m3))


def usual_weight_kg(gross_m3: float) -> tuple[float, float]:
    """Usual weight of a full tank of this gross volume [kg], from memory of the trade: for a remark only."""
    low, high = USUAL_FULL_WEIGHT_KG_PER_M3
    return low * gross_m3, high * gross_m3


def possible_weight_kg(gross_m3: float) -> tuple[float, float]:
    """Weights a tank of this gross volume can have at all [kg]; outside it the entry is a slip."""
    low, high = POSSIBLE_WEIGHT_KG_PER_M3
    return low * gross_m3, high * gross_m3


def _weight_remark(weight_kg: float | None, gross_m3: float) -> tuple[str, ...]:
    if weight_kg is None:
        return ()
    low, high = usual_weight_kg(gross_m3)
    if weight_kg < low:
        return (
            "It is lighter than a full tank of this size usually is: resin may be missing, or it drained on the way.",
        )
    if weight_kg > high:
        return ("It is heavier than a full tank of this size usually is: sediment or ice is possible.",)
    return ()


# --- what the tank served ---------------------------------------------------------------------------------------------
_METALS = "metals"
_SERVICE_STOPS: tuple[tuple[tuple[str, ...], str], ...] = (
    (
        (
            "nitric",
            "perchlor",
            "chromic",
            "chromate",
            "permangan",
            "peroxide",
            "oxidiz",
            "oxidis",
            "hypochlor",
            "bleach",
        ),
        "an oxidizer, which with resin can burn or burst",
    ),
    (("plating", "electroplat", "copper", "nickel", "silver", "cadmium", "chrome", "photo fix"), _METALS),
    (("cyanide",), "cyanide, which acid turns into a deadly gas"),
    (("radioact", "uranium", "radium", "nuclear"), "radioactive matter, which needs a licence"),
    (("solvent", "pcb", "pfas", "degreas"), "matter that this plant does not handle"),
)
"""Word stems in a declared service that forbid acceptance, and what they point to (common practice: segregate or
refuse; the oxidizer list follows requirement CS-02)."""


def service_findings(*declared: str) -> tuple[str, ...]:
    """Sentences that forbid acceptance because of what the tank served, in the customer's own words.

    Reads stems without regard to case. It errs to the safe side: "no bleach" stops as well, and a safety lead
    decides in writing.
    """
    text = " ".join(declared).lower()
    found = []
    for stems, meaning in _SERVICE_STOPS:
        word = next((stem for stem in stems if stem in text), None)
        if word is not None:
            found.append(f"The declared service names “{_whole_word(word, text)}”: {meaning}.")
    return tuple(found)


def names_metals(*declared: str) -> bool:
    """Whether the declared service names a metal: the metal flag, which no disposition takes away."""
    text = " ".join(declared).lower()
    return any(stem in text for stems, meaning in _SERVICE_STOPS if meaning == _METALS for stem in stems)


def _whole_word(stem: str, text: str) -> str:
    """The word of the text in which the stem was found, for the sentence."""
    if " " in stem:
        return stem
    return next(word.strip(".,;:()") for word in text.split() if stem in word)


# --- the class ----------------------------------------------------------------------------------------------------------
def class_blocker(
    tank_class: SegregationClass, accepted: SegregationClass, *, has_disposition: bool = False
) -> Blocker | None:
    """Why a tank of one class may not be accepted to another; None if it may.

    The same class is always right. High purity may go down to industrial; the tank then is industrial, so it happens
    once. A suspect tank may become industrial by a written disposition of the safety lead, after tests. Nothing ever
    becomes a cleaner class.
    """
    if accepted == tank_class or is_downgrade(tank_class, accepted):
        return None
    if tank_class is SegregationClass.SUSPECT and accepted is SegregationClass.INDUSTRIAL:
        if has_disposition:
            return None
        return Blocker(
            "disposition_missing",
            "A suspect tank becomes class D only by a written disposition of the safety lead, after tests.",
        )
    return Blocker(
        "class_change",
        f"This tank is class {tank_class.value} ({tank_class.label.lower()}); it cannot be accepted to class "
        f"{accepted.value}. Classes are never raised; only class C may go down to class D.",
    )


def is_downgrade(tank_class: SegregationClass, accepted: SegregationClass) -> bool:
    """Whether this acceptance is the one allowed downgrade."""
    return tank_class is SegregationClass.HIGH_PURITY and accepted is SegregationClass.INDUSTRIAL


def metal_stop(determination: str, *, has_disposition: bool) -> str:
    """Why metal-bearing resin is not accepted, as a sentence; "" where it is (EV-03).

    ``determination``: why none of the site lets it in, as a sentence; "" where one in force does.
    """
    if determination:
        return f"Metal-bearing resin is not accepted here: {determination} Refuse the tank; the letter to the customer is offered then."
    if not has_disposition:
        return "Metal-bearing resin is accepted only by a written disposition of the safety lead."
    return ""


def classes_on_offer(
    tank_class: SegregationClass, *, has_disposition: bool = False, takes_metal: bool = False
) -> tuple[SegregationClass, ...]:
    """The classes a tank may be accepted to, its own first; only those that are regenerated at all.

    ``takes_metal``: whether a determination of the site lets metal-bearing resin in.
    """
    own_first: Iterable[SegregationClass] = sorted(SegregationClass, key=lambda item: item is not tank_class)
    return tuple(
        item
        for item in own_first
        if (item.may_be_regenerated or (takes_metal and item is SegregationClass.METAL_BEARING))
        and class_blocker(tank_class, item, has_disposition=has_disposition) is None
    )


def is_too_full(resin_volume_m3: float, gross_m3: float) -> bool:
    """Whether this much resin [m^3] is more than a tank of this gross volume [m^3] may hold."""
    return resin_volume_m3 > MAX_FILL_FRAC * gross_m3
