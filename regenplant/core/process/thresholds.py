"""Quantities above which a release or a stock is reported: reference figures with their source, never a decision.

Every one of them is to be confirmed with the plant's authority, who may set stricter ones; a plant writes its own figure with the paper
it stands on, and that one then holds. The program compares and says so. Who calls whom, and whether, a person decides.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from regenplant.core.engineering.sources import source
from regenplant.core.process.vocabulary import Chemical

KG_PER_LB = 0.45359237
"""Exact by definition of the international pound."""
CONFIRM = "Confirm with your authority: state and local figures are often stricter."


class ThresholdKind(StrEnum):
    """What is compared with a figure."""

    RELEASE = "release"
    INVENTORY = "inventory"
    PLANNING = "planning"

    @property
    def label(self) -> str:
        return {
            "release": "reportable quantity of a release within 24 hours",
            "inventory": "inventory present at any one time that is reported",
            "planning": "threshold planning quantity",
        }[self]


class Counted(StrEnum):
    """Which mass is compared."""

    PURE = "pure"
    PRODUCT = "product"

    @property
    def label(self) -> str:
        return {"pure": "mass as 100 %", "product": "mass of product"}[self]


@dataclass(frozen=True, slots=True)
class Threshold:
    """One figure. ``limit_kg`` is in kilograms of what ``counted`` says; ``own_words`` how the source states it."""

    chemical: Chemical
    kind: ThresholdKind
    limit_kg: float
    counted: Counted
    stated: str
    source: str
    """Key of ``SOURCES``; "plant_record" for one that the plant wrote."""
    paper: str = ""
    """What the plant's own figure stands on; "" for a reference figure."""

    @property
    def citation(self) -> str:
        return self.paper or source(self.source).citation()

    @property
    def is_own(self) -> bool:
        return self.source == "plant_record"

    def is_reached(self, mass_kg: float) -> bool:
        """Whether a mass, counted as this figure is, is as large as it or larger."""
        return mass_kg >= self.limit_kg


def _pounds(
    chemical: Chemical, kind: ThresholdKind, pounds: float, key: str, counted: Counted = Counted.PURE
) -> Threshold:
    return Threshold(chemical, kind, pounds * KG_PER_LB, counted, f"{pounds:,.0f} lb", key)


_RELEASE, _INVENTORY, _PLANNING = ThresholdKind.RELEASE, ThresholdKind.INVENTORY, ThresholdKind.PLANNING
REFERENCE: tuple[Threshold, ...] = (
    _pounds(Chemical.HYDROCHLORIC_ACID, _RELEASE, 5000.0, "cfr_302_4_list"),
    _pounds(Chemical.SULFURIC_ACID, _RELEASE, 1000.0, "cfr_302_4_list"),
    _pounds(Chemical.SODIUM_HYDROXIDE, _RELEASE, 1000.0, "cfr_302_4_naoh"),
    _pounds(Chemical.SODIUM_HYPOCHLORITE, _RELEASE, 100.0, "threshold_memory"),
    _pounds(Chemical.SULFURIC_ACID, _INVENTORY, 500.0, "cfr_370_10"),
    *(
        _pounds(chemical, _INVENTORY, 10000.0, "cfr_370_10", Counted.PRODUCT)
        for chemical in (
            Chemical.HYDROCHLORIC_ACID, Chemical.SODIUM_HYDROXIDE, Chemical.SODIUM_CARBONATE, Chemical.AMMONIA,
            Chemical.SODIUM_DITHIONITE, Chemical.SODIUM_HYPOCHLORITE,
        )
    ),
    _pounds(Chemical.PERACETIC_ACID, _INVENTORY, 500.0, "threshold_memory"),
    _pounds(Chemical.SULFURIC_ACID, _PLANNING, 1000.0, "cfr_355_sulfuric"),
    _pounds(Chemical.PERACETIC_ACID, _PLANNING, 500.0, "threshold_memory"),
)  # fmt: skip
"""US federal figures. The 10,000 lb for other hazardous chemicals is compared with the product as delivered; of sulfuric acid, an
extremely hazardous substance, the substance in all mixtures is summed. A chemical that has no line has no figure here, which does not
mean that none holds."""


def reference_for(chemical: Chemical, kind: ThresholdKind) -> Threshold | None:
    """The reference figure, None where none is known here."""
    return next((row for row in REFERENCE if row.chemical is chemical and row.kind is kind), None)
