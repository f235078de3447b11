"""Safety data sheets: revisions, and codes as the supplier prints them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import date, timedelta
from typing import Any

import pytest

from regenplant.audit.by import By
from regenplant.chemicals import services
from regenplant.chemicals.models import ChemicalLot, DataSheet, Place
from regenplant.chemicals.services import DataSheetContent
from regenplant.chemicals.statements import STATEMENTS, statements_of
from regenplant.core.errors import DomainError, NotAllowed, RecordRefused
from regenplant.people.models import Person
from tests.conftest import Clock

Acts = Callable[..., By]
SHEET = DataSheetContent(
    "hcl", "Northfold (invented)", date(2025, 3, 1), "32 %", "Danger", ("H290", "H314", "H335"), ("P280", "P305+P351+P338"),
    ("GHS05", "GHS07"), "UN1789", "II", "Face shield, gauntlets",
)  # fmt: skip


@pytest.mark.requirement("CS-07")
def test_a_newer_revision_takes_the_place_of_the_older(safety_lead: Person, by: Acts) -> None:
    first = services.add_data_sheet(by=by(safety_lead), sheet=SHEET).result
    second = services.add_data_sheet(
        by=by(safety_lead), sheet=replace(SHEET, revised_on=date(2025, 9, 1))
    ).result
    assert [(sheet.pk, sheet.is_in_force) for sheet in DataSheet.objects.order_by("pk")] == [
        (first.pk, False),
        (second.pk, True),
    ]


def test_another_supplier_or_strength_stands_beside_it(safety_lead: Person, by: Acts) -> None:
    for sheet in (SHEET, replace(SHEET, supplier="Other (invented)"), replace(SHEET, strength_text="36 %")):
        services.add_data_sheet(by=by(safety_lead), sheet=sheet)
    assert DataSheet.objects.filter(is_in_force=True).count() == 3


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"chemical": "bleach"}, "chemical"),
        ({"supplier": ""}, "supplier"),
        ({"strength_text": ""}, "strength_text"),
        ({"signal_word": "Beware"}, "signal_word"),
        ({"signal_word": ""}, "signal_word"),
        ({"hazard_codes": ("314",)}, "hazard_codes"),
        ({"precaution_codes": ("P28",)}, "precaution_codes"),
        ({"pictograms": ("GHS10",)}, "pictograms"),
        ({"un_number": "UN1789 or UN1790"}, "un_number"),
        ({"protective_equipment": "x" * 301}, "protective_equipment"),
    ],
)
def test_a_sheet_that_cannot_be_is_refused(
    safety_lead: Person, by: Acts, change: dict[str, Any], field: str
) -> None:
    with pytest.raises(DomainError) as refused:
        services.add_data_sheet(by=by(safety_lead), sheet=replace(SHEET, **change))
    assert refused.value.field == field and not DataSheet.objects.exists()


def test_a_sheet_is_neither_of_tomorrow_nor_older_than_the_one_on_file(
    safety_lead: Person, by: Acts, clock: Clock
) -> None:
    with pytest.raises(RecordRefused, match="still to come"):
        services.add_data_sheet(
            by=by(safety_lead), sheet=replace(SHEET, revised_on=clock.now.date() + timedelta(days=1))
        )
    services.add_data_sheet(by=by(safety_lead), sheet=SHEET)
    with pytest.raises(RecordRefused, match="is not newer"):
        services.add_data_sheet(by=by(safety_lead), sheet=SHEET)


@pytest.mark.parametrize("who", ["operator", "qc_technician", "planner", "outsider"])
def test_who_may_not_add_a_sheet_is_refused(request: pytest.FixtureRequest, by: Acts, who: str) -> None:
    with pytest.raises(NotAllowed):
        services.add_data_sheet(by=by(request.getfixturevalue(who)), sheet=SHEET)


def test_a_delivery_names_a_sheet_in_force(
    tank: Place, safety_lead: Person, operator: Person, by: Acts
) -> None:
    sheet = services.add_data_sheet(by=by(safety_lead), sheet=SHEET).result
    delivery: dict[str, Any] = {
        "chemical": "hcl", "certificate_strength_frac": 0.32, "place_id": tank.pk, "grams_100": 1000, "data_sheet_id": sheet.pk,
        "is_packaged": True,
    }  # fmt: skip
    lot = services.receive_delivery(by=by(operator), code="A-1", **delivery).result
    assert lot.data_sheet == sheet
    with pytest.raises(RecordRefused, match="The reason"):
        services.withdraw_data_sheet(by=by(safety_lead), data_sheet_id=sheet.pk, reason="")
    services.withdraw_data_sheet(by=by(safety_lead), data_sheet_id=sheet.pk, reason="Supplier changed")
    with pytest.raises(RecordRefused, match="no longer in force"):
        services.receive_delivery(by=by(operator), code="A-2", **delivery)
    with pytest.raises(RecordRefused, match="not in force any more"):
        services.withdraw_data_sheet(by=by(safety_lead), data_sheet_id=sheet.pk, reason="Supplier changed")
    assert ChemicalLot.objects.get().data_sheet == sheet  # the lot keeps its own


def test_a_code_without_a_read_text_refers_to_the_sheet() -> None:
    assert statements_of(["H314", "H999"]) == [
        ("H314", STATEMENTS["H314"]),
        ("H999", "text on the data sheet"),
    ]
