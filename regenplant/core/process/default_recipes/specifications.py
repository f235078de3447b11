"""One specification for each family: what a batch must show before it passes."""

from __future__ import annotations

from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.process.acceptance import Limit, Specification
from regenplant.core.process.vocabulary import ResinFamily

_MICROSIEMENS_PER_CM = 1e-4
_MILLIGRAM_PER_L = 1e-3


def _conductivity(microsiemens_per_cm: float, source: str = "trade_practice") -> Limit:
    return Limit(
        "conductivity",
        "Conductivity at 25 °C",
        "conductivity",
        high=microsiemens_per_cm * _MICROSIEMENS_PER_CM,
        source=source,
    )


def _resistivity_at_least(megohm_cm: float) -> Limit:
    """The same limit as a conductivity, which is what is stored: one over the resistivity."""
    return _conductivity(1.0 / megohm_cm)


_HARDNESS = Limit("hardness", "Hardness", "hardness", high=1.0 * _MILLIGRAM_PER_L, source="ufc_softener")


def _milligrams(measurement: str, name: str, milligram_per_l: float, source: str = "trade_practice") -> Limit:
    return Limit(measurement, name, "concentration", high=milligram_per_l * _MILLIGRAM_PER_L, source=source)


def _silica(milligram_per_l: float, source: str = "trade_practice") -> Limit:
    return _milligrams("silica", "Silica", milligram_per_l, source)


def _ph(low: float, high: float) -> Limit:
    return Limit("ph", "pH", "ph", low=low, high=high, source="trade_practice")


OPTIONAL_LIMITS: dict[ResinFamily, tuple[Limit, ...]] = {
    ResinFamily.MIXED_BED_POLISHING: (_milligrams("toc", "Total organic carbon", 0.05),),
}
"""Limits a plant adds where a customer asks and the plant can measure them; 50 µg/L of organic carbon is common practice."""


def _strong_base(
    code: str, name: str, family: ResinFamily, microsiemens: float, silica: Limit, notes: str
) -> Specification:
    return Specification(
        code=code,
        name=name,
        family=family,
        limits=(_conductivity(microsiemens), silica, _ph(7.0, 9.5)),
        minimum_rinse_bv=4.7,
        maximum_rinse_bv=18.0,
        compensation=Compensation.BASE,
        notes=notes,
    )


def _cations() -> tuple[Specification, ...]:
    return (
        Specification(
            code="Q-H",
            name="Cation, hydrogen form, rinsed with deionized water",
            family=ResinFamily.SAC_HYDROGEN,
            limits=(_conductivity(50.0), _HARDNESS),
            minimum_rinse_bv=4.0,
            maximum_rinse_bv=16.0,
            compensation=Compensation.ACID,
            notes="Hardness 1 mg/L ends a hydrogen cycle: UFC 3-240-13FN, read. Conductivity and rinse: common practice.",
        ),
        Specification(
            code="Q-NA",
            name="Softening resin, sodium form",
            family=ResinFamily.SAC_SODIUM,
            limits=(_HARDNESS,),
            minimum_rinse_bv=4.0,
            maximum_rinse_bv=15.0,
            compensation=Compensation.NEUTRAL,
            notes="Hardness below 1 mg/L as CaCO3: UFC 3-240-13FN, read. Rinse 4.7 to 13.4 BV, read; least 4 BV common practice.",
        ),
        Specification(
            code="Q-WH",
            name="Weak-acid cation, hydrogen form, rinsed with deionized water",
            family=ResinFamily.WAC_HYDROGEN,
            limits=(
                _conductivity(50.0),
                _HARDNESS,
                Limit(
                    "alkalinity",
                    "Alkalinity",
                    "hardness",
                    high=5.0 * _MILLIGRAM_PER_L,
                    source="trade_practice",
                ),
                _ph(4.0, 7.5),
            ),
            minimum_rinse_bv=4.0,
            maximum_rinse_bv=16.0,
            compensation=Compensation.ACID,
            notes=(
                "Hardness 1 mg/L: UFC 3-240-13FN, read. Conductivity, alkalinity, pH and rinse: common practice. In service it takes "
                "hardness only as far as there is alkalinity; that is the customer's water, not this batch."
            ),
        ),
    )


def _anions() -> tuple[Specification, ...]:
    return (
        _strong_base(
            "Q-OH1",
            "Anion type 1, hydroxide form, behind a good cation unit",
            ResinFamily.SBA_TYPE_1,
            10.0,
            _silica(0.15, "mil_1003"),
            "Silica 0.15 mg/L: MIL-HDBK-1003/11 Table 12, read. Conductivity 5 to 20 µS/cm and pH 7 to 9.5: common practice.",
        ),
        _strong_base(
            "Q-OH2",
            "Anion type 2, hydroxide form, behind a good cation unit",
            ResinFamily.SBA_TYPE_2,
            20.0,
            _silica(0.20),
            "Conductivity 5 to 20 µS/cm, silica 0.1 to 0.2 mg/L, pH 7 to 9.5: common practice; type 2 holds silica less well.",
        ),
        _strong_base(
            "Q-OHA",
            "Anion acrylic, hydroxide form, behind a good cation unit",
            ResinFamily.SBA_ACRYLIC,
            20.0,
            _silica(0.20),
            "Conductivity 5 to 20 µS/cm, silica 0.1 to 0.2 mg/L, pH 7 to 9.5: common practice.",
        ),
        Specification(
            code="Q-FB",
            name="Weak-base anion, free base, behind a good cation unit",
            family=ResinFamily.WBA,
            limits=(_conductivity(30.0), _ph(5.0, 8.5)),
            minimum_rinse_bv=4.0,
            maximum_rinse_bv=18.0,
            compensation=Compensation.NEUTRAL,
            notes=(
                "Conductivity 10 to 50 µS/cm and pH 5 to 8.5: common practice. Carbon dioxide and silica pass a weak base and are not "
                "judged; read behind a degasser or with deionized water."
            ),
        ),
    )


def _mixed() -> tuple[Specification, ...]:
    return (
        Specification(
            code="Q-MB",
            name="Mixed bed, working grade",
            family=ResinFamily.MIXED_BED,
            limits=(_resistivity_at_least(1.0), _silica(0.10), _ph(6.0, 8.0)),
            minimum_rinse_bv=10.0,
            maximum_rinse_bv=45.0,
            compensation=Compensation.NEUTRAL,
            notes="1 MΩ·cm at 25 °C through a flow cell, silica and pH: common practice for working grade; 5 to 10 MΩ·cm for better.",
        ),
        Specification(
            code="Q-MBP",
            name="Mixed bed, polishing grade",
            family=ResinFamily.MIXED_BED_POLISHING,
            limits=(_resistivity_at_least(10.0), _silica(0.02)),
            minimum_rinse_bv=20.0,
            hold_time_s=1800.0,
            consecutive_readings=5,
            maximum_rinse_bv=60.0,
            compensation=Compensation.NEUTRAL,
            notes=(
                "At least 10 MΩ·cm at 25 °C held for 30 min, silica 20 µg/L: common practice; 15 to 18 where the customer asks. Below "
                "5 µS/cm only a flowing cell in the line reads true: ASTM D5391, read. Organic carbon is judged where a limit is added."
            ),
        ),
    )


def _carbon() -> Specification:
    return Specification(
        code="Q-GAC",
        name="Activated carbon, newly filled and rinsed",
        family=ResinFamily.CARBON,
        limits=(
            _ph(6.0, 9.5),
            _milligrams("residual_sanitizer", "Sanitizer left, as free chlorine", 0.1),
            Limit("turbidity", "Turbidity", "turbidity", high=1.0, source="trade_practice"),
        ),
        minimum_rinse_bv=5.0,
        maximum_rinse_bv=30.0,
        compensation=Compensation.NEUTRAL,
        notes=(
            "No conductivity: carbon takes no salt. pH, sanitizer left and turbidity (the water runs clear, no fines): common practice. "
            "New carbon may leave alkaline water for a while: rinse on."
        ),
    )


def default_specifications() -> tuple[Specification, ...]:
    """One specification for each family, in the order of ``ResinFamily``."""
    return (*_cations(), *_anions(), *_mixed(), _carbon())
