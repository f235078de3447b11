"""What a person writes down at each step, with the limits that come from recipe and request."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from regenplant.core.engineering.estimate import Estimate
from regenplant.core.engineering.ions import calcium_carbonate_from_eq_per_m3
from regenplant.core.process.entry_parts import (
    BAND_FRAC,
    COUNT_BAND_FRAC,
    RINSED_PH,
    StepCase,
    banded,
    confirm,
    flow_and_volume,
    ranged,
    residual_sanitizer,
    text,
    together,
)
from regenplant.core.process.hazard_words import solution_word
from regenplant.core.process.plan import EntrySpec
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.plan_entries_carbon import empty_entries, fill_entries
from regenplant.core.process.plan_entries_float import float_entries
from regenplant.core.process.plan_entries_mixed import (
    air_mix_entries,
    cut_entries,
    join_entries,
    separate_entries,
)
from regenplant.core.process.recipes import RecipeStep
from regenplant.core.process.vocabulary import Chemical, Leg, LegArrangement, Purpose, ResinFamily, StepKind
from regenplant.core.process.wording import say

__all__ = ["BAND_FRAC", "COUNT_BAND_FRAC", "step_entries"]

_GEAR_HELP = "What the caution lists, before anything is opened."


def step_entries(
    basis: PlanBasis, step: RecipeStep, figures: Mapping[str, Estimate], last_injection: RecipeStep | None
) -> tuple[EntrySpec, ...]:
    """The entries of one step, those needed before the start first."""
    return _ENTRIES[step.kind](StepCase(basis, step, figures, last_injection))


def _load(case: StepCase) -> tuple[EntrySpec, ...]:
    request = case.basis.request
    found = [
        confirm("vessel_ready", "Vessel empty, rinsed, right class and lines lined up", is_before=True),
        confirm("gear_on", "Gear on", is_before=True, help=_GEAR_HELP),
    ]
    if request.recipe.purpose is Purpose.CLEANING:
        found.append(
            text(
                "test_before",
                "Test of the resin before cleaning",
                is_before=True,
                is_required=False,
                help="What was seen or measured.",
            )
        )
    found += [
        confirm("tanks_checked", "Every tank on the list scanned and emptied"),
        banded(
            "resin_volume",
            f"Resin volume loaded, {request.resin_volume_form.label}",
            "resin_volume",
            request.resin_volume_m3,
            COUNT_BAND_FRAC,
            help="Settled, not tapped.",
        ),
        confirm(
            "nothing_foreign", "No other resin, color or odor seen", help="If you see any: stop and hold."
        ),
    ]
    if request.recipe.purpose is Purpose.CONDITIONING:
        found.append(text("new_lot", "Lot on the bags or drums of the new resin"))
    return tuple(found)


def _backwash(case: StepCase) -> tuple[EntrySpec, ...]:
    flow = case.figures["flow_m3_per_s"].value
    supply = case.basis.water_kelvin(case.step.water)
    return (
        confirm("catcher_in_place", "Resin catcher in place and empty", is_before=True),
        EntrySpec("water_temperature", "Water temperature", "temperature", low=supply - 3.0, high=supply + 3.0, target=supply,
                  help="Colder water lifts the bed higher: outside this range the flow must be planned again."),
        banded("flow", "Backwash flow", "flow", flow, BAND_FRAC),
        ranged("duration", "Backwash time", "duration", case.setting("duration_s")),
        confirm("water_clear", "Water runs clear"),
        EntrySpec("resin_lost", "Resin found in the catcher", "resin_volume", low=0.0, high=0.01 * case.bed.volume_m3, target=0.0,
                  is_required=False, help="Above 1 % of the bed: hold and tell the supervisor."),
    )  # fmt: skip


def _settle(case: StepCase) -> tuple[EntrySpec, ...]:
    if case.basis.request.resin.family.is_mixed and case.has(StepKind.SEPARATE):
        return (confirm("bed_level", "Bed still, interface level all round"),)
    return (confirm("bed_level", "Bed level and still"),)


# --- chemicals ------------------------------------------------------------------------------------------------------
def _inject(case: StepCase) -> tuple[EntrySpec, ...]:
    figures, volume_m3 = case.figures, case.bed.volume_m3
    word = solution_word(case.basis.request.recipe, case.step)
    during = [
        ranged(
            "strength",
            "Strength at the bed, measured",
            "strength",
            case.setting("strength_frac"),
            is_critical=True,
        ),
        ranged("temperature", "Temperature at the bed", "temperature", case.setting("temperature_kelvin")),
        ranged("flow", "Flow through the bed", "flow", case.setting("flow_bv_per_h"), volume_m3 / 3600.0),
        *_watched(case),
    ]
    after = [
        banded("volume_fed", f"Diluted {word} fed", "liquid_volume", figures["volume_m3"].value, BAND_FRAC, is_critical=True),
        EntrySpec("contact_time", f"Time the {word} flowed", "duration", low=case.setting("contact_time_s").low,
                  high=None, target=figures["contact_time_s"].value),
    ]  # fmt: skip
    if "stock_m3" in figures:
        dose = case.setting("dose_kg_per_m3")
        after.insert(
            0,
            ranged(
                "stock_drawn",
                "Stock drawn, by tank level",
                "liquid_volume",
                dose,
                figures["stock_m3"].value / dose.target,
                is_critical=True,
                help="By level or scale, never by the timer.",
            ),
        )
    return (*_before_chemical(case), *_before_injection(case), *during, *after)


def _before_chemical(case: StepCase) -> tuple[EntrySpec, ...]:
    found = [
        confirm("gear_on", "Gear on", is_before=True, help=_GEAR_HELP),
        confirm("shower_ready", "Shower and eyewash reachable and running", is_before=True),
        confirm("drain_open", "Drain to the waste tank open", is_before=True),
    ]
    if case.step.asks_second_person:
        found.append(
            together("connection_checked", "Chemical connection checked by two people", is_before=True,
                     help="Each reads the code on the connection, each gives their own password.")
        )  # fmt: skip
    if "dilution_water_flow_m3_per_s" in case.figures:
        found.append(
            banded(
                "dilution_water_flow",
                "Dilution water flow, before the chemical",
                "flow",
                case.figures["dilution_water_flow_m3_per_s"].value,
                BAND_FRAC,
                is_before=True,
            )
        )
    elif case.step.kind in (StepKind.INJECT, StepKind.FLOAT):
        found.append(
            confirm("dilution_water_on", "Dilution water flows, before the chemical", is_before=True)
        )
    return tuple(found)


def _before_injection(case: StepCase) -> tuple[EntrySpec, ...]:
    """What one chemical or one arrangement asks for beside the rest."""
    chemical, recipe = case.step.chemical, case.basis.request.recipe
    found = []
    if chemical in (Chemical.SODIUM_HYDROXIDE, Chemical.SODIUM_CARBONATE):
        hardness = calcium_carbonate_from_eq_per_m3(case.basis.request.limits.caustic_hardness_warn_eq_per_m3)
        found.append(
            confirm("soft_water", "Dilution water is softened or deionized, tested today", is_before=True,
                    help=f"At most {say(hardness, 'hardness')}.")
        )  # fmt: skip
    if chemical is Chemical.SULFURIC_ACID:
        found.append(
            confirm("no_pause", "Next step lined up: the acid does not pause on its way", is_before=True)
        )
    if chemical is Chemical.AMMONIA:
        found.append(confirm("air_moving", "Doors open, fan running, drain covered", is_before=True))
    if chemical is Chemical.SODIUM_DITHIONITE:
        found.append(
            confirm(
                "no_acid", "No acid and no oxidizer in vessel, lines, drain or waste tank", is_before=True
            )
        )
        found.append(confirm("made_today", "Solution made up today", is_before=True))
    if recipe.arrangement is LegArrangement.TOGETHER and case.step.leg is not Leg.WHOLE:
        found.append(
            confirm("both_legs_ready", "Both legs lined up: acid and caustic start together", is_before=True,
                    help="If one flow stops, stop the other at once.")
        )  # fmt: skip
        found.append(confirm("vent_open", "Vent open, relief valve tested", is_before=True))
    return tuple(found)


def _watched(case: StepCase) -> tuple[EntrySpec, ...]:
    """What is looked at while the chemical flows."""
    if case.basis.request.recipe.arrangement is LegArrangement.TOGETHER and case.step.leg is not Leg.WHOLE:
        most = case.basis.request.limits.blend_temperature_limit_kelvin
        return (
            EntrySpec("drain_temperature", "Temperature of the drain at the interface collector", "temperature", high=most,
                      help="Rising: the legs are out of balance. Stop both."),
        )  # fmt: skip
    if case.step.chemical is Chemical.SULFURIC_ACID:
        return (
            confirm(
                "effluent_clear",
                "Effluent clear, pressure steady",
                help="Milky or rising: raise the water, weaken the acid, never stop.",
            ),
        )
    return ()


def _soak(case: StepCase) -> tuple[EntrySpec, ...]:
    found = [confirm("vessel_tagged", "Feed valves shut, vessel tagged", is_before=True)]
    warm = case.last.settings.get("temperature_kelvin") if case.last is not None else None
    if warm is not None:
        found.append(
            EntrySpec("temperature", "Temperature of the bed at the end", "temperature", high=warm.high)
        )
    found.append(ranged("duration", "Time of the soak", "duration", case.setting("duration_s")))
    return tuple(found)


def _sanitize(case: StepCase) -> tuple[EntrySpec, ...]:
    found = list(_before_chemical(case))
    found.append(confirm("vent_open", "Vent open, vessel not shut in", is_before=True))
    found.append(
        confirm(
            "no_acid", "No acid, ammonia or reductant in vessel, lines, drain or waste tank", is_before=True
        )
    )
    if not case.basis.request.resin.family.is_exchanged:
        found.append(
            EntrySpec("ph_before", "pH of the water in the bed", "ph", low=6.0, high=9.5, is_before=True,
                      help="Outside it acid or caustic is left: no sanitizer until it is rinsed out.")
        )  # fmt: skip
    found.append(
        ranged(
            "strength",
            "Strength of the sanitizer, measured",
            "strength",
            case.setting("strength_frac"),
            help="0.01 % is 100 mg/L.",
            is_critical=True,
        )
    )
    if "stock_m3" in case.figures:
        strength = case.setting("strength_frac")
        per_strength = case.figures["stock_m3"].value / strength.target
        found.append(
            ranged(
                "stock_drawn",
                "Stock drawn, by scale or level",
                "liquid_volume",
                strength,
                per_strength,
                is_critical=True,
            )
        )
    found.append(
        ranged(
            "volume_fed",
            "Sanitizer fed",
            "liquid_volume",
            case.setting("volume_bv"),
            case.bed.volume_m3,
            is_critical=True,
        )
    )
    found.append(
        ranged("contact_time", "Time the sanitizer stood", "duration", case.setting("contact_time_s"))
    )
    return tuple(found)


def _float(case: StepCase) -> tuple[EntrySpec, ...]:
    return float_entries(case, (*_before_chemical(case), *_before_injection(case)))


# --- rinses ---------------------------------------------------------------------------------------------------------
def _displace(case: StepCase) -> tuple[EntrySpec, ...]:
    return (
        confirm("chemical_shut", "Chemical valve and pump shut", is_before=True),
        *flow_and_volume(case, "Displacement flow", "Displacement water passed"),
    )


def _rinse(case: StepCase) -> tuple[EntrySpec, ...]:
    found = list(flow_and_volume(case, "Rinse flow", "Rinse water passed"))
    last = case.last.chemical if case.last is not None else None
    if last is None or last is Chemical.SODIUM_CHLORIDE:
        return tuple(found)
    if last.is_oxidizer:
        found.append(residual_sanitizer(case))
    elif last.is_reductant:
        found.append(confirm("reductant_gone", "No reductant left in the rinse water, by test strip"))
    else:
        low, high = RINSED_PH
        found.append(
            EntrySpec(
                "ph",
                "pH of the last rinse water",
                "ph",
                low=low,
                high=high,
                help="Rinse on until it is inside.",
            )
        )
    return tuple(found)


def _fast_rinse(case: StepCase) -> tuple[EntrySpec, ...]:
    waste = case.basis.request.waste
    flow, volume = flow_and_volume(
        case,
        "Rinse flow",
        "Rinse water passed in all",
        help="The readings themselves go to the rinse-down page.",
    )
    if case.basis.request.resin.family.is_exchanged:
        return (flow, confirm("water_clear", "Water runs clear, no fines"), volume)
    return (
        flow,
        EntrySpec("drain_ph", "pH when the drain was changed over", "ph", low=waste.ph_low, high=waste.ph_high,
                  is_required=False, help="Until it is inside: to the waste tank."),
        volume,
    )  # fmt: skip


def _recirculate(case: StepCase) -> tuple[EntrySpec, ...]:
    return (
        confirm("loop_closed", "Loop closed, drain shut, pump primed", is_before=True),
        *flow_and_volume(
            case,
            "Flow round the loop",
            "Water pumped round in all",
            help="The readings themselves go to the rinse-down page.",
        ),
        EntrySpec("temperature", "Water temperature at the end", "temperature", high=case.bed.resin.max_temperature_kelvin,
                  is_required=False, help="The pump warms the water."),
    )  # fmt: skip


def _sample(case: StepCase) -> tuple[EntrySpec, ...]:
    recipe = case.basis.request.recipe
    entries = [confirm("sample_labeled", "Sample taken and labeled with the batch number")]
    if recipe.family is not ResinFamily.SAC_SODIUM and not recipe.family.is_exchanged:
        entries.insert(
            0,
            confirm("flow_cell", "Read through a flow cell, not in an open cup",
                    help="Carbon dioxide from the air spoils readings above about 1 MΩ·cm."),
        )  # fmt: skip
    if case.has(StepKind.SANITIZE):
        entries.append(residual_sanitizer(case))
    if recipe.purpose is Purpose.CLEANING:
        entries.append(text("test_after", "Test of the resin after cleaning", is_required=False))
    return tuple(entries)


_ENTRIES: dict[StepKind, Callable[[StepCase], tuple[EntrySpec, ...]]] = {
    StepKind.LOAD: _load,
    StepKind.BACKWASH: _backwash,
    StepKind.SEPARATE: separate_entries,
    StepKind.SETTLE: _settle,
    StepKind.FLOAT: _float,
    StepKind.CUT: cut_entries,
    StepKind.INJECT: _inject,
    StepKind.SOAK: _soak,
    StepKind.DISPLACE: _displace,
    StepKind.RINSE: _rinse,
    StepKind.JOIN: join_entries,
    StepKind.AIR_MIX: air_mix_entries,
    StepKind.FAST_RINSE: _fast_rinse,
    StepKind.RECIRCULATE: _recirculate,
    StepKind.EMPTY: empty_entries,
    StepKind.SANITIZE: _sanitize,
    StepKind.FILL: fill_entries,
    StepKind.SAMPLE: _sample,
}
