"""What a tank tag says about handling: usual cautions, deferring to the SDS, local codes and licensed practice.

Temperatures and months of storage are common practice, from memory, not limits that anything is checked against; the data
sheet of the resin or carbon and the SDS override them.
"""

from __future__ import annotations

from regenplant.core.process.hazards import AUTHORITY
from regenplant.core.process.plan import Caution, SignalWord
from regenplant.core.process.vocabulary import REGENERATED_FORM, IonicForm, ResinFamily

_UPRIGHT = "Heavy: two persons or a truck, upright and strapped."
_PRESSURE = "Vent the pressure before you disconnect."
_RESIN = (
    "Keep it wet, closed, above frost and below 35 °C (95 °F).",
    "Rinse to drain until your own reading is right.",
    "Never connect it to nitric acid, chlorine, permanganate or another oxidizer.",
)
_STOPPED = ("Keep it closed, upright and apart from the others.",)
_BEADS = "Beads on the floor roll: sweep them up."
_FINES = "Keep spilled carbon wet and sweep it up; dry dust can burn."

_MONTHS = "Usual practice: use it within {months} of release; later, rinse and test it first."
_CLOSED = "It takes carbon dioxide from the air: caps on until it is connected."
_NEVER_BACKWASH = "Never backwash it: the two resins part."
_CARBON = (
    "Keep it closed, above frost and below 35 °C (95 °F).",
    "Wet it through for hours, vent the air, then rinse to drain until no fines come.",
    "Wet carbon takes the oxygen from closed air: neither head nor body into a tank.",
    "It takes the chlorine out: bacteria grow behind it; let no water stand in it.",
    "Never connect it to nitric acid, permanganate, ozone or another strong oxidizer.",
)
_OF_FAMILY: dict[ResinFamily, tuple[str, ...]] = {
    ResinFamily.SAC_HYDROGEN: (_MONTHS.format(months="6 months"),),
    ResinFamily.SAC_SODIUM: (_MONTHS.format(months="6 months"),),
    ResinFamily.WAC_HYDROGEN: ("It swells in use: leave the free room in the tank as it is.", _MONTHS.format(months="6 months")),
    ResinFamily.SBA_TYPE_1: (_CLOSED, _MONTHS.format(months="3 months")),
    ResinFamily.SBA_TYPE_2: (_CLOSED, _MONTHS.format(months="3 months")),
    ResinFamily.SBA_ACRYLIC: (_CLOSED, _MONTHS.format(months="3 months")),
    ResinFamily.WBA: ("It swells in use. Carbon dioxide and silica pass it.", _MONTHS.format(months="6 months")),
    ResinFamily.MIXED_BED: (_NEVER_BACKWASH, _CLOSED, _MONTHS.format(months="3 months")),
    ResinFamily.MIXED_BED_POLISHING: (_NEVER_BACKWASH, _CLOSED, "For polishing only: rinse it behind clean water.", _MONTHS.format(months="1 month")),
}  # fmt: skip
"""What a charged tank of each family asks for beyond the common; months are common practice, from memory."""

_GEAR = ("safety glasses", "gloves")
_BOTH = "Wet resin and the first water are acid or caustic and hurt eyes."
_WET = {
    IonicForm.HYDROGEN: "Wet resin and the first water are acid and hurt eyes.",
    IonicForm.HYDROXIDE: "Wet resin and the first water are caustic and hurt eyes.",
    IonicForm.FREE_BASE: "Wet resin and the first water can be caustic and hurt eyes.",
    IonicForm.MIXED_REGENERATED: _BOTH,
}


def handling_of_charged(family: ResinFamily) -> tuple[str, ...]:
    """Sentences for a tank that goes out."""
    if family.is_exchanged:
        return (_UPRIGHT, _PRESSURE, *_CARBON, AUTHORITY)
    return (_UPRIGHT, _PRESSURE, *_RESIN, *_OF_FAMILY[family], AUTHORITY)


def handling_of_stopped(family: ResinFamily) -> tuple[str, ...]:
    """Sentences for a tank that stays."""
    return (*_STOPPED, _FINES if family.is_exchanged else _BEADS, AUTHORITY)


def caution_of_content(family: ResinFamily) -> Caution:
    """The hazard of what is in a charged tank; the SDS in force decides."""
    if family.is_exchanged:
        return Caution(
            "carbon_in_tank",
            SignalWord.WARNING,
            "Wet carbon takes the oxygen from closed air; dust irritates eyes and lungs.",
            ("Open it in moving air; glasses and gloves.",),
            _GEAR,
            (),
            "trade_practice",
        )
    words = _WET.get(REGENERATED_FORM[family])
    if words is None:
        return Caution(
            "resin_salt",
            SignalWord.CAUTION,
            "Wet resin makes floors slippery.",
            ("Glasses at the hoses.",),
            _GEAR,
            (),
            "trade_practice",
        )
    return Caution(
        "resin_wet",
        SignalWord.WARNING,
        words,
        ("Wear glasses and gloves; rinse eyes at once.",),
        _GEAR,
        (),
        "trade_practice",
    )


UNKNOWN_CONTENT = Caution(
    "content_not_known",
    SignalWord.WARNING,
    "What this tank held is not safe or not known.",
    ("Do not open, empty or connect it without the safety lead.",),
    ("goggles", "chemical-resistant gloves"),
    (),
    "trade_practice",
)
NOT_TESTED = Caution(
    "not_tested",
    SignalWord.NOTICE,
    "Not passed, or not released.",
    ("Do not ship. Do not connect.",),
    (),
    (),
    "trade_practice",
)
