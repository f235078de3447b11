"""The sheet has a line for each tank where a limit is measured on each, and its least rinse is the strictest asked for."""

from __future__ import annotations

from dataclasses import replace

from regenplant.core.process.specification import Limit
from regenplant.documents.batch_sheet import draw_batch_sheet
from regenplant.documents.batch_sheet_qc import rinse_span
from regenplant.documents.page import PAGE_SIZES
from tests.documents import examples
from tests.documents.reading import overprinted, plain, whole_text

SODIUM = Limit("sodium", "Sodium", "concentration", high=1e-3, source="trade_practice", each_tank=True)


def test_every_tank_has_its_line() -> None:
    content = examples.content_of("H-HCL-100", count=3)
    own = replace(content.specification, limits=(*content.specification.limits, SODIUM))
    sheet = draw_batch_sheet(replace(content, specification=own), PAGE_SIZES["a4"], "metric")
    text = plain(whole_text(sheet))
    for tank in content.tanks:
        assert f"Sodium, {tank.serial}" in text
    assert text.count("On the filled tank, before the release") == 3
    assert overprinted(sheet) == []


def test_the_least_rinse_is_the_most_that_any_limit_of_the_rinse_asks_for() -> None:
    content = examples.content_of("H-HCL-100", count=3)
    limits = tuple(
        replace(limit, minimum_rinse_bv=9.0) if limit.measurement == "conductivity" else limit
        for limit in content.specification.limits
    )
    assert rinse_span(replace(content, specification=replace(content.specification, limits=limits)))[0] == 9.0
