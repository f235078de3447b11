"""What a person writes down at each step, with the limits that come from recipe and request."""

from __future__ import annotations

from collections.abc import Mapping

from regenplant.core.engineering.estimate import Estimate
from regenplant.core.engineering.ions import calcium_carbonate_from_eq_per_m3
from regenplant.core.process.plan import EntrySpec
from regenplant.core.process.plan_basis import PlanBasis
from regenplant.core.process.recipes import RecipeStep, SetPoint
from regenplant.core.process.vocabulary import Chemical, ResinFamily, StepKind
from regenplant.core.process.wording import say

BAND_FRAC = 0.10
"""How far a flow set at a skid may be off before it is outside; common practice."""
COUNT_BAND_FRAC = 0.05
"""How far a counted resin volume may be off the planned one; common practice."""


def step_entries(
    basis: PlanBasis, step: RecipeStep, figures: Mapping[str, Estimate], last_injection: RecipeStep | None
) -> tuple[EntrySpec, ...]:
    """The entries of one step, those needed before the start first."""
    return {
        StepKind.LOAD: _load,
        StepKind.BACKWASH: _backwash,
        StepKind.SETTLE: _settle,
        StepKind.INJECT: _inject,
        StepKind.DISPLACE: _displace,
        StepKind.FAST_RINSE: _fast_rinse,
        StepKind.SAMPLE: _sample,
    }[step.kind](basis, step, figures, last_injection)


def _confirm(
    key: str, name: str, *, is_before: bool = False, is_required: bool = True, help: str = ""
) -> EntrySpec:
    return EntrySpec(key, name, "confirm", is_before=is_before, is_required=is_required, help=help)


def _ranged(
    key: str, name: str, kind: str, point: SetPoint, factor: float = 1.0, **extra: object
) -> EntrySpec:
    return EntrySpec(
        key, name, kind, low=point.low * factor, high=point.high * factor, target=point.target * factor, **extra  # type: ignore[arg-type]
    )  # fmt: skip


def _banded(key: str, name: str, kind: str, target: float, band: float, **extra: object) -> EntrySpec:
    return EntrySpec(
        key, name, kind, low=target * (1.0 - band), high=target * (1.0 + band), target=target, **extra  # type: ignore[arg-type]
    )  # fmt: skip


def _load(
    basis: PlanBasis, step: RecipeStep, figures: Mapping[str, Estimate], last: RecipeStep | None
) -> tuple[EntrySpec, ...]:
    volume = basis.request.resin_volume_m3
    return (
        _confirm("vessel_ready", "Vessel empty, rinsed, right class and lines lined up", is_before=True),
        _confirm("gear_on", "Gear on", is_before=True, help="Glasses, gloves, boots."),
        _confirm("tanks_checked", "Every tank on the list scanned and emptied"),
        _banded("resin_volume", f"Resin volume loaded, {basis.request.resin_volume_form.label}", "resin_volume", volume, COUNT_BAND_FRAC,
                help="Settled, not tapped."),
        _confirm("nothing_foreign", "No other resin, color or odor seen", help="If you see any: stop and hold."),
    )  # fmt: skip


def _backwash(
    basis: PlanBasis, step: RecipeStep, figures: Mapping[str, Estimate], last: RecipeStep | None
) -> tuple[EntrySpec, ...]:
    flow = figures["flow_m3_per_s"].value
    supply = basis.water_kelvin(step.water)
    return (
        _confirm("catcher_in_place", "Resin catcher in place and empty", is_before=True),
        EntrySpec("water_temperature", "Water temperature", "temperature", low=supply - 3.0, high=supply + 3.0, target=supply,
                  help="Colder water lifts the bed higher: outside this range the flow must be planned again."),
        EntrySpec("flow", "Backwash flow", "flow", low=flow * (1.0 - BAND_FRAC), high=flow * (1.0 + BAND_FRAC), target=flow),
        EntrySpec("duration", "Backwash time", "duration", low=step.settings["duration_s"].low,
                  high=step.settings["duration_s"].high, target=step.settings["duration_s"].target),
        _confirm("water_clear", "Water runs clear"),
        EntrySpec("resin_lost", "Resin found in the catcher", "resin_volume", low=0.0, high=0.01 * basis.volume_m3, target=0.0,
                  is_required=False, help="Above 1 % of the bed: hold and tell the supervisor."),
    )  # fmt: skip


def _settle(
    basis: PlanBasis, step: RecipeStep, figures: Mapping[str, Estimate], last: RecipeStep | None
) -> tuple[EntrySpec, ...]:
    return (_confirm("bed_level", "Bed level and still"),)


def _inject(
    basis: PlanBasis, step: RecipeStep, figures: Mapping[str, Estimate], last: RecipeStep | None
) -> tuple[EntrySpec, ...]:
    assert step.chemical is not None
    settings = step.settings
    volume_m3 = basis.volume_m3
    before = [
        _confirm(
            "gear_on", "Gear on", is_before=True, help="What the caution lists, before anything is opened."
        ),
        _confirm("shower_ready", "Shower and eyewash reachable and running", is_before=True),
        _confirm("drain_open", "Drain to the waste tank open", is_before=True),
    ]
    if "dilution_water_flow_m3_per_s" in figures:
        water_flow = figures["dilution_water_flow_m3_per_s"].value
        before.append(
            _banded(
                "dilution_water_flow",
                "Dilution water flow, before the chemical",
                "flow",
                water_flow,
                BAND_FRAC,
                is_before=True,
            )
        )
    else:
        before.append(
            _confirm("dilution_water_on", "Dilution water flows, before the chemical", is_before=True)
        )
    during = [
        _ranged("strength", "Strength at the bed, measured", "strength", settings["strength_frac"]),
        _ranged("temperature", "Temperature at the bed", "temperature", settings["temperature_kelvin"]),
        _ranged("flow", "Flow through the bed", "flow", settings["flow_bv_per_h"], volume_m3 / 3600.0),
    ]
    after = [_fed(figures)]
    if "stock_m3" in figures:
        dose = settings["dose_kg_per_m3"]
        per_dose = figures["stock_m3"].value / dose.target
        after.insert(0, _ranged("stock_drawn", "Stock drawn, by tank level", "liquid_volume", dose, per_dose,
                                help="By level or scale, never by the timer."))  # fmt: skip
    after.append(
        EntrySpec("contact_time", "Time the regenerant flowed", "duration", low=settings["contact_time_s"].low,
                  high=None, target=figures["contact_time_s"].value)
    )  # fmt: skip
    if step.chemical is Chemical.SODIUM_HYDROXIDE:
        hardness = basis.request.limits.caustic_hardness_warn_eq_per_m3
        before.append(_confirm("soft_water", "Dilution water is softened or deionized, tested today", is_before=True,
                               help=f"At most {say(calcium_carbonate_from_eq_per_m3(hardness), 'hardness')}."))  # fmt: skip
    return (*before, *during, *after)


def _fed(figures: Mapping[str, Estimate]) -> EntrySpec:
    volume = figures["volume_m3"].value
    return _banded("volume_fed", "Diluted regenerant fed", "liquid_volume", volume, BAND_FRAC)


def _displace(
    basis: PlanBasis, step: RecipeStep, figures: Mapping[str, Estimate], last: RecipeStep | None
) -> tuple[EntrySpec, ...]:
    settings, volume_m3 = step.settings, basis.volume_m3
    return (
        _confirm("chemical_shut", "Chemical valve and pump shut", is_before=True),
        _ranged("flow", "Displacement flow", "flow", settings["flow_bv_per_h"], volume_m3 / 3600.0),
        _ranged("volume", "Displacement water passed", "liquid_volume", settings["volume_bv"], volume_m3),
    )


def _fast_rinse(
    basis: PlanBasis, step: RecipeStep, figures: Mapping[str, Estimate], last: RecipeStep | None
) -> tuple[EntrySpec, ...]:
    settings, volume_m3 = step.settings, basis.volume_m3
    return (
        _ranged("flow", "Rinse flow", "flow", settings["flow_bv_per_h"], volume_m3 / 3600.0),
        EntrySpec("drain_ph", "pH when the drain was changed over", "ph", low=basis.request.waste.ph_low,
                  high=basis.request.waste.ph_high, is_required=False, help="Until it is inside: to the waste tank."),
        _ranged("volume", "Rinse water passed in all", "liquid_volume", settings["volume_bv"], volume_m3,
                help="The readings themselves go to the rinse-down page."),
    )  # fmt: skip


def _sample(
    basis: PlanBasis, step: RecipeStep, figures: Mapping[str, Estimate], last: RecipeStep | None
) -> tuple[EntrySpec, ...]:
    entries = [_confirm("sample_labeled", "Sample taken and labeled with the batch number")]
    if basis.request.recipe.family is not ResinFamily.SAC_SODIUM:
        entries.insert(0, _confirm("flow_cell", "Read through a flow cell, not in an open cup",
                                   help="Carbon dioxide from the air spoils readings above about 1 MΩ·cm."))  # fmt: skip
    return tuple(entries)
