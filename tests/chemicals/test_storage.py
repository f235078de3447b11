"""Storage areas: which tank may stand where, what a delivery finds there, and what the emergency card is told."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from regenplant.audit import chain
from regenplant.audit.by import By
from regenplant.chemicals import locations, services
from regenplant.chemicals.models import ChemicalLot, Place, StorageArea, Unloading
from regenplant.chemicals.services import Papers
from regenplant.core.errors import DomainError, NotAllowed, OutOfRange, RecordRefused, StaleRecord
from regenplant.people.models import Person

Acts = Callable[..., By]
REASON = "a wall of concrete stands between, and each has its own drain"


@pytest.fixture
def make_tank(supervisor: Person, by: Acts) -> Callable[[str, str], Place]:
    def make(code: str, chemical: str) -> Place:
        return services.add_place(  # type: ignore[no-any-return]
            by=by(supervisor),
            code=code,
            name=f"Tank {code}",
            kind="bulk_tank",
            chemical=chemical,
            capacity_m3=5.0,
        ).result

    return make


@pytest.fixture
def make_area(safety_lead: Person, by: Acts) -> Callable[..., StorageArea]:
    def make(code: str, room: str = "Chemical room", **more: Any) -> StorageArea:
        return services.add_storage_area(  # type: ignore[no-any-return]
            by=by(safety_lead), code=code, name=f"Bund {code}", room=room, **more
        ).result

    return make


@pytest.fixture
def stand(safety_lead: Person, by: Acts) -> Callable[..., Place]:
    def place(tank: Place, area: StorageArea | None, **more: Any) -> Place:
        return services.place_tank(  # type: ignore[no-any-return]
            by=by(safety_lead), place_id=tank.pk, area_id=area.pk if area else None, **more
        ).result

    return place


# --- placing --------------------------------------------------------------------------------------------------------
def test_acid_and_bleach_never_stand_in_one_room(
    tank: Place, make_tank: Any, make_area: Any, stand: Any
) -> None:
    stand(tank, make_area("A"))
    bleach = make_tank("T-BLEACH", "naocl")
    with pytest.raises(RecordRefused, match="chlorine gas") as refusal:
        stand(bleach, make_area("B", "chemical ROOM"), reason=REASON)
    assert refusal.value.code == "must_not_meet" and refusal.value.field == "area"
    bleach.refresh_from_db()
    assert bleach.storage_area is None
    stand(bleach, make_area("C", "Shed"))
    assert locations.all_meetings() == []


def test_acid_and_caustic_in_one_bund_take_a_reason_that_is_kept(
    tank: Place, make_tank: Any, make_area: Any, stand: Any
) -> None:
    area = make_area("A")
    stand(tank, area)
    caustic = make_tank("T-NAOH", "naoh")
    with pytest.raises(RecordRefused, match="violent heat") as refusal:
        stand(caustic, area, reason="so be it")
    assert refusal.value.code == "needs_reason" and refusal.value.field == "reason"
    stand(caustic, area, reason=REASON)
    (meeting,) = locations.all_meetings()
    assert not meeting.is_refused and {meeting.one.label, meeting.other.label} == {"T-HCL", "T-NAOH"}
    assert list(chain.verify()) == []


def test_a_tank_leaves_its_area_and_stands_nowhere(tank: Place, make_area: Any, stand: Any) -> None:
    stand(tank, make_area("A"))
    assert stand(tank, None).storage_area is None
    with pytest.raises(RecordRefused, match="nothing differs"):
        stand(tank, None)


def test_another_room_of_an_area_is_asked_the_same(
    tank: Place, make_tank: Any, make_area: Any, stand: Any, safety_lead: Person, by: Acts
) -> None:
    stand(tank, make_area("A"))
    shed = make_area("B", "Shed")
    stand(make_tank("T-BLEACH", "naocl"), shed)
    with pytest.raises(RecordRefused, match="chlorine gas"):
        services.change_storage_area(
            by=by(safety_lead), area_id=shed.pk, name="Bund B", room="Chemical room", version=shed.version
        )
    services.change_storage_area(
        by=by(safety_lead), area_id=shed.pk, name="Bund B, behind the gate", room="Shed", bund_m3=6.0
    )
    shed.refresh_from_db()
    assert (shed.bund_m3, shed.version) == (6.0, 2)
    with pytest.raises(StaleRecord):
        services.change_storage_area(by=by(safety_lead), area_id=shed.pk, name="Late", room="Shed", version=1)


def test_who_looked_at_an_old_page_is_told(
    tank: Place, make_area: Any, stand: Any, supervisor: Person, by: Acts
) -> None:
    first, second = make_area("A"), make_area("B")
    stand(tank, first, version=tank.version)
    with pytest.raises(StaleRecord):
        services.place_tank(by=by(supervisor), place_id=tank.pk, area_id=second.pk, version=tank.version)


def test_only_who_may_says_where_a_tank_stands(
    tank: Place, make_area: Any, operator: Person, by: Acts
) -> None:
    area = make_area("A")
    with pytest.raises(NotAllowed):
        services.place_tank(by=by(operator), place_id=tank.pk, area_id=area.pk)
    with pytest.raises(NotAllowed):
        services.add_storage_area(by=by(operator), code="B", name="Bund", room="Room")


@pytest.mark.parametrize(
    ("more", "field", "kind"),
    [
        ({"code": "a b"}, "code", RecordRefused),
        ({"code": "A"}, "code", RecordRefused),
        ({"name": ""}, "name", RecordRefused),
        ({"room": "R"}, "room", RecordRefused),
        ({"location": "x" * 161}, "location", RecordRefused),
        ({"bund_m3": 0.0}, "bund_m3", OutOfRange),
        ({"bund_m3": float("inf")}, "bund_m3", OutOfRange),
    ],
)
def test_an_area_that_cannot_be_is_refused(
    make_area: Any, safety_lead: Person, by: Acts, more: dict[str, Any], field: str, kind: type[DomainError]
) -> None:
    make_area("A")
    values = {"code": "B", "name": "Bund B", "room": "Room", **more}
    with pytest.raises(kind) as refusal:
        services.add_storage_area(by=by(safety_lead), **values)
    assert refusal.value.field == field and StorageArea.objects.count() == 1


def test_a_bund_holds_its_largest_tank_and_a_tenth_more(make_area: Any, tank: Place, stand: Any) -> None:
    """Common practice, from memory: 12 m³ of tank take 13.2 m³ of bund."""
    small = make_area("A", bund_m3=13.0)
    stand(tank, small)
    (area,) = locations.storage_areas()
    assert locations.bund_shortage_m3(area) == pytest.approx(0.2)
    StorageArea.objects.none()  # no bund given, or enough of it: nothing is said
    assert locations.bund_shortage_m3(make_area("B")) is None


# --- what a delivery finds ------------------------------------------------------------------------------------------
def put_by_hand(tank: Place, area: StorageArea) -> None:
    """As a plant may stand since before it set up its areas."""
    Place.objects.filter(pk=tank.pk).update(storage_area=area)


@pytest.mark.requirement("CS-01")
def test_nothing_is_brought_to_a_tank_that_stands_beside_what_it_must_not_meet(
    tank: Place, make_tank: Any, make_area: Any, stand: Any, operator: Person, supervisor: Person, by: Acts
) -> None:  # fmt: skip
    area = make_area("A")
    stand(tank, area)
    put_by_hand(make_tank("T-BLEACH", "naocl"), area)
    delivery = {
        "code": "A-117", "chemical": "hcl", "certificate_strength_frac": 0.32, "place_id": tank.pk, "grams_100": 3_000_000,
        "is_packaged": True,
    }  # fmt: skip
    with pytest.raises(RecordRefused, match="Nothing more is brought there"):
        services.receive_delivery(by=by(operator), **delivery)
    services.set_fill_connection(
        by=by(supervisor),
        place_id=tank.pk,
        connection_code="FILL-ACID",
        un_number="1789",
        ullage_margin_m3=0.6,
    )
    with pytest.raises(RecordRefused, match="chlorine gas"):
        services.open_unloading(
            by=by(operator), papers=Papers("1 / 1", "hcl", "UN1789", "A-118", "S-9", 0.32, 400_000, tank.pk)
        )
    assert not ChemicalLot.objects.exists() and not Unloading.objects.exists()


# --- what the emergency card is told --------------------------------------------------------------------------------
@pytest.mark.requirement("CS-09")
def test_what_stands_where_with_its_mass_strength_and_volume(
    in_use: ChemicalLot, tank: Place, make_tank: Any, make_area: Any, stand: Any
) -> None:
    stand(tank, make_area("A", location="left of gate 2"))
    make_tank("T-EMPTY", "naoh")
    acid, empty = locations.chemicals_by_location()
    assert (acid.place.code, acid.area_words) == ("T-HCL", "Bund A, Chemical room, left of gate 2")
    assert acid.grams_100 == 3_000_000 and acid.is_strength_checked
    # 32 % is 1159.4 kg/m³ at 20 °C, a point more is 5.0 more: CRC, read. The fixture has 1159.
    assert acid.strength_frac == pytest.approx(0.3192, abs=1e-4)
    assert acid.product_kg == pytest.approx(3000.0 / acid.strength_frac)
    assert acid.product_m3 == pytest.approx(acid.product_kg / 1159.0, rel=1e-3)
    assert (empty.area, empty.area_words, empty.product_kg, empty.lot) == (None, "", None, None)


def test_a_lot_that_was_never_checked_tells_its_certificate_and_says_so(
    delivered: ChemicalLot, tank: Place
) -> None:
    ChemicalLot.objects.filter(pk=delivered.pk).update(is_in_use=True)
    (acid,) = locations.chemicals_by_location()
    assert acid.strength_frac == 0.32 and not acid.is_strength_checked


def test_the_number_of_queries_does_not_grow_with_the_tanks(
    in_use: ChemicalLot, make_tank: Any, django_assert_max_num_queries: Any
) -> None:
    for number in range(5):
        make_tank(f"T-{number}", "nacl")
    with django_assert_max_num_queries(8):
        assert len(locations.chemicals_by_location()) == 6
