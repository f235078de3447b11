"""Reporting thresholds against what was read of them, and spilled volumes against arithmetic from general tables."""

from __future__ import annotations

import pytest

from regenplant.core.engineering.solutions import mass_concentration
from regenplant.core.engineering.sources import HowKnown, source
from regenplant.core.process.thresholds import KG_PER_LB, Counted, Threshold, ThresholdKind, reference_for
from regenplant.core.process.vocabulary import Chemical
from tests.core.reference_rows import Row, rows

FORMULAS = {"HCl": "hcl", "H2SO4": "h2so4", "NaOH": "naoh", "NaOCl": "naocl"}
KINDS = {
    "reportable quantity": ThresholdKind.RELEASE,
    "threshold planning quantity": ThresholdKind.PLANNING,
    "inventory that is reported": ThresholdKind.INVENTORY,
}
STATED = "^reportable|planning|inventory"
AT_KELVIN = 293.15
M3_PER_US_GAL = 3.785411784e-3
"""231 cubic inches, by definition."""


def figure(row: Row) -> Threshold:
    (formula,) = row.numbers(r"^(\w+)")
    found = reference_for(Chemical(FORMULAS[formula]), KINDS[row.quantity])
    assert found is not None, row.id
    return found


@pytest.mark.parametrize("row", rows("reporting_thresholds", quantity=STATED))
def test_a_figure_is_as_its_source_states_it(row: Row) -> None:
    found = figure(row)
    row.check(found.limit_kg / KG_PER_LB)
    assert source(found.source).how_known is HowKnown.READ
    assert found.counted is (Counted.PRODUCT if "as product" in row.inputs else Counted.PURE)


@pytest.mark.parametrize("row", rows("reporting_thresholds", quantity=STATED, memory=True))
def test_a_figure_from_memory_says_so(row: Row) -> None:
    found = figure(row)
    row.check(found.limit_kg / KG_PER_LB)
    assert "from memory" in found.citation


@pytest.mark.requirement("EV-05")
@pytest.mark.parametrize("row", rows("reporting_thresholds", quantity="volume that holds"))
def test_a_volume_of_product_comes_to_the_reportable_quantity(row: Row) -> None:
    formula, percent = row.numbers(r"(\w+) (\d+) wt%")
    per_m3 = mass_concentration(FORMULAS[formula], float(percent) / 100.0, AT_KELVIN).value
    limit = reference_for(Chemical(FORMULAS[formula]), ThresholdKind.RELEASE)
    assert limit is not None
    row.check(limit.limit_kg / per_m3 / M3_PER_US_GAL)
