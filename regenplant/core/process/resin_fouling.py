"""What may foul a resin: the signs that speak for it, the quick test that decides, the treatment and its recipe.

Signs and treatments are common practice of the trade; which of them were read stands with the cleaning recipes. An order of suggestions,
never a verdict: the quick test decides, and a person.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from enum import StrEnum

from regenplant.core.process.resin_tests import Finding
from regenplant.core.process.vocabulary import ResinFamily

_PROTECTION = "protective equipment as the safety data sheet and local rules say."
ACID_BURNS = f"Acid burns: {_PROTECTION} Acid into water, never the other way."
HOT_CAUSTIC_BURNS = f"Hot caustic burns: {_PROTECTION}"
DITHIONITE = f"Acid sets sulfur dioxide free from dithionite: salt form only, and {_PROTECTION}"
OXIDIZER = f"Never an oxidizer on hydrogen, hydroxide or acid-wet resin: it may react violently. Only the approved recipe; {_PROTECTION}"
ASK = f"A treatment without an approved recipe here is worked out with the supplier first; {_PROTECTION}"


class Seen(StrEnum):
    """What a person sees, smells or measures on a lot or its tanks."""

    BROWN = "brown"
    DARK = "dark"
    SMELL = "smell"
    WHITE = "white"
    COLOURED = "coloured"
    CLUMPS = "clumps"
    OILY = "oily"
    SLIME = "slime"
    SOFT = "soft"
    FINES = "fines"
    GEL = "gel"
    SHORT_RUNS = "short_runs"
    HARDNESS = "hardness"
    SULFATE = "sulfate"
    SILICA = "silica"
    LOW_RESISTIVITY = "low_resistivity"
    LOW_PH = "low_ph"
    PRESSURE = "pressure"
    LONG_RINSE = "long_rinse"
    COUNTS = "counts"

    @property
    def label(self) -> str:
        """On the list to tick."""
        return _SEEN[self]


_SEEN = {
    Seen.BROWN: "beads brown to black, rusty water at backwash",
    Seen.DARK: "beads dark, tea-coloured water",
    Seen.SMELL: "sharp or foul smell",
    Seen.WHITE: "white cast, hard grains",
    Seen.COLOURED: "beads blue, green or otherwise coloured by metal",
    Seen.CLUMPS: "resin clumps or floats",
    Seen.OILY: "sheen of oil on the water",
    Seen.SLIME: "slime on beads or fittings",
    Seen.SOFT: "beads soft and swollen",
    Seen.FINES: "fines, broken beads, resin lost",
    Seen.GEL: "hard gel in the bed",
    Seen.SHORT_RUNS: "short runs, less capacity",
    Seen.HARDNESS: "hardness leaks early",
    Seen.SULFATE: "sulfate leaks early",
    Seen.SILICA: "silica leaks early",
    Seen.LOW_RESISTIVITY: "low resistivity in service",
    Seen.LOW_PH: "water that leaves is acid",
    Seen.PRESSURE: "pressure drop has risen",
    Seen.LONG_RINSE: "rinses long",
    Seen.COUNTS: "bacteria counts are high",
}


class Answer(StrEnum):
    """How a quick test came out."""

    YES = "yes"
    NO = "no"


@dataclass(frozen=True, slots=True)
class Foulant:
    """``tell`` are signs of which one must be there; ``beside`` speak for it too. ``recipes``: by family the default cleaning recipe."""

    code: str
    name: str
    on: frozenset[ResinFamily]
    tell: frozenset[Seen | Finding]
    beside: frozenset[Seen | Finding]
    quick_test: str
    treatment: str
    caution: str
    recipes: Mapping[ResinFamily, tuple[str, ...]]
    can_be_cleaned: bool = True


_CATION = frozenset({ResinFamily.SAC_HYDROGEN, ResinFamily.SAC_SODIUM, ResinFamily.WAC_HYDROGEN})
_ANION = frozenset({ResinFamily.SBA_TYPE_1, ResinFamily.SBA_TYPE_2, ResinFamily.SBA_ACRYLIC, ResinFamily.WBA})
_STRONG_BASE = _ANION - {ResinFamily.WBA}
_ALL = _CATION | _ANION

FOULANTS: tuple[Foulant, ...] = (
    Foulant(
        "iron", "iron or manganese", _CATION,
        frozenset({Seen.BROWN, Finding.IRON}),
        frozenset({Seen.SHORT_RUNS, Seen.HARDNESS, Finding.MOISTURE_DOWN}),
        "Soak a pinch of resin in dilute hydrochloric acid: yellow, or over 5 mg/L of iron after 5 to 10 min in 1 % acid, says yes.",
        "Hydrochloric acid 5 to 10 % on hydrogen-form resin, a reductant soak on softening resin; rinse before anything alkaline.",
        f"{ACID_BURNS} {DITHIONITE}",
        {ResinFamily.SAC_HYDROGEN: ("CL-FE-H",), ResinFamily.SAC_SODIUM: ("CL-FE-NA",)},
    ),
    Foulant(
        "organics", "organic matter", _ANION,
        frozenset({Seen.DARK, Seen.LONG_RINSE, Finding.MOISTURE_DOWN}),
        frozenset({Seen.SMELL, Seen.LOW_RESISTIVITY, Seen.LOW_PH, Seen.SHORT_RUNS, Finding.WEAK_BASE}),
        "Shake a sample of resin in 10 % brine: tea colour says yes.",
        "Warm 10 % brine with caustic, a soak of an hour or overnight, then a double regeneration. Hypochlorite harms the resin: last resort, with the supplier.",
        f"{HOT_CAUSTIC_BURNS} {OXIDIZER}",
        {ResinFamily.SBA_TYPE_1: ("CL-ORG-OH1",)},
    ),
    Foulant(
        "silica", "silica", _STRONG_BASE,
        frozenset({Seen.SILICA, Seen.GEL}),
        frozenset({Seen.LONG_RINSE}),
        "Measure silica in the caustic that leaves a warm injection: much more than on a sound lot says yes.",
        "Twice the dose of caustic, warm as the resin bears it, with long contact.",
        HOT_CAUSTIC_BURNS,
        {ResinFamily.SBA_TYPE_1: ("CL-SI-OH1",)},
    ),
    Foulant(
        "calcium_sulfate", "calcium sulfate", frozenset({ResinFamily.SAC_HYDROGEN, ResinFamily.WAC_HYDROGEN}),
        frozenset({Seen.WHITE, Seen.SULFATE}),
        frozenset({Seen.PRESSURE, Seen.LONG_RINSE}),
        "Rinse a sample, shake it in deionized water and test the water for sulfate and hardness: both there says yes.",
        "Hydrochloric acid 5 to 10 %, or a long wash of 1 %; sulfuric acid in steps from then on.",
        ACID_BURNS,
        {ResinFamily.SAC_HYDROGEN: ("CL-FE-H",)},
    ),
    Foulant(
        "hardness", "hardness precipitate", _ANION,
        frozenset({Seen.WHITE}),
        frozenset({Seen.PRESSURE, Seen.HARDNESS}),
        "A drop of dilute hydrochloric acid on a pinch of resin: fizz says yes.",
        "Hydrochloric acid 5 %, displaced and rinsed before caustic; soften the dilution water.",
        ACID_BURNS, {},
    ),
    Foulant(
        "oxidation", "oxidation by chlorine", _CATION,
        frozenset({Seen.SOFT, Finding.MOISTURE_UP}),
        frozenset({Seen.PRESSURE, Seen.FINES}),
        "Crush beads between the fingers and send a sample for moisture: soft beads with moisture above new say yes.",
        "Nothing brings it back: replace the resin and put carbon ahead of it.",
        "", {}, can_be_cleaned=False,
    ),
    Foulant(
        "oil", "oil or grease", _ALL,
        frozenset({Seen.OILY, Seen.CLUMPS}),
        frozenset({Seen.PRESSURE}),
        "Shake a sample in warm water and let it stand: a sheen says yes.",
        "Warm 0.1 % non-ionic surfactant; often the resin is scrapped.",
        ASK, {},
    ),
    Foulant(
        "bacteria", "bacteria", _ALL,
        frozenset({Seen.SLIME, Seen.COUNTS}),
        frozenset({Seen.SMELL, Seen.PRESSURE}),
        "Plate count of the first water after standing: far above the feed says yes.",
        "Sanitize in salt form only, soak, rinse; softening resin by its recipe, anything else with the supplier.",
        OXIDIZER,
        {ResinFamily.SAC_SODIUM: ("SAN-NA-NAOCL", "SAN-NA-PAA")},
    ),
    Foulant(
        "metals", "copper, nickel or chromium", _ALL,
        frozenset({Seen.COLOURED}),
        frozenset({Seen.SHORT_RUNS}),
        "Test strip for the metal on the acid that leaves a small sample: colour says yes.",
        "Not cleaned here: the resin is quarantined and leaves as class F by the plant’s determination.",
        "Metal-bearing resin and its acid never go to the neutralization tank.",
        {}, can_be_cleaned=False,
    ),
    Foulant(
        "breakage", "broken beads", _ALL,
        frozenset({Seen.FINES, Finding.BROKEN_BEADS, Finding.FINES}),
        frozenset({Seen.PRESSURE}),
        "Sieve a sample on 50 mesh and look at it under the glass: over 1 % through, or under 90 % whole, says yes.",
        "Backwash long to float the fines off, top up with the same resin, look at eductor and transfer lines.",
        "", {},
    ),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Suspect:
    """One foulant that the signs speak for. ``answer``: how its quick test came out, None while it was not done. ``weight`` orders only."""

    foulant: Foulant
    because: tuple[str, ...]
    weight: float
    answer: Answer | None
    recipes: tuple[str, ...]
    """Default cleaning recipes for this family; none where the plant has to ask."""

    @property
    def is_confirmed(self) -> bool:
        return self.answer is Answer.YES


BY_CODE: dict[str, Foulant] = {one.code: one for one in FOULANTS}


def suspects(
    family: ResinFamily,
    seen: Collection[Seen],
    found: Mapping[Finding, str],
    answers: Mapping[str, Answer],
) -> tuple[Suspect, ...]:
    """Foulants in the order in which to look: those a quick test confirmed, then by signs.

    Parameters
    ----------
    family : ResinFamily
        Of the resin, of a mixed bed that of the resin looked at
    seen : Collection[Seen]
        What people saw
    found : Mapping[Finding, str]
        What the laboratory's figures say, with its sentence
    answers : Mapping[str, Answer]
        Newest quick test by foulant

    Returns
    -------
    suspects : tuple[Suspect, ...]
        One that a quick test denied is left out
    """
    rows = []
    for one in FOULANTS:
        answer = answers.get(one.code)
        if family not in one.on or answer is Answer.NO:
            continue
        telling = _signs(one.tell, seen, found)
        if not telling and answer is not Answer.YES:
            continue
        beside = _signs(one.beside, seen, found)
        weight = 2.0 * len(telling) + len(beside)
        rows.append(Suspect(one, (*telling, *beside), weight, answer, one.recipes.get(family, ())))
    return tuple(sorted(rows, key=lambda row: (not row.is_confirmed, -row.weight, row.foulant.code)))


def _signs(
    wanted: frozenset[Seen | Finding], seen: Collection[Seen], found: Mapping[Finding, str]
) -> list[str]:
    """In the order of their lists, so that the same signs always read the same."""
    looked = [sign.label for sign in Seen if sign in wanted and sign in seen]
    measured = [found[sign] for sign in Finding if sign in wanted and sign in found]
    return looked + measured
