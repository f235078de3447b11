"""Counts: a level becomes a mass by shape, strength and temperature; a difference waits for a second person; wrong counts are replaced."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from django.db import DatabaseError, IntegrityError, transaction

from regenplant.audit.by import By
from regenplant.audit.selectors import story
from regenplant.chemicals import counts, services
from regenplant.chemicals.levels import EXPANSION_PER_KELVIN
from regenplant.chemicals.models import ChemicalLot, Movement, Place, StockCount, TankGeometry
from regenplant.chemicals.selectors import balance_grams
from regenplant.chemicals.services import GeometrySettings
from regenplant.core.engineering import solutions
from regenplant.core.errors import DomainError, NotAllowed, OutOfRange, RecordRefused, StaleRecord
from regenplant.people.authority import Role
from regenplant.people.models import Person
from tests import factories
from tests.conftest import Clock

Acts = Callable[..., By]

UPRIGHT = GeometrySettings(
    form="upright",
    diameter_m=2.0,
    length_m=4.0,
    level_tolerance_m=0.005,
    gauge="sight glass",
    origin="drawing of the tank",
)
"""12.57 m³; half a centimetre is 15.7 L."""


@pytest.fixture
def shaped(in_use: ChemicalLot, tank: Place, supervisor: Person, by: Acts) -> Place:
    """3 000 kg as 100 % of 32 % acid stand in it by the books."""
    services.set_tank_geometry(by=by(supervisor), place_id=tank.pk, settings=UPRIGHT)
    return tank


def strength() -> float:
    return solutions.strength_from_density("hcl", 1159.0, 293.15).value


def level_for(grams: int, kelvin: float = 293.15) -> float:
    """The level of a flat-bottomed tank of 2 m that holds this mass: by hand, from density and area."""
    density = solutions.density_kg_per_m3("hcl", strength(), kelvin)
    return grams / 1000.0 / (density * strength()) / math.pi


def counted(by: By, place: Place, level_m: float, kelvin: float = 293.15, **more: Any) -> StockCount:
    return services.count_level(
        by=by, place_id=place.pk, level_m=level_m, level_as_typed=f"{level_m:.4g}", unit_as_typed="m", temperature_kelvin=kelvin, **more
    ).result  # fmt: skip


def by_place() -> dict[str, int]:
    found: dict[str, int] = {}
    for move in Movement.objects.select_related("from_place", "to_place"):
        found[move.from_place.code] = found.get(move.from_place.code, 0) - move.grams_100
        found[move.to_place.code] = found.get(move.to_place.code, 0) + move.grams_100
    return found


# --- shape ------------------------------------------------------------------------------------------------------------
def test_a_shape_is_written_in_versions_and_each_stays(shaped: Place, supervisor: Person, by: Acts) -> None:
    wider = replace(UPRIGHT, diameter_m=2.1, origin="measured at the emptied tank")
    second = services.set_tank_geometry(
        by=by(supervisor), place_id=shaped.pk, settings=wider, number=1
    ).result
    assert [row.number for row in shaped.geometries.all()] == [2, 1] and second.diameter_m == 2.1
    assert "version 2: upright cylinder, holds 13" in story([("place", str(shaped.pk))])[-1].sentence
    for act in (
        lambda: TankGeometry.objects.filter(number=1).update(diameter_m=3.0),
        lambda: TankGeometry.objects.filter(number=1).delete(),
    ):
        with pytest.raises(DatabaseError, match="frozen"), transaction.atomic():
            act()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"form": "cone"}, "The shape “cone” is not known"),
        ({"ends": "dented"}, "The ends “dented” is not known"),
        ({"level_tolerance_m": 0.0}, "The tolerance of the gauge"),
        ({"level_tolerance_m": 0.5}, "The tolerance of the gauge"),
        ({"zero_above_bottom_m": -0.1}, "The height of the gauge’s zero"),
        ({"volume_tolerance_frac": 0.3}, "The tolerance of the tank"),
        ({"diameter_m": 200.0}, "diameter of the tank is 200 m"),
        ({"gauge": ""}, "What is read is empty"),
        ({"origin": ""}, "Where the figures come from"),
        ({"length_m": 3.5}, "This shape holds .* the capacity of T-HCL is set to"),
    ],
)
def test_a_shape_that_cannot_be_is_refused_whole(
    tank: Place, supervisor: Person, by: Acts, change: dict[str, Any], words: str
) -> None:
    with pytest.raises(DomainError, match=words):
        services.set_tank_geometry(by=by(supervisor), place_id=tank.pk, settings=replace(UPRIGHT, **change))
    assert not TankGeometry.objects.exists()


def test_a_shape_needs_the_right_and_the_page_as_it_stands(
    shaped: Place, supervisor: Person, operator: Person, by: Acts
) -> None:
    with pytest.raises(NotAllowed):
        services.set_tank_geometry(by=by(operator), place_id=shaped.pk, settings=UPRIGHT)
    with pytest.raises(StaleRecord, match="version 1 stands"):
        services.set_tank_geometry(by=by(supervisor), place_id=shaped.pk, settings=UPRIGHT, number=0)
    with pytest.raises(RecordRefused, match="Only a bulk tank"):
        services.set_tank_geometry(
            by=by(supervisor), place_id=Place.objects.get(kind="supplier").pk, settings=UPRIGHT
        )


def test_a_capacity_beyond_the_shape_is_refused(shaped: Place, supervisor: Person, by: Acts) -> None:
    values: dict[str, Any] = {"name": "Acid tank", "low_stock_grams_100": 0}
    with pytest.raises(RecordRefused, match="The shape of T-HCL holds"):
        services.change_place(by=by(supervisor), place_id=shaped.pk, capacity_m3=13.0, **values)
    services.change_place(by=by(supervisor), place_id=shaped.pk, capacity_m3=12.5, **values)


# --- a count by level -------------------------------------------------------------------------------------------------
def test_a_level_is_a_mass_by_strength_and_temperature(shaped: Place, operator: Person, by: Acts) -> None:
    """2.5 m in a tank of 2 m: 7.854 m³, at 10 °C by the density of the acid at 10 °C."""
    count = counted(by(operator), shaped, 2.5, 283.15)
    density = solutions.density_kg_per_m3("hcl", strength(), 283.15)
    assert count.volume_m3 == pytest.approx(2.5 * math.pi)
    assert count.found_grams_100 == pytest.approx(2.5 * math.pi * density * strength() * 1000.0, abs=1.0)
    assert count.strength_frac == strength() and count.strength_of == "A-117"
    warm = counted(by(operator), shaped, 2.5, 303.15)
    assert warm.found_grams_100 < count.found_grams_100


def test_the_zero_of_the_gauge_counts(shaped: Place, supervisor: Person, operator: Person, by: Acts) -> None:
    services.set_tank_geometry(
        by=by(supervisor), place_id=shaped.pk, settings=replace(UPRIGHT, zero_above_bottom_m=0.2)
    )
    assert counted(by(operator), shaped, 1.0).volume_m3 == pytest.approx(1.2 * math.pi)


def test_within_the_gauge_a_count_is_a_record_and_no_movement(
    shaped: Place, operator: Person, by: Acts
) -> None:
    count = counted(by(operator), shaped, level_for(3_000_000) + 0.004)
    assert count.is_within and count.spread_grams_100 >= abs(count.gap_grams_100) > 0
    assert Movement.objects.count() == 1 and not counts.open_differences()
    assert "they agree" in story([("stock_count", count.number)])[-1].sentence


def test_beyond_the_gauge_it_waits_and_moves_nothing(shaped: Place, operator: Person, by: Acts) -> None:
    count = counted(by(operator), shaped, level_for(2_900_000))
    assert not count.is_within and count.gap_grams_100 == pytest.approx(-100_000, abs=1)
    assert balance_grams("hcl", shaped) == 3_000_000
    assert [one.count for one in counts.open_differences()] == [count]


@pytest.mark.parametrize(
    ("level", "kelvin", "words"),
    [
        (4.1, 293.15, r"level in the tank is 4\.1 m; possible here is 0 to 4 m"),
        (-0.1, 293.15, "level in the tank"),
        (1.0, 500.0, "The temperature in the tank"),
    ],
)
def test_a_level_that_cannot_be_is_refused(
    shaped: Place, operator: Person, by: Acts, level: float, kelvin: float, words: str
) -> None:
    with pytest.raises(OutOfRange, match=words):
        counted(by(operator), shaped, level, kelvin)
    assert not StockCount.objects.exists()


def test_without_a_shape_or_a_checked_strength_a_level_says_nothing(
    tank: Place, delivered: ChemicalLot, supervisor: Person, operator: Person, by: Acts
) -> None:
    with pytest.raises(RecordRefused, match="The shape of T-HCL is not on record"):
        counted(by(operator), tank, 1.0)
    services.set_tank_geometry(by=by(supervisor), place_id=tank.pk, settings=UPRIGHT)
    with pytest.raises(RecordRefused, match=r"Nobody at the plant has checked the strength .*\(lot A-117\)"):
        counted(by(operator), tank, 1.0)


def test_who_may_count(shaped: Place, operator: Person, planner: Person, by: Acts) -> None:
    with pytest.raises(NotAllowed):
        counted(by(planner), shaped, 1.0)
    with pytest.raises(NotAllowed):
        services.count_stock(by=by(planner), place_id=shaped.pk, counted_grams_100=1, reason="weighed out")
    assert counted(by(operator), shaped, level_for(3_000_000)).counted_by == operator


def test_a_solution_no_table_knows_takes_the_density_of_its_check(
    supervisor: Person, operator: Person, qc_technician: Person, by: Acts, tank: Place
) -> None:
    """Bleach: titrated 12.5 % with 1,210 kg/m³ at 20 °C; 1 m³ box at 25 °C."""
    place = services.add_place(
        by=by(supervisor), code="T-BL", name="Tote", kind="bulk_tank", chemical="naocl", capacity_m3=1.0
    ).result
    box = GeometrySettings(
        form="box", length_m=1.0, width_m=1.0, height_m=1.0, level_tolerance_m=0.01, gauge="dip stick", origin="measured inside"
    )  # fmt: skip
    services.set_tank_geometry(by=by(supervisor), place_id=place.pk, settings=box)
    lot = services.receive_delivery(
        by=by(operator), code="BL-1", chemical="naocl", certificate_strength_frac=0.125, place_id=place.pk, grams_100=100_000, is_packaged=True,
    ).result  # fmt: skip
    services.check_strength(
        by=by(qc_technician), lot_id=lot.pk, temperature_kelvin=293.15, value_as_typed="12.5", unit_as_typed="%", strength_frac=0.125,
        density_kg_per_m3=1210.0,
    )  # fmt: skip
    count = counted(by(operator), place, 0.8, 298.15)
    assert count.found_grams_100 == round(0.8 * 1210.0 * 0.125 * 1000)
    by_gauge, by_density = 0.01 / 0.8, 5.0 * EXPANSION_PER_KELVIN
    assert count.spread_grams_100 == pytest.approx(
        count.found_grams_100 * math.hypot(by_gauge, by_density), abs=1
    )
    with pytest.raises(RecordRefused, match="No table knows the density of sodium hypochlorite"):
        counted(by(operator), place, 0.8, 313.15)


def test_no_known_stock_expands_more_than_the_bound() -> None:
    """The bound for solutions no table knows, against every one a table knows, from 5 to 40 °C."""
    for chemical, strongest in (("hcl", 0.36), ("naoh", 0.5), ("h2so4", 0.93), ("nacl", 0.25)):
        cold, warm = (solutions.density_kg_per_m3(chemical, strongest, kelvin) for kelvin in (283.15, 313.15))
        assert 0.0 < (cold - warm) / cold / 30.0 < EXPANSION_PER_KELVIN, chemical


# --- the second person ------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(("found", "unexplained"), [(2_900_000, 100_000), (3_100_000, -100_000)])
def test_another_person_books_the_difference(
    shaped: Place, operator: Person, supervisor: Person, by: Acts, clock: Clock, found: int, unexplained: int
) -> None:
    count = counted(by(operator), shaped, level_for(found))
    clock.forward(hours=3)
    gap = counts.standing_of(count).gap_grams_100
    movement = services.book_difference(
        by=by(supervisor),
        number=count.number,
        gap_grams_100=gap,
        category="leak",
        reason="wet flange under the tank",
    ).result
    assert (movement.moved_at, movement.reference) == (count.counted_at, count.number)
    assert movement.reason == "leak or spill: wet flange under the tank"
    held = by_place()
    assert held["T-HCL"] == count.found_grams_100 and held["UNEXPLAINED"] == pytest.approx(unexplained, abs=1)
    assert sum(held.values()) == 0 and not counts.open_differences()
    stands = counts.standing_of(count)
    assert (stands.gap_grams_100, stands.booked_grams_100, stands.late_grams_100) == (0, gap, 0)


def booking(by: By, count: StockCount, **change: Any) -> Movement:
    values: dict[str, Any] = {
        "number": count.number, "gap_grams_100": counts.standing_of(count).gap_grams_100, "category": "unknown", "reason": "looked everywhere, found nothing",
    } | change  # fmt: skip
    return services.book_difference(by=by, **values).result


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"number": "C-99999"}, "not known here"),
        ({"category": "ghosts"}, "The kind of reason “ghosts”"),
        ({"reason": "lost"}, "The reason has 4 characters"),
        ({"gap_grams_100": -1}, "Entries of that time were written since"),
    ],
)
def test_a_difference_that_is_not_booked(
    shaped: Place, operator: Person, supervisor: Person, by: Acts, change: dict[str, Any], words: str
) -> None:
    count = counted(by(operator), shaped, level_for(2_900_000))
    with pytest.raises(DomainError, match=words):
        booking(by(supervisor), count, **change)
    assert Movement.objects.count() == 1


def test_nobody_books_what_they_counted_and_the_gauge_is_no_difference(
    shaped: Place, operator: Person, supervisor: Person, by: Acts
) -> None:
    own = counted(by(supervisor), shaped, level_for(2_900_000))
    with pytest.raises(NotAllowed, match="You counted C-10001 yourself"):
        booking(by(supervisor), own)
    with pytest.raises(NotAllowed):
        booking(by(operator), own)
    close = counted(by(operator), shaped, level_for(3_000_000) + 0.004)
    with pytest.raises(RecordRefused, match="that is no difference"):
        booking(by(supervisor), close)
    with pytest.raises(RecordRefused, match=r"C-10001 is not the newest count"):
        booking(by(factories.person(Role.SUPERVISOR)), own)


def test_a_difference_is_booked_once_and_can_be_taken_back(
    shaped: Place, operator: Person, supervisor: Person, by: Acts
) -> None:
    count = counted(by(operator), shaped, level_for(2_900_000))
    gap = counts.standing_of(count).gap_grams_100
    movement = booking(by(supervisor), count)
    with pytest.raises(StaleRecord):
        booking(by(supervisor), count, gap_grams_100=gap)
    services.correct_movement(
        by=by(supervisor), movement_id=movement.pk, category="slip", reason="it was the gauge after all"
    )
    assert counts.standing_of(count).is_open and counts.standing_of(count).gap_grams_100 == gap
    booking(by(supervisor), count)
    assert not counts.open_differences()


def test_a_draw_written_late_explains_a_difference(
    shaped: Place, operator: Person, supervisor: Person, by: Acts, clock: Clock
) -> None:
    """100 kg left before the count and were written after it: the difference of the count is gone, nothing is booked twice."""
    happened = clock.now
    clock.forward(hours=1)
    count = counted(by(operator), shaped, level_for(2_900_000))
    clock.forward(hours=1)
    services.draw_for_batch(
        by=by(operator, occurred_at=happened + timedelta(minutes=30)), chemical="hcl", grams_100=100_000, reference="B-10001"
    )  # fmt: skip
    stands = counts.standing_of(count)
    assert stands.late_grams_100 == -100_000 and abs(stands.gap_grams_100) <= 1 and not stands.is_open


def test_what_happens_after_a_count_leaves_it_alone(
    shaped: Place, operator: Person, by: Acts, clock: Clock
) -> None:
    """Also at the very same moment, when it was written later."""
    count = counted(by(operator), shaped, level_for(2_900_000))
    services.draw_for_batch(by=by(operator), chemical="hcl", grams_100=50_000, reference="B-10001")
    clock.forward(minutes=5)
    services.draw_for_batch(by=by(operator), chemical="hcl", grams_100=50_000, reference="B-10001")
    assert counts.standing_of(count).gap_grams_100 == count.gap_grams_100


# --- replaced ---------------------------------------------------------------------------------------------------------
def test_a_wrong_count_is_replaced_by_a_new_one(
    shaped: Place, operator: Person, supervisor: Person, by: Acts, clock: Clock
) -> None:
    wrong = counted(by(operator), shaped, level_for(2_000_000))
    clock.forward(minutes=10)
    right = counted(
        by(operator), shaped, level_for(3_000_000), replaces=wrong.number, reason_category="slip", reason="read the wrong glass",
    )  # fmt: skip
    assert right.replaces == wrong and counts.newest_count(shaped) == right
    assert not counts.open_differences() and counts.standing_of(wrong).is_replaced
    with pytest.raises(StaleRecord, match=f"replaced already, by {right.number}"):
        counted(
            by(operator),
            shaped,
            1.0,
            replaces=wrong.number,
            reason_category="slip",
            reason="read it once more",
        )
    with pytest.raises(RecordRefused, match="not known here"):
        counted(
            by(operator), shaped, 1.0, replaces="C-99999", reason_category="slip", reason="read it once more"
        )
    with pytest.raises(RecordRefused, match="The reason is too short"):
        counted(by(operator), shaped, 1.0, replaces=right.number, reason_category="slip", reason="oops")


def test_a_count_that_was_booked_is_not_replaced_before_that_is_taken_back(
    shaped: Place, operator: Person, supervisor: Person, by: Acts
) -> None:
    count = counted(by(operator), shaped, level_for(2_900_000))
    booking(by(supervisor), count)
    with pytest.raises(RecordRefused, match="Take that movement back first"):
        counted(
            by(operator),
            shaped,
            1.0,
            replaces=count.number,
            reason_category="slip",
            reason="read the wrong glass",
        )


@pytest.mark.usefixtures("rows_by_hand")
def test_a_count_by_level_is_whole(tank: Place, operator: Person, by: Acts) -> None:
    with pytest.raises(IntegrityError), transaction.atomic():
        StockCount.objects.create(
            number="C-2", place=tank, method="level", found_grams_100=1, spread_grams_100=0, books_grams_100=0, after_movement=0,
            counted_at=by(operator).at, written_at=by(operator).at, counted_by=operator,
        )  # fmt: skip


def test_the_database_keeps_counts(shaped: Place, operator: Person, by: Acts) -> None:
    count = counted(by(operator), shaped, 1.0)
    for act in (
        lambda: StockCount.objects.filter(pk=count.pk).update(found_grams_100=1),
        lambda: StockCount.objects.filter(pk=count.pk).delete(),
    ):
        with pytest.raises(DatabaseError, match="frozen"), transaction.atomic():
            act()


# --- weighed ----------------------------------------------------------------------------------------------------------
def test_a_weighed_stock_may_be_off_by_the_plants_figure(
    in_use: ChemicalLot, tank: Place, operator: Person, by: Acts
) -> None:
    """1 % by default: 2,975 kg against 3,000 are within 29.75 kg, 2,970 are not."""
    near = services.count_stock(
        by=by(operator), place_id=tank.pk, counted_grams_100=2_975_000, reason="weighed on the scale"
    ).result
    assert (near.spread_grams_100, near.is_within) == (29_750, True)
    far = services.count_stock(
        by=by(operator), place_id=tank.pk, counted_grams_100=2_970_000, reason="weighed on the scale"
    ).result
    assert not far.is_within and Movement.objects.count() == 1


def test_a_weighed_stock_that_cannot_be_is_refused(
    in_use: ChemicalLot, tank: Place, operator: Person, by: Acts
) -> None:
    with pytest.raises(DomainError, match="The stock found"):
        services.count_stock(by=by(operator), place_id=tank.pk, counted_grams_100=-1, reason="level stick")
    with pytest.raises(RecordRefused, match="Only a bulk tank is counted"):
        services.count_stock(
            by=by(operator),
            place_id=Place.objects.get(kind="supplier").pk,
            counted_grams_100=1,
            reason="level stick",
        )


# --- room for a delivery ----------------------------------------------------------------------------------------------
def test_a_delivery_is_refused_when_the_level_says_there_is_no_room(
    shaped: Place, operator: Person, by: Acts
) -> None:
    """By the books 8.1 m³ stand in 12 m³; the level says 10.7 m³. A delivery of 2.7 m³ fits the books, not the tank."""
    delivery: dict[str, Any] = {
        "chemical": "hcl", "certificate_strength_frac": 0.32, "place_id": shaped.pk, "grams_100": 1_000_000, "is_packaged": True,
    }  # fmt: skip
    counted(by(operator), shaped, 3.4)
    with pytest.raises(OutOfRange, match="Do not unload more than there is room for"):
        services.receive_delivery(by=by(operator), code="A-118", **delivery)
    counted(by(operator), shaped, level_for(3_000_000))
    assert services.receive_delivery(by=by(operator), code="A-118", **delivery).result.code == "A-118"
