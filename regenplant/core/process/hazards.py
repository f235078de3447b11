"""Cautions: the hazard where it is, what to wear, what to do.

Signal words are Z535's, for what a person meets at a step; the container's own label follows the SDS. Pictograms are
those that usually go with the substance at the strength; the supplier's SDS in force decides, and every caution says
who has the last word. Dilute regenerant in the line is still corrosive for planning: gear stays on through
displacement.
"""

from __future__ import annotations

from regenplant.core.process.plan import Caution, SignalWord
from regenplant.core.process.vocabulary import Chemical, StepKind
from regenplant.core.process.wording import say

AUTHORITY = "The SDS, local codes and licensed practice decide."
"""Closes the measures of every caution."""

_SPLASH_GEAR = ("goggles and face shield", "chemical-resistant gloves", "apron", "boots")
_LINE_GEAR = ("goggles", "chemical-resistant gloves", "apron", "boots")
_QC_GEAR = ("safety glasses", "gloves")

HOT_WATER_KELVIN = 316.15
"""43 °C: above it, water on the skin begins to burn within minutes (from memory, plant-editable by recipe)."""


def _caution(
    code: str,
    signal: SignalWord,
    headline: str,
    measures: tuple[str, ...],
    gear: tuple[str, ...],
    pictograms: tuple[str, ...],
    source: str,
) -> Caution:
    return Caution(code, signal, headline, (*measures, AUTHORITY), gear, pictograms, source)


def stock_cautions(chemical: Chemical, strength_frac: float) -> tuple[Caution, ...]:
    """What the concentrate does to a person, by chemical and strength.

    Parameters
    ----------
    chemical : Chemical
        The substance
    strength_frac : float
        Strength of the stock, weight per weight [-]
    """
    shown = say(strength_frac, "strength")
    shower = "Know the way to the shower and eyewash; rinse at once, for 15 minutes, and call for help."
    if chemical is Chemical.HYDROCHLORIC_ACID:
        fumes = strength_frac >= 0.10
        return (
            _caution(
                "acid_concentrate",
                SignalWord.DANGER,
                f"Hydrochloric acid of {shown} burns skin and eyes" + (" and fumes." if fumes else "."),
                (
                    "Acid into water, never water into acid: dilution water flows before the acid pump starts.",
                    "Stay out of the fume; leave upwind if it stings." if fumes else "Avoid mist.",
                    shower,
                    "Keep it away from bleach, bisulfite, caustic and bare metal.",
                ),
                _SPLASH_GEAR,
                ("GHS05", "GHS07") if fumes else ("GHS05",),
                "ghs_general",
            ),
        )
    if chemical is Chemical.SULFURIC_ACID:
        return (
            _caution(
                "sulfuric_concentrate",
                SignalWord.DANGER,
                f"Sulfuric acid of {shown} burns at once and boils water it meets.",
                (
                    "Acid into water, never water into acid: dilution water flows before the acid pump starts.",
                    shower,
                    "Keep it away from bleach, bisulfite, caustic and organics.",
                ),
                _SPLASH_GEAR,
                ("GHS05",),
                "mil_1164_acid",
            ),
        )
    if chemical is Chemical.SODIUM_HYDROXIDE:
        return (
            _caution(
                "caustic_concentrate",
                SignalWord.DANGER,
                f"Caustic of {shown} burns skin and blinds; it does not hurt at first.",
                (
                    "Caustic into water: dilution water flows before the caustic pump starts. It heats as it dilutes.",
                    shower,
                    "Keep it away from acid, aluminum, zinc and galvanized parts.",
                    "50 % caustic thickens in the cold and freezes near 12 °C: keep the line warm, never with a flame.",
                ),
                _SPLASH_GEAR,
                ("GHS05",),
                "ghs_general",
            ),
        )
    return (
        _caution(
            "brine",
            SignalWord.CAUTION,
            f"Brine of {shown} stings eyes and cuts, and floors become slippery.",
            ("Rinse eyes with water.", "Wash spills down before they dry."),
            _QC_GEAR,
            (),
            "ghs_general",
        ),
    )


def _diluted(chemical: Chemical, strength_frac: float, temperature_kelvin: float) -> tuple[Caution, ...]:
    shown = say(strength_frac, "strength")
    found: list[Caution] = []
    if chemical in (Chemical.HYDROCHLORIC_ACID, Chemical.SULFURIC_ACID):
        found.append(
            _caution(
                "acid_in_line",
                SignalWord.WARNING,
                f"Acid of {shown} is in the line and the bed: pH below 2.",
                (
                    "Open no cover, vent or sample tap without gear.",
                    "Never let it meet bleach, bisulfite or caustic.",
                ),
                _LINE_GEAR,
                ("GHS05",),
                "ghs_general",
            )
        )
    if chemical is Chemical.SODIUM_HYDROXIDE:
        found.append(
            _caution(
                "caustic_in_line",
                SignalWord.DANGER if strength_frac >= 0.05 else SignalWord.WARNING,
                f"Caustic of {shown} is in the line and the bed: it burns, warm caustic faster.",
                ("Open no cover, vent or sample tap without gear.", "Never let it meet acid."),
                _LINE_GEAR,
                ("GHS05",),
                "ghs_general",
            )
        )
    if temperature_kelvin >= HOT_WATER_KELVIN:
        found.append(
            _caution(
                "hot_line",
                SignalWord.WARNING,
                f"The feed is {say(temperature_kelvin, 'temperature')}: hot pipe and hot spray.",
                ("Keep hands off bare pipe; vent slowly.",),
                _LINE_GEAR,
                (),
                "handbook_memory",
            )
        )
    return tuple(found)


_NEVER_STAND = "Do not stop here: {name} stands in the bed. Go on to displacement, then hold."


def standing_caution(chemical: Chemical) -> Caution:
    """Why an injection is no hold point."""
    name = {
        Chemical.HYDROCHLORIC_ACID: "acid",
        Chemical.SULFURIC_ACID: "acid",
        Chemical.SODIUM_HYDROXIDE: "caustic",
        Chemical.SODIUM_CHLORIDE: "brine",
    }[chemical]
    return _caution(
        "chemical_in_bed",
        SignalWord.NOTICE,
        _NEVER_STAND.format(name=name),
        ("If the feed stops, displace with water and call the supervisor before feeding again.",),
        (),
        (),
        "trade_practice",
    )


_HANDLING = _caution(
    "beads_on_floor",
    SignalWord.CAUTION,
    "Resin beads on the floor roll like ball bearings.",
    ("Sweep or wash a spill before you walk on.",),
    ("safety glasses", "gloves", "boots"),
    (),
    "trade_practice",
)
_OXIDIZER = _caution(
    "oxidizer",
    SignalWord.DANGER,
    "Resin that met nitric acid, chromic acid, permanganate or another oxidizer can catch fire or burst its vessel.",
    ("Stop at colored or oxidizing water, hold the tank and call the safety lead.",),
    (),
    ("GHS03",),
    "trade_practice",
)
_VESSEL = _caution(
    "opening_vessel",
    SignalWord.WARNING,
    "A vessel may be under pressure and may hold the last chemical.",
    ("Vent, drain and lock out before you open it.", "A closed vessel with drained resin may lack air: no entry without a permit."),
    _LINE_GEAR,
    (),
    "trade_practice",
)  # fmt: skip
_OVERFLOW = _caution(
    "backwash_loss",
    SignalWord.NOTICE,
    "Cold water lifts the bed higher: too much flow washes resin out.",
    ("Raise the flow slowly and watch the catcher.",),
    (),
    (),
    "richardson_zaki",
)
_SAMPLING = _caution(
    "sampling",
    SignalWord.CAUTION,
    "Early rinse water is acid or caustic.",
    ("Wear glasses and gloves at the sample tap.",),
    _QC_GEAR,
    (),
    "trade_practice",
)


def step_cautions(
    kind: StepKind,
    chemical: Chemical | None,
    strength_frac: float | None,
    stock_strength_frac: float | None,
    temperature_kelvin: float,
) -> tuple[Caution, ...]:
    """The cautions of one step.

    Parameters
    ----------
    kind : StepKind
        What is done
    chemical : Chemical | None
        What is injected, or what was injected last before this step; None before the first injection
    strength_frac : float | None
        Strength in the line, weight per weight [-]
    stock_strength_frac : float | None
        Strength of the concentrate at the skid, None where none is handled [-]
    temperature_kelvin : float
        Temperature of what flows [K]
    """
    if kind is StepKind.LOAD:
        return (_VESSEL, _OXIDIZER, _HANDLING)
    if kind is StepKind.BACKWASH:
        return (_OVERFLOW, _HANDLING)
    if kind is StepKind.INJECT and chemical is not None:
        concentrate = stock_cautions(chemical, stock_strength_frac) if stock_strength_frac else ()
        line = _diluted(chemical, strength_frac or 0.0, temperature_kelvin)
        return (*concentrate, *line, standing_caution(chemical))
    if kind is StepKind.DISPLACE and chemical is not None:
        return _diluted(chemical, strength_frac or 0.0, temperature_kelvin)
    if kind in (StepKind.FAST_RINSE, StepKind.SAMPLE) and chemical is not None:
        return (_SAMPLING,) if chemical is not Chemical.SODIUM_CHLORIDE else ()
    return ()


def protective_equipment(cautions: tuple[Caution, ...]) -> tuple[str, ...]:
    """All gear that a step asks for, each once, in the order met."""
    seen: dict[str, None] = {}
    for caution in cautions:
        seen.update(dict.fromkeys(caution.protective_equipment))
    items = list(seen)
    if "goggles and face shield" in seen:
        items = [item for item in items if item not in ("goggles", "safety glasses")]
    if "chemical-resistant gloves" in seen:
        items = [item for item in items if item != "gloves"]
    return tuple(items)
