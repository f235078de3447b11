"""The regenerants and treatment chemicals as substances: molar mass, equivalents, registry number.

Keys are the values of ``core.process.vocabulary.Chemical``; this floor does not know that list.
Molar masses: IUPAC-type atomic weights (H 1.008, C 12.011, N 14.007, O 15.999, Na 22.990, S 32.06, Cl 35.453).
"""

from __future__ import annotations

from dataclasses import dataclass

from regenplant.core.errors import OutOfRange


@dataclass(frozen=True, slots=True)
class Substance:
    """One substance. ``charge_eq_per_mol`` is what one mole exchanges or neutralizes; 0 where it does neither."""

    key: str
    name: str
    formula: str
    cas: str
    molar_mass_kg_per_mol: float
    charge_eq_per_mol: int
    character: str
    """"acid", "base", "salt", "oxidizer" or "reductant"."""

    @property
    def equivalent_weight_kg_per_eq(self) -> float:
        """Mass that brings one equivalent.

        Raises: OutOfRange for an oxidizer or a reductant, which bring none.
        """
        if self.charge_eq_per_mol == 0:
            article = "an" if self.character == "oxidizer" else "a"
            raise OutOfRange(
                f"{self.name.capitalize()} is {article} {self.character}: dose it by mass, it brings no equivalents.",
                code="no_equivalents",
            )
        return self.molar_mass_kg_per_mol / self.charge_eq_per_mol


SUBSTANCES: dict[str, Substance] = {
    "hcl": Substance("hcl", "hydrochloric acid", "HCl", "7647-01-0", 0.036461, 1, "acid"),
    "h2so4": Substance("h2so4", "sulfuric acid", "H₂SO₄", "7664-93-9", 0.098079, 2, "acid"),
    "naoh": Substance("naoh", "sodium hydroxide", "NaOH", "1310-73-2", 0.039997, 1, "base"),
    "na2co3": Substance("na2co3", "sodium carbonate", "Na₂CO₃", "497-19-8", 0.105988, 2, "base"),
    "nh3": Substance("nh3", "ammonia", "NH₃", "7664-41-7", 0.017031, 1, "base"),
    "nacl": Substance("nacl", "sodium chloride", "NaCl", "7647-14-5", 0.058443, 1, "salt"),
    "na2s2o4": Substance("na2s2o4", "sodium dithionite", "Na₂S₂O₄", "7775-14-6", 0.174096, 0, "reductant"),
    "naocl": Substance("naocl", "sodium hypochlorite", "NaOCl", "7681-52-9", 0.074442, 0, "oxidizer"),
    "paa": Substance("paa", "peracetic acid", "CH₃CO₃H", "79-21-0", 0.076051, 0, "oxidizer"),
}


def substance(key: str) -> Substance:
    """The substance with this key.

    Raises: OutOfRange for a substance that is not in the table; the sentence lists those that are.
    """
    found = SUBSTANCES.get(key)
    if found is None:
        known = ", ".join(entry.name for entry in SUBSTANCES.values())
        raise OutOfRange(
            f"{key!r} is not a chemical known here. Known are {known}.", code="unknown_substance"
        )
    return found
