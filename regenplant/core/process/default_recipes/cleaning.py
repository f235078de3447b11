"""Cleaning of fouled resin, sanitizing, and conditioning of new resin; each ends with a regeneration."""

from __future__ import annotations

from regenplant.core.process.default_recipes.parts import (
    anion_beginning,
    beginning,
    cation_beginning,
    celsius,
    displace,
    fast_rinse,
    hours,
    inject,
    minutes,
    percent,
    rinse,
    sample,
    sanitize,
    soak,
)
from regenplant.core.process.recipes import RecipeDefinition, RecipeStep, SetPoint
from regenplant.core.process.vocabulary import Chemical, Purpose, ResinFamily, WaterKind

_DEIONIZED, _SOFTENED = WaterKind.DEIONIZED, WaterKind.SOFTENED
_SLOW = SetPoint(2.0, 1.5, 3.0)


def _caustic(
    name: str, dose: SetPoint, flow: SetPoint, temperature: SetPoint, contact: SetPoint
) -> RecipeStep:
    return inject(
        name,
        Chemical.SODIUM_HYDROXIDE,
        dose=dose,
        strength=SetPoint(0.04, 0.035, 0.05),
        flow=flow,
        temperature=temperature,
        contact=contact,
    )


def _brine(name: str = "Brine injection") -> RecipeStep:
    return inject(
        name,
        Chemical.SODIUM_CHLORIDE,
        dose=SetPoint(160.0, 150.0, 175.0),
        strength=SetPoint(0.10, 0.08, 0.12),
        flow=SetPoint(2.8, 2.4, 2.9),
        temperature=celsius(18, 4, 40),
        contact=minutes(32, 30, 60),
        water=_SOFTENED,
    )


def _displaced(water: WaterKind, name: str = "Displacement rinse") -> RecipeStep:
    return displace(water, SetPoint(2.5, 1.5, 4.0), SetPoint(2.0, 1.5, 3.0), name=name)


def _full_rinse(water: WaterKind) -> RecipeStep:
    return rinse(water, SetPoint(10.0, 8.0, 16.0), SetPoint(4.0, 3.0, 8.0))


def _softener_beginning() -> tuple[RecipeStep, ...]:
    return beginning(WaterKind.RAW, SetPoint(0.50, 0.30, 0.75), minutes(12, 5, 20))


def _softener_end() -> tuple[RecipeStep, ...]:
    return (
        _brine(),
        displace(_SOFTENED, SetPoint(2.8, 2.4, 5.6), SetPoint(2.0, 1.0, 3.0)),
        fast_rinse(_SOFTENED, SetPoint(13.0, 12.0, 16.0), SetPoint(6.0, 4.0, 13.4)),
        sample(),
    )


def organic_fouling() -> RecipeDefinition:
    """Warm brine, caustic into it, a long soak; then the regeneration twice."""
    warm = celsius(45, 35, 49)
    usual = SetPoint(96.0, 91.0, 105.0)
    return RecipeDefinition(
        code="CL-ORG-OH1",
        name="Type 1 anion fouled by organics: warm alkaline brine, double regeneration",
        family=ResinFamily.SBA_TYPE_1,
        purpose=Purpose.CLEANING,
        steps=(
            *anion_beginning(),
            inject(
                "Warm brine",
                Chemical.SODIUM_CHLORIDE,
                dose=SetPoint(160.0, 150.0, 180.0),
                strength=SetPoint(0.10, 0.08, 0.12),
                flow=SetPoint(2.0, 1.5, 2.2),
                temperature=warm,
                contact=minutes(45, 30, 90),
                water=_SOFTENED,
            ),
            inject(
                "Caustic into the brine",
                Chemical.SODIUM_HYDROXIDE,
                dose=SetPoint(16.0, 14.0, 20.0),
                strength=percent(3.0, 2.5, 4.0),
                flow=SetPoint(2.0, 1.5, 2.2),
                temperature=warm,
                contact=minutes(15, 10, 40),
            ),
            soak("Soak in warm alkaline brine", hours(4, 1, 16)),
            _displaced(_SOFTENED, "Displace the alkaline brine"),
            _full_rinse(_SOFTENED),
            _caustic("Caustic injection, first", usual, SetPoint(2.0, 1.5, 2.3), warm, minutes(70, 60, 90)),
            displace(_DEIONIZED, _SLOW, SetPoint(1.5, 1.0, 2.5)),
            _caustic("Caustic injection, second", usual, SetPoint(2.0, 1.5, 2.3), warm, minutes(70, 60, 90)),
            displace(_DEIONIZED, _SLOW, SetPoint(2.0, 1.5, 3.0)),
            fast_rinse(_DEIONIZED, SetPoint(12.0, 8.0, 16.0), SetPoint(9.0, 4.7, 16.0)),
            sample(),
        ),
        notes=(
            "10 % brine 160 g/L with 16 g/L caustic at 49 °C, at most 2 BV/h, soak of an hour or overnight, then double "
            "regeneration: supplier knowledge base, read. Two injections without displacement between: common practice where no "
            "mix tank stands; a plant that makes the alkaline brine up in one feeds it in place of both. The effluent is dark: "
            "keep a sample."
        ),
    )


def iron_by_acid() -> RecipeDefinition:
    return RecipeDefinition(
        code="CL-FE-H",
        name="Cation fouled by iron: strong acid and soak, then regeneration",
        family=ResinFamily.SAC_HYDROGEN,
        purpose=Purpose.CLEANING,
        steps=(
            *cation_beginning(),
            inject(
                "Cleaning acid",
                Chemical.HYDROCHLORIC_ACID,
                dose=SetPoint(160.0, 150.0, 180.0),
                strength=percent(8.0, 6.0, 10.0),
                flow=SetPoint(3.0, 2.0, 3.5),
                temperature=celsius(22, 5, 40),
                contact=minutes(38, 30, 60),
            ),
            soak("Soak in acid", minutes(60, 30, 120)),
            _displaced(_DEIONIZED, "Displace the cleaning acid"),
            _full_rinse(_DEIONIZED),
            inject(
                "Acid injection",
                Chemical.HYDROCHLORIC_ACID,
                dose=SetPoint(100.0, 95.0, 110.0),
                strength=SetPoint(0.05, 0.045, 0.06),
                flow=SetPoint(3.5, 2.5, 3.8),
                temperature=celsius(20, 5, 40),
                contact=minutes(33, 30, 60),
            ),
            displace(_DEIONIZED, SetPoint(3.5, 2.5, 4.5), SetPoint(2.0, 1.5, 3.0)),
            fast_rinse(_DEIONIZED, SetPoint(12.0, 8.0, 16.0), SetPoint(7.0, 4.0, 14.0)),
            sample(),
        ),
        notes=(
            "HCl 5 to 10 % against iron, rinsed before any caustic: trade journal 2010, read. Dose, soak and rinse: common practice. "
            "The lining and the seals of the vessel set the strongest acid: ask their maker above 10 %."
        ),
    )


def iron_by_dithionite() -> RecipeDefinition:
    return RecipeDefinition(
        code="CL-FE-NA",
        name="Softening resin fouled by iron: dithionite and soak, then brine",
        family=ResinFamily.SAC_SODIUM,
        purpose=Purpose.CLEANING,
        steps=(
            *_softener_beginning(),
            inject(
                "Dithionite injection",
                Chemical.SODIUM_DITHIONITE,
                dose=SetPoint(20.0, 18.0, 24.0),
                strength=percent(2.0, 1.5, 3.0),
                flow=SetPoint(2.0, 1.5, 2.5),
                temperature=celsius(18, 5, 30),
                contact=minutes(29, 20, 60),
                water=_SOFTENED,
            ),
            soak("Soak in dithionite", minutes(45, 30, 120)),
            _displaced(_SOFTENED, "Displace the dithionite"),
            _full_rinse(_SOFTENED),
            *_softener_end(),
        ),
        notes=(
            "A reductant soak against iron and a rinse before anything else: trade journal 2010, read. 18 to 24 g/L at 1.5 to 3 %, "
            "made up fresh, in salt form only: common practice and from memory. Acid sets sulfur dioxide free from it."
        ),
    )


def silica_on_type_1() -> RecipeDefinition:
    warm = celsius(48, 45, 49)
    usual = SetPoint(96.0, 91.0, 105.0)
    return RecipeDefinition(
        code="CL-SI-OH1",
        name="Type 1 anion fouled by silica: warm caustic and soak, then regeneration",
        family=ResinFamily.SBA_TYPE_1,
        purpose=Purpose.CLEANING,
        steps=(
            *anion_beginning(),
            _caustic("Warm caustic", usual, SetPoint(2.0, 1.5, 2.3), warm, minutes(70, 60, 90)),
            soak("Soak in warm caustic", hours(2, 1, 4)),
            displace(_DEIONIZED, _SLOW, SetPoint(1.5, 1.0, 2.5), name="Displace the dissolved silica"),
            _caustic("Caustic injection", usual, SetPoint(2.0, 1.5, 2.3), warm, minutes(70, 60, 90)),
            displace(_DEIONIZED, _SLOW, SetPoint(2.0, 1.5, 3.0)),
            fast_rinse(_DEIONIZED, SetPoint(12.0, 8.0, 16.0), SetPoint(9.0, 4.7, 16.0)),
            sample(),
        ),
        notes=(
            "Strength 4 to 6 % and contact 60 min where silica matters: Water Treatment Plant Design p. 12.42, read. Twice the dose "
            "at 45 to 49 °C with a long stay: common practice. The bed stays warm until it is displaced, or the silica gels."
        ),
    )


_SANITIZE_NOTES = "On the salt form only, never on hydrogen or hydroxide form and never after acid; brine before and after: common practice. "


def _sanitized_softener(
    code: str, name: str, chemical: Chemical, strength: SetPoint, contact: SetPoint, notes: str
) -> RecipeDefinition:
    return RecipeDefinition(
        code=code,
        name=name,
        family=ResinFamily.SAC_SODIUM,
        purpose=Purpose.CLEANING,
        steps=(
            *_softener_beginning(),
            inject(
                "Brine to the salt form",
                Chemical.SODIUM_CHLORIDE,
                dose=SetPoint(80.0, 75.0, 90.0),
                strength=SetPoint(0.10, 0.08, 0.12),
                flow=SetPoint(2.5, 2.0, 4.0),
                temperature=celsius(18, 4, 40),
                contact=minutes(18, 10, 40),
                water=_SOFTENED,
            ),
            _displaced(_SOFTENED),
            sanitize(
                "Sanitize the bed",
                chemical,
                strength=strength,
                volume=SetPoint(1.0, 0.8, 1.5),
                contact=contact,
                water=_SOFTENED,
            ),
            _displaced(_SOFTENED, "Displace the sanitizer"),
            _full_rinse(_SOFTENED),
            *_softener_end(),
        ),
        notes=_SANITIZE_NOTES + notes,
        limits={"residual_sanitizer_max_kg_per_m3": 1e-4},
    )


def sanitize_softener_by_hypochlorite() -> RecipeDefinition:
    return _sanitized_softener(
        "SAN-NA-NAOCL",
        "Softening resin: sanitize with hypochlorite, then brine",
        Chemical.SODIUM_HYPOCHLORITE,
        percent(0.03, 0.02, 0.05),
        minutes(20, 15, 30),
        "Free chlorine ages cation resin (0.2 mg/L in steady service, read): short and weak, 200 to 500 mg/L, and the residual gone.",
    )


def sanitize_softener_by_peracetic_acid() -> RecipeDefinition:
    return _sanitized_softener(
        "SAN-NA-PAA",
        "Softening resin: sanitize with peracetic acid, then brine",
        Chemical.PERACETIC_ACID,
        percent(0.1, 0.05, 0.2),
        minutes(30, 20, 60),
        "0.1 % peracetic acid suits deionizer resins: one published study, read in a supplier's brochure. Vented vessel only.",
    )


_CONDITIONING_NOTES = (
    "New resin is backwashed, given twice the dose and rinsed long, to wash out what it brings along: common practice. "
    "Strengths and contact: Water Treatment Plant Design p. 12.42, read. The first rinse carries organics: to the waste tank."
)


def new_cation() -> RecipeDefinition:
    return RecipeDefinition(
        code="CO-H",
        name="New cation resin: conditioning to hydrogen form, double dose",
        family=ResinFamily.SAC_HYDROGEN,
        purpose=Purpose.CONDITIONING,
        steps=(
            *cation_beginning(_SOFTENED),
            inject(
                "Acid injection, double dose",
                Chemical.HYDROCHLORIC_ACID,
                dose=SetPoint(200.0, 190.0, 220.0),
                strength=SetPoint(0.05, 0.045, 0.06),
                flow=SetPoint(3.5, 2.5, 3.8),
                temperature=celsius(20, 5, 40),
                contact=minutes(67, 60, 120),
            ),
            displace(_DEIONIZED, SetPoint(3.5, 2.5, 4.5), SetPoint(2.0, 1.5, 3.0)),
            fast_rinse(_DEIONIZED, SetPoint(12.0, 8.0, 16.0), SetPoint(12.0, 8.0, 16.0)),
            sample(),
        ),
        notes=_CONDITIONING_NOTES,
    )


def new_anion() -> RecipeDefinition:
    return RecipeDefinition(
        code="CO-OH1",
        name="New type 1 anion resin: conditioning to hydroxide form, double dose",
        family=ResinFamily.SBA_TYPE_1,
        purpose=Purpose.CONDITIONING,
        steps=(
            *anion_beginning(),
            _caustic(
                "Caustic injection, double dose",
                SetPoint(192.0, 182.0, 210.0),
                SetPoint(2.0, 1.5, 2.3),
                celsius(40, 35, 49),
                minutes(140, 120, 200),
            ),
            displace(_DEIONIZED, _SLOW, SetPoint(2.0, 1.5, 3.0)),
            fast_rinse(_DEIONIZED, SetPoint(12.0, 8.0, 16.0), SetPoint(14.0, 10.0, 18.0)),
            sample(),
        ),
        notes=_CONDITIONING_NOTES,
    )
