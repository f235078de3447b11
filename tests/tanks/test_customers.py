"""Customers, sites, sizes and tanks."""

from __future__ import annotations

import math

import pytest

from regenplant.core.errors import DomainError, NotAllowed, OutOfRange, RecordRefused, StaleRecord
from regenplant.tanks import services
from regenplant.tanks.models import Customer, Tank
from tests.tanks.conftest import fresh

pytestmark = pytest.mark.django_db


def test_a_customer_is_added_with_a_code_in_capitals(plant):
    customer = services.add_customer(
        by=plant.by("planner"), code=" orb-1 ", name="Orbit Laundry", declared_service="linen"
    ).result
    assert (customer.code, customer.declared_service) == ("ORB-1", "linen")


@pytest.mark.parametrize(
    ("given", "field", "sentence"),
    [
        ({"code": ""}, "code", "is empty"),
        ({"code": "MOON"}, "code", "exists already"),
        ({"code": "moon"}, "code", "exists already"),
        ({"code": "a b"}, "code", "no label carries"),
        ({"code": "X" * 17}, "code", "at most 16"),
        ({"name": " "}, "name", "is empty"),
        ({"name": "N" * 121}, "name", "at most 120"),
        ({"declared_service": "s" * 201}, "declared_service", "at most 200"),
        ({"contact": "bell\x07"}, "contact", "no paper can show"),
    ],
)
def test_a_wrong_customer_is_refused_beside_its_field(plant, given, field, sentence):
    arguments = {"code": "ORB", "name": "Orbit Laundry"} | given
    with pytest.raises(DomainError, match=sentence) as refused:
        services.add_customer(by=plant.by("planner"), **arguments)
    assert refused.value.field == field
    assert Customer.objects.count() == 1


def test_a_site_stands_once_per_customer(plant):
    services.add_site(by=plant.by("planner"), customer_id=plant.customer.pk, name="Dock 9")
    with pytest.raises(RecordRefused, match="has a site named dock 9 already"):
        services.add_site(by=plant.by("planner"), customer_id=plant.customer.pk, name="dock 9")


def test_a_size_knows_its_cylinder(plant):
    """Outside check: gross volume of a 14 x 65 in cylinder, 164.0 L, in the reference table of tank sizes (geometry)."""
    size = services.add_tank_size(
        by=plant.by("planner"), code="14 x 65", diameter_m=0.3556, height_m=1.651, nominal_resin_m3=0.13
    ).result
    assert size.gross_m3 == pytest.approx(0.1640, abs=0.0001)


@pytest.mark.parametrize(
    ("given", "field"),
    [
        ({"diameter_m": 0.0}, "diameter_m"),
        ({"height_m": -1.0}, "height_m"),
        ({"nominal_resin_m3": math.inf}, "nominal_resin_m3"),
        ({"nominal_resin_m3": 0.2}, "nominal_resin_m3"),
    ],
)
def test_an_impossible_size_is_refused(plant, given, field):
    arguments = {
        "code": "9 x 48",
        "diameter_m": 0.2286,
        "height_m": 1.2192,
        "nominal_resin_m3": 0.042,
    } | given
    with pytest.raises(OutOfRange) as refused:
        services.add_tank_size(by=plant.by("planner"), **arguments)
    assert refused.value.field == field


def test_tanks_take_the_next_serial_of_the_plant(make_tank):
    assert [make_tank().serial for _ in range(3)] == ["T-20001", "T-20002", "T-20003"]


def test_the_series_goes_on_past_five_digits_and_other_serials_leave_it_alone(make_tank):
    make_tank(serial="T-99999")
    make_tank(serial="T-OLD7")
    assert make_tank().serial == "T-100000"


@pytest.mark.parametrize(
    ("given", "field", "sentence"),
    [
        ({"serial": "T 20 417!"}, "serial", "no label carries"),
        ({"serial": "V-30012"}, "serial", "reads as a visit"),
        ({"serial": "S" * 25}, "serial", "at most 24"),
        ({"segregation_class": "A", "dedicated_to_id": None}, "dedicated_to_id", "belongs to one customer"),
        ({"segregation_class": "Z"}, "segregation_class", "is not known"),
        ({"resin_volume_m3": 0.0}, "resin_volume_m3", "above zero"),
        ({"resin_volume_m3": 0.115}, "resin_volume_m3", "at most 95% of the cylinder"),
        ({"neck_band": "n" * 41}, "neck_band", "at most 40"),
    ],
)
def test_a_wrong_tank_is_refused_beside_its_field(plant, make_tank, given, field, sentence):
    with pytest.raises(DomainError, match=sentence) as refused:
        make_tank(**given)
    assert refused.value.field == field
    assert not Tank.objects.exists()


def test_a_serial_is_never_given_twice_in_any_spelling(make_tank):
    make_tank(serial="T-20417")
    with pytest.raises(RecordRefused, match="Tank T-20417 exists already"):
        make_tank(serial="t- 20417")


def test_only_planner_supervisor_and_administrator_register_tanks(plant, make_tank):
    for who in ("operator", "qc", "safety"):
        with pytest.raises(NotAllowed):
            services.add_tank(
                by=plant.by(who),
                size_id=plant.size.pk,
                resin_type_id=plant.types["sac_h"].pk,
                segregation_class="D",
            )


def change(plant, tank, **given):
    arguments = {
        "version": tank.version, "reason": "wrong tag", "resin_type_id": tank.resin_type_id,
        "resin_volume_m3": tank.resin_volume_m3, "neck_band": tank.neck_band,
    } | given  # fmt: skip
    return services.change_tank(by=plant.by("supervisor"), tank_id=tank.pk, **arguments)


def test_a_correction_holds_for_the_visit_at_the_dock_too(plant, at_dock):
    visit = at_dock(family="sac_h")
    change(plant, visit.tank, resin_type_id=plant.types["sba_1"].pk, resin_volume_m3=0.09)
    now = fresh(visit)
    assert (now.resin_type_id, now.resin_volume_form, now.resin_volume_m3) == (
        plant.types["sba_1"].pk,
        "Cl",
        0.09,
    )


def test_nothing_is_changed_once_the_resin_is_counted_in_a_pool(plant, at_dock):
    visit = at_dock(look=True)
    services.accept_tank(by=plant.by(), visit_id=visit.pk, segregation_class="D", version=visit.version)
    with pytest.raises(RecordRefused, match="its resin is counted"):
        change(plant, fresh(visit).tank, resin_volume_m3=0.09)


def test_a_stale_correction_is_refused_and_nothing_is_lost(plant, make_tank):
    tank = make_tank()
    change(plant, tank, neck_band="white")
    with pytest.raises(StaleRecord, match="was changed since you opened it"):
        change(plant, tank, neck_band="black")
    assert Tank.objects.get(pk=tank.pk).neck_band == "white"


def test_a_correction_needs_a_reason_and_a_difference(plant, make_tank):
    tank = make_tank()
    with pytest.raises(RecordRefused, match="The reason is empty"):
        change(plant, tank, reason="", neck_band="white")
    with pytest.raises(RecordRefused, match="nothing differs"):
        change(plant, tank)
