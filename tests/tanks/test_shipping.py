"""From the waiting list to the truck."""

from __future__ import annotations

import pytest

from regenplant.core.errors import NotAllowed, OutOfRange, RecordRefused, StaleRecord, TransitionRefused
from regenplant.resins import services as resin_services
from regenplant.resins.models import ResinLot
from regenplant.tanks import services
from tests.tanks.conftest import fresh

pytestmark = pytest.mark.django_db


@pytest.fixture
def accepted(at_dock, plant):
    visit = at_dock(look=True)
    services.accept_tank(by=plant.by(), visit_id=visit.pk, segregation_class="D", version=visit.version)
    return fresh(visit)


def lot_for(plant, *, family: str = "sac_h", segregation_class: str = "D", code: str = "L-1") -> ResinLot:
    return resin_services.mix_lot(
        by=plant.by("supervisor"), code=code, resin_type_id=plant.types[family].pk, segregation_class=segregation_class,
        volume_m3=1.0, volume_form="H" if family == "sac_h" else "OH", origin="for this test", parents=[], cycles=1, capacity_factor=1.0,
    ).result  # fmt: skip


@pytest.fixture
def emptied(accepted, plant):
    services.empty_tank(by=plant.by(), visit_id=accepted.pk, is_in_batch=True)
    return fresh(accepted)


def test_a_tank_is_emptied_into_a_batch_only(accepted, plant):
    with pytest.raises(TransitionRefused, match="belongs to no batch"):
        services.empty_tank(by=plant.by(), visit_id=accepted.pk, is_in_batch=False)
    services.empty_tank(by=plant.by(), visit_id=accepted.pk, is_in_batch=True)
    assert (fresh(accepted).state, fresh(accepted).emptied_at) == ("emptied", plant.now)


def test_the_shell_is_inspected_while_it_is_empty(accepted, plant):
    with pytest.raises(RecordRefused, match=r"is accepted\. The shell is inspected while it is empty"):
        services.record_shell(by=plant.by(), visit_id=accepted.pk, is_sound=True)


def test_a_sound_shell_dates_the_tank(emptied, plant):
    services.record_shell(by=plant.by(), visit_id=emptied.pk, is_sound=True)
    assert fresh(emptied).is_shell_sound is True
    assert fresh(emptied).tank.shell_inspected_on == plant.now.date()


def test_an_unsound_shell_needs_a_note_and_is_not_filled(emptied, plant):
    with pytest.raises(RecordRefused, match="What is wrong with the shell is empty"):
        services.record_shell(by=plant.by(), visit_id=emptied.pk, is_sound=False)
    services.record_shell(by=plant.by(), visit_id=emptied.pk, is_sound=False, note="crack at the dome")
    with pytest.raises(TransitionRefused, match="The shell is not sound"):
        services.refill_tank(
            by=plant.by(), visit_id=emptied.pk, lot_id=lot_for(plant).pk, volume_m3=0.1, batch_has_passed=True
        )


def test_a_shell_written_twice_from_one_page_is_refused_the_second_time(emptied, plant):
    services.record_shell(by=plant.by(), visit_id=emptied.pk, is_sound=True, version=emptied.version)
    with pytest.raises(StaleRecord):
        services.record_shell(by=plant.by(), visit_id=emptied.pk, is_sound=True, version=emptied.version)


def test_a_tank_is_refilled_from_a_passed_batch_and_takes_its_lot(emptied, plant):
    lot = lot_for(plant)
    with pytest.raises(TransitionRefused, match=r"has not passed QC\. The empty shell is not inspected yet"):
        services.refill_tank(
            by=plant.by(), visit_id=emptied.pk, lot_id=lot.pk, volume_m3=0.1, batch_has_passed=False
        )
    services.record_shell(by=plant.by(), visit_id=emptied.pk, is_sound=True)
    services.refill_tank(
        by=plant.by(), visit_id=emptied.pk, lot_id=lot.pk, volume_m3=0.1, batch_has_passed=True
    )
    visit = fresh(emptied)
    assert (visit.state, visit.refilled_lot_id, visit.tank.resin_lot_id, visit.refilled_volume_m3) == (
        "refilled",
        lot.pk,
        lot.pk,
        0.1,
    )


def test_resin_of_another_type_class_or_amount_never_goes_in(emptied, plant):
    services.record_shell(by=plant.by(), visit_id=emptied.pk, is_sound=True)
    arguments = {"by": plant.by(), "visit_id": emptied.pk, "batch_has_passed": True}
    with pytest.raises(RecordRefused, match="They are never mixed"):
        services.refill_tank(lot_id=lot_for(plant, family="sba_1").pk, volume_m3=0.1, **arguments)
    with pytest.raises(RecordRefused, match="takes T-SAC_H of class D"):
        services.refill_tank(
            lot_id=lot_for(plant, segregation_class="C", code="L-2").pk, volume_m3=0.1, **arguments
        )
    lot = lot_for(plant, code="L-3")
    for volume in (0.0, -0.1, 0.15):
        with pytest.raises(OutOfRange):
            services.refill_tank(lot_id=lot.pk, volume_m3=volume, **arguments)
    assert fresh(emptied).state == "emptied"


@pytest.fixture
def refilled(emptied, plant):
    services.record_shell(by=plant.by(), visit_id=emptied.pk, is_sound=True)
    services.refill_tank(
        by=plant.by(), visit_id=emptied.pk, lot_id=lot_for(plant).pk, volume_m3=0.1, batch_has_passed=True
    )
    return fresh(emptied)


def test_only_a_released_batch_releases_a_tank(refilled, plant):
    with pytest.raises(TransitionRefused, match="Only the release of the batch releases it"):
        services.release_tank(by=plant.by("qc"), visit_id=refilled.pk, batch_is_released=False)
    with pytest.raises(NotAllowed):
        services.release_tank(by=plant.by(), visit_id=refilled.pk, batch_is_released=True)


def test_only_a_released_tank_is_shipped_and_only_once(refilled, plant):
    with pytest.raises(TransitionRefused, match="A tank that is refilled cannot ship"):
        services.ship_tank(by=plant.by(), visit_id=refilled.pk, version=refilled.version)
    services.release_tank(by=plant.by("qc"), visit_id=refilled.pk, batch_is_released=True)
    released = fresh(refilled)
    services.ship_tank(by=plant.by(), visit_id=released.pk, version=released.version)
    assert (fresh(released).state, fresh(released).shipped_at) == ("shipped", plant.now)
    with pytest.raises(StaleRecord):
        services.ship_tank(by=plant.by(), visit_id=released.pk, version=released.version)
