"""Top-up of a bed from the store, what is kept of a batch, and where resin of a lot stands."""

from __future__ import annotations

from typing import Any

import pytest

from regenplant.batches import resin_volumes, services
from regenplant.batches.models import Batch, BatchTopUp
from regenplant.core.errors import DomainError, NotAllowed, RecordRefused, StaleRecord
from regenplant.core.process.vocabulary import StepKind
from regenplant.quality import services as quality_services
from regenplant.quality.selectors import participants
from regenplant.quality.signed_content import RELEASE_MEANING
from regenplant.resins import elsewhere
from regenplant.resins import services as resin_services
from regenplant.resins.bodies import raw_parts, stored_m3
from regenplant.resins.models import ResinLot
from regenplant.resins.services import Counted, Piece
from regenplant.tanks.models import Tank
from tests import factories
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db
WHY = "Two percent lost in backwash"


def received(
    plant: SmallPlant, code: str, family: str = "sac_h", volume_m3: float = 0.2, **more: Any
) -> ResinLot:
    arguments: dict[str, Any] = {"segregation_class": "D", "into_store": True, **more}
    return resin_services.receive_new_lot(
        by=plant.by("supervisor"), code=code, resin_type_id=plant.types[family].pk, volume_m3=volume_m3,
        volume_form=factories.exhausted_form(family), origin="delivered new", **arguments,
    ).result  # fmt: skip


def with_lot(plant: SmallPlant, lot: ResinLot, family: str = "sac_h") -> list[Any]:
    """Three accepted tanks that hold resin of this lot."""
    visits = factories.accepted_tanks(plant, family, 3)
    Tank.objects.filter(pk__in=[visit.tank_id for visit in visits]).update(resin_lot=lot)
    return visits


def top_up(plant: SmallPlant, batch: Batch, lot: ResinLot, **change: Any) -> BatchTopUp:
    """10 L added to the bed of 306 L, counted at 306 L afterwards."""
    arguments: dict[str, Any] = {
        "added": Counted(0.010, "Na"), "bed": Counted(0.306, "Na"), "reason": WHY, **change,
    }  # fmt: skip
    return services.top_up_batch(
        by=arguments.pop("by", plant.by()), batch_id=batch.pk, resin_lot_id=lot.pk, **arguments
    ).result


@pytest.fixture
def topped(plant: SmallPlant) -> tuple[Batch, ResinLot, ResinLot]:
    """A running batch of three tanks of lot OLD, backwashed, and lot NEW in the store."""
    old, new = (
        received(plant, "OLD", cycles=10, into_store=False, volume_m3=0.306),
        received(plant, "NEW"),
    )
    batch = factories.frozen_batch(plant, "sac_h", with_lot(plant, old))
    factories.run_to(plant, batch, StepKind.BACKWASH)
    batch.refresh_from_db()
    return batch, old, new


@pytest.mark.requirement("RS-01")
def test_a_top_up_leaves_the_store_and_its_share_is_in_the_lot_that_is_made(
    plant: SmallPlant, topped: tuple[Batch, ResinLot, ResinLot]
) -> None:
    """By hand: 306 L of OLD, 10 L added, 306 L counted: 10 L lost. Shares 296 / 306 and 10 / 306; OLD at 11 cycles, NEW at 1."""
    batch, _, new = topped
    row = top_up(plant, batch, new)
    assert row.lost_m3 == pytest.approx(0.010) and stored_m3(new) == pytest.approx(0.190)
    made = factories.pass_batch(plant, batch).lot
    assert made is not None
    parts = {part.origin: (part.share_frac, part.cycles_mean) for part in raw_parts(made)}
    assert parts == {
        "OLD": (pytest.approx(296 / 306), pytest.approx(11)),
        "NEW": (pytest.approx(10 / 306), pytest.approx(1)),
    }
    assert (made.volume_m3, made.volume_form) == (0.306, "Na")


@pytest.mark.requirement("RS-02")
def test_volumes_of_another_form_are_converted_by_swelling(
    plant: SmallPlant, topped: tuple[Batch, ResinLot, ResinLot]
) -> None:
    """7 % swelling: 10.7 L in the hydrogen form are 10 L in the sodium form."""
    batch, _, new = topped
    row = top_up(plant, batch, new, added=Counted(0.0107, "H"))
    assert row.added_m3 == pytest.approx(0.010) and row.volume_form == "H"


def test_who_tops_up_took_part(plant: SmallPlant, topped: tuple[Batch, ResinLot, ResinLot]) -> None:
    batch, _, new = topped
    top_up(plant, batch, new, by=plant.by("operator 2"))
    assert plant.people["operator 2"].pk in participants(batch)


def test_a_top_up_is_refused_by_each_rule(
    plant: SmallPlant, topped: tuple[Batch, ResinLot, ResinLot]
) -> None:
    batch, _, new = topped
    fresh = received(plant, "FRESH", is_new=True)
    potable = received(plant, "POTABLE", segregation_class="B")
    anion = received(plant, "ANION", "sba_1")
    for lot, change, code in (
        (fresh, {}, "not_conditioned"),
        (potable, {}, "mixed_pool"),
        (anion, {"added": Counted(0.010, "Cl")}, "mixed_pool"),
        (new, {"added": Counted(0.5, "Na")}, "more_than_stored"),
        (new, {"bed": Counted(0.330, "Na")}, "out_of_range"),
        (new, {"bed": Counted(0.1, "Na")}, "out_of_range"),
        (new, {"reason": "lost"}, "too_short"),
    ):
        with pytest.raises(DomainError) as refused:
            top_up(plant, batch, lot, **change)
        assert refused.value.code == code, (lot.code, change, refused.value)
    with pytest.raises(NotAllowed):
        top_up(plant, batch, new, by=plant.by("planner"))
    with pytest.raises(StaleRecord):
        top_up(plant, batch, new, version=batch.version - 1)
    assert not BatchTopUp.objects.exists() and stored_m3(new) == pytest.approx(0.2)


def test_nothing_is_added_once_a_chemical_met_the_bed_or_before_it_runs(
    plant: SmallPlant, topped: tuple[Batch, ResinLot, ResinLot]
) -> None:
    batch, _, new = topped
    factories.run_to(plant, batch, StepKind.INJECT)
    with pytest.raises(RecordRefused) as refused:
        top_up(plant, batch, new)
    assert refused.value.code == "chemical_begun"
    ready = factories.frozen_batch(plant, "sac_na")
    with pytest.raises(RecordRefused) as refused:
        top_up(plant, ready, new)
    assert refused.value.code == "not_running"


def test_tanks_without_a_lot_leave_a_rest_of_unrecorded_origin(plant: SmallPlant) -> None:
    """Two of three tanks hold OLD: a third of the new lot has no recorded origin, and none of it is called OLD."""
    old = received(plant, "OLD", into_store=False)
    visits = with_lot(plant, old)
    Tank.objects.filter(pk=visits[2].tank_id).update(resin_lot=None)
    made = factories.pass_batch(plant, factories.frozen_batch(plant, "sac_h", visits)).lot
    assert made is not None
    parts = {(part.origin, part.is_recorded): part.share_frac for part in raw_parts(made)}
    assert parts == {("OLD", True): pytest.approx(2 / 3), (made.code, False): pytest.approx(1 / 3)}


# --- what is kept -----------------------------------------------------------------------------------------------------
def filled(plant: SmallPlant) -> Batch:
    return factories.filled_batch(plant, "sac_h")


def test_what_is_left_is_kept_in_the_store_and_used_once_the_batch_is_released(plant: SmallPlant) -> None:
    batch = filled(plant)
    left = resin_volumes.balance_of(batch).missing_m3
    services.keep_rest(by=plant.by(), batch_id=batch.pk, rest=Counted(0.002, "H"))
    batch.refresh_from_db()
    assert batch.lot is not None and stored_m3(batch.lot) == pytest.approx(0.002 / 1.07)
    assert resin_volumes.balance_of(batch).missing_m3 == pytest.approx(left - 0.002 / 1.07)
    piece = [Piece("S1", Counted(0.001, "H"))]
    with pytest.raises(RecordRefused, match="used once the batch is released"):
        resin_services.split_lot(
            by=plant.by(), resin_lot_id=batch.lot.pk, pieces=piece, reason="A small drum"
        )
    factories.reviewed(plant, batch)
    quality_services.release_batch(
        by=plant.by("qc 2"), batch_id=batch.pk, permit=factories.permit(plant, "qc 2", RELEASE_MEANING)
    )
    resin_services.split_lot(by=plant.by(), resin_lot_id=batch.lot.pk, pieces=piece, reason="A small drum")
    assert ResinLot.objects.get(code="S1").resin_type == batch.resin_type


def test_more_than_can_be_left_is_refused_and_so_is_a_batch_that_is_not_filled(plant: SmallPlant) -> None:
    batch = filled(plant)
    with pytest.raises(DomainError, match="Count again") as refused:
        services.keep_rest(by=plant.by(), batch_id=batch.pk, rest=Counted(0.1, "H"))
    assert refused.value.field == "volume_m3"
    assert batch.lot is not None and stored_m3(batch.lot) == 0.0
    other = factories.passed_batch(plant, "sac_na")
    with pytest.raises(RecordRefused) as not_filled:
        services.keep_rest(by=plant.by(), batch_id=other.pk, rest=Counted(0.01, "Na"))
    assert not_filled.value.code == "not_filled"


# --- where it stands --------------------------------------------------------------------------------------------------
def test_resin_is_followed_from_tanks_into_the_vessel_and_into_tanks_again(plant: SmallPlant) -> None:
    old = received(plant, "OLD", into_store=False, volume_m3=0.306)
    batch = factories.frozen_batch(plant, "sac_h", with_lot(plant, old))
    assert sum(one.exhausted_m3 for one in elsewhere.found([old.pk])) == pytest.approx(0.306)
    assert {one.kind for one in elsewhere.found([old.pk])} == {"tank"}
    factories.run_to(plant, batch, StepKind.BACKWASH)
    (standing,) = elsewhere.found([old.pk])
    assert (standing.kind, standing.code, standing.exhausted_m3) == ("batch", batch.number, pytest.approx(0.306))  # fmt: skip
    batch = factories.pass_batch(plant, batch)
    assert batch.lot is not None
    assert elsewhere.found([old.pk]) == ()
    (left,) = elsewhere.found([batch.lot.pk])
    assert left.exhausted_m3 == pytest.approx(0.306) and "being filled" in left.where


def test_a_tank_registered_with_a_lot_takes_its_resin_from_the_store(plant: SmallPlant) -> None:
    from regenplant.tanks import services as tank_services

    lot = received(plant, "NEW", volume_m3=0.15)
    assert plant.size is not None

    def registered() -> Tank:
        return tank_services.add_tank(
            by=plant.by("planner"), size_id=plant.size.pk, resin_type_id=plant.types["sac_h"].pk,  # type: ignore[union-attr]
            segregation_class="D", resin_lot_id=lot.pk,
        ).result  # fmt: skip

    tank = registered()
    assert stored_m3(lot) == pytest.approx(0.15 - 0.102)
    assert lot.movements.get(kind="to_tank").reference == tank.serial
    with pytest.raises(RecordRefused) as refused:
        registered()
    assert refused.value.code == "more_than_stored" and Tank.objects.filter(resin_lot=lot).count() == 1


def test_the_batch_record_names_what_the_bed_was_topped_up_with(
    plant: SmallPlant, topped: tuple[Batch, ResinLot, ResinLot]
) -> None:
    from regenplant.documents.batch_record.gathering import batch_record_content
    from regenplant.documents.issue import Issue

    batch, _, new = topped
    top_up(plant, batch, new)
    content = batch_record_content(batch.number, Issue(1, "2026-03-02 09:00", "Operator 1", 1, "0" * 64, 1))
    (one,) = content.top_ups
    assert (one.lot, one.added_m3, one.reason) == ("NEW", pytest.approx(0.010), WHY)
    assert one.lost_m3 == pytest.approx(0.010)
