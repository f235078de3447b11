"""What a person writes down at a float separation: the vessel made ready, the solution by hydrometer, time, and what was seen."""

from __future__ import annotations

from collections.abc import Sequence

from regenplant.core.engineering import solutions
from regenplant.core.process.entry_parts import StepCase, confirm, ranged
from regenplant.core.process.plan import EntrySpec
from regenplant.core.process.vocabulary import Chemical

_BESIDE_KG_PER_M3 = 2.0
"""How far a reading of a hydrometer may lie beside the strength it stands for; common practice."""


def float_entries(case: StepCase, before_chemical: Sequence[EntrySpec]) -> tuple[EntrySpec, ...]:
    """The entries of a float separation behind those that every chemical asks for before its start."""
    figures, volume_m3 = case.figures, case.bed.volume_m3
    found = [
        *before_chemical,
        confirm("drained_to_bed", "Water drained down to the top of the bed", is_before=True,
                help="No lower: air between the beads floats the cation resin too."),
        confirm("catcher_in_place", "Upper outlet open, resin catcher in place and empty", is_before=True),
        *_before_caustic(case),
        *_density(case),
        ranged("strength", "Strength as fed, from density and temperature", "strength", case.setting("strength_frac"),
               is_critical=True),
        ranged("temperature", "Temperature of the solution", "temperature", case.setting("temperature_kelvin")),
        ranged("flow", "Upward flow of the solution", "flow", case.setting("flow_bv_per_h"), volume_m3 / 3600.0,
               help="Slow and even: what is fed fast churns the layers."),
    ]  # fmt: skip
    volume = case.setting("volume_bv")
    if "stock_m3" in figures:
        per_bv = figures["stock_m3"].value / volume.target
        found.append(ranged("stock_drawn", "Stock drawn, by tank level", "liquid_volume", volume, per_bv, is_critical=True,
                            help="By level or scale, never by the timer."))  # fmt: skip
    found.append(ranged("volume_fed", "Solution fed", "liquid_volume", volume, volume_m3, is_critical=True))
    found.append(
        ranged(
            "contact_time", "Time the solution stood, feed shut", "duration", case.setting("contact_time_s")
        )
    )
    found += [
        *_standing(case),
        confirm("layers_seen", "Anion resin afloat, cation resin below, clear solution between",
                help="If not: a supervisor decides. Displace first, never leave it standing."),
        EntrySpec("resin_lost", "Resin found in the catcher", "resin_volume", low=0.0, high=0.01 * volume_m3, target=0.0,
                  is_required=False, help="Above 1 % of the bed: hold after the displacement and tell the supervisor."),
    ]  # fmt: skip
    return tuple(found)


def _before_caustic(case: StepCase) -> tuple[EntrySpec, ...]:
    if case.step.chemical is not Chemical.SODIUM_HYDROXIDE:
        return ()
    return (
        EntrySpec("ph_before", "pH of the water in the bed", "ph", low=6.0, high=9.5, is_before=True,
                  help="Outside it acid or caustic is left: no caustic until it is rinsed out."),
    )  # fmt: skip


def _density(case: StepCase) -> tuple[EntrySpec, ...]:
    """What the hydrometer shows of a solution inside the strengths of the recipe."""
    point, chemical = case.setting("strength_frac"), case.step.chemical
    kelvin = case.figures["temperature_kelvin"].value
    assert chemical is not None
    if not solutions.is_density_known(chemical.value, point.high, kelvin):
        return ()
    low, target, high = (
        solutions.density_kg_per_m3(chemical.value, strength, kelvin)
        for strength in (point.low, point.target, point.high)
    )
    return (
        EntrySpec("density", "Density as fed, by hydrometer", "density", low=low - _BESIDE_KG_PER_M3,
                  high=high + _BESIDE_KG_PER_M3, target=target, help="Read its temperature with it."),
    )  # fmt: skip


def _standing(case: StepCase) -> tuple[EntrySpec, ...]:
    """The reading that decides: denser than the soaked anion beads, or they sink."""
    standing, bead = (
        case.figures.get("standing_density_kg_per_m3"),
        case.figures.get("soaked_anion_density_kg_per_m3"),
    )
    if standing is None or bead is None:
        return ()
    fed = case.figures["density_kg_per_m3"].value
    return (
        EntrySpec("standing_density", "Density of the solution in the vessel at the end, by hydrometer", "density",
                  low=min(bead.value, standing.value), high=fed + _BESIDE_KG_PER_M3, target=standing.value,
                  help="Below the least the soaked anion beads are expected to sink."),
    )  # fmt: skip
