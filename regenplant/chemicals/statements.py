"""Texts of GHS hazard and precaution codes, to be read beside the code. The supplier's data sheet holds the text that counts.

Source: H/P catalogue in a public repository, wording of the consolidated CLP texts (read). Codes that were not read there
are not listed: they are shown as a code alone, with the sheet as the place to look.
"""

from __future__ import annotations

from collections.abc import Iterable

STATEMENTS: dict[str, str] = {
    "H272": "May intensify fire; oxidiser",
    "H290": "May be corrosive to metals",
    "H302": "Harmful if swallowed",
    "H312": "Harmful in contact with skin",
    "H314": "Causes severe skin burns and eye damage",
    "H315": "Causes skin irritation",
    "H318": "Causes serious eye damage",
    "H319": "Causes serious eye irritation",
    "H331": "Toxic if inhaled",
    "H332": "Harmful if inhaled",
    "H335": "May cause respiratory irritation",
    "H400": "Very toxic to aquatic life",
    "H410": "Very toxic to aquatic life with long lasting effects",
    "P210": "Keep away from heat, hot surfaces, sparks, open flames and other ignition sources. No smoking.",
    "P233": "Keep container tightly closed",
    "P260": "Do not breathe dust/fume/gas/mist/vapours/spray",
    "P264": "Wash hands thoroughly after handling",
    "P270": "Do not eat, drink or smoke when using this product",
    "P271": "Use only outdoors or in a well-ventilated area",
    "P273": "Avoid release to the environment",
    "P280": "Wear protective gloves/protective clothing/eye protection/face protection",
    "P301+P330+P331": "IF SWALLOWED: Rinse mouth. Do NOT induce vomiting",
    "P303+P361+P353": "IF ON SKIN (or hair): Take off immediately all contaminated clothing. Rinse skin with water [or shower]",
    "P305+P351+P338": "IF IN EYES: Rinse cautiously with water for several minutes. Remove contact lenses, if present and easy to do. Continue rinsing",
    "P310": "Immediately call a POISON CENTER/doctor",
    "P312": "Call a POISON CENTER/doctor if you feel unwell",
    "P330": "Rinse mouth",
    "P403": "Store in a well-ventilated place",
    "P405": "Store locked up",
    "P410": "Protect from sunlight",
    "P420": "Store separately",
    "P501": "Dispose of contents/container to ...",
}


def statements_of(codes: Iterable[str]) -> list[tuple[str, str]]:
    """Code and text, in the order of the sheet; an unknown code refers to the sheet."""
    return [(code, STATEMENTS.get(code, "text on the data sheet")) for code in codes]
