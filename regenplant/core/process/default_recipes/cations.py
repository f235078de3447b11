"""Cation resins: hydrochloric acid, sulfuric acid by steps, brine; weak-acid cation near stoichiometric."""

from __future__ import annotations

from regenplant.core.process.default_recipes.parts import (
    beginning,
    cation_beginning,
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

_DEIONIZED, _SOFTENED = WaterKind.DEIONIZED, WaterKind.SOFTENED


def hydrogen() -> RecipeDefinition:
    return RecipeDefinition(
        code="H-HCL-100",
        name="Cation to hydrogen form, hydrochloric acid 100 g/L",
        family=ResinFamily.SAC_HYDROGEN,
        steps=(
            *cation_beginning(),
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
            fast_rinse(_DEIONIZED, SetPoint(12.0, 8.0, 16.0), SetPoint(6.0, 4.0, 12.0)),
            sample(),
        ),
        notes=(
            "Strength 5 to 10 % and contact 30 to 40 min: Water Treatment Plant Design p. 12.42, read. Dose, flow and "
            "rinse volumes: common practice. The resin's data sheet overrides them."
        ),
    )


def sodium() -> RecipeDefinition:
    return RecipeDefinition(
        code="NA-NACL-160",
        name="Softening resin, brine 160 g/L",
        family=ResinFamily.SAC_SODIUM,
        steps=(
            *beginning(WaterKind.RAW, SetPoint(0.50, 0.30, 0.75), minutes(12, 5, 20)),
            inject(
                "Brine injection",
                Chemical.SODIUM_CHLORIDE,
                dose=SetPoint(160.0, 150.0, 175.0),
                strength=SetPoint(0.10, 0.08, 0.12),
                flow=SetPoint(2.8, 2.4, 2.9),
                temperature=celsius(18, 4, 40),
                contact=minutes(32, 30, 60),
                water=_SOFTENED,
            ),
            displace(_SOFTENED, SetPoint(2.8, 2.4, 5.6), SetPoint(2.0, 1.0, 3.0)),
            fast_rinse(_SOFTENED, SetPoint(13.0, 12.0, 16.0), SetPoint(5.0, 4.0, 13.4)),
            sample(),
        ),
        notes=(
            "Dose 80 to 320 g/L, typically 80 to 160, flow 2 to 5 BV/h: Davis 2010 p. 8-19, read. Slow rinse 1 to 3 BV, "
            "fast rinse 4.7 to 13.4 BV at 12 to 16 BV/h: UFC 3-240-13FN, read. Contact 30 min: common practice."
        ),
    )


def hydrogen_by_sulfuric() -> RecipeDefinition:
    """1.5 % fast, then 4 %, then 6 %; the calcium leaves with the first, dilute and quick step."""
    acid = Chemical.SULFURIC_ACID
    return RecipeDefinition(
        code="H-H2SO4-120",
        name="Cation to hydrogen form, sulfuric acid 120 g/L in three steps",
        family=ResinFamily.SAC_HYDROGEN,
        steps=(
            *cation_beginning(),
            inject(
                "Acid injection, first step",
                acid,
                dose=SetPoint(40.0, 38.0, 44.0),
                strength=percent(1.5, 1.3, 2.0),
                flow=SetPoint(10.0, 8.0, 12.0),
                temperature=celsius(20, 5, 40),
                contact=minutes(16, 10, 30),
            ),
            inject(
                "Acid injection, second step",
                acid,
                dose=SetPoint(40.0, 38.0, 44.0),
                strength=percent(4.0, 3.5, 4.5),
                flow=SetPoint(5.0, 4.0, 6.5),
                temperature=celsius(20, 5, 40),
                contact=minutes(12, 8, 25),
            ),
            inject(
                "Acid injection, third step",
                acid,
                dose=SetPoint(40.0, 38.0, 44.0),
                strength=percent(6.0, 5.0, 8.0),
                flow=SetPoint(3.0, 2.5, 4.0),
                temperature=celsius(22, 5, 40),
                contact=minutes(13, 8, 25),
            ),
            displace(_DEIONIZED, SetPoint(6.0, 4.0, 10.0), SetPoint(2.0, 1.5, 3.0)),
            fast_rinse(_DEIONIZED, SetPoint(12.0, 8.0, 16.0), SetPoint(6.0, 4.0, 12.0)),
            sample(),
        ),
        notes=(
            "Acid goes into water, never water into acid: UFC 3-230-02, read. First step at most 2 % and fast, rising strength, "
            "dose 96 to 240 g/L: common practice and from memory; no published rule by calcium share was found. Gypsum index "
            "0.3 to warn and 1.0 to stop: a proposal on computed saturation, about where 2 % on a resin half in calcium form "
            "stands; to be set by the plant from its own beds. No step pauses: start displacement at once if a feed stops."
        ),
        limits={"gypsum_index_warn": 0.3, "gypsum_index_stop": 1.0},
    )


_WEAK_NOTES = (
    "Weak-acid cation takes little more than its load, 105 to 120 %. It is smallest in the hydrogen form and grows much in "
    "the sodium form: leave room where the service makes sodium. "
)


def weak_acid() -> RecipeDefinition:
    return RecipeDefinition(
        code="WH-HCL-78",
        name="Weak-acid cation to hydrogen form, hydrochloric acid 78 g/L",
        family=ResinFamily.WAC_HYDROGEN,
        steps=(
            *cation_beginning(),
            inject(
                "Acid injection",
                Chemical.HYDROCHLORIC_ACID,
                dose=SetPoint(78.0, 73.0, 84.0),
                strength=percent(4.0, 3.0, 5.0),
                flow=SetPoint(3.7, 2.5, 3.8),
                temperature=celsius(20, 5, 40),
                contact=minutes(31, 30, 60),
            ),
            displace(_DEIONIZED, SetPoint(3.7, 2.5, 5.0), SetPoint(2.0, 1.5, 3.0)),
            fast_rinse(_DEIONIZED, SetPoint(12.0, 8.0, 16.0), SetPoint(6.0, 4.0, 12.0)),
            sample(),
        ),
        notes=_WEAK_NOTES
        + "Contact 30 to 40 min: Water Treatment Plant Design p. 12.42, read. Dose for a load of 1.9 eq/L, strength 2 to 5 %, "
        "flow and rinse: common practice; set the dose by the resin's own load.",
    )


def weak_acid_by_sulfuric() -> RecipeDefinition:
    return RecipeDefinition(
        code="WH-H2SO4-104",
        name="Weak-acid cation to hydrogen form, sulfuric acid 104 g/L at 0.7 %",
        family=ResinFamily.WAC_HYDROGEN,
        steps=(
            *cation_beginning(),
            inject(
                "Acid injection",
                Chemical.SULFURIC_ACID,
                dose=SetPoint(104.0, 98.0, 112.0),
                strength=percent(0.7, 0.5, 0.8),
                flow=SetPoint(12.0, 8.0, 16.0),
                temperature=celsius(18, 5, 40),
                contact=minutes(74, 45, 120),
            ),
            displace(_DEIONIZED, SetPoint(12.0, 8.0, 16.0), SetPoint(2.0, 1.5, 3.0)),
            fast_rinse(_DEIONIZED, SetPoint(12.0, 8.0, 16.0), SetPoint(6.0, 4.0, 12.0)),
            sample(),
        ),
        notes=_WEAK_NOTES
        + "Acid goes into water: UFC 3-230-02, read. At most 0.8 %, fast and without a pause, because the resin holds mostly "
        "calcium: common practice and from memory. Gypsum index 0.5 to warn and 1.0 to stop: a proposal; so dilute and quick a "
        "stream is out of the bed before gypsum drops; set it from your own beds.",
        limits={"gypsum_index_warn": 0.5, "gypsum_index_stop": 1.0},
    )
