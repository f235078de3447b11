"""How one batch sheet is set: its content, width, order of units, and the numbers of its sources."""

from __future__ import annotations

from dataclasses import dataclass

from regenplant.core.engineering.estimate import Estimate
from regenplant.core.engineering.sources import SOURCES
from regenplant.core.process.vocabulary import Leg
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
    "feed_time_s", "contact_time_s", "density_kg_per_m3", "standing_density_kg_per_m3", "soaked_anion_density_kg_per_m3",
    "anion_floats_frac", "soaked_anion_floats_frac", "cation_sinks_frac", "solution_height_m", "clear_height_m", "parting_time_s",
    "expansion_frac", "expanded_height_m", "bed_depth_m", "heating_duty_watt",
    "pressure_drop_pascal",
)  # fmt: skip
"""Figures of a step in the order a person needs them; others follow by name."""

_TOTALS_ORDER = (
    "resin_volume_m3", "bed_depth_m", "bed_fill_frac", "duration_s", "chemical_kg_100", "stock_kg", "stock_m3", "water_m3",
    "applied_eq", "eluted_eq", "regenerant_ratio_frac", "excess_eq", "regenerant_rate_eq_per_s", "leg_balance_frac",
    "legs_meet_rise_kelvin", "legs_meet_temperature_kelvin", "waste_m3", "waste_rise_kelvin", "waste_temperature_kelvin",
    "waste_ph", "waste_gypsum_index", "waste_calcite_index", "waste_brucite_index", "neutralizer_first_eq",
    "neutralizer_first_kg_100", "neutralizer_first_stock_m3", "neutralizer_second_eq", "neutralizer_second_kg_100",
    "neutralizer_second_stock_m3", "neutralization_rise_kelvin", "sensitivity_less_ph", "sensitivity_more_ph",
    "chloride_kg", "sodium_kg", "sulfate_kg", "calcium_kg", "magnesium_kg", "nitrate_kg", "ammonium_kg",
    "expected_capacity_eq_per_m3", "expected_efficiency_frac", "sodium_form_frac", "chloride_form_frac",
)  # fmt: skip
"""Totals in the order of their arithmetic; others follow by name."""


@dataclass(frozen=True, slots=True)
class Place:
    """What was worked out for one place of the sheet: totals, a leg, a step."""

    title: str
    settings: tuple[Estimate, ...]
    """Set by the recipe or on record; nothing was worked out."""
    worked: tuple[Estimate, ...]
    worked_before: tuple[tuple[Estimate, str], ...] = ()
    """What comes out as in an earlier place, with the title of that place."""


@dataclass(frozen=True, slots=True)
class Setting:
    """What every part of the sheet needs to know."""

    content: BatchSheetContent
    width: float
    system: str
    worked: tuple[Place, ...]
    cited: dict[str, int]
    """Number of each source in the list at the end, by key."""
    noted: dict[str, str]
    """Letter of each sentence that warns about a figure."""


def setting_of(content: BatchSheetContent, width: float, system: str) -> Setting:
    worked = _worked(content)
    estimates = [estimate for place in worked for estimate in (*place.settings, *place.worked)]
    keys = [c.source for step in content.plan.steps for c in step.cautions]
    keys += [limit.source for limit in content.specification.limits]
    keys += [estimate.source for estimate in estimates]
    numbers = {key: number for number, key in enumerate(dict.fromkeys(key for key in keys if key), start=1)}
    sentences = dict.fromkeys(warning for estimate in estimates for warning in estimate.warnings)
    letters = {sentence: _letter(index) for index, sentence in enumerate(sentences)}
    return Setting(content, width, system, worked, numbers, letters)


def _letter(index: int) -> str:
    """a to z, then aa, ab ..."""
    high, low = divmod(index, 26)
    return (chr(96 + high) if high else "") + chr(97 + low)


def figure_place(key: str) -> tuple[int, str]:
    """Sort key of a figure."""
    return (FIGURE_ORDER.index(key) if key in FIGURE_ORDER else len(FIGURE_ORDER), key)


def _total_place(key: str) -> tuple[int, str]:
    plain = key.partition(":")[0]
    return (_TOTALS_ORDER.index(plain) if plain in _TOTALS_ORDER else len(_TOTALS_ORDER), key)


def leg_of_total(key: str) -> Leg:
    """The leg a total belongs to; the whole bed for all others."""
    tail = key.partition(":")[2]
    return Leg(tail) if tail in (Leg.CATION.value, Leg.ANION.value) else Leg.WHOLE


def _worked(content: BatchSheetContent) -> tuple[Place, ...]:
    """Every figure and total of the plan, by place. One that stands in two places is worked where it stands first."""
    totals = content.plan.totals
    ordered = sorted(totals, key=_total_place)
    places = [("Totals", [totals[key] for key in ordered if leg_of_total(key) is Leg.WHOLE])]
    for leg in (Leg.CATION, Leg.ANION):
        places.append((f"Totals, {leg.label}", [totals[key] for key in ordered if leg_of_total(key) is leg]))
    for step in content.plan.steps:
        keys = sorted(step.figures, key=figure_place)
        of_leg = (
            f", {step.leg.label}" if step.leg is not Leg.WHOLE and step.leg.label not in step.name else ""
        )
        places.append((f"{step.number} · {step.name}{of_leg}", [step.figures[key] for key in keys]))
    seen: dict[Estimate, str] = {}
    found = []
    for title, estimates in places:
        settings = tuple(estimate for estimate in estimates if not estimate.inputs)
        own = [estimate for estimate in dict.fromkeys(estimates) if estimate.inputs]
        before = tuple((estimate, seen[estimate]) for estimate in own if estimate in seen)
        fresh = tuple(estimate for estimate in own if estimate not in seen)
        seen.update(dict.fromkeys(fresh, title))
        if settings or fresh or before:
            found.append(Place(title, settings, fresh, before))
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
