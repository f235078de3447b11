"""Sane recipes and specifications to begin with, for the four families.

Ranges marked "common practice" are the trade's; figures that were read name their source in the notes. A plant
reviews them against its resin data sheets, approves its own versions, and from then on these are history.
"""

from __future__ import annotations

from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.process.acceptance import Limit, Specification
from regenplant.core.process.recipes import RecipeDefinition, RecipeStep, SetPoint
from regenplant.core.process.vocabulary import Chemical, ResinFamily, StepKind, WaterKind

_MINUTE = 60.0
_ZERO_CELSIUS = 273.15


def _minutes(target: float, low: float, high: float) -> SetPoint:
    return SetPoint(target * _MINUTE, low * _MINUTE, high * _MINUTE)


def _celsius(target: float, low: float, high: float) -> SetPoint:
    return SetPoint(target + _ZERO_CELSIUS, low + _ZERO_CELSIUS, high + _ZERO_CELSIUS)


def _load() -> RecipeStep:
    return RecipeStep(
        StepKind.LOAD, "Load the vessel", {"duration_s": _minutes(30, 15, 60)}, is_safe_hold_after=True
    )


def _backwash(water: WaterKind, expansion: SetPoint, duration: SetPoint) -> RecipeStep:
    return RecipeStep(
        StepKind.BACKWASH,
        "Backwash",
        {"expansion_frac": expansion, "duration_s": duration},
        water=water,
        is_safe_hold_after=True,
    )


def _settle() -> RecipeStep:
    return RecipeStep(StepKind.SETTLE, "Settle", {"duration_s": _minutes(5, 3, 15)}, is_safe_hold_after=True)


def _displace(water: WaterKind, flow_bv_per_h: SetPoint, volume_bv: SetPoint) -> RecipeStep:
    return RecipeStep(
        StepKind.DISPLACE,
        "Displacement rinse",
        {"flow_bv_per_h": flow_bv_per_h, "volume_bv": volume_bv},
        water=water,
        is_safe_hold_after=True,
    )


def _fast_rinse(water: WaterKind, flow_bv_per_h: SetPoint, volume_bv: SetPoint) -> RecipeStep:
    return RecipeStep(
        StepKind.FAST_RINSE,
        "Fast rinse",
        {"flow_bv_per_h": flow_bv_per_h, "volume_bv": volume_bv},
        water=water,
        is_safe_hold_after=True,
    )


def _sample() -> RecipeStep:
    return RecipeStep(
        StepKind.SAMPLE, "Sample for QC", {"duration_s": _minutes(15, 10, 30)}, is_safe_hold_after=True
    )


def _hydrogen() -> RecipeDefinition:
    return RecipeDefinition(
        code="H-HCL-100",
        name="Cation to hydrogen form, hydrochloric acid 100 g/L",
        family=ResinFamily.SAC_HYDROGEN,
        steps=(
            _load(),
            _backwash(WaterKind.RAW, SetPoint(0.50, 0.30, 0.75), _minutes(12, 10, 20)),
            _settle(),
            RecipeStep(
                StepKind.INJECT,
                "Acid injection",
                {
                    "dose_kg_per_m3": SetPoint(100.0, 95.0, 110.0),
                    "strength_frac": SetPoint(0.05, 0.045, 0.06),
                    "flow_bv_per_h": SetPoint(3.5, 2.5, 3.8),
                    "temperature_kelvin": _celsius(20, 5, 40),
                    "contact_time_s": _minutes(33, 30, 60),
                },
                water=WaterKind.DEIONIZED,
                chemical=Chemical.HYDROCHLORIC_ACID,
            ),
            _displace(WaterKind.DEIONIZED, SetPoint(3.5, 2.5, 4.5), SetPoint(2.0, 1.5, 3.0)),
            _fast_rinse(WaterKind.DEIONIZED, SetPoint(12.0, 8.0, 16.0), SetPoint(6.0, 4.0, 12.0)),
            _sample(),
        ),
        notes=(
            "Strength 5 to 10 % and contact 30 to 40 min: Water Treatment Plant Design p. 12.42, read. Dose, flow and "
            "rinse volumes: common practice. The resin's data sheet overrides them."
        ),
    )


def _sodium() -> RecipeDefinition:
    return RecipeDefinition(
        code="NA-NACL-160",
        name="Softening resin, brine 160 g/L",
        family=ResinFamily.SAC_SODIUM,
        steps=(
            _load(),
            _backwash(WaterKind.RAW, SetPoint(0.50, 0.30, 0.75), _minutes(12, 5, 20)),
            _settle(),
            RecipeStep(
                StepKind.INJECT,
                "Brine injection",
                {
                    "dose_kg_per_m3": SetPoint(160.0, 150.0, 175.0),
                    "strength_frac": SetPoint(0.10, 0.08, 0.12),
                    "flow_bv_per_h": SetPoint(2.8, 2.4, 2.9),
                    "temperature_kelvin": _celsius(18, 4, 40),
                    "contact_time_s": _minutes(32, 30, 60),
                },
                water=WaterKind.SOFTENED,
                chemical=Chemical.SODIUM_CHLORIDE,
            ),
            _displace(WaterKind.SOFTENED, SetPoint(2.8, 2.4, 5.6), SetPoint(2.0, 1.0, 3.0)),
            _fast_rinse(WaterKind.SOFTENED, SetPoint(13.0, 12.0, 16.0), SetPoint(5.0, 4.0, 13.4)),
            _sample(),
        ),
        notes=(
            "Dose 80 to 320 g/L, typically 80 to 160, flow 2 to 5 BV/h: Davis 2010 p. 8-19, read. Slow rinse 1 to 3 BV, "
            "fast rinse 4.7 to 13.4 BV at 12 to 16 BV/h: UFC 3-240-13FN, read. Contact 30 min: common practice."
        ),
    )


def _hydroxide(
    code: str, name: str, family: ResinFamily, dose: SetPoint, temperature: SetPoint, notes: str
) -> RecipeDefinition:
    return RecipeDefinition(
        code=code,
        name=name,
        family=family,
        steps=(
            _load(),
            _backwash(WaterKind.SOFTENED, SetPoint(0.60, 0.40, 0.90), _minutes(15, 10, 20)),
            _settle(),
            RecipeStep(
                StepKind.INJECT,
                "Caustic injection",
                {
                    "dose_kg_per_m3": dose,
                    "strength_frac": SetPoint(0.04, 0.035, 0.05),
                    "flow_bv_per_h": SetPoint(dose.target / 48.0, 1.5, 3.0),
                    "temperature_kelvin": temperature,
                    "contact_time_s": _minutes(68, 60, 90),
                },
                water=WaterKind.DEIONIZED,
                chemical=Chemical.SODIUM_HYDROXIDE,
            ),
            _displace(WaterKind.DEIONIZED, SetPoint(2.0, 1.5, 3.0), SetPoint(2.0, 1.5, 3.0)),
            _fast_rinse(WaterKind.DEIONIZED, SetPoint(12.0, 8.0, 16.0), SetPoint(7.0, 4.7, 14.0)),
            _sample(),
        ),
        notes=notes,
    )


_HYDROXIDE_NOTES = (
    "Strength 4 to 6 % and contact 60 min where silica matters: Water Treatment Plant Design p. 12.42, read. Dose, flow "
    "and rinse volumes: common practice. "
)


def default_recipes() -> tuple[RecipeDefinition, ...]:
    """One recipe for each of the four families, in the order of ``ResinFamily``."""
    return (
        _hydrogen(),
        _sodium(),
        _hydroxide(
            "OH1-NAOH-96",
            "Type 1 anion to hydroxide form, warm caustic 96 g/L",
            ResinFamily.SBA_TYPE_1,
            SetPoint(96.0, 91.0, 105.0),
            _celsius(45, 35, 49),
            _HYDROXIDE_NOTES
            + "Temperature 35 to 49 °C for silica: common practice; the resin's limit stands on its data sheet.",
        ),
        _hydroxide(
            "OH2-NAOH-80",
            "Type 2 anion to hydroxide form, caustic 80 g/L",
            ResinFamily.SBA_TYPE_2,
            SetPoint(80.0, 76.0, 88.0),
            _celsius(35, 20, 35),
            _HYDROXIDE_NOTES
            + "Not above 35 °C: type 2 resin ages fast in warm caustic (from memory; data sheet decides).",
        ),
    )


# --- specifications -------------------------------------------------------------------------------------------------
_MICROSIEMENS_PER_CM = 1e-4
_MILLIGRAM_PER_L = 1e-3


def _conductivity(microsiemens_per_cm: float) -> Limit:
    return Limit(
        "conductivity",
        "Conductivity at 25 °C",
        "conductivity",
        high=microsiemens_per_cm * _MICROSIEMENS_PER_CM,
        source="trade_practice",
    )


_HARDNESS = Limit("hardness", "Hardness", "hardness", high=1.0 * _MILLIGRAM_PER_L, source="ufc_softener")


def _silica(milligram_per_l: float, source: str) -> Limit:
    return Limit("silica", "Silica", "concentration", high=milligram_per_l * _MILLIGRAM_PER_L, source=source)


_ANION_PH = Limit("ph", "pH", "ph", low=7.0, high=9.5, source="trade_practice")


def default_specifications() -> tuple[Specification, ...]:
    """One specification for each of the four families, in the order of ``ResinFamily``."""
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
            code="Q-OH1",
            name="Anion type 1, hydroxide form, behind a good cation unit",
            family=ResinFamily.SBA_TYPE_1,
            limits=(_conductivity(10.0), _silica(0.15, "mil_1003"), _ANION_PH),
            minimum_rinse_bv=4.7,
            maximum_rinse_bv=18.0,
            compensation=Compensation.BASE,
            notes="Silica 0.15 mg/L: MIL-HDBK-1003/11 Table 12, read. Conductivity 5 to 20 µS/cm and pH 7 to 9.5: common practice.",
        ),
        Specification(
            code="Q-OH2",
            name="Anion type 2, hydroxide form, behind a good cation unit",
            family=ResinFamily.SBA_TYPE_2,
            limits=(_conductivity(20.0), _silica(0.20, "trade_practice"), _ANION_PH),
            minimum_rinse_bv=4.7,
            maximum_rinse_bv=18.0,
            compensation=Compensation.BASE,
            notes="Conductivity 5 to 20 µS/cm, silica 0.1 to 0.2 mg/L, pH 7 to 9.5: common practice; type 2 holds silica less well.",
        ),
    )
