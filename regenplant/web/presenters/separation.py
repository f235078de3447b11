"""The separation record of a mixed bed in words: as written, its limits, what was predicted, and what stray beads will cost."""

from __future__ import annotations

from dataclasses import dataclass

from regenplant import units
from regenplant.batches.selectors.page import BatchPage
from regenplant.batches.selectors.separation_effect import SeparationEffect, separation_effect
from regenplant.batches.separation import SeparationLine, SeparationRecord
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.engineering.leakage import MixedBedLeakage
from regenplant.web.drawing.limit_bar import limit_text
from regenplant.web.presenters.batch_entries import NOT_NUMBERS
from regenplant.web.presenters.words import both, clock, joined, sentence_case

PREDICTED = {
    "interface_height": "interface_height_m",
    "cation_volume": "lower_layer_m3",
    "anion_volume": "upper_layer_m3",
    "cut_volume": "cut_m3",
    "cation_in_anion": "cation_in_anion_frac",
    "anion_in_cation": "anion_in_cation_frac",
}
"""Which figure of the plan an entry of the record is held beside."""
ALSO_PREDICTED = ("separation_velocity_ratio", "overlap_frac")


@dataclass(frozen=True, slots=True)
class RecordRow:
    """One thing of the record."""

    name: str
    written: str
    limit: str
    predicted: str
    is_outside: bool
    is_missing: bool


@dataclass(frozen=True, slots=True)
class EffectRow:
    """One figure of the finished bed, by the counted beads and by the predicted ones."""

    name: str
    measured: Estimate | None
    predicted: Estimate | None


@dataclass(frozen=True, slots=True)
class SeparationView:
    """The section. ``tone`` "" while nothing is wrong."""

    sentence: str
    tone: str
    rows: tuple[RecordRow, ...]
    workings: tuple[Estimate, ...]
    effects: tuple[EffectRow, ...]
    effect_sentence: str


def separation_view(page: BatchPage, system: str) -> SeparationView | None:
    """The section of a mixed bed once anything of its record is written; None before, and for any other batch."""
    record = page.separation
    if record is None or not any(line.entry for line in record.lines):
        return None
    effect = separation_effect(record)
    return SeparationView(
        sentence=_sentence(record),
        tone="amber" if record.outside else "",
        rows=tuple(_row(record, line, system) for line in record.lines),
        workings=tuple(
            record.predicted[key] for key in (*ALSO_PREDICTED, *PREDICTED.values()) if key in record.predicted
        ),
        effects=_effects(effect),
        effect_sentence=_effect_sentence(effect),
    )


def _sentence(record: SeparationRecord) -> str:
    if record.missing:
        return f"Still to write: {joined(name[:1].lower() + name[1:] for name in record.missing)}."
    outside = joined(line.name[:1].lower() + line.name[1:] for line in record.outside)
    stands = f"Outside its limits: {outside}." if outside else "All of it lies inside its limits."
    if record.is_done and record.done_at is not None:
        return f"Closed {clock(record.done_at)} by {record.done_by}. {stands}"
    return f"Everything is written. {stands}"


def _row(record: SeparationRecord, line: SeparationLine, system: str) -> RecordRow:
    figure = record.predicted.get(PREDICTED.get(line.key, ""))
    is_number = line.kind not in NOT_NUMBERS
    return RecordRow(
        name=line.name,
        written=_written(line, system) if line.entry else "",
        limit=limit_text(line.low, line.high, kind=line.kind, system=system) if is_number else "",
        predicted=units.format_quantity(figure.value, figure.kind, system) if figure else "",
        is_outside=line.entry is not None and line.entry.is_within is False,
        is_missing=line.is_required and line.entry is None,
    )


def _written(line: SeparationLine, system: str) -> str:
    return both(line.value, line.kind, system) if line.value is not None else line.as_typed


def _effects(effect: SeparationEffect) -> tuple[EffectRow, ...]:
    return tuple(
        EffectRow(name, _part(effect.measured, part), _part(effect.predicted, part))
        for part, name in (
            ("sodium", "Sodium in the water"),
            ("sodium_rise", "Sodium, times that of a perfect separation"),
            ("chloride", "Chloride in the water"),
            ("chloride_rise", "Chloride, times that of a perfect separation"),
            ("resistivity", "Resistivity at 25 °C"),
            ("ph", "pH"),
        )
        if effect.measured or effect.predicted
    )


def _part(found: MixedBedLeakage | None, name: str) -> Estimate | None:
    return getattr(found, name) if found is not None else None


def _effect_sentence(effect: SeparationEffect) -> str:
    """What the beads that met the wrong chemical do, said so that a fair resistivity hides nothing."""
    if effect.is_beyond:
        return "More than half of a sample is stray beads: that is no separation. Separate again before anything is injected."
    if effect.measured is None:
        return "What it means for the water is estimated once stray beads are counted in both samples."
    rises = [
        f"{sentence_case(name)} {figure.value:.1f} times"
        for name, figure in (
            ("sodium", effect.measured.sodium_rise),
            ("chloride", effect.measured.chloride_rise),
        )
    ]
    return (
        f"By the beads that were counted: {rises[0][:1].lower()}{rises[0][1:]}, {rises[1][:1].lower()}{rises[1][1:]} that of a perfect "
        "separation. At equilibrium, the floor: the bed shows a few times this, and its resistivity may still look fair."
    )
