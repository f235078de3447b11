"""How one batch sheet is set: its content, width, order of units, and the numbers of its sources."""

from __future__ import annotations

from dataclasses import dataclass

from regenplant.core.engineering.estimate import Estimate
from regenplant.core.engineering.sources import SOURCES
from regenplant.documents.batch_sheet_content import BatchSheetContent
from regenplant.documents.faces import SECTION, Face, Style
from regenplant.documents.flow import Block, Item, paragraph, stacked
from regenplant.documents.page import MARGIN_WIDTH

SECTION_GAP = 14.0
_MARGIN_WORD = Style(Face.BOOK_BOLD, 10.2, 12.5)
_MARGIN_NOTE = Style(Face.BOOK_ITALIC, 8.5, 10)

FIGURE_ORDER = (
    "chemical_kg_100", "stock_m3", "stock_kg", "stock_flow_m3_per_s", "dilution_water_m3", "dilution_water_flow_m3_per_s",
    "dilution_water_temperature_kelvin", "strength_frac", "volume_m3", "flow_m3_per_s", "temperature_kelvin",
    "contact_time_s", "density_kg_per_m3", "expansion_frac", "expanded_height_m", "bed_depth_m", "heating_duty_watt",
    "pressure_drop_pascal",
)  # fmt: skip
"""Figures of a step in the order a person needs them; others follow by name."""

_NOT_WORKED = ("duration_s", "volume_bv", "flow_bv_per_h")
_TOTALS_WORKED = (
    "resin_volume_m3", "bed_depth_m", "waste_m3", "eluted_eq", "excess_eq", "waste_ph", "neutralizer_first_kg_100",
    "neutralizer_first_stock_m3", "neutralizer_second_kg_100", "neutralizer_second_stock_m3", "chloride_kg", "sodium_kg",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Setting:
    """What every part of the sheet needs to know."""

    content: BatchSheetContent
    width: float
    system: str
    worked: tuple[tuple[str, tuple[Estimate, ...]], ...]
    cited: dict[str, int]


def setting_of(content: BatchSheetContent, width: float, system: str) -> Setting:
    worked = _worked(content)
    keys = [c.source for step in content.plan.steps for c in step.cautions]
    keys += [limit.source for limit in content.specification.limits]
    keys += [estimate.source for _, estimates in worked for estimate in estimates]
    numbers = {key: number for number, key in enumerate(dict.fromkeys(key for key in keys if key), start=1)}
    return Setting(content, width, system, worked, numbers)


def figure_place(key: str) -> tuple[int, str]:
    """Sort key of a figure."""
    return (FIGURE_ORDER.index(key) if key in FIGURE_ORDER else len(FIGURE_ORDER), key)


def _worked(content: BatchSheetContent) -> tuple[tuple[str, tuple[Estimate, ...]], ...]:
    """What is shown with its working, by place: every figure that was calculated from others, each once."""
    totals = content.plan.totals
    places = [("Bed and waste", [totals[key] for key in _TOTALS_WORKED if key in totals])]
    for step in content.plan.steps:
        keys = sorted((key for key in step.figures if key not in _NOT_WORKED), key=figure_place)
        places.append((f"{step.number} · {step.name}", [step.figures[key] for key in keys]))
    seen: set[tuple[str, str, float]] = set()
    found = []
    for place, estimates in places:
        fresh = [e for e in estimates if e.inputs and (e.symbol, e.formula, e.value) not in seen]
        seen.update((e.symbol, e.formula, e.value) for e in fresh)
        if fresh:
            found.append((place, tuple(fresh)))
    return tuple(found)


def citation(setting: Setting, key: str) -> str:
    """Short name of a source with its number in the list at the end."""
    return f"{SOURCES[key].title} [{setting.cited[key]}]"


# --- headings ---------------------------------------------------------------------------------------------------
def margin_word(word: str, note: str = "") -> Block:
    """The word that hangs in the margin beside a section."""
    lines = [paragraph(word, _MARGIN_WORD, MARGIN_WIDTH)]
    if note:
        lines.append(paragraph(note, _MARGIN_NOTE, MARGIN_WIDTH))
    return stacked(lines, 1)


def section(title: str, width: float, margin: Block, *, opens_page: bool = False) -> Item:
    """The heading of a section, kept with what follows."""
    return Item(
        paragraph(title, SECTION, width), keep=True, gap=SECTION_GAP, margin=margin, opens_page=opens_page
    )
