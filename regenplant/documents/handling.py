"""What a tank tag says about handling: usual cautions, deferring to the SDS, local codes and licensed practice.

The temperatures are common practice, from memory, not a limit that anything is checked against; the resin's data sheet and
the SDS override them.
"""

from __future__ import annotations

from regenplant.core.process.hazards import AUTHORITY
from regenplant.core.process.plan import Caution, SignalWord
from regenplant.core.process.vocabulary import REGENERATED_FORM, IonicForm, ResinFamily

_COMMON = (
    "Heavy: two persons or a truck, upright and strapped.",
    "Keep it wet, closed, above frost and below 35 °C (95 °F).",
    "Vent the pressure before you disconnect.",
    "Rinse to drain until your own reading is right.",
    "Never connect it to nitric acid, chlorine, permanganate or another oxidizer.",
)
_STOPPED = ("Keep it closed, upright and apart from the others.", "Beads on the floor roll: sweep them up.")

_GEAR = ("safety glasses", "gloves")


def handling_of_charged() -> tuple[str, ...]:
    """Sentences for a tank that goes out."""
    return (*_COMMON, AUTHORITY)


def handling_of_stopped() -> tuple[str, ...]:
    """Sentences for a tank that stays."""
    return (*_STOPPED, AUTHORITY)


def caution_of_resin(family: ResinFamily) -> Caution:
    """The hazard of the wet resin in its regenerated form; the SDS in force decides."""
    form = REGENERATED_FORM[family]
    if form is IonicForm.HYDROGEN:
        words = "Wet resin and the first water are acid and hurt eyes."
    elif form is IonicForm.HYDROXIDE:
        words = "Wet resin and the first water are caustic and hurt eyes."
    else:
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
