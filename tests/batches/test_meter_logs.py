"""Logs of meters through the services: kept as received, counted once, judged by the same rules as a reading by hand."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import timedelta

import pytest
from django.core.management import call_command

from regenplant.batches import services
from regenplant.batches.checking import end_point_reading
from regenplant.batches.forecasts import history_of
from regenplant.batches.models import Batch, Deviation, MeterLog, RinseStanding
from regenplant.batches.moves import recorded_by
from regenplant.batches.points import core_readings, packed, points_of, unpacked
from regenplant.batches.received import unlike_its_text
from regenplant.batches.rinse import end_point
from regenplant.batches.selectors import rinse_page, rinse_running_in
from regenplant.batches.standing import end_point_in, forecasts_of, is_fresh, standing_of
from regenplant.core.errors import NotAllowed, RecordRefused
from regenplant.core.process.vocabulary import StepKind
from regenplant.plant.models import MeterFeed
from regenplant.plant.services import change_meter_feed, close_meter_feed
from regenplant.quality.selectors import participants
from regenplant.recipes.models import SpecificationVersion
from tests import factories
from tests.batches.meter_logs import device, logged, packet, take
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db

FALLING = [400.0 * 0.8**minute + 6.0 for minute in range(40)]
"""Below 10 µS/cm from the 21st minute on."""


@pytest.fixture
def rinsing(plant: SmallPlant) -> Batch:
    """An anion batch (limit 10 µS/cm, 15 min, 3 readings, 4.7 BV) in its fast rinse."""
    return factories.rinsing_batch(plant)


def test_a_packet_is_one_row_with_what_was_received(plant: SmallPlant, rinsing: Batch) -> None:
    row = take(plant, rinsing, FALLING)
    assert MeterLog.objects.count() == 1 and row.count == 40
    assert row.received_text.count("\n") == 40 and row.unit_as_typed == "µS/cm"
    points = points_of(rinsing)
    assert points.conductivity_siemens_per_m[0] == pytest.approx(406e-4)
    assert not points.is_by_hand.any() and points.is_valid.all()
    assert [reading.instrument_code for reading in core_readings(points)][:1] == [row.instrument.code]


def test_a_log_that_holds_the_limit_meets_the_end_point(plant: SmallPlant, rinsing: Batch) -> None:
    plant.forward(minutes=30)
    take(plant, rinsing, FALLING)
    reached = end_point(rinsing)
    assert reached.is_met and reached.held_readings > 15
    kept = standing_of(rinsing)
    assert kept is not None and is_fresh(rinsing) and end_point_in(kept) == reached


def test_readings_by_hand_and_of_a_meter_are_judged_together(plant: SmallPlant, rinsing: Batch) -> None:
    plant.forward(minutes=30)
    take(plant, rinsing, FALLING)
    plant.forward(minutes=1)
    factories.reading(plant, rinsing, "80 µS/cm")
    assert not end_point(rinsing).is_met
    assert points_of(rinsing).is_by_hand.sum() == 1


def test_what_is_sent_twice_counts_once(plant: SmallPlant, rinsing: Batch) -> None:
    readings = logged(plant.now + timedelta(minutes=1), FALLING)
    plant.forward(minutes=60)
    first = services.take_in(by=plant.by(), batch_id=rinsing.pk, packet=packet(plant, readings[:30]))
    again = services.take_in(by=plant.by(), batch_id=rinsing.pk, packet=packet(plant, readings))
    assert first.facts["kept"] == 30
    assert (again.facts["kept"], again.facts["known_already"]) == (10, 30)
    with pytest.raises(RecordRefused, match="40 are kept already") as refusal:
        services.take_in(by=plant.by(), batch_id=rinsing.pk, packet=packet(plant, readings))
    assert refusal.value.code == "nothing_new" and refusal.value.context["known_already"] == 40
    assert len(points_of(rinsing)) == 40


def test_readings_outside_the_rinse_are_left_out_and_counted(plant: SmallPlant, rinsing: Batch) -> None:
    readings = logged(plant.now - timedelta(minutes=20), FALLING)
    plant.forward(minutes=10)
    row = services.take_in(by=plant.by(), batch_id=rinsing.pk, packet=packet(plant, readings)).result
    assert row.outside == 29 and row.count == 11


def test_a_meters_reading_needs_no_second_typing(plant: SmallPlant, rinsing: Batch) -> None:
    plant.forward(minutes=30)
    take(plant, rinsing, FALLING, source="http")
    assert end_point(rinsing).is_met and end_point_reading(rinsing) is None


@pytest.mark.parametrize("source", ["http", "mqtt"])
def test_nobody_types_a_reading_of_a_meter(plant: SmallPlant, rinsing: Batch, source: str) -> None:
    readings = logged(plant.now + timedelta(minutes=1), FALLING)
    plant.forward(minutes=60)
    with pytest.raises(NotAllowed, match="come from the meter's own account"):
        services.take_in(by=plant.by(), batch_id=rinsing.pk, packet=packet(plant, readings, source=source))


def test_a_device_hands_in_no_file(plant: SmallPlant, rinsing: Batch) -> None:
    readings = logged(plant.now + timedelta(minutes=1), FALLING)
    plant.forward(minutes=60)
    by = replace(plant.by(), user=device(plant, rinsing))
    with pytest.raises(NotAllowed, match="handed in by a person"):
        services.take_in(by=by, batch_id=rinsing.pk, packet=packet(plant, readings))


def test_a_device_sends_for_its_own_cell_and_its_own_vessel_only(plant: SmallPlant, rinsing: Batch) -> None:
    readings = logged(plant.now + timedelta(minutes=1), FALLING)
    plant.forward(minutes=60)
    by = replace(plant.by(), user=device(plant, rinsing))
    other_cell = packet(plant, readings, source="http", cell="OLD-CELL")
    with pytest.raises(NotAllowed, match="sends for CELL at vessel"):
        services.take_in(by=by, batch_id=rinsing.pk, packet=other_cell)
    feed = MeterFeed.objects.get()
    change_meter_feed(
        by=plant.by("supervisor"), feed_id=feed.pk, name=feed.name, vessel_id=plant.vessels["C1"].pk, topic=""
    )
    with pytest.raises(NotAllowed, match="sends for CELL at vessel C1"):
        services.take_in(by=by, batch_id=rinsing.pk, packet=packet(plant, readings, source="http"))
    close_meter_feed(by=plant.by("supervisor"), feed_id=feed.pk, reason="Taken down.")
    by.user.refresh_from_db()
    with pytest.raises(NotAllowed, match="closed"):
        services.take_in(by=by, batch_id=rinsing.pk, packet=packet(plant, readings, source="http"))


def test_a_few_typed_lines_are_no_log(plant: SmallPlant, rinsing: Batch) -> None:
    readings = logged(plant.now + timedelta(minutes=1), [8.0, 7.9, 7.8])
    plant.forward(minutes=60)
    with pytest.raises(RecordRefused, match="3 readings; a log holds at least 10"):
        services.take_in(by=plant.by(), batch_id=rinsing.pk, packet=packet(plant, readings, source="paste"))


@pytest.mark.requirement("ER-20")
def test_the_log_of_an_overdue_cell_proves_nothing(plant: SmallPlant, rinsing: Batch) -> None:
    plant.forward(minutes=30)
    row = take(plant, rinsing, FALLING, cell="OLD-CELL")
    assert not row.instrument_was_valid and not end_point(rinsing).is_met
    assert "out of calibration" in end_point(rinsing).not_counted[0]
    assert rinsing.deviations.get().source == Deviation.Source.INSTRUMENT


@pytest.mark.parametrize(
    "odd, words", [(-0.4, "water is above zero"), (0.04, "cannot be: at 25 °C water ends at")]
)
def test_what_cannot_be_water_is_kept_and_never_a_result(
    plant: SmallPlant, rinsing: Batch, odd: float, words: str
) -> None:
    plant.forward(minutes=30)
    row = take(plant, rinsing, [*FALLING[:35], odd, *FALLING[35:]])
    assert row.count == 41 and row.check_count >= 1
    reached = end_point(rinsing)
    assert not reached.is_met and any(words in sentence for sentence in reached.instrument_checks)
    assert rinsing.deviations.get().source == Deviation.Source.READING


def test_a_log_that_stands_still_to_the_last_digit_is_no_result(plant: SmallPlant, rinsing: Batch) -> None:
    plant.forward(minutes=30)
    take(plant, rinsing, [*FALLING[:20], *[8.0] * 30])
    reached = end_point(rinsing)
    assert not reached.is_met
    assert any("same figure to the last digit for 29" in sentence for sentence in reached.instrument_checks)


def test_a_jump_that_water_cannot_make_is_no_result(plant: SmallPlant, rinsing: Batch) -> None:
    plant.forward(minutes=30)
    values = [400.0 - second * 0.01 for second in range(60)] + [9.0 - second * 0.001 for second in range(60)]
    row = take(plant, rinsing, values, every_s=1.0)
    assert row.check_count == 1
    assert any("water cannot" in sentence for sentence in end_point(rinsing).instrument_checks)


def test_a_stretch_set_aside_with_a_reason_counts_no_more(plant: SmallPlant, rinsing: Batch) -> None:
    plant.forward(minutes=30)
    row = take(plant, rinsing, FALLING)
    assert end_point(rinsing).is_met
    services.set_aside(
        by=plant.by(), log_id=row.pk, category="instrument", reason="The cell hung in air for a while.",
        from_at=row.last_at - timedelta(minutes=10), until_at=row.last_at,
    )  # fmt: skip
    assert not end_point(rinsing).is_met and len(points_of(rinsing)) == 29
    assert is_fresh(rinsing) and len(unpacked(row)[0]) == 40
    services.set_aside(
        by=plant.by(), log_id=row.pk, category="place", reason="It was logged at another vessel."
    )
    assert len(points_of(rinsing)) == 0


def test_a_log_set_aside_does_not_come_in_again(plant: SmallPlant, rinsing: Batch) -> None:
    row = take(plant, rinsing, FALLING)
    services.set_aside(
        by=plant.by(), log_id=row.pk, category="place", reason="It was logged at another vessel."
    )
    readings = logged(row.first_at, FALLING)
    with pytest.raises(RecordRefused, match="40 are kept already"):
        services.take_in(by=plant.by(), batch_id=rinsing.pk, packet=packet(plant, readings))


def test_the_vessel_tells_which_rinse_runs_in_it(plant: SmallPlant, rinsing: Batch) -> None:
    assert rinse_running_in(rinsing.vessel_id) == rinsing
    assert rinse_running_in(plant.vessels["C1"].pk) is None


def test_the_page_shows_the_thinned_curve(plant: SmallPlant, rinsing: Batch) -> None:
    take(plant, rinsing, [400.0 * 0.998**index + 6.0 for index in range(3000)], every_s=1.0)
    page = rinse_page(rinsing, plant.now)
    assert page.standing is not None and page.standing.points == 3000 and len(page.points) <= 600
    assert page.points[0][1] == pytest.approx(406e-4) and page.took_readings == (
        plant.people["operator"].full_name,
    )


def test_a_judged_batch_takes_no_log_in_and_sets_none_aside(plant: SmallPlant, rinsing: Batch) -> None:
    row = take(plant, rinsing, FALLING)
    Batch.objects.filter(pk=rinsing.pk).update(state="passed")
    readings = logged(plant.now, FALLING)
    plant.forward(minutes=60)
    with pytest.raises(RecordRefused, match="readings are taken in from its final rinse until it is judged"):
        services.take_in(by=plant.by(), batch_id=rinsing.pk, packet=packet(plant, readings))
    with pytest.raises(RecordRefused, match="its readings are closed"):
        services.set_aside(
            by=plant.by(), log_id=row.pk, category="other", reason="It hung in the wrong vessel."
        )


def test_a_limit_edited_while_it_rinses_changes_nothing(plant: SmallPlant, rinsing: Batch) -> None:
    """The batch keeps the version it was frozen with: a wider limit in force since does not end its rinse."""
    plant.forward(minutes=30)
    take(plant, rinsing, [one + 8.0 for one in FALLING])
    assert not end_point(rinsing).is_met
    frozen = rinsing.specification_version
    plain = json.loads(frozen.content)
    plain["limits"][0]["high"] = 50e-4
    wider = SpecificationVersion.objects.get(pk=frozen.pk)
    wider.pk, wider.number, wider.content, wider.signature = None, frozen.number + 1, json.dumps(plain), None
    wider.save(force_insert=True)
    rinsing = Batch.objects.get(pk=rinsing.pk)
    assert (
        not end_point(rinsing).is_met and end_point(rinsing).limit == end_point_in(standing_of(rinsing)).limit
    )  # type: ignore[arg-type]


def test_an_end_point_in_sight_is_no_end_point(plant: SmallPlant, rinsing: Batch) -> None:
    """A curve that will be inside in a minute, by any extrapolation, is not inside."""
    plant.forward(minutes=30)
    take(plant, rinsing, [200.0 * 0.9**minute + 1.0 for minute in range(29)])
    reached = end_point(rinsing)
    assert reached.latest_siemens_per_m == pytest.approx(10e-4, rel=0.2) and not reached.is_met


# --- forecasts ----------------------------------------------------------------------------------------------------------
def test_each_reading_by_hand_and_each_minute_of_a_meter_is_forecast_from(
    plant: SmallPlant, rinsing: Batch
) -> None:
    for value in ("400 µS/cm", "200 µS/cm", "120 µS/cm"):
        plant.forward(minutes=3)
        factories.reading(plant, rinsing, value)
    assert len(forecasts_of(rinsing)) == 3
    for values in ([100.0 - 0.1 * s for s in range(12)], [99.0 - 0.1 * s for s in range(12)]):
        take(plant, rinsing, values, source="mqtt", every_s=1.0)
    made = forecasts_of(rinsing)
    assert len(made) == 3  # not a minute since the last
    plant.forward(minutes=2)
    take(plant, rinsing, [90.0 - 0.1 * s for s in range(12)], source="mqtt", every_s=1.0)
    made = forecasts_of(rinsing)
    kept = standing_of(rinsing)
    assert len(made) == 4 and kept is not None and kept.forecast["p50_bv"] == made[-1].p50_bv
    assert made[-1].model and made[-1].p_never is not None and made[-1].rinsed_bv > made[0].rinsed_bv


def test_earlier_rinses_of_the_pool_are_the_history(plant: SmallPlant) -> None:
    first = factories.filled_batch(plant, "sac_h")
    second = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, second, StepKind.FAST_RINSE)
    second.refresh_from_db()
    kept = standing_of(first)
    assert kept is not None and kept.endpoint_bv is not None
    assert history_of(second) == [(kept.endpoint_bv, kept.decade_bv)]
    assert history_of(first) == []


# --- the record ---------------------------------------------------------------------------------------------------------
def test_a_packets_columns_are_what_its_text_says(plant: SmallPlant, rinsing: Batch) -> None:
    row = take(plant, rinsing, [*FALLING, -0.2], celsius=18.3)
    assert list(unlike_its_text(row)) == []
    at_s, rinsed, shown, kelvin, at_25 = unpacked(row)
    for columns, words in (
        ((at_s, rinsed, 0.5 * shown, kelvin, at_25), "holds 41 readings that were not received so"),
        ((at_s, rinsed, shown, kelvin, 1.1 * at_25), "comes out otherwise at 25 °C than it was stored"),
        ((at_s[:9], rinsed[:9], shown[:9], kelvin[:9], at_25[:9]), "names another number of readings"),
    ):
        row.columns = packed(columns)
        assert any(words in one for one in unlike_its_text(row))


def test_whoever_hands_a_log_in_took_part(plant: SmallPlant, rinsing: Batch) -> None:
    take(plant, rinsing, FALLING)
    assert "handed in a log of the rinse" in recorded_by(rinsing, plant.people["operator"].pk)
    assert plant.people["operator"].pk in participants(rinsing)
    assert recorded_by(rinsing, plant.people["qc"].pk) == ()


def test_a_standing_fits_the_record_after_each_act_on_the_rinse(plant: SmallPlant, rinsing: Batch) -> None:
    plant.forward(minutes=30)
    take(plant, rinsing, FALLING)
    step = rinsing.steps.get(kind=StepKind.FAST_RINSE.value)
    factories.write_required(plant, step, is_before=False)
    assert is_fresh(Batch.objects.get(pk=rinsing.pk))
    services.finish_step(by=plant.by(), step_id=step.pk)
    kept = standing_of(rinsing)
    assert is_fresh(Batch.objects.get(pk=rinsing.pk)) and kept is not None and kept.forecast["model"]
    RinseStanding.objects.all().delete()
    call_command("renew_standings")
    assert is_fresh(Batch.objects.get(pk=rinsing.pk))


def test_a_meter_makes_no_page_old_while_it_rinses_and_each_one_afterwards(
    plant: SmallPlant, rinsing: Batch
) -> None:
    """Whoever ends a step need not race a meter that sends every few seconds; whoever signs has seen all there is."""
    plant.forward(minutes=30)
    readings = logged(plant.now, FALLING)
    plant.forward(minutes=40)
    step = rinsing.steps.get(state="running")
    by = replace(plant.by("operator"), user=device(plant, rinsing))
    before = Batch.objects.get(pk=rinsing.pk).version
    services.take_in(by=by, batch_id=rinsing.pk, packet=packet(plant, readings[:38], source="http"))
    assert Batch.objects.get(pk=rinsing.pk).version == before
    factories.write_required(plant, step, is_before=False)
    services.finish_step(by=plant.by("operator"), step_id=step.pk)
    factories.run_to(plant, rinsing, StepKind.SAMPLE, finish=True)
    shown = Batch.objects.get(pk=rinsing.pk)
    assert shown.state == "awaiting_qc"
    late = replace(plant.by("operator"), user=by.user)
    services.take_in(by=late, batch_id=rinsing.pk, packet=packet(plant, readings[38:], source="http"))
    assert Batch.objects.get(pk=rinsing.pk).version == shown.version + 1
