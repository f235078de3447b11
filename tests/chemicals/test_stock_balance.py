"""The balance between counts, whatever the order of entry; the usual use; what runs out; what open batches still draw."""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from regenplant.audit.by import By
from regenplant.batches import services as batch_services
from regenplant.batches.selectors.chemical_needs import drawing_now, needs
from regenplant.chemicals import counts, services
from regenplant.chemicals.expiring import expiring
from regenplant.chemicals.handed_on import count_section
from regenplant.chemicals.models import ChemicalLot, Movement, Place, StockCount
from regenplant.chemicals.selectors import ledger_balances
from regenplant.core.errors import TransitionRefused
from regenplant.core.process.reconciliation import Verdict
from regenplant.core.process.vocabulary import StepKind
from regenplant.people.models import Person
from regenplant.plant.days import plant_day
from tests import factories
from tests.conftest import Clock

Acts = Callable[..., By]


def weighed(by: By, place: Place, grams: int) -> StockCount:
    return services.count_stock(
        by=by, place_id=place.pk, counted_grams_100=grams, reason="weighed out"
    ).result


def drawn(by: By, grams: int, reference: str = "B-10001") -> Movement:
    return services.draw_for_batch(by=by, chemical="hcl", grams_100=grams, reference=reference).result


def received(by: By, place: Place, code: str, grams: int) -> ChemicalLot:
    return services.receive_delivery(
        by=by, code=code, chemical="hcl", certificate_strength_frac=0.32, place_id=place.pk, grams_100=grams, is_packaged=True
    ).result  # fmt: skip


# --- a day by hand ------------------------------------------------------------------------------------------------------
def test_two_days_by_hand(
    in_use: ChemicalLot, tank: Place, operator: Person, supervisor: Person, by: Acts, clock: Clock
) -> None:
    """Day 1 closes at 2,900 kg after 100 kg used. Day 2: + 500 received, 300 used of which 50 taken back, 3,000 found: 150 missing."""
    drawn(by(operator), 100_000)
    clock.forward(hours=2)
    first = weighed(by(operator), tank, 2_900_000)
    clock.forward(days=1)
    received(by(operator), tank, "A-118", 500_000)
    drawn(by(operator), 250_000)
    wrong = drawn(by(operator), 50_000, "B-10002")
    services.correct_movement(by=by(supervisor), movement_id=wrong.pk, category="place", reason="wrong batch")
    clock.forward(hours=1)
    early = weighed(by(operator), tank, 3_150_000)
    clock.forward(hours=1)
    second = weighed(by(operator), tank, 3_000_000)
    stands = counts.standing_of(second)
    assert stands.gap_grams_100 == -150_000
    services.book_difference(
        by=by(supervisor), number=second.number, gap_grams_100=-150_000, category="leak", reason="wet bund under the tank"
    )  # fmt: skip
    today = plant_day(clock.now)
    rows = counts.day_balances(tank, today - timedelta(days=3), today)
    assert [(row.opening, row.closing, row.days) for row in rows] == [(None, first, 0), (first, second, 1)]
    assert early.number not in {row.closing.number for row in rows}, "the last count of a day closes it"
    one, two = (row.balance for row in rows)
    assert (one.opening_kg, one.received_kg, one.used_kg, one.closing_kg, one.gap_kg) == (
        0,
        3000,
        100,
        2900,
        0,
    )
    assert (two.opening_kg, two.received_kg, two.used_kg, two.other_kg, two.closing_kg) == (
        2900,
        500,
        250,
        0,
        3000,
    )
    assert two.gap_kg == -150 and two.gap_frac == pytest.approx(150 / 250) and two.verdict is Verdict.ABOVE
    assert two.spread_kg == pytest.approx((29.0**2 + 30.0**2) ** 0.5) and rows[1].booked_kg == -150
    assert counts.day_balances(tank, today + timedelta(days=1), today + timedelta(days=2)) == []


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    acts=st.lists(st.tuples(st.integers(1, 2800), st.integers(1, 60_000), st.booleans()), min_size=2, max_size=6, unique_by=lambda act: act[0]),
    count_minute=st.integers(1, 2800),
    found=st.integers(2_500_000, 3_300_000),
    order=st.randoms(use_true_random=False),
)  # fmt: skip
def test_the_order_of_entry_changes_no_balance_and_nothing_is_lost(
    in_use: ChemicalLot, tank: Place, operator: Person, supervisor: Person, by: Acts, clock: Clock,
    acts: list[tuple[int, int, bool]], count_minute: int, found: int, order: Any,
) -> None:  # fmt: skip
    """Draws, deliveries and a count, each at its own moment, written down in two orders; then the difference is booked: books of
    every moment, the difference, the day balances and every place's sum are the same, and the books are what was found."""
    acts = [act for act in acts if act[0] != count_minute]
    start, end = clock.now, clock.now + timedelta(days=3)
    shuffled: list[tuple[int, int, bool] | None] = [*sorted(acts), None]
    shuffled.sort(key=lambda act: count_minute if act is None else act[0])
    mixed = list(shuffled)
    order.shuffle(mixed)
    seen = []
    for listed in (shuffled, mixed):
        with transaction.atomic():
            for act in listed:
                minute = count_minute if act is None else act[0]
                who = by(operator, at=end, occurred_at=start + timedelta(minutes=minute))
                if act is None:
                    count = weighed(who, tank, found)
                elif act[2]:
                    received(who, tank, f"A-{minute + 1000}", act[1])
                else:
                    drawn(who, act[1], f"B-{minute + 10000}")
            count.refresh_from_db()
            gap = counts.standing_of(count).gap_grams_100
            if counts.standing_of(count).is_open:
                services.book_difference(
                    by=by(supervisor, at=end), number=count.number, gap_grams_100=gap, category="unknown", reason="nothing was found"
                )  # fmt: skip
                assert counts.books_grams(tank, count.counted_at, count.after_movement, count.number) == found
            sums = {row.place.code: row.grams_100 for row in ledger_balances()}
            assert sum(sums.values()) == 0
            assert sums["T-HCL"] == 3_000_000 + sum(
                grams if came else -grams for _, grams, came in acts
            ) - sums.get("UNEXPLAINED", 0)
            day = plant_day(count.counted_at)
            balances = [row.balance for row in counts.day_balances(tank, day, day)]
            seen.append((gap, sums, balances))
            transaction.set_rollback(True)
    assert seen[0] == seen[1]


# --- usual use ----------------------------------------------------------------------------------------------------------
def test_the_usual_use_counts_whole_days_idle_ones_and_corrections(
    in_use: ChemicalLot, tank: Place, operator: Person, supervisor: Person, by: Acts, clock: Clock
) -> None:
    clock.forward(days=1)
    drawn(by(operator), 70_000)
    wrong = drawn(by(operator), 30_000)
    services.correct_movement(by=by(supervisor), movement_id=wrong.pk, category="place", reason="wrong batch")
    clock.forward(days=7)
    drawn(by(operator), 40_000)
    assert counts.daily_use_kg(tank, clock.now) == [70.0, 0, 0, 0, 0, 0, 0], "today is no whole day yet"
    usual = counts.usual_use_of(tank, clock.now)
    assert usual is not None and usual.mean_kg == pytest.approx(10.0) and usual.days == 7


# --- what runs out, what is still drawn -------------------------------------------------------------------------------------
def test_what_runs_out_stands_with_its_day(
    in_use: ChemicalLot, tank: Place, operator: Person, by: Acts, clock: Clock
) -> None:
    checked = plant_day(clock.now)
    found = {(row.what, row.of): row for row in expiring(clock.now)}
    check, count = found["Strength check", "A-117"], found["Count of the tank", "T-HCL"]
    assert check.day == checked + timedelta(days=7) and check.days_left == 7 and not check.is_soon
    assert count.is_overdue and count.day is None
    weighed(by(operator), tank, 3_000_000)
    clock.forward(days=6)
    found = {(row.what, row.of): row for row in expiring(clock.now)}
    assert found["Strength check", "A-117"].is_soon and not found["Strength check", "A-117"].is_overdue
    assert (
        found["Count of the tank", "T-HCL"].is_overdue and found["Count of the tank", "T-HCL"].days_left == -5
    )
    clock.forward(days=2)
    assert {(row.what, row.of): row for row in expiring(clock.now)}["Strength check", "A-117"].is_overdue


@pytest.mark.django_db
@pytest.mark.requirement("CS-05")
def test_a_check_that_expires_after_planning_blocks_the_start() -> None:
    plant = factories.small_plant()
    batch = factories.frozen_batch(plant, "sac_h")
    plant.forward(days=8)
    with pytest.raises(TransitionRefused, match="8 days old, at most 7"):
        batch_services.start_batch(by=plant.by(), batch_id=batch.pk)
    batch.refresh_from_db()
    assert batch.state == "ready"


@pytest.mark.django_db
def test_open_batches_draw_until_their_step_is_done() -> None:
    plant = factories.small_plant()
    batch = factories.frozen_batch(plant, "sac_h")
    (need,) = needs()
    assert (need.batch, need.chemical, need.is_drawing) == (batch.number, "hcl", False) and need.kg_100 > 0
    assert drawing_now("hcl") == []
    factories.run_to(plant, batch, StepKind.DISPLACE)
    assert needs() == [], "the injection is done and its draw is in the ledger"
    assert Movement.objects.filter(reference=batch.number).count() == 1


# --- handover -----------------------------------------------------------------------------------------------------------
def test_a_coming_shift_knows_a_count_that_differs(
    in_use: ChemicalLot, tank: Place, operator: Person, supervisor: Person, by: Acts, clock: Clock
) -> None:
    assert count_section(clock.now).lines == ()
    count = weighed(by(operator), tank, 2_900_000)
    (line,) = count_section(clock.now).lines
    assert (
        "T-HCL holds 100.0" in line.what.replace("\u00a0", " ")
        and line.is_hazard
        and line.key == count.number
    )
    services.book_difference(
        by=by(supervisor), number=count.number, gap_grams_100=-100_000, category="leak", reason="wet bund under the tank"
    )  # fmt: skip
    assert count_section(clock.now).lines == ()
