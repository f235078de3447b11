"""What a person writes down where a mixed bed parts and joins: the separation record, the join, the air mix."""

from __future__ import annotations

from regenplant.core.process.entry_parts import (
    BAND_FRAC,
    COUNT_BAND_FRAC,
    RINSED_PH,
    StepCase,
    banded,
    confirm,
    ranged,
    text,
)
from regenplant.core.process.plan import EntrySpec
from regenplant.core.process.plan_mixed import floats_in_caustic
from regenplant.core.process.vocabulary import LegArrangement

AIR_GAUGE = (
    "Standard air, 15.6 °C and 101.3 kPa. A gauge that reads otherwise: correct it by its own sheet first."
)
_SAMPLE_HELP = "Count beads of a core sample by color or in brine: the lighter anion floats."


def separate_entries(case: StepCase) -> tuple[EntrySpec, ...]:
    """Flow, temperature and time of the separation, and that two layers are seen."""
    flow = case.figures["flow_m3_per_s"].value
    supply = case.basis.water_kelvin(case.step.water)
    return (
        confirm("catcher_in_place", "Resin catcher in place and empty", is_before=True),
        EntrySpec("water_temperature", "Water temperature", "temperature", low=supply - 3.0, high=supply + 3.0, target=supply,
                  help="Colder water lifts both resins higher: outside this range the flow must be planned again."),
        banded("flow", "Separation flow", "flow", flow, BAND_FRAC),
        ranged("duration", "Separation time", "duration", case.setting("duration_s")),
        confirm("layers_seen", "Two layers seen, in two colors", help="If none are seen: brine clumps loose, separate again."),
        EntrySpec("resin_lost", "Resin found in the catcher", "resin_volume", low=0.0, high=0.01 * case.bed.volume_m3, target=0.0,
                  is_required=False, help="Above 1 % of the bed: hold and tell the supervisor."),
    )  # fmt: skip


def cut_entries(case: StepCase) -> tuple[EntrySpec, ...]:
    """The separation record: without it no leg is regenerated."""
    figures, request = case.figures, case.basis.request
    most = case.limit("cross_contamination_max_frac")
    found = [_interface(case)]
    if request.recipe.arrangement is LegArrangement.APART:
        vessel = request.anion_vessel.code if request.anion_vessel is not None else "its own vessel"
        found.append(confirm("anion_moved", f"Anion resin moved to {vessel}, none left above the interface"))
    for key, name, figure in (
        ("cation_volume", "Cation resin below the cut", "lower_layer_m3"),
        ("anion_volume", "Anion resin above the cut", "upper_layer_m3"),
    ):
        found.append(
            banded(
                key,
                name,
                "resin_volume",
                figures[figure].value,
                COUNT_BAND_FRAC,
                help=f"Settled, {_form(case, key)}.",
            )
        )
    share = case.setting("cut_frac")
    found.append(
        ranged(
            "cut_volume", "Resin drawn off as the interface cut", "resin_volume", share, case.basis.volume_m3
        )
    )
    for key, name in (
        ("cation_in_anion", "Cation beads found in the anion sample"),
        ("anion_in_cation", "Anion beads found in the cation sample"),
    ):
        found.append(EntrySpec(key, name, "fraction", low=0.0, high=most, help=_SAMPLE_HELP))
    found += [
        text("cut_container", "Label of the container that holds the cut"),
        confirm("cut_kept", "The cut is labeled and kept for the next separation, mixed into neither leg"),
    ]
    return tuple(found)


def _form(case: StepCase, key: str) -> str:
    return "hydroxide form" if key == "anion_volume" and floats_in_caustic(case.basis) else "exhausted form"


def _interface(case: StepCase) -> EntrySpec:
    band = case.basis.request.limits.interface_band_limit_m
    planned = case.figures.get("side_outlet_height_m") or case.figures.get("interface_height_m")
    if planned is None:
        return EntrySpec("interface_height", "Interface above the bed support", "length")
    return EntrySpec(
        "interface_height",
        "Interface above the bed support",
        "length",
        low=max(planned.value - band, 0.0),
        high=planned.value + band,
        target=planned.value,
        help="Read at the sight glass, the bed still.",
    )


def join_entries(case: StepCase) -> tuple[EntrySpec, ...]:
    """Both legs rinsed, and all of both resins back."""
    low, high = RINSED_PH
    together = case.basis.request.recipe.arrangement is LegArrangement.TOGETHER
    joined_words = (
        "Interface collector shut, both legs shut" if together else "All of both resins joined, lines flushed"
    )
    found = [
        EntrySpec("cation_ph", "pH of the last water of the cation leg", "ph", low=low, is_before=True),
        EntrySpec("anion_ph", "pH of the last water of the anion leg", "ph", high=high, is_before=True),
        confirm("legs_rinsed", "Both legs rinsed, no chemical in either", is_before=True),
        confirm("all_joined", joined_words),
    ]
    joined = case.figures.get("joined_m3")
    if joined is not None:
        found.append(
            banded(
                "joined_volume",
                "Volume of the joined bed",
                "resin_volume",
                joined.value,
                COUNT_BAND_FRAC,
                help="Settled, regenerated forms.",
            )
        )
    return tuple(found)


def air_mix_entries(case: StepCase) -> tuple[EntrySpec, ...]:
    """Air, water level, time, and that the bed locked while it was mixed."""
    velocity, flow = case.setting("air_velocity_m_per_s"), case.figures["air_standard_flow_m3_per_s"].value
    return (
        confirm("air_oil_free", "Air clean and oil-free, filter drained", is_before=True),
        confirm("vent_open", "Vent wide open, relief valve tested", is_before=True),
        ranged(
            "water_above_bed",
            "Water above the bed",
            "length",
            case.setting("water_above_bed_m"),
            is_before=True,
        ),
        ranged(
            "air_flow",
            "Air flow, as standard air",
            "air_flow",
            velocity,
            flow / velocity.target,
            help=AIR_GAUGE,
        ),
        ranged("duration", "Time of the air mix", "duration", case.setting("duration_s")),
        confirm(
            "drained_fast",
            "Drained fast while the air still mixed",
            help="Slow draining lets the resins part again.",
        ),
        confirm(
            "bed_even", "Bed looks even, no layer", help="If a layer is seen: mix again before the rinse."
        ),
    )
