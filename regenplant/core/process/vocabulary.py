"""The closed lists of the trade that recipes, plans and records share: one word per thing.

Values are what the database stores; labels are what a person reads. A new family, chemical or step kind
starts here (DEVELOPERS.md lists the other files).
"""

from __future__ import annotations

from enum import StrEnum


class ResinFamily(StrEnum):
    """What is regenerated, and into which form."""

    SAC_HYDROGEN = "sac_h"
    SAC_SODIUM = "sac_na"
    SBA_TYPE_1 = "sba_1"
    SBA_TYPE_2 = "sba_2"

    @property
    def label(self) -> str:
        return _FAMILY_LABELS[self]

    @property
    def abbreviation(self) -> str:
        """The trade's usual abbreviation."""
        return _FAMILY_ABBREVIATIONS[self]


_FAMILY_LABELS = {
    ResinFamily.SAC_HYDROGEN: "Strong-acid cation, hydrogen form",
    ResinFamily.SAC_SODIUM: "Softening resin (strong-acid cation, sodium form)",
    ResinFamily.SBA_TYPE_1: "Strong-base anion type 1, hydroxide form",
    ResinFamily.SBA_TYPE_2: "Strong-base anion type 2, hydroxide form",
}
_FAMILY_ABBREVIATIONS = {
    ResinFamily.SAC_HYDROGEN: "SAC-H",
    ResinFamily.SAC_SODIUM: "SAC-Na",
    ResinFamily.SBA_TYPE_1: "SBA1-OH",
    ResinFamily.SBA_TYPE_2: "SBA2-OH",
}


class IonicForm(StrEnum):
    """The ionic form a resin volume is stated in."""

    HYDROGEN = "H"
    SODIUM = "Na"
    HYDROXIDE = "OH"
    CHLORIDE = "Cl"

    @property
    def label(self) -> str:
        return {"H": "hydrogen form", "Na": "sodium form", "OH": "hydroxide form", "Cl": "chloride form"}[
            self
        ]


REGENERATED_FORM = {
    ResinFamily.SAC_HYDROGEN: IonicForm.HYDROGEN,
    ResinFamily.SAC_SODIUM: IonicForm.SODIUM,
    ResinFamily.SBA_TYPE_1: IonicForm.HYDROXIDE,
    ResinFamily.SBA_TYPE_2: IonicForm.HYDROXIDE,
}
"""The form a family leaves the vessel in."""

EXHAUSTED_FORM = {
    ResinFamily.SAC_HYDROGEN: IonicForm.SODIUM,
    ResinFamily.SAC_SODIUM: IonicForm.SODIUM,
    ResinFamily.SBA_TYPE_1: IonicForm.CHLORIDE,
    ResinFamily.SBA_TYPE_2: IonicForm.CHLORIDE,
}
"""The reference form in which a returned resin's volume is counted."""


class Chemical(StrEnum):
    """A regenerant, by substance."""

    HYDROCHLORIC_ACID = "hcl"
    SULFURIC_ACID = "h2so4"
    SODIUM_HYDROXIDE = "naoh"
    SODIUM_CHLORIDE = "nacl"

    @property
    def label(self) -> str:
        return _CHEMICAL_LABELS[self]

    @property
    def formula(self) -> str:
        return _CHEMICAL_FORMULAS[self]


_CHEMICAL_LABELS = {
    Chemical.HYDROCHLORIC_ACID: "Hydrochloric acid",
    Chemical.SULFURIC_ACID: "Sulfuric acid",
    Chemical.SODIUM_HYDROXIDE: "Sodium hydroxide (caustic)",
    Chemical.SODIUM_CHLORIDE: "Sodium chloride (brine)",
}
_CHEMICAL_FORMULAS = {
    Chemical.HYDROCHLORIC_ACID: "HCl",
    Chemical.SULFURIC_ACID: "H₂SO₄",
    Chemical.SODIUM_HYDROXIDE: "NaOH",
    Chemical.SODIUM_CHLORIDE: "NaCl",
}


class WaterKind(StrEnum):
    """A water supply of the plant."""

    RAW = "raw"
    SOFTENED = "softened"
    DEIONIZED = "deionized"

    @property
    def label(self) -> str:
        return {"raw": "raw water", "softened": "softened water", "deionized": "deionized water"}[self]


class StepKind(StrEnum):
    """A kind of step; what a recipe is made of."""

    LOAD = "load"
    BACKWASH = "backwash"
    SETTLE = "settle"
    INJECT = "inject"
    DISPLACE = "displace"
    FAST_RINSE = "fast_rinse"
    SAMPLE = "sample"

    @property
    def label(self) -> str:
        return _STEP_LABELS[self]


_STEP_LABELS = {
    StepKind.LOAD: "Load the vessel",
    StepKind.BACKWASH: "Backwash",
    StepKind.SETTLE: "Settle",
    StepKind.INJECT: "Injection",
    StepKind.DISPLACE: "Displacement rinse",
    StepKind.FAST_RINSE: "Fast rinse",
    StepKind.SAMPLE: "Sample for QC",
}


class SegregationClass(StrEnum):
    """Who the resin serves; resin of different classes is never pooled."""

    DEDICATED = "A"
    POTABLE = "B"
    HIGH_PURITY = "C"
    INDUSTRIAL = "D"
    SUSPECT = "E"
    METAL_BEARING = "F"
    REFUSED = "X"

    @property
    def label(self) -> str:
        return _CLASS_LABELS[self]

    @property
    def may_be_regenerated(self) -> bool:
        """Suspect, metal-bearing and refused resin never enters a batch without a written disposition."""
        return self in (
            SegregationClass.DEDICATED,
            SegregationClass.POTABLE,
            SegregationClass.HIGH_PURITY,
            SegregationClass.INDUSTRIAL,
        )


_CLASS_LABELS = {
    SegregationClass.DEDICATED: "Dedicated, customer's own resin",
    SegregationClass.POTABLE: "Food, beverage and drinking water",
    SegregationClass.HIGH_PURITY: "High purity and electronics",
    SegregationClass.INDUSTRIAL: "Industrial",
    SegregationClass.SUSPECT: "Suspect or unknown history",
    SegregationClass.METAL_BEARING: "Metal-bearing",
    SegregationClass.REFUSED: "Refused",
}
