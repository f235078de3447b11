"""The ledger: nothing is created or lost, the order of entry does not matter, and what is wrong is taken back openly."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from datetime import timedelta
from typing import Any

import pytest
from django.db import DatabaseError, IntegrityError, transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from regenplant.audit.by import By
from regenplant.chemicals import selectors, services
from regenplant.chemicals.models import ChemicalLot, Movement, Place
from regenplant.core.errors import DomainError, NotAllowed, RecordRefused, StaleRecord
from regenplant.people.models import Person
from tests.conftest import Clock

Acts = Callable[..., By]


def drawn(by: By, grams: int, reference: str = "B-10001") -> Movement:
    return services.draw_for_batch(by=by, chemical="hcl", grams_100=grams, reference=reference).result


def totals() -> dict[str, int]:
    """Balance by place code."""
    return {row.place.code: row.grams_100 for row in selectors.ledger_balances()}


# --- properties -------------------------------------------------------------------------------------------------------
@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    acts=st.lists(
        st.tuples(st.integers(1, 200_000), st.sampled_from(["B-10001", "B-10002", "B-10003"]), st.booleans()),
        min_size=1,
        max_size=8,
    ),
    order=st.randoms(use_true_random=False),
)
def test_balances_sum_to_zero_and_do_not_depend_on_the_order(
    in_use: ChemicalLot,
    operator: Person,
    supervisor: Person,
    by: Acts,
    acts: list[tuple[int, str, bool]],
    order: Any,
) -> None:
    """Draws, some of them taken back, in two orders: the same balances, the same use per batch, nothing lost."""
    shuffled = list(acts)
    order.shuffle(shuffled)
    seen = []
    for listed in (acts, shuffled):
        with transaction.atomic():
            for grams, reference, is_taken_back in listed:
                movement = drawn(by(operator), grams, reference)
                if is_taken_back:
                    services.correct_movement(
                        by=by(supervisor), movement_id=movement.pk, category="place", reason="wrong batch"
                    )
            assert sum(totals().values()) == 0
            seen.append((totals(), selectors.use_by_reference(["B-10001", "B-10002", "B-10003"])))
            transaction.set_rollback(True)
    assert seen[0] == seen[1]
    kept = _sum_by_reference(
        (grams, reference) for grams, reference, is_taken_back in acts if not is_taken_back
    )
    assert {key: value.get("hcl", 0) for key, value in seen[0][1].items()} == {
        "B-10001": 0,
        "B-10002": 0,
        "B-10003": 0,
    } | kept
    assert seen[0][0]["T-HCL"] == 3_000_000 - sum(kept.values())


def _sum_by_reference(rows: Iterable[tuple[int, str]]) -> dict[str, int]:
    found: dict[str, int] = {}
    for grams, reference in rows:
        found[reference] = found.get(reference, 0) + grams
    return found


# --- draws ------------------------------------------------------------------------------------------------------------
def test_a_draw_goes_from_the_tank_of_the_lot_to_the_batches(
    in_use: ChemicalLot, operator: Person, by: Acts
) -> None:
    movement = drawn(by(operator), 80_000)
    assert (movement.from_place.code, movement.to_place.kind, movement.lot, movement.number) == (
        "T-HCL",
        "batch",
        in_use,
        2,
    )


def test_more_than_stands_there_is_refused(in_use: ChemicalLot, operator: Person, by: Acts) -> None:
    drawn(by(operator), 3_000_000)
    with pytest.raises(RecordRefused, match=r"T-HCL holds 0\.0\s?kg .* are wanted") as refused:
        drawn(by(operator), 1)
    assert refused.value.code == "stock_short"
    assert totals()["T-HCL"] == 0


def test_without_a_lot_in_use_nothing_is_drawn(delivered: ChemicalLot, operator: Person, by: Acts) -> None:
    with pytest.raises(RecordRefused, match="No lot of hydrochloric acid is in use"):
        drawn(by(operator), 1000)


@pytest.mark.parametrize("grams", [0, -1, 10**10])
def test_a_mass_that_cannot_be_is_refused(
    in_use: ChemicalLot, operator: Person, by: Acts, grams: int
) -> None:
    with pytest.raises(DomainError):
        drawn(by(operator), grams)


def test_an_unknown_chemical_is_said(in_use: ChemicalLot, operator: Person, by: Acts) -> None:
    with pytest.raises(RecordRefused, match="not known"):
        services.draw_for_batch(by=by(operator), chemical="bleach", grams_100=1, reference="B-1")


def test_qc_draws_no_chemical(in_use: ChemicalLot, qc_technician: Person, by: Acts) -> None:
    with pytest.raises(NotAllowed):
        drawn(by(qc_technician), 1000)


# --- corrections ------------------------------------------------------------------------------------------------------
def test_a_counter_movement_takes_it_back_and_both_stay(
    in_use: ChemicalLot, operator: Person, supervisor: Person, by: Acts
) -> None:
    wrong = drawn(by(operator), 80_000)
    back = services.correct_movement(
        by=by(supervisor), movement_id=wrong.pk, category="place", reason="wrong batch"
    ).result
    assert (back.corrects, back.from_place, back.to_place, back.grams_100) == (
        wrong,
        wrong.to_place,
        wrong.from_place,
        80_000,
    )
    assert Movement.objects.count() == 3 and totals()["T-HCL"] == 3_000_000
    assert selectors.use_by_reference(["B-10001"]) == {"B-10001": {"hcl": 0}}


def test_a_movement_is_taken_back_once(
    in_use: ChemicalLot, operator: Person, supervisor: Person, by: Acts
) -> None:
    wrong = drawn(by(operator), 80_000)
    back = services.correct_movement(
        by=by(supervisor), movement_id=wrong.pk, category="place", reason="wrong batch"
    ).result
    with pytest.raises(StaleRecord, match=f"corrected already, by movement {back.number}"):
        services.correct_movement(
            by=by(supervisor), movement_id=wrong.pk, category="place", reason="wrong batch"
        )
    with pytest.raises(RecordRefused, match="itself a correction"):
        services.correct_movement(
            by=by(supervisor), movement_id=back.pk, category="place", reason="wrong again"
        )


def test_the_database_refuses_a_second_counter_movement(
    in_use: ChemicalLot, operator: Person, supervisor: Person, by: Acts, clock: Clock
) -> None:
    wrong = drawn(by(operator), 80_000)
    services.correct_movement(by=by(supervisor), movement_id=wrong.pk, category="place", reason="wrong batch")
    with pytest.raises(IntegrityError), transaction.atomic():
        Movement.objects.create(
            number=99, chemical="hcl", from_place=wrong.to_place, to_place=wrong.from_place, grams_100=1, reference="x",
            reason="again", moved_at=clock.now, moved_by=supervisor, corrects=wrong,
        )  # fmt: skip


def test_a_delivery_that_was_used_is_not_taken_back(
    in_use: ChemicalLot, operator: Person, supervisor: Person, by: Acts
) -> None:
    drawn(by(operator), 80_000)
    delivery = Movement.objects.get(number=1)
    with pytest.raises(RecordRefused, match="T-HCL holds"):
        services.correct_movement(
            by=by(supervisor), movement_id=delivery.pk, category="place", reason="never came"
        )


def test_a_correction_needs_a_supervisor_and_a_reason(
    in_use: ChemicalLot, operator: Person, supervisor: Person, by: Acts
) -> None:
    wrong = drawn(by(operator), 80_000)
    with pytest.raises(NotAllowed):
        services.correct_movement(
            by=by(operator), movement_id=wrong.pk, category="place", reason="wrong batch"
        )
    with pytest.raises(RecordRefused, match="The reason"):
        services.correct_movement(by=by(supervisor), movement_id=wrong.pk, category="place", reason=" ")
    with pytest.raises(RecordRefused, match="not known here"):
        services.correct_movement(by=by(supervisor), movement_id=0, category="place", reason="wrong batch")


def test_the_database_freezes_movements(
    in_use: ChemicalLot, operator: Person, by: Acts, clock: Clock
) -> None:
    movement = drawn(by(operator), 80_000)
    for act in (
        lambda: Movement.objects.filter(pk=movement.pk).update(grams_100=1),
        lambda: Movement.objects.filter(pk=movement.pk).update(moved_at=clock.now + timedelta(days=1)),
        lambda: Movement.objects.filter(pk=movement.pk).delete(),
    ):
        with pytest.raises(DatabaseError, match="frozen"), transaction.atomic():
            act()


# --- places -----------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"code": ""}, "code"),
        ({"code": "T-HCL"}, "code"),
        ({"kind": "shed"}, "kind"),
        ({"chemical": ""}, "chemical"),
        ({"capacity_m3": 0.0}, "capacity_m3"),
        ({"capacity_m3": 501.0}, "capacity_m3"),
        ({"low_stock_grams_100": -1}, "low_stock"),
        ({"kind": "drain"}, "kind"),
        ({"name": ""}, "name"),
    ],
)
def test_a_place_that_cannot_be_is_refused(
    tank: Place, supervisor: Person, by: Acts, change: dict[str, Any], field: str
) -> None:
    arguments: dict[str, Any] = {
        "code": "T-2",
        "name": "Second",
        "kind": "bulk_tank",
        "chemical": "hcl",
        "capacity_m3": 5.0,
        **change,
    }
    with pytest.raises(DomainError) as refused:
        services.add_place(by=by(supervisor), **arguments)
    assert refused.value.field == field


def test_the_ledger_has_one_supplier(delivered: ChemicalLot, supervisor: Person, by: Acts) -> None:
    with pytest.raises(RecordRefused, match="it needs one only"):
        services.add_place(by=by(supervisor), code="S2", name="Another supplier", kind="supplier")


def test_a_tank_changed_from_a_stale_page_is_refused(tank: Place, supervisor: Person, by: Acts) -> None:
    settings_: dict[str, Any] = {"place_id": tank.pk, "capacity_m3": 10.0, "low_stock_grams_100": 900_000}
    services.change_place(by=by(supervisor), name="First", version=1, **settings_)
    with pytest.raises(StaleRecord):
        services.change_place(by=by(supervisor), name="Second", version=1, **settings_)
    tank.refresh_from_db()
    assert (tank.name, tank.low_stock_grams_100, tank.version) == ("First", 900_000, 2)
