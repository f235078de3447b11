"""The closed lists of the trade that recipes, plans and records share: one word per thing.

Values are what the database stores; labels are what a person reads. A new family, chemical or step kind
starts here (DEVELOPERS.md lists the other files).
"""

from __future__ import annotations

from enum import StrEnum


class ResinFamily(StrEnum):
    """What is regenerated (or, for carbon, exchanged), and into which form."""

    SAC_HYDROGEN = "sac_h"
    SAC_SODIUM = "sac_na"
    WAC_HYDROGEN = "wac_h"
    SBA_TYPE_1 = "sba_1"
    SBA_TYPE_2 = "sba_2"
    SBA_ACRYLIC = "sba_a"
    WBA = "wba"
    MIXED_BED = "mb"
    MIXED_BED_POLISHING = "mb_p"
    CARBON = "gac"

    @property
    def label(self) -> str:
        return _FAMILY_LABELS[self]

    @property
    def abbreviation(self) -> str:
        """The trade's usual abbreviation."""
        return _FAMILY_ABBREVIATIONS[self]

    @property
    def is_mixed(self) -> bool:
        """Cation and anion resin in one tank, separated and regenerated in two legs."""
        return self in (ResinFamily.MIXED_BED, ResinFamily.MIXED_BED_POLISHING)

    @property
    def is_cation(self) -> bool:
        return self in (ResinFamily.SAC_HYDROGEN, ResinFamily.SAC_SODIUM, ResinFamily.WAC_HYDROGEN)

    @property
    def is_anion(self) -> bool:
        return self in (
            ResinFamily.SBA_TYPE_1,
            ResinFamily.SBA_TYPE_2,
            ResinFamily.SBA_ACRYLIC,
            ResinFamily.WBA,
        )

    @property
    def is_exchanged(self) -> bool:
        """Carbon: emptied, sanitized and filled anew, never regenerated."""
        return self is ResinFamily.CARBON

    @property
    def stands_in(self) -> str:
        """What a chemical stands in while it works, in words: carbon is worked on in its tanks, all else in a bed."""
        return "the tanks" if self.is_exchanged else "the bed"


_FAMILY_LABELS = {
    ResinFamily.SAC_HYDROGEN: "Strong-acid cation, hydrogen form",
    ResinFamily.SAC_SODIUM: "Softening resin (strong-acid cation, sodium form)",
    ResinFamily.WAC_HYDROGEN: "Weak-acid cation, hydrogen form",
    ResinFamily.SBA_TYPE_1: "Strong-base anion type 1, hydroxide form",
    ResinFamily.SBA_TYPE_2: "Strong-base anion type 2, hydroxide form",
    ResinFamily.SBA_ACRYLIC: "Strong-base anion acrylic, hydroxide form",
    ResinFamily.WBA: "Weak-base anion, free-base form",
    ResinFamily.MIXED_BED: "Mixed bed, working grade",
    ResinFamily.MIXED_BED_POLISHING: "Mixed bed, polishing grade",
    ResinFamily.CARBON: "Activated carbon",
}
_FAMILY_ABBREVIATIONS = {
    ResinFamily.SAC_HYDROGEN: "SAC-H",
    ResinFamily.SAC_SODIUM: "SAC-Na",
    ResinFamily.WAC_HYDROGEN: "WAC-H",
    ResinFamily.SBA_TYPE_1: "SBA1-OH",
    ResinFamily.SBA_TYPE_2: "SBA2-OH",
    ResinFamily.SBA_ACRYLIC: "SBA acrylic-OH",
    ResinFamily.WBA: "WBA",
    ResinFamily.MIXED_BED: "MB",
    ResinFamily.MIXED_BED_POLISHING: "MB polishing",
    ResinFamily.CARBON: "GAC",
}


class IonicForm(StrEnum):
    """The ionic form a resin volume is stated in."""

    HYDROGEN = "H"
    SODIUM = "Na"
    CALCIUM = "Ca"
    HYDROXIDE = "OH"
    CHLORIDE = "Cl"
    FREE_BASE = "FB"
    MIXED_EXHAUSTED = "NaCl"
    MIXED_REGENERATED = "HOH"
    AS_FILLED = "as"

    @property
    def label(self) -> str:
        return _FORM_LABELS[self]


_FORM_LABELS = {
    IonicForm.HYDROGEN: "hydrogen form",
    IonicForm.SODIUM: "sodium form",
    IonicForm.CALCIUM: "calcium form",
    IonicForm.HYDROXIDE: "hydroxide form",
    IonicForm.CHLORIDE: "chloride form",
    IonicForm.FREE_BASE: "free-base form",
    IonicForm.MIXED_EXHAUSTED: "exhausted forms, Na and Cl",
    IonicForm.MIXED_REGENERATED: "regenerated forms, H and OH",
    IonicForm.AS_FILLED: "as filled",
}

REGENERATED_FORM = {
    ResinFamily.SAC_HYDROGEN: IonicForm.HYDROGEN,
    ResinFamily.SAC_SODIUM: IonicForm.SODIUM,
    ResinFamily.WAC_HYDROGEN: IonicForm.HYDROGEN,
    ResinFamily.SBA_TYPE_1: IonicForm.HYDROXIDE,
    ResinFamily.SBA_TYPE_2: IonicForm.HYDROXIDE,
    ResinFamily.SBA_ACRYLIC: IonicForm.HYDROXIDE,
    ResinFamily.WBA: IonicForm.FREE_BASE,
    ResinFamily.MIXED_BED: IonicForm.MIXED_REGENERATED,
    ResinFamily.MIXED_BED_POLISHING: IonicForm.MIXED_REGENERATED,
    ResinFamily.CARBON: IonicForm.AS_FILLED,
}
"""The form a family leaves the vessel in."""

EXHAUSTED_FORM = {
    ResinFamily.SAC_HYDROGEN: IonicForm.SODIUM,
    ResinFamily.SAC_SODIUM: IonicForm.SODIUM,
    ResinFamily.WAC_HYDROGEN: IonicForm.CALCIUM,
    ResinFamily.SBA_TYPE_1: IonicForm.CHLORIDE,
    ResinFamily.SBA_TYPE_2: IonicForm.CHLORIDE,
    ResinFamily.SBA_ACRYLIC: IonicForm.CHLORIDE,
    ResinFamily.WBA: IonicForm.CHLORIDE,
    ResinFamily.MIXED_BED: IonicForm.MIXED_EXHAUSTED,
    ResinFamily.MIXED_BED_POLISHING: IonicForm.MIXED_EXHAUSTED,
    ResinFamily.CARBON: IonicForm.AS_FILLED,
}
"""The reference form in which a returned resin's volume is counted."""


class Leg(StrEnum):
    """Which resin of a mixed bed a step works on; all other beds are whole."""

    WHOLE = "whole"
    CATION = "cation"
    ANION = "anion"

    @property
    def label(self) -> str:
        return {"whole": "whole bed", "cation": "cation leg", "anion": "anion leg"}[self]


class LegArrangement(StrEnum):
    """How the two legs of a mixed bed are regenerated."""

    APART = "apart"
    """The anion resin is moved to a vessel of its own; each leg runs in its own vessel."""
    TOGETHER = "together"
    """Both stay in one vessel: caustic from above and acid from below leave at the interface collector at once."""

    @property
    def label(self) -> str:
        return {"apart": "each leg in its own vessel", "together": "both legs at once in one vessel"}[self]


class Purpose(StrEnum):
    """What a recipe is for."""

    REGENERATION = "regeneration"
    CLEANING = "cleaning"
    CONDITIONING = "conditioning"
    EXCHANGE = "exchange"

    @property
    def label(self) -> str:
        return {
            "regeneration": "regeneration",
            "cleaning": "cleaning, then regeneration",
            "conditioning": "conditioning of new resin",
            "exchange": "exchange of carbon",
        }[self]


class Chemical(StrEnum):
    """A regenerant or a treatment chemical, by substance."""

    HYDROCHLORIC_ACID = "hcl"
    SULFURIC_ACID = "h2so4"
    SODIUM_HYDROXIDE = "naoh"
    SODIUM_CARBONATE = "na2co3"
    AMMONIA = "nh3"
    SODIUM_CHLORIDE = "nacl"
    SODIUM_DITHIONITE = "na2s2o4"
    SODIUM_HYPOCHLORITE = "naocl"
    PERACETIC_ACID = "paa"

    @property
    def label(self) -> str:
        return _CHEMICAL_LABELS[self]

    @property
    def formula(self) -> str:
        return _CHEMICAL_FORMULAS[self]

    @property
    def is_acid(self) -> bool:
        """A strong acid that elutes a cation resin."""
        return self in (Chemical.HYDROCHLORIC_ACID, Chemical.SULFURIC_ACID)

    @property
    def is_base(self) -> bool:
        return self in (Chemical.SODIUM_HYDROXIDE, Chemical.SODIUM_CARBONATE, Chemical.AMMONIA)

    @property
    def is_oxidizer(self) -> bool:
        """Never on hydrogen- or hydroxide-form resin, never near acid or a reductant."""
        return self in (Chemical.SODIUM_HYPOCHLORITE, Chemical.PERACETIC_ACID)

    @property
    def is_reductant(self) -> bool:
        """Gives off sulfur dioxide with acid; never near an oxidizer."""
        return self is Chemical.SODIUM_DITHIONITE


_CHEMICAL_LABELS = {
    Chemical.HYDROCHLORIC_ACID: "Hydrochloric acid",
    Chemical.SULFURIC_ACID: "Sulfuric acid",
    Chemical.SODIUM_HYDROXIDE: "Sodium hydroxide (caustic)",
    Chemical.SODIUM_CARBONATE: "Sodium carbonate (soda ash)",
    Chemical.AMMONIA: "Ammonia solution",
    Chemical.SODIUM_CHLORIDE: "Sodium chloride (brine)",
    Chemical.SODIUM_DITHIONITE: "Sodium dithionite (hydrosulfite)",
    Chemical.SODIUM_HYPOCHLORITE: "Sodium hypochlorite",
    Chemical.PERACETIC_ACID: "Peracetic acid",
}
_CHEMICAL_FORMULAS = {
    Chemical.HYDROCHLORIC_ACID: "HCl",
    Chemical.SULFURIC_ACID: "H₂SO₄",
    Chemical.SODIUM_HYDROXIDE: "NaOH",
    Chemical.SODIUM_CARBONATE: "Na₂CO₃",
    Chemical.AMMONIA: "NH₃",
    Chemical.SODIUM_CHLORIDE: "NaCl",
    Chemical.SODIUM_DITHIONITE: "Na₂S₂O₄",
    Chemical.SODIUM_HYPOCHLORITE: "NaOCl",
    Chemical.PERACETIC_ACID: "CH₃CO₃H",
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
    SEPARATE = "separate"
    SETTLE = "settle"
    FLOAT = "float"
    CUT = "cut"
    INJECT = "inject"
    SOAK = "soak"
    DISPLACE = "displace"
    RINSE = "rinse"
    JOIN = "join"
    AIR_MIX = "air_mix"
    FAST_RINSE = "fast_rinse"
    RECIRCULATE = "recirculate"
    EMPTY = "empty"
    SANITIZE = "sanitize"
    FILL = "fill"
    SAMPLE = "sample"

    @property
    def label(self) -> str:
        return _STEP_LABELS[self]

    @property
    def is_judged_rinse(self) -> bool:
        """A rinse whose readings are held against the specification; the last one of a recipe ends on the end point."""
        return self in (StepKind.FAST_RINSE, StepKind.RECIRCULATE)


_STEP_LABELS = {
    StepKind.LOAD: "Load the vessel",
    StepKind.BACKWASH: "Backwash",
    StepKind.SEPARATE: "Backwash separation",
    StepKind.SETTLE: "Settle",
    StepKind.FLOAT: "Float separation",
    StepKind.CUT: "Interface cut",
    StepKind.INJECT: "Injection",
    StepKind.SOAK: "Soak",
    StepKind.DISPLACE: "Displacement rinse",
    StepKind.RINSE: "Intermediate rinse",
    StepKind.JOIN: "Join the legs",
    StepKind.AIR_MIX: "Air mix",
    StepKind.FAST_RINSE: "Fast rinse",
    StepKind.RECIRCULATE: "Recirculating rinse",
    StepKind.EMPTY: "Empty the tanks",
    StepKind.SANITIZE: "Sanitize",
    StepKind.FILL: "Fill",
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
