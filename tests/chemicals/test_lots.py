"""Deliveries, strength checks and the lot in use."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from django.db import DatabaseError, IntegrityError, transaction

from regenplant.audit.by import By
from regenplant.audit.selectors import story
from regenplant.chemicals import selectors, services
from regenplant.chemicals.models import ChemicalLot, Movement, Place, StrengthCheck
from regenplant.core.errors import DomainError, NotAllowed, OutOfRange, RecordRefused
from regenplant.people.models import Person
from tests.conftest import Clock

Acts = Callable[..., By]
DELIVERY: dict[str, Any] = {
    "code": "A-118",
    "chemical": "hcl",
    "certificate_strength_frac": 0.315,
    "grams_100": 400_000,
    "is_packaged": True,
}


# --- receiving --------------------------------------------------------------------------------------------------------
def test_a_delivery_is_a_lot_and_a_movement_from_the_supplier(
    tank: Place, operator: Person, second_operator: Person, by: Acts
) -> None:
    lot = services.receive_delivery(
        by=by(operator), place_id=tank.pk, connection_checked_by_id=second_operator.pk, **DELIVERY
    ).result
    movement = Movement.objects.get(lot=lot)
    assert (movement.from_place.kind, movement.to_place, movement.grams_100) == ("supplier", tank, 400_000)
    assert not lot.is_in_use
    assert story([("chemical_lot", str(lot.pk))])[0].sentence.endswith(
        f"packages checked by {second_operator.full_name}"
    )


@pytest.mark.parametrize(
    ("change", "field", "words"),
    [
        ({"code": ""}, "code", "is empty"),
        ({"code": "A 118"}, "code", "no label carries"),
        ({"chemical": "bleach"}, "chemical", "not known"),
        ({"certificate_strength_frac": 31.5}, "certificate_strength_frac", "possible is"),
        ({"certificate_strength_frac": 0.0}, "certificate_strength_frac", "possible is"),
        ({"grams_100": 0}, "quantity", "cannot be"),
        ({"grams_100": -5}, "quantity", "cannot be"),
        ({"grams_100": 10**12}, "quantity", "Do not unload more"),
        ({"supplier_lot": "x" * 61}, "supplier_lot", "at most 60"),
        ({"place_id": 0}, "place", "bulk tank"),
        ({"data_sheet_id": 99}, "data_sheet", "not one of this chemical"),
    ],
)
def test_a_delivery_that_cannot_be_is_refused(
    tank: Place, operator: Person, by: Acts, change: dict[str, Any], field: str, words: str
) -> None:
    with pytest.raises(DomainError, match=words) as refused:
        services.receive_delivery(by=by(operator), **{"place_id": tank.pk, **DELIVERY, **change})
    assert refused.value.field == field
    assert not ChemicalLot.objects.exists() and not Movement.objects.exists()


@pytest.mark.requirement("CS-01")
def test_acid_papers_at_a_caustic_tank_stop_everything(
    tank: Place, supervisor: Person, operator: Person, by: Acts
) -> None:
    caustic = services.add_place(
        by=by(supervisor), code="T-NAOH", name="Caustic", kind="bulk_tank", chemical="naoh"
    ).result
    with pytest.raises(RecordRefused, match="Connect nothing") as refused:
        services.receive_delivery(by=by(operator), place_id=caustic.pk, **DELIVERY)
    assert refused.value.code == "wrong_tank"


@pytest.mark.requirement("CS-01")
def test_more_than_the_tank_takes_is_refused(
    in_use: ChemicalLot, tank: Place, operator: Person, by: Acts
) -> None:
    """3 000 kg as 100 % of 32 % acid take 3000 / (0.32 · 1159) = 8.09 m³ of 12 m³: hand calculation. 3.9 m³ are free."""
    with pytest.raises(OutOfRange, match="Do not unload more than there is room for") as refused:
        services.receive_delivery(by=by(operator), place_id=tank.pk, **{**DELIVERY, "grams_100": 1_500_000})
    assert refused.value.context["seen"] == pytest.approx(
        3000 / (0.32 * 1159) + 1500 / (0.315 * 1156.5), rel=5e-3
    )
    services.receive_delivery(by=by(operator), place_id=tank.pk, **{**DELIVERY, "grams_100": 1_400_000})


@pytest.mark.requirement("CS-01")
def test_the_second_person_is_another_person(tank: Place, operator: Person, by: Acts) -> None:
    with pytest.raises(RecordRefused, match="somebody else than yourself"):
        services.receive_delivery(
            by=by(operator), place_id=tank.pk, connection_checked_by_id=operator.pk, **DELIVERY
        )


def test_a_lot_code_is_used_once(delivered: ChemicalLot, tank: Place, operator: Person, by: Acts) -> None:
    with pytest.raises(RecordRefused, match="Chemical lot A-117 exists already"):
        services.receive_delivery(by=by(operator), place_id=tank.pk, **{**DELIVERY, "code": "a-117"})


@pytest.mark.parametrize("who", ["qc_technician", "planner", "outsider"])
def test_who_may_not_receive_is_refused(
    request: pytest.FixtureRequest, tank: Place, by: Acts, who: str
) -> None:
    with pytest.raises(NotAllowed):
        services.receive_delivery(by=by(request.getfixturevalue(who)), place_id=tank.pk, **DELIVERY)


def test_the_database_freezes_a_certificate(delivered: ChemicalLot) -> None:
    with pytest.raises(DatabaseError, match="frozen"), transaction.atomic():
        ChemicalLot.objects.filter(pk=delivered.pk).update(certificate_strength_frac=0.36)


# --- strength ---------------------------------------------------------------------------------------------------------
# Density at 20 °C and 1 atm against weight percent.
# HCl: hydrochloric acid property table; NaCl: Poradnik fizykochemiczny (WNT, Warszawa 1974), both read.
READ = [
    ("hcl", 1149.0, 0.30, 0.003),
    ("hcl", 1159.0, 0.32, 0.003),
    ("hcl", 1179.0, 0.36, 0.003),
    ("nacl", 1070.7, 0.10, 0.0015),
    ("nacl", 1147.8, 0.20, 0.0015),
]


@pytest.mark.parametrize(("chemical", "density", "strength", "tolerance"), READ)
def test_a_density_gives_the_strength_of_the_read_tables(
    supervisor: Person,
    operator: Person,
    qc_technician: Person,
    by: Acts,
    chemical: str,
    density: float,
    strength: float,
    tolerance: float,
) -> None:
    place = services.add_place(
        by=by(supervisor), code="T", name="Tank", kind="bulk_tank", chemical=chemical
    ).result
    lot = services.receive_delivery(
        by=by(operator),
        code="L-1",
        chemical=chemical,
        certificate_strength_frac=0.25,
        place_id=place.pk,
        grams_100=1000,
        is_packaged=True,
    ).result
    outcome = services.check_strength(
        by=by(qc_technician), lot_id=lot.pk, temperature_kelvin=293.15, value_as_typed=f"{density:g}",
        unit_as_typed="kg/m3", density_kg_per_m3=density,
    )  # fmt: skip
    check = outcome.result
    assert check.strength_frac == pytest.approx(strength, abs=tolerance)
    assert (check.method, check.value_as_typed, check.density_kg_per_m3) == (
        "density",
        f"{density:g}",
        density,
    )
    assert "Laliberté" in outcome.facts["method"]  # the method is said, not only the number


def test_a_baume_hydrometer_is_read_at_the_temperature_of_the_sample(
    delivered: ChemicalLot, qc_technician: Person, by: Acts
) -> None:
    """20 °Bé is SG 145/125 = 1.160 at 60 °F, about 1 159 kg/m³: the trade's 20 °Bé acid of 31.45 % (memory) within 0.5 points."""
    check = services.check_strength(
        by=by(qc_technician),
        lot_id=delivered.pk,
        temperature_kelvin=288.706,
        value_as_typed="20",
        unit_as_typed="°Bé",
        baume_degrees=20.0,
    ).result
    assert check.method == "baume"
    assert check.density_kg_per_m3 == pytest.approx(1.160 * 999.0, rel=1e-3)
    assert check.strength_frac == pytest.approx(0.3145, abs=0.005)


def test_a_titration_is_taken_as_it_is(delivered: ChemicalLot, qc_technician: Person, by: Acts) -> None:
    check = services.check_strength(
        by=by(qc_technician),
        lot_id=delivered.pk,
        temperature_kelvin=293.15,
        value_as_typed="31.7",
        unit_as_typed="%",
        strength_frac=0.317,
    ).result
    assert (check.method, check.strength_frac, check.density_kg_per_m3) == ("titration", 0.317, None)


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({}, "one of the three"),
        ({"baume_degrees": 20.0, "strength_frac": 0.32}, "one of the three"),
        ({"density_kg_per_m3": 950.0}, "density of HCl"),
        ({"density_kg_per_m3": 1525.0}, "density of HCl"),
        ({"strength_frac": 0.0}, "Less than that is water"),
        ({"strength_frac": 1.2}, "possible is"),
        ({"density_kg_per_m3": 1159.0, "temperature_kelvin": 400.0}, "temperature of the sample"),
        ({"density_kg_per_m3": 1159.0, "value_as_typed": ""}, "is empty"),
    ],
)
def test_a_check_that_cannot_be_is_refused(
    delivered: ChemicalLot, qc_technician: Person, by: Acts, change: dict[str, Any], words: str
) -> None:
    arguments = {"temperature_kelvin": 293.15, "value_as_typed": "1159", "unit_as_typed": "kg/m3", **change}
    with pytest.raises(DomainError, match=words):
        services.check_strength(by=by(qc_technician), lot_id=delivered.pk, **arguments)
    assert not StrengthCheck.objects.exists()


@pytest.mark.parametrize("who", ["planner", "safety_lead", "outsider"])
def test_who_may_not_check_is_refused(
    request: pytest.FixtureRequest, delivered: ChemicalLot, by: Acts, who: str
) -> None:
    with pytest.raises(NotAllowed):
        services.check_strength(
            by=by(request.getfixturevalue(who)), lot_id=delivered.pk, temperature_kelvin=293.15, value_as_typed="32",
            unit_as_typed="%", strength_frac=0.32,
        )  # fmt: skip


# --- in use -----------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("CS-05")
def test_a_lot_never_checked_is_not_used(delivered: ChemicalLot, qc_technician: Person, by: Acts) -> None:
    with pytest.raises(RecordRefused, match="never the certificate: check it first"):
        services.put_lot_in_use(by=by(qc_technician), lot_id=delivered.pk)


@pytest.mark.parametrize(("days", "is_allowed"), [(7, True), (8, False)])
def test_a_check_holds_as_many_days_as_the_plant_says(
    delivered: ChemicalLot, qc_technician: Person, by: Acts, clock: Clock, days: int, is_allowed: bool
) -> None:
    services.check_strength(
        by=by(qc_technician),
        lot_id=delivered.pk,
        temperature_kelvin=293.15,
        value_as_typed="32",
        unit_as_typed="%",
        strength_frac=0.32,
    )
    clock.forward(days=days, hours=1)
    if is_allowed:
        assert services.put_lot_in_use(by=by(qc_technician), lot_id=delivered.pk).result.is_in_use
        return
    with pytest.raises(RecordRefused, match="8 days old, at most 7"):
        services.put_lot_in_use(by=by(qc_technician), lot_id=delivered.pk)


def test_the_lot_before_is_finished(
    in_use: ChemicalLot, tank: Place, operator: Person, qc_technician: Person, by: Acts
) -> None:
    second = services.receive_delivery(by=by(operator), place_id=tank.pk, **DELIVERY).result
    services.check_strength(
        by=by(qc_technician),
        lot_id=second.pk,
        temperature_kelvin=293.15,
        value_as_typed="31.8",
        unit_as_typed="%",
        strength_frac=0.318,
    )
    services.put_lot_in_use(by=by(qc_technician), lot_id=second.pk)
    in_use.refresh_from_db()
    assert (in_use.is_in_use, in_use.is_finished) == (False, True)
    with pytest.raises(RecordRefused, match="finished"):
        services.put_lot_in_use(by=by(qc_technician), lot_id=in_use.pk)
    with pytest.raises(RecordRefused, match="in use already"):
        services.put_lot_in_use(by=by(qc_technician), lot_id=second.pk)


def test_the_database_refuses_two_lots_in_use(
    in_use: ChemicalLot, tank: Place, operator: Person, by: Acts
) -> None:
    second = services.receive_delivery(by=by(operator), place_id=tank.pk, **DELIVERY).result
    with pytest.raises(IntegrityError), transaction.atomic():
        ChemicalLot.objects.filter(pk=second.pk).update(is_in_use=True)


# --- for plans --------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("CS-05")
def test_a_plan_uses_what_the_plant_found_never_the_certificate(in_use: ChemicalLot, clock: Clock) -> None:
    stock = selectors.stock_data(clock.now)["hcl"]
    assert stock.strength_frac == pytest.approx(0.32, abs=0.003) and stock.strength_frac != 0.32
    assert (stock.lot_code, stock.density_kg_per_m3, stock.temperature_kelvin) == ("A-117", 1159.0, 293.15)
    assert (stock.available_kg_100, stock.check_age_days, stock.max_check_age_days) == (3000.0, 0.0, 7.0)


def test_the_age_of_a_check_is_floored_so_that_a_plan_stays_the_same_all_day(
    in_use: ChemicalLot, clock: Clock
) -> None:
    first = selectors.stock_data(clock.forward(hours=25))["hcl"]
    assert first.check_age_days == 1.0
    assert selectors.stock_data(clock.forward(hours=20))["hcl"] == first


def test_a_lot_not_in_use_is_no_stock_for_a_plan(delivered: ChemicalLot, clock: Clock) -> None:
    assert selectors.stock_data(clock.now) == {}


def test_the_board_says_what_needs_a_person(
    in_use: ChemicalLot, clock: Clock, django_assert_max_num_queries: Callable[..., Any]
) -> None:
    with django_assert_max_num_queries(8):
        (line,) = selectors.stock_board(clock.now)
    assert (line.problem, line.is_low, line.kg_100) == ("", False, 3000.0)
    (line,) = selectors.stock_board(clock.forward(days=8))
    assert (
        line.problem
        == "Strength check of lot A-117 is 8 days old, at most 7. Check it before the next start."
    )


def test_the_board_says_when_stock_is_low(
    in_use: ChemicalLot, operator: Person, by: Acts, clock: Clock
) -> None:
    services.draw_for_batch(by=by(operator), chemical="hcl", grams_100=2_200_001, reference="B-10001")
    (line,) = selectors.stock_board(clock.now)
    assert line.is_low and line.problem.endswith("Order.")


def test_the_board_says_when_no_lot_is_in_use(delivered: ChemicalLot, clock: Clock) -> None:
    (line,) = selectors.stock_board(clock.now)
    assert "No lot of hydrochloric acid is in use" in line.problem
