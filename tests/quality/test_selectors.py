"""What the QC queue, the decision page and the review read."""

from __future__ import annotations

from datetime import timedelta

import pytest

from regenplant.audit.reasons import Reason
from regenplant.batches import services as batch_services
from regenplant.batches.selectors import batch_numbered
from regenplant.core.process.lifecycle import BatchAction
from regenplant.core.process.review_rules import Unusual
from regenplant.core.process.vocabulary import StepKind
from regenplant.quality import services
from regenplant.quality.selectors import deviation_numbered, qc_page, qc_queue, review_board
from regenplant.quality.signed_content import FAIL_MEANING
from tests import factories
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db


def test_the_queue_holds_what_rinses_awaits_qc_and_awaits_release(plant: SmallPlant) -> None:
    rinsing = factories.frozen_batch(plant, "sba_1")
    factories.run_to(plant, rinsing, StepKind.FAST_RINSE)
    plant.forward(minutes=5)
    reading = factories.reading(plant, rinsing, "80 µS/cm")
    waiting = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, waiting, StepKind.SAMPLE, finish=True)
    filled = factories.filled_batch(plant, "sac_na")
    factories.frozen_batch(plant, "sba_2")
    lines = {line.batch.number: line for line in qc_queue()}
    assert set(lines) == {rinsing.number, waiting.number, filled.number}
    newest = lines[rinsing.number].newest
    assert newest is not None and abs(newest.at - reading.occurred_at) < timedelta(seconds=1)
    assert newest.conductivity_25_siemens_per_m == pytest.approx(reading.conductivity_25_siemens_per_m)
    assert (lines[waiting.number].measured, lines[waiting.number].to_measure) == (0, 1)


def test_the_queue_asks_the_same_number_of_queries_for_more_batches(
    plant: SmallPlant, django_assert_max_num_queries
) -> None:  # type: ignore[no-untyped-def]
    for family in ("sac_h", "sac_na", "sba_1"):
        factories.filled_batch(plant, family)
    with django_assert_max_num_queries(3):
        assert len(qc_queue()) == 3


def test_the_decision_page_says_who_may_do_what_and_why_not(plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.SAMPLE, finish=True)
    factories.measured_sample(plant, batch)
    batch = batch_numbered(batch.number)
    free = qc_page(batch, by=plant.by("qc")).offer(BatchAction.PASS)
    assert free is not None and free.is_open
    closed = qc_page(batch, by=plant.by("operator")).offer(BatchAction.PASS)
    assert closed is not None
    assert [blocker.code for blocker in closed.blockers] == ["not_allowed", "own_work"]


def test_exceptions_are_counted_each_once(plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    step = factories.run_to(plant, batch, StepKind.FAST_RINSE)
    plant.forward(minutes=30)
    first = batch_services.record_reading(
        by=plant.by().happening_at(plant.now - timedelta(minutes=14)),
        batch_id=batch.pk,
        reading=factories.ReadingAsTyped("400 µS/cm", "25 °C", plant.instruments["CELL"].pk),
    ).result
    plant.forward(minutes=1)
    batch_services.correct_reading(
        by=plant.by(),
        reading_id=first.pk,
        reading=factories.ReadingAsTyped("40 µS/cm", "25 °C", plant.instruments["CELL"].pk),
        category="slip",
        reason="one nought too many",
    )
    flow = next(spec for spec in factories.plan_of(batch).step(step.number).entries if spec.key == "flow")
    batch_services.write_entry(
        by=plant.by(),
        step_id=step.pk,
        key="flow",
        text=f"{(flow.high or 0) * 60_000 * 2} L/min",
        outside_is_true=True,
    )
    found = qc_page(batch_numbered(batch.number), by=plant.by("qc")).exceptions
    (corrected,), (outside,), (deviation,) = (
        found.of(kind) for kind in (Unusual.CORRECTED, Unusual.OUTSIDE, Unusual.DEVIATION)
    )
    assert "40 µS/cm; before: 400 µS/cm" in corrected.sentence and found.of(Unusual.LATE) == ()
    assert outside.step == step.number and deviation.is_grave


@pytest.mark.requirement("ER-12")
def test_a_reading_written_more_than_a_quarter_of_an_hour_later_is_late(plant: SmallPlant) -> None:
    """ER-12."""
    batch = factories.frozen_batch(plant, "sac_h")
    step = factories.run_to(plant, batch, StepKind.FAST_RINSE)
    plant.forward(minutes=40)
    typed = factories.ReadingAsTyped("400 µS/cm", "25 °C", plant.instruments["CELL"].pk)
    assert step.started_at is not None
    batch_services.record_reading(
        by=plant.by().happening_at(step.started_at), batch_id=batch.pk, reading=typed,
        late=Reason("late", "the tablet had no power"),
    )  # fmt: skip
    (late,) = qc_page(batch_numbered(batch.number), by=plant.by("qc")).exceptions.of(Unusual.LATE)
    assert (
        "written 40 min after it happened" in late.sentence
        and "known later: the tablet had no power" in late.sentence
    )


def test_the_review_shows_what_was_unusual_first(plant: SmallPlant) -> None:
    failed = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, failed, StepKind.SAMPLE, finish=True)
    services.decide_batch(
        by=plant.by("qc"),
        batch_id=failed.pk,
        verdict="fail",
        reason="hardness kit shows breakthrough",
        permit=factories.permit(plant, "qc", FAIL_MEANING),
    )
    held = factories.frozen_batch(plant, "sba_1")
    factories.run_to(plant, held, StepKind.BACKWASH)
    batch_services.hold_batch(by=plant.by(), batch_id=held.pk, reason="the pump sounds wrong")
    filled = factories.filled_batch(plant, "sac_na")
    deviation = batch_services.open_deviation(
        by=plant.by(), batch_id=filled.pk, what="two labels were torn", severity="minor"
    ).result
    board = review_board(plant.now)
    assert board.open_deviations == (deviation,)
    assert (board.failed, board.held, board.to_release) == ((failed,), (held,), ())
    (waiting,) = board.to_review
    assert waiting.batch == filled and waiting.grave == 1 and not waiting.is_reviewed
    assert board.refused_signatures == ()


def test_a_deviation_is_found_by_its_number_in_any_case(plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_h")
    deviation = batch_services.open_deviation(
        by=plant.by(), batch_id=batch.pk, what="two labels were torn", severity="minor"
    ).result
    assert deviation_numbered(f" {deviation.number.lower()} ") == deviation
    assert deviation_numbered("D-0") is None
