"""Mixed beds: exhausted, separated, cut, regenerated in two legs, joined, mixed by air, rinsed."""

from __future__ import annotations

from dataclasses import dataclass, replace

from regenplant.core.process.default_recipes.parts import (
    celsius,
    displace,
    fast_rinse,
    float_in,
    inject,
    load,
    minutes,
    percent,
    recirculate,
    rinse,
    sample,
)
from regenplant.core.process.recipes import RecipeDefinition, RecipeStep, SetPoint
from regenplant.core.process.vocabulary import Chemical, Leg, LegArrangement, ResinFamily, StepKind, WaterKind

_DEIONIZED = WaterKind.DEIONIZED

_SEPARATION_NOTES = (
    "Both resins are exhausted with brine first, so that their densities part clearly. Expansion of at least 60 % for 20 to "
    "25 min: resin leaflet, read. Cut 2 to 5 %, air 110 to 180 m/h for 10 to 15 min, doses 96 to 192 g/L, final rinse 10 to 30 "
    "BV: common practice. "
)


@dataclass(frozen=True, slots=True)
class _LegDose:
    """What one leg gets."""

    dose: SetPoint
    strength: SetPoint
    flow: SetPoint
    contact: SetPoint


def _exhaust(dose: SetPoint) -> tuple[RecipeStep, ...]:
    return (
        inject(
            "Exhaust with brine",
            Chemical.SODIUM_CHLORIDE,
            dose=dose,
            strength=SetPoint(0.10, 0.08, 0.12),
            flow=SetPoint(2.5, 2.0, 4.0),
            temperature=celsius(18, 4, 40),
            contact=minutes(22, 15, 60),
        ),
        displace(_DEIONIZED, SetPoint(2.5, 2.0, 4.0), SetPoint(1.5, 1.0, 3.0), name="Displace the brine"),
        rinse(_DEIONIZED, SetPoint(8.0, 6.0, 12.0), SetPoint(2.0, 1.5, 4.0), name="Rinse the brine out"),
    )


def _part(expansion: SetPoint, cut: SetPoint) -> tuple[RecipeStep, ...]:
    """Separate, settle, cut. None of the first two is a hold point: the layers blur."""
    return (
        RecipeStep(
            StepKind.SEPARATE,
            "Backwash separation",
            {"expansion_frac": expansion, "duration_s": minutes(20, 15, 30)},
            water=_DEIONIZED,
        ),
        RecipeStep(StepKind.SETTLE, "Settle in two layers", {"duration_s": minutes(8, 5, 15)}),
        RecipeStep(
            StepKind.CUT,
            "Interface cut",
            {"cut_frac": cut, "duration_s": minutes(20, 10, 45)},
            is_safe_hold_after=True,
        ),
    )


def _cation(leg: _LegDose, displacement: RecipeStep, flush: RecipeStep) -> tuple[RecipeStep, ...]:
    return (
        inject(
            "Acid injection",
            Chemical.HYDROCHLORIC_ACID,
            dose=leg.dose,
            strength=leg.strength,
            flow=leg.flow,
            temperature=celsius(20, 5, 40),
            contact=leg.contact,
            leg=Leg.CATION,
        ),
        displacement,
        flush,
    )


def _anion(leg: _LegDose, displacement: RecipeStep, flush: RecipeStep) -> tuple[RecipeStep, ...]:
    return (
        inject(
            "Caustic injection",
            Chemical.SODIUM_HYDROXIDE,
            dose=leg.dose,
            strength=leg.strength,
            flow=leg.flow,
            temperature=celsius(42, 35, 49),
            contact=leg.contact,
            leg=Leg.ANION,
        ),
        displacement,
        flush,
    )


def _displaced(leg: Leg, flow: SetPoint, volume: SetPoint) -> RecipeStep:
    return displace(_DEIONIZED, flow, volume, leg=leg, name=f"Displacement rinse, {leg.label}")


def _rinsed(leg: Leg, flow: SetPoint, volume: SetPoint) -> RecipeStep:
    return rinse(_DEIONIZED, flow, volume, leg=leg, name=f"Intermediate rinse, {leg.label}")


def _end(drained: SetPoint, circulated: SetPoint) -> tuple[RecipeStep, ...]:
    """Join, mix, rinse to the drain, then round and round."""
    return (
        RecipeStep(
            StepKind.JOIN, "Join the legs", {"duration_s": minutes(30, 15, 60)}, is_safe_hold_after=True
        ),
        RecipeStep(
            StepKind.AIR_MIX,
            "Air mix",
            {
                "air_velocity_m_per_s": SetPoint(0.040, 0.030, 0.050),
                "water_above_bed_m": SetPoint(0.15, 0.10, 0.25),
                "duration_s": minutes(12, 10, 15),
            },
        ),
        fast_rinse(
            _DEIONIZED,
            SetPoint(12.0, 8.0, 16.0),
            drained,
            ends_when="The readings fall no faster; then the loop closes.",
        ),
        recirculate(SetPoint(16.0, 12.0, 20.0), circulated),
        sample(),
    )


def working() -> RecipeDefinition:
    """Each leg in a vessel of its own."""
    return RecipeDefinition(
        code="MB-APART-110",
        name="Mixed bed, working grade, legs apart, 110 g/L each",
        family=ResinFamily.MIXED_BED,
        steps=(
            load(),
            *_exhaust(SetPoint(100.0, 90.0, 120.0)),
            *_part(SetPoint(0.75, 0.60, 1.00), SetPoint(0.03, 0.02, 0.05)),
            *_cation(
                _LegDose(
                    SetPoint(110.0, 104.0, 120.0),
                    percent(5.0, 4.0, 5.5),
                    SetPoint(3.5, 2.5, 4.0),
                    minutes(36, 30, 60),
                ),
                _displaced(Leg.CATION, SetPoint(3.5, 2.5, 4.5), SetPoint(2.0, 1.5, 3.0)),
                _rinsed(Leg.CATION, SetPoint(10.0, 8.0, 16.0), SetPoint(5.0, 4.0, 10.0)),
            ),
            *_anion(
                _LegDose(
                    SetPoint(110.0, 104.0, 120.0),
                    percent(4.0, 3.5, 5.0),
                    SetPoint(2.3, 1.5, 2.6),
                    minutes(70, 60, 90),
                ),
                _displaced(Leg.ANION, SetPoint(2.3, 1.5, 3.0), SetPoint(2.0, 1.5, 3.0)),
                _rinsed(Leg.ANION, SetPoint(10.0, 6.0, 16.0), SetPoint(6.0, 4.7, 12.0)),
            ),
            *_end(SetPoint(4.0, 3.0, 8.0), SetPoint(12.0, 10.0, 30.0)),
        ),
        notes=_SEPARATION_NOTES + "At most 1 % of the other kind in each resin: common practice.",
        limits={
            "cross_contamination_max_frac": 0.01,
            "velocity_ratio_min": 1.2,
            "leg_balance_max_frac": 0.35,
        },
    )


def _float_in_brine() -> tuple[RecipeStep, ...]:
    """Float the anion resin, let it down again, rinse the salt out; none of it a hold point: the layers wait for their cut."""
    steps = (
        float_in(
            "Float separation in dense brine",
            Chemical.SODIUM_CHLORIDE,
            strength=percent(24.0, 22.0, 25.5),
            volume=SetPoint(1.2, 1.1, 1.5),
            flow=SetPoint(2.0, 1.0, 3.0),
            temperature=celsius(18, 10, 40),
            stands=minutes(60, 45, 120),
        ),
        displace(
            _DEIONIZED,
            SetPoint(2.0, 1.0, 3.0),
            SetPoint(2.0, 1.8, 3.0),
            name="Displace the dense brine downward",
        ),
        rinse(
            _DEIONIZED,
            SetPoint(6.0, 4.0, 8.0),
            SetPoint(3.0, 2.0, 5.0),
            name="Rinse the dense brine out downward",
        ),
    )
    return tuple(replace(step, is_safe_hold_after=False) for step in steps)


def working_floated() -> RecipeDefinition:
    """The working bed with a float separation in brine behind the backwash separation, for resins that part badly."""
    plain = working()
    cut = next(index for index, step in enumerate(plain.steps) if step.kind is StepKind.CUT)
    return replace(
        plain,
        code="MB-FLOAT-110",
        name="Mixed bed, working grade, float separation in brine, legs apart",
        steps=(*plain.steps[:cut], *_float_in_brine(), *plain.steps[cut:]),
        notes="For resins that part badly in water, or to clean up a mixed layer. Exhausted with brine first: hydrogen-form beads "
        "may float. Brine of 10 to 26 % floats the anion resin, common practice; density of brine, read. Soaked beads grow heavier "
        "and weaken the brine (estimate, moistures from memory): hence 24 % and 1.2 BV, and the hydrometer decides. The cation "
        "resin leaves wholly in sodium form, as after any brine. The brine is waste: about 340 g of salt per L of bed. Expansion "
        "of at least 60 % for 20 to 25 min: resin leaflet, read. Cut, air, doses, final rinse, at most 1 % of the other kind in "
        "each resin: common practice.",
    )


def working_together() -> RecipeDefinition:
    """Both legs at once in one vessel: caustic from above, acid from below, both out at the interface collector.

    Flows and strengths are chosen so that acid and caustic leave in equal equivalents for a bed of 40 % cation.
    """
    return RecipeDefinition(
        code="MB-TOGETHER-107",
        name="Mixed bed, working grade, both legs at once in one vessel",
        family=ResinFamily.MIXED_BED,
        arrangement=LegArrangement.TOGETHER,
        steps=(
            load(),
            *_exhaust(SetPoint(100.0, 90.0, 120.0)),
            *_part(SetPoint(0.75, 0.60, 1.00), SetPoint(0.03, 0.02, 0.05)),
            *_cation(
                _LegDose(
                    SetPoint(146.0, 139.0, 155.0),
                    percent(4.0, 3.8, 4.2),
                    SetPoint(3.0, 2.9, 3.1),
                    minutes(71, 60, 90),
                ),
                _displaced(Leg.CATION, SetPoint(3.0, 2.9, 3.1), SetPoint(2.25, 2.0, 3.0)),
                _rinsed(Leg.CATION, SetPoint(9.0, 8.5, 9.5), SetPoint(6.0, 5.0, 9.0)),
            ),
            *_anion(
                _LegDose(
                    SetPoint(107.0, 102.0, 114.0),
                    percent(4.3, 4.1, 4.5),
                    SetPoint(2.0, 1.9, 2.1),
                    minutes(72, 60, 90),
                ),
                _displaced(Leg.ANION, SetPoint(2.0, 1.9, 2.1), SetPoint(1.5, 1.3, 2.0)),
                _rinsed(Leg.ANION, SetPoint(6.0, 5.7, 6.3), SetPoint(4.0, 3.5, 6.0)),
            ),
            *_end(SetPoint(5.0, 4.0, 8.0), SetPoint(14.0, 10.0, 30.0)),
        ),
        notes=_SEPARATION_NOTES
        + "Unbalanced acid and caustic heat and can steam: university course page, read. Flows and strengths balance a bed of 40 % "
        "cation; for any other share write a version of your own. A vessel with an interface collector only.",
        limits={
            "cross_contamination_max_frac": 0.01,
            "velocity_ratio_min": 1.2,
            "leg_balance_max_frac": 0.10,
        },
    )


def polishing() -> RecipeDefinition:
    """High doses, deionized water throughout, resin of the highest grade only."""
    return RecipeDefinition(
        code="MBP-APART-160",
        name="Mixed bed, polishing grade, legs apart, 160 g/L each",
        family=ResinFamily.MIXED_BED_POLISHING,
        steps=(
            load(),
            *_exhaust(SetPoint(120.0, 110.0, 140.0)),
            *_part(SetPoint(0.80, 0.60, 1.00), SetPoint(0.05, 0.04, 0.08)),
            *_cation(
                _LegDose(
                    SetPoint(160.0, 152.0, 175.0),
                    percent(5.0, 4.0, 5.5),
                    SetPoint(3.5, 2.5, 4.0),
                    minutes(53, 45, 75),
                ),
                _displaced(Leg.CATION, SetPoint(3.5, 2.5, 4.5), SetPoint(2.5, 2.0, 4.0)),
                _rinsed(Leg.CATION, SetPoint(12.0, 8.0, 16.0), SetPoint(8.0, 6.0, 14.0)),
            ),
            *_anion(
                _LegDose(
                    SetPoint(160.0, 152.0, 175.0),
                    percent(4.0, 3.5, 5.0),
                    SetPoint(2.3, 1.5, 2.8),
                    minutes(102, 75, 120),
                ),
                _displaced(Leg.ANION, SetPoint(2.3, 1.5, 3.0), SetPoint(2.5, 2.0, 4.0)),
                _rinsed(Leg.ANION, SetPoint(12.0, 8.0, 16.0), SetPoint(8.0, 6.0, 14.0)),
            ),
            *_end(SetPoint(6.0, 5.0, 10.0), SetPoint(25.0, 20.0, 40.0)),
        ),
        notes=_SEPARATION_NOTES
        + "Polishing grade: resin that was never anything else, at most 20 regenerations, at most 0.2 % of the other kind in each "
        "resin: common practice, the plant's own to set. Never pooled with working mixed beds.",
        grades=("polishing", "virgin"),
        limits={
            "cross_contamination_max_frac": 0.002,
            "velocity_ratio_min": 1.2,
            "leg_balance_max_frac": 0.35,
            "resin_cycles_max": 20.0,
        },
    )
