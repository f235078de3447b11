"""Anion resins: strong base type 1, type 2 and acrylic by caustic; weak base by caustic, soda ash or ammonia."""

from __future__ import annotations

from regenplant.core.process.default_recipes.parts import (
    anion_beginning,
    celsius,
    displace,
    fast_rinse,
    inject,
    minutes,
    percent,
    sample,
)
from regenplant.core.process.recipes import RecipeDefinition, SetPoint
from regenplant.core.process.vocabulary import Chemical, ResinFamily, WaterKind

_DEIONIZED = WaterKind.DEIONIZED

_HYDROXIDE_NOTES = (
    "Strength 4 to 6 % and contact 60 min where silica matters: Water Treatment Plant Design p. 12.42, read. Dose, flow "
    "and rinse volumes: common practice. "
)


def _hydroxide(
    code: str, name: str, family: ResinFamily, dose: SetPoint, temperature: SetPoint, notes: str
) -> RecipeDefinition:
    return RecipeDefinition(
        code=code,
        name=name,
        family=family,
        steps=(
            *anion_beginning(),
            inject(
                "Caustic injection",
                Chemical.SODIUM_HYDROXIDE,
                dose=dose,
                strength=SetPoint(0.04, 0.035, 0.05),
                flow=SetPoint(dose.target / 48.0, 1.5, 3.0),
                temperature=temperature,
                contact=minutes(68, 60, 90),
            ),
            displace(_DEIONIZED, SetPoint(2.0, 1.5, 3.0), SetPoint(2.0, 1.5, 3.0)),
            fast_rinse(_DEIONIZED, SetPoint(12.0, 8.0, 16.0), SetPoint(7.0, 4.7, 14.0)),
            sample(),
        ),
        notes=_HYDROXIDE_NOTES + notes,
    )


def type_1() -> RecipeDefinition:
    return _hydroxide(
        "OH1-NAOH-96",
        "Type 1 anion to hydroxide form, warm caustic 96 g/L",
        ResinFamily.SBA_TYPE_1,
        SetPoint(96.0, 91.0, 105.0),
        celsius(45, 35, 49),
        "Temperature 35 to 49 °C for silica: common practice; the resin's limit stands on its data sheet.",
    )


def type_2() -> RecipeDefinition:
    return _hydroxide(
        "OH2-NAOH-80",
        "Type 2 anion to hydroxide form, caustic 80 g/L",
        ResinFamily.SBA_TYPE_2,
        SetPoint(80.0, 76.0, 88.0),
        celsius(30, 20, 35),
        "Not above 35 °C, planned below it: type 2 resin ages fast in warm caustic (from memory; data sheet decides).",
    )


def acrylic() -> RecipeDefinition:
    return _hydroxide(
        "OHA-NAOH-96",
        "Acrylic anion to hydroxide form, caustic 96 g/L",
        ResinFamily.SBA_ACRYLIC,
        SetPoint(96.0, 91.0, 105.0),
        celsius(25, 15, 35),
        "Dose 64 to 160 g/L, at most 35 °C in the hydroxide form: one data sheet, read; the resin's own decides.",
    )


def type_1_for_silica() -> RecipeDefinition:
    """Twice the dose, warm and slow: dissolves silica that a usual regeneration leaves."""
    return RecipeDefinition(
        code="OH1-NAOH-192",
        name="Type 1 anion against silica, warm caustic 192 g/L",
        family=ResinFamily.SBA_TYPE_1,
        steps=(
            *anion_beginning(),
            inject(
                "Caustic injection, double dose",
                Chemical.SODIUM_HYDROXIDE,
                dose=SetPoint(192.0, 182.0, 210.0),
                strength=SetPoint(0.04, 0.035, 0.05),
                flow=SetPoint(2.0, 1.5, 2.3),
                temperature=celsius(48, 45, 49),
                contact=minutes(140, 120, 200),
            ),
            displace(_DEIONIZED, SetPoint(2.0, 1.5, 3.0), SetPoint(2.0, 1.5, 3.0)),
            fast_rinse(_DEIONIZED, SetPoint(12.0, 8.0, 16.0), SetPoint(8.0, 4.7, 16.0)),
            sample(),
        ),
        notes=_HYDROXIDE_NOTES
        + "Double dose at 45 to 49 °C and long contact against silica: common practice. Keep the water warm to the end: silica "
        "gels in a bed that cools.",
    )


def _free_base(
    code: str,
    name: str,
    chemical: Chemical,
    step: str,
    *,
    dose: SetPoint,
    strength: SetPoint,
    flow: SetPoint,
    temperature: SetPoint,
    notes: str,
) -> RecipeDefinition:
    return RecipeDefinition(
        code=code,
        name=name,
        family=ResinFamily.WBA,
        steps=(
            *anion_beginning(),
            inject(
                step,
                chemical,
                dose=dose,
                strength=strength,
                flow=flow,
                temperature=temperature,
                contact=minutes(32, 30, 60),
            ),
            displace(_DEIONIZED, SetPoint(3.0, 2.0, 4.0), SetPoint(2.0, 1.5, 3.0)),
            fast_rinse(_DEIONIZED, SetPoint(12.0, 8.0, 16.0), SetPoint(6.0, 4.0, 12.0)),
            sample(),
        ),
        notes="Contact 30 to 40 min: Water Treatment Plant Design p. 12.42, read. " + notes,
    )


def weak_base() -> RecipeDefinition:
    return _free_base(
        "FB-NAOH-50",
        "Weak-base anion to free base, caustic 50 g/L",
        Chemical.SODIUM_HYDROXIDE,
        "Caustic injection",
        dose=SetPoint(50.0, 48.0, 60.0),
        strength=percent(3.0, 2.5, 4.0),
        flow=SetPoint(3.0, 2.0, 3.2),
        temperature=celsius(22, 10, 40),
        notes="Dose 48 to 80 g/L, strength 2 to 5 %, flow and rinse: common practice. Weak base holds neither carbon dioxide nor silica.",
    )


def weak_base_by_soda_ash() -> RecipeDefinition:
    return _free_base(
        "FB-NA2CO3-85",
        "Weak-base anion to free base, soda ash 85 g/L",
        Chemical.SODIUM_CARBONATE,
        "Soda ash injection",
        dose=SetPoint(85.0, 80.0, 95.0),
        strength=percent(5.0, 4.0, 6.0),
        flow=SetPoint(3.0, 2.0, 3.2),
        temperature=celsius(20, 10, 40),
        notes=(
            "About 160 % of the load, 4 to 6 %, flow and rinse: common practice and from memory. Soda ash drops hardness as chalk "
            "and gives off carbon dioxide with acid: soft water only, and no acid in the line."
        ),
    )


def weak_base_by_ammonia() -> RecipeDefinition:
    return _free_base(
        "FB-NH3-27",
        "Weak-base anion to free base, ammonia 27 g/L",
        Chemical.AMMONIA,
        "Ammonia injection",
        dose=SetPoint(27.0, 25.0, 30.0),
        strength=percent(2.0, 1.5, 3.0),
        flow=SetPoint(2.6, 2.0, 2.7),
        temperature=celsius(18, 5, 30),
        notes=(
            "About 160 % of the load, 2 to 4 %, flow and rinse: common practice and from memory. Closed lines and moving air: "
            "ammonia gas; ask the sewer authority before ammonium goes to it."
        ),
    )
