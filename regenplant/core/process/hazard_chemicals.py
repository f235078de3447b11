"""What each chemical does to a person: as the concentrate at the skid, and diluted in the line and the bed.

Pictograms are those usual for the substance at the strength; the supplier's SDS in force decides. What a pair of
chemicals gives off (chlorine, sulfur dioxide, chloramine) stands with each of the two.
"""

from __future__ import annotations

from collections.abc import Callable

from regenplant.core.process.hazard_words import (
    LINE_GEAR,
    NO_TAP,
    QC_GEAR,
    SHORT_NAMES,
    SHOWER,
    SPLASH_GEAR,
    caution,
)
from regenplant.core.process.plan import Caution, SignalWord
from regenplant.core.process.vocabulary import Chemical
from regenplant.core.process.wording import say

HOT_WATER_KELVIN = 316.15
"""43 °C: above it, water on the skin begins to burn within minutes (from memory, plant-editable by recipe)."""

_ACID_INTO_WATER = "Acid into water, never water into acid: dilution water flows before the acid pump starts."


# --- concentrates ---------------------------------------------------------------------------------------------------
def _hydrochloric(shown: str, strength_frac: float) -> Caution:
    fumes = strength_frac >= 0.10
    return caution(
        "acid_concentrate",
        SignalWord.DANGER,
        f"Hydrochloric acid of {shown} burns skin and eyes" + (" and fumes." if fumes else "."),
        (
            _ACID_INTO_WATER,
            "Stay out of the fume; leave upwind if it stings." if fumes else "Avoid mist.",
            SHOWER,
            "Keep it away from bleach, bisulfite, dithionite, caustic and bare metal.",
        ),
        SPLASH_GEAR,
        ("GHS05", "GHS07") if fumes else ("GHS05",),
        "ghs_general",
    )


def _sulfuric(shown: str, strength_frac: float) -> Caution:
    return caution(
        "sulfuric_concentrate",
        SignalWord.DANGER,
        f"Sulfuric acid of {shown} burns at once and boils water it meets.",
        (
            _ACID_INTO_WATER,
            SHOWER,
            "Keep it away from bleach, bisulfite, dithionite, caustic and organics.",
        ),
        SPLASH_GEAR,
        ("GHS05",),
        "mil_1164_acid",
    )


def _hydroxide(shown: str, strength_frac: float) -> Caution:
    return caution(
        "caustic_concentrate",
        SignalWord.DANGER,
        f"Caustic of {shown} burns skin and blinds; it does not hurt at first.",
        (
            "Caustic into water: dilution water flows before the caustic pump starts. It heats as it dilutes.",
            SHOWER,
            "Keep it away from acid, aluminum, zinc and galvanized parts.",
            "50 % caustic thickens in the cold and freezes near 12 °C: keep the line warm, never with a flame.",
        ),
        SPLASH_GEAR,
        ("GHS05",),
        "ghs_general",
    )


def _soda_ash(shown: str, strength_frac: float) -> Caution:
    return caution(
        "soda_ash",
        SignalWord.WARNING,
        f"Soda ash of {shown} stings eyes and skin; the dry powder dusts.",
        (
            "Add the powder slowly to water; it warms and cakes in a heap. Keep the dust down.",
            "Keep it away from acid: it foams and gives off carbon dioxide, which takes the air in a pit or a vessel.",
            SHOWER,
        ),
        LINE_GEAR,
        ("GHS07",),
        "ghs_general",
    )


def _ammonia(shown: str, strength_frac: float) -> Caution:
    return caution(
        "ammonia_concentrate",
        SignalWord.DANGER,
        f"Ammonia solution of {shown} gives off gas that burns eyes, throat and lungs.",
        (
            "Work in moving air, upwind. Leave at once if eyes or throat sting; come back only with breathing protection that fits.",
            "Dilution water flows before the ammonia pump starts. Keep the stock cool and closed.",
            SHOWER,
            "Keep it away from hypochlorite (toxic chloramine gas), acid, copper, brass and zinc.",
        ),
        SPLASH_GEAR,
        ("GHS05", "GHS07", "GHS09"),
        "ghs_general",
    )


def _brine(shown: str, strength_frac: float) -> Caution:
    return caution(
        "brine",
        SignalWord.CAUTION,
        f"Brine of {shown} stings eyes and cuts, and floors become slippery.",
        ("Rinse eyes with water.", "Wash spills down before they dry."),
        QC_GEAR,
        (),
        "ghs_general",
    )


def _dithionite(shown: str, strength_frac: float) -> Caution:
    return caution(
        "dithionite_concentrate",
        SignalWord.DANGER,
        "Dithionite powder heats by itself when damp and can catch fire; it gives off sulfur dioxide.",
        (
            "Keep the powder dry, closed and cool. Add powder to much water, never water to powder, and use it the same day.",
            "Keep it away from acid (sulfur dioxide gas), hypochlorite and every other oxidizer.",
            f"The solution of {shown} takes oxygen from the air of a closed space: vent, enter nothing.",
            "If a drum smokes: leave, shut the door, call the fire service.",
            SHOWER,
        ),
        SPLASH_GEAR,
        ("GHS02", "GHS07"),
        "ghs_general",
    )


def _hypochlorite(shown: str, strength_frac: float) -> Caution:
    return caution(
        "hypochlorite_concentrate",
        SignalWord.DANGER,
        f"Hypochlorite of {shown} burns skin and eyes; with acid it gives off chlorine gas.",
        (
            "Keep it away from every acid, from ammonia, dithionite, bisulfite and resin in hydrogen or hydroxide form.",
            "If it smells of chlorine: stop, leave upwind, raise the alarm.",
            "Dilution water flows before the pump starts. Store it cool, vented and in the dark.",
            SHOWER,
            "Very toxic to life in water: nothing of it to a drain without a person's word.",
        ),
        SPLASH_GEAR,
        ("GHS05", "GHS09"),
        "ghs_general",
    )


def _peracetic(shown: str, strength_frac: float) -> Caution:
    return caution(
        "peracetic_concentrate",
        SignalWord.DANGER,
        f"Peracetic acid of {shown} burns skin, eyes and lungs, feeds fire and breaks down in what soils it.",
        (
            "Vented containers only, in moving air. Return nothing to the drum.",
            "Keep it away from metal, caustic, dithionite, hypochlorite, carbon and dry resin: heat and gas can burst a closed vessel.",
            "Dilution water flows before the pump starts.",
            SHOWER,
        ),
        SPLASH_GEAR,
        ("GHS03", "GHS05", "GHS07", "GHS09"),
        "ghs_general",
    )


_CONCENTRATES: dict[Chemical, Callable[[str, float], Caution]] = {
    Chemical.HYDROCHLORIC_ACID: _hydrochloric,
    Chemical.SULFURIC_ACID: _sulfuric,
    Chemical.SODIUM_HYDROXIDE: _hydroxide,
    Chemical.SODIUM_CARBONATE: _soda_ash,
    Chemical.AMMONIA: _ammonia,
    Chemical.SODIUM_CHLORIDE: _brine,
    Chemical.SODIUM_DITHIONITE: _dithionite,
    Chemical.SODIUM_HYPOCHLORITE: _hypochlorite,
    Chemical.PERACETIC_ACID: _peracetic,
}


def stock_cautions(chemical: Chemical, strength_frac: float) -> tuple[Caution, ...]:
    """What the concentrate does to a person, by chemical and strength.

    Parameters
    ----------
    chemical : Chemical
        The substance
    strength_frac : float
        Strength of the stock, weight per weight [-]
    """
    return (_CONCENTRATES[chemical](say(strength_frac, "strength"), strength_frac),)


# --- diluted, in the line and the bed -------------------------------------------------------------------------------
def _acid_line(shown: str, strength_frac: float) -> Caution:
    return caution(
        "acid_in_line",
        SignalWord.WARNING,
        f"Acid of {shown} is in the line and the bed: pH below 2.",
        (NO_TAP, "Never let it meet bleach, bisulfite, dithionite or caustic."),
        LINE_GEAR,
        ("GHS05",),
        "ghs_general",
    )


def _caustic_line(shown: str, strength_frac: float) -> Caution:
    return caution(
        "caustic_in_line",
        SignalWord.DANGER if strength_frac >= 0.05 else SignalWord.WARNING,
        f"Caustic of {shown} is in the line and the bed: it burns, warm caustic faster.",
        (NO_TAP, "Never let it meet acid."),
        LINE_GEAR,
        ("GHS05",),
        "ghs_general",
    )


def _soda_ash_line(shown: str, strength_frac: float) -> Caution:
    return caution(
        "soda_ash_in_line",
        SignalWord.WARNING,
        f"Soda ash of {shown} is in the line and the bed; the acid it takes off the resin sets carbon dioxide free.",
        ("Vent the vessel; gas lifts the bed.", NO_TAP, "Never let it meet acid."),
        LINE_GEAR,
        ("GHS07",),
        "ghs_general",
    )


def _ammonia_line(shown: str, strength_frac: float) -> Caution:
    return caution(
        "ammonia_in_line",
        SignalWord.WARNING,
        f"Ammonia of {shown} is in the line and the bed: drain and vent give off gas.",
        ("Keep the drain covered and the air moving.", NO_TAP, "Never let it meet hypochlorite or acid."),
        LINE_GEAR,
        ("GHS05", "GHS07"),
        "ghs_general",
    )


def _dithionite_line(shown: str, strength_frac: float) -> Caution:
    return caution(
        "dithionite_in_line",
        SignalWord.WARNING,
        f"Dithionite of {shown} is in the line and the bed: acid on it gives off sulfur dioxide.",
        (
            "No acid in this vessel, its lines, its drain or the waste tank until it is rinsed out.",
            "Vent outdoors.",
            NO_TAP,
        ),
        LINE_GEAR,
        ("GHS07",),
        "ghs_general",
    )


def _hypochlorite_line(shown: str, strength_frac: float) -> Caution:
    return caution(
        "hypochlorite_in_line",
        SignalWord.WARNING,
        f"Hypochlorite of {shown} is in the line and the vessel: acid on it gives off chlorine, ammonia chloramine gas.",
        (
            "No acid, ammonia or reductant in this vessel, its lines, its drain or the waste tank until the residual is gone.",
            NO_TAP,
        ),
        LINE_GEAR,
        ("GHS05",),
        "ghs_general",
    )


def _peracetic_line(shown: str, strength_frac: float) -> Caution:
    return caution(
        "peracetic_in_line",
        SignalWord.WARNING,
        f"Peracetic acid of {shown} is in the line and the vessel: it gives off gas as it breaks down.",
        (
            "Keep the vessel vented, never shut in.",
            "No caustic and no reductant until the residual is gone.",
            NO_TAP,
        ),
        LINE_GEAR,
        ("GHS05",),
        "ghs_general",
    )


_DILUTED: dict[Chemical, Callable[[str, float], Caution]] = {
    Chemical.HYDROCHLORIC_ACID: _acid_line,
    Chemical.SULFURIC_ACID: _acid_line,
    Chemical.SODIUM_HYDROXIDE: _caustic_line,
    Chemical.SODIUM_CARBONATE: _soda_ash_line,
    Chemical.AMMONIA: _ammonia_line,
    Chemical.SODIUM_DITHIONITE: _dithionite_line,
    Chemical.SODIUM_HYPOCHLORITE: _hypochlorite_line,
    Chemical.PERACETIC_ACID: _peracetic_line,
}
"""Brine in the line needs no caution of its own."""


def line_cautions(chemical: Chemical, strength_frac: float, temperature_kelvin: float) -> tuple[Caution, ...]:
    """What the diluted chemical does to a person, and what heat adds.

    Parameters
    ----------
    chemical : Chemical
        What is in the line
    strength_frac : float
        Its strength, weight per weight [-]
    temperature_kelvin : float
        Its temperature [K]
    """
    found: list[Caution] = []
    diluted = _DILUTED.get(chemical)
    if diluted is not None:
        found.append(diluted(say(strength_frac, "strength"), strength_frac))
    if temperature_kelvin >= HOT_WATER_KELVIN:
        found.append(_hot(chemical, temperature_kelvin))
    return tuple(found)


def _hot(chemical: Chemical, temperature_kelvin: float) -> Caution:
    hot_caustic = chemical is Chemical.SODIUM_HYDROXIDE
    measures: tuple[str, ...] = ("Keep hands off bare pipe; vent slowly.",)
    if hot_caustic:
        measures = (*measures, "Hot caustic burns deeper and faster: face shield on at every tap.")
    return caution(
        "hot_line",
        SignalWord.WARNING,
        f"It is {say(temperature_kelvin, 'temperature')} in the line and the bed: hot pipe and hot spray.",
        measures,
        SPLASH_GEAR if hot_caustic else LINE_GEAR,
        (),
        "handbook_memory",
    )


def standing_caution(chemical: Chemical) -> Caution:
    """Why an injection is no hold point."""
    measures: tuple[str, ...] = (
        "If the feed stops, displace with water and call the supervisor before feeding again.",
    )
    if chemical is Chemical.SULFURIC_ACID:
        measures = (
            "It never pauses, not for minutes: gypsum sets in the bed and does not leave it.",
            *measures,
        )
    return caution(
        "chemical_in_bed",
        SignalWord.NOTICE,
        f"Do not stop here: {SHORT_NAMES[chemical]} stands in the bed. Go on to displacement, then hold.",
        measures,
        (),
        (),
        "trade_practice",
    )


def soaking_caution(chemical: Chemical) -> Caution:
    """What a soak means: chemical stands, somebody watches."""
    return caution(
        "soaking",
        SignalWord.NOTICE,
        f"It stands full of {SHORT_NAMES[chemical]}. Nobody opens it, and the end of the time is watched.",
        (
            "Lock the feed and hang a tag on it.",
            "Displace or rinse at the end of the time, in the same shift or with a handover.",
        ),
        LINE_GEAR,
        (),
        "trade_practice",
    )
