"""Totals of the batch: what is used with blanks for what was, the waste, and what is expected afterwards."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from regenplant import units
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.process.vocabulary import Leg
from regenplant.documents.batch_sheet_setting import Setting, leg_of_total, margin_word, section
from regenplant.documents.faces import BODY, LABEL, SMALL, STRONG, Span
from regenplant.documents.flow import Block, Item, nothing, paragraph
from regenplant.documents.parts import Column, Named, blank, cell, grid, marked, table_head, table_row
from regenplant.documents.texts import headed, other, own

NEUTRALIZE = (
    "Give the first part, mix, measure. The measured pH decides how much of the second part follows; "
    "never give both at once."
)
_IN_TABLE = (
    "chemical_kg_100:", "stock_kg:", "stock_m3:", "water_m3:", "waste_m3", "waste_temperature_kelvin", "excess_eq",
    "excess_eq:", "waste_ph:", "waste_ph", "neutralizer_first_kg_100", "neutralizer_first_stock_m3",
    "neutralizer_second_kg_100", "neutralizer_second_stock_m3", "chloride_kg", "sodium_kg", "sulfate_kg", "ammonium_kg",
)  # fmt: skip
"""Totals of the table in their order; one that ends with a colon stands for all of its kind."""
_USED = (
    "stock_kg:", "stock_m3:", "water_m3:", "waste_m3", "waste_ph", "neutralizer_first_stock_m3", "neutralizer_second_stock_m3",
)  # fmt: skip
"""Totals beside which a person writes what was really used."""
_AFTERWARDS = (
    "eluted_eq", "applied_eq", "regenerant_ratio_frac", "eluted_eq:", "applied_eq:", "regenerant_ratio_frac:",
    "expected_capacity_eq_per_m3", "expected_capacity_eq_per_m3:", "expected_efficiency_frac", "expected_efficiency_frac:",
    "sodium_form_frac", "chloride_form_frac", "expected_hardness_leakage_kg_per_m3", "expected_sodium_leakage_kg_per_m3",
    "expected_sodium_rise", "expected_chloride_leakage_kg_per_m3", "expected_chloride_rise", "expected_ph",
    "expected_conductivity_siemens_per_m",
    "expected_resistivity_ohm_m",
)  # fmt: skip
_LOADS = ("chloride_kg", "sodium_kg", "sulfate_kg", "ammonium_kg")
NO_NEUTRALIZER = (
    "No neutralizer is planned: alone, the mixed waste comes inside the permit. The measured pH decides."
)
LOADS_WITHOUT_RESIN = (
    "The loads count regenerant and neutralizer. What came off the resin comes on top; without a feed analysis it is not "
    "known ion by ion."
)
ESTIMATES = (
    "Estimates of the plan, not limits: the readings decide. How each was found stands in the working."
)


def items(setting: Setting) -> list[Item]:
    return [*_table(setting), *_neutralizing(setting), *_afterwards(setting)]


def _ordered(totals: Mapping[str, Estimate], order: Sequence[str]) -> list[str]:
    def fits(start: str, key: str) -> bool:
        return key.startswith(start) if start.endswith(":") else key == start

    def place(key: str) -> tuple[str, int]:
        return (
            key if leg_of_total(key) is Leg.WHOLE else key.partition(":")[0],
            list(Leg).index(leg_of_total(key)),
        )

    keys = sorted(totals, key=place)
    return [key for start in order for key in keys if fits(start, key)]


def _name(key: str, total: Estimate) -> str:
    """The name, with the leg it belongs to."""
    leg = leg_of_total(key)
    name = headed(total.name)
    return name if leg is Leg.WHOLE or leg.label in name else f"{name}, {leg.label}"


def _table(setting: Setting) -> list[Item]:
    totals = setting.content.plan.totals
    columns = (
        Column("For the whole batch", setting.width - 72 - 72 - 118),
        Column("Planned", 72, at_right=True),
        Column("", 72, at_right=True),
        Column("Used, by level or meter", 118),
    )
    head = table_head(columns)
    found = [section("Totals", setting.width, margin_word("Totals")), Item(head, keep=True, gap=2)]
    for index, key in enumerate(_worth_a_row(totals)):
        row = _row(key, totals[key], columns, setting.system)
        found.append(Item(row, keep=index < 2, repeat=(head,)))
    return found


def _worth_a_row(totals: Mapping[str, Estimate]) -> list[str]:
    """Totals of the table without the neutralizers and loads that are nothing: "0.0 kg" would read as measured."""
    return [
        key
        for key in _ordered(totals, _IN_TABLE)
        if totals[key].value != 0.0 or not key.startswith((*_LOADS, "neutralizer"))
    ]


def _row(key: str, total: Estimate, columns: Sequence[Column], system: str) -> Block:
    asks = key.startswith(_USED)
    unit = units.unit_text(total.kind, system) if total.kind else total.unit
    least = 19.0 if asks else 0.0
    return table_row(
        (
            cell(_name(key, total), columns[0]),
            cell(own(total.value, total.kind, total.unit, system), columns[1], STRONG),
            cell(other(total.value, total.kind, system), columns[2], BODY),
            blank(columns[3].width, least - 1, unit, style=SMALL) if asks else nothing(0),
        ),
        columns,
        least=least,
        pad=1.5,
    )


def _neutralizing(setting: Setting) -> list[Item]:
    """In two parts by the pH meter, and how little a volume is worth beside it."""
    totals = setting.content.plan.totals
    found: list[Item] = []
    if any(key in totals and totals[key].name.endswith("regenerant and neutralizer") for key in _LOADS):
        found.append(Item(marked("waiting", (Span(LOADS_WITHOUT_RESIN, BODY),), setting.width), gap=4))
    first = totals.get("neutralizer_first_kg_100")
    if first is None:
        return found
    if first.value == 0.0:
        return [*found, Item(marked("waiting", (Span(NO_NEUTRALIZER, BODY),), setting.width), gap=2)]
    words = (Span(NEUTRALIZE, STRONG), Span(_neutralizer_stock(setting, first), BODY))
    found.append(Item(marked("check", words, setting.width), gap=4))
    less, more = totals.get("sensitivity_less_ph"), totals.get("sensitivity_more_ph")
    if less is not None and more is not None:
        low, high = (own(e.value, e.kind, e.unit, setting.system) for e in (less, more))
        sensitive = f"{headed(less.name)}: {low}; {more.name}: {high}. No volume replaces the pH meter."
        found.append(Item(marked("waiting", (Span(sensitive, BODY),), setting.width), gap=2))
    return found


def _neutralizer_stock(setting: Setting, first: Estimate) -> str:
    """Which stock the volumes are of: "Stock: lot HCL-118, 32 % HCl."; "" where none is on record."""
    for stock in setting.content.plan.request.stock.values():
        if first.name.startswith(f"{stock.chemical.formula} "):
            strength = own(stock.strength_frac, "strength", "", setting.system)
            return f" Stock: lot {stock.lot_code}, {strength} {stock.chemical.formula}."
    return ""


def _afterwards(setting: Setting) -> list[Item]:
    totals = setting.content.plan.totals
    keys = _ordered(totals, _AFTERWARDS)
    if not keys:
        return []
    entries = [_expected(key, totals[key], setting.system) for key in keys]
    return [
        section("Load, dose and what to expect", setting.width, margin_word("Expected")),
        Item(paragraph(ESTIMATES, LABEL, setting.width), keep=True),
        Item(grid(entries, setting.width, 4, gap=3, value_style=STRONG), gap=3),
    ]


def _expected(key: str, total: Estimate, system: str) -> Named:
    frac = total.uncertainty_frac
    doubt = f"about ±{units.format_number(100 * frac, digits=2, decimals=0)} %" if frac else ""
    second = " · ".join(part for part in (other(total.value, total.kind, system), doubt) if part)
    return Named(_name(key, total), own(total.value, total.kind, total.unit, system), second)
