"""Rinse readings through the services: what they mean, what informs only, what points to the instrument, corrections."""

from __future__ import annotations

from datetime import timedelta

import pytest

from regenplant.audit.reasons import Reason
from regenplant.batches import services
from regenplant.batches.models import Batch, RinseReading
from regenplant.batches.rinse import end_point
from regenplant.batches.selectors import rinse_page
from regenplant.batches.selectors.reading import meaning_of_row
from regenplant.batches.services.readings import ReadingAsTyped
from regenplant.core.errors import OutOfRange, RecordRefused, UnitNotUnderstood
from regenplant.core.process.vocabulary import StepKind
from tests import factories
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db


@pytest.fixture
def rinsing(plant: SmallPlant) -> Batch:
    """An anion batch (limit 10 µS/cm, 15 min, 3 readings, 4.7 BV) in its fast rinse."""
    return factories.rinsing_batch(plant)


def correct(plant: SmallPlant, row: RinseReading, value: str, **more: str) -> RinseReading:
    typed = ReadingAsTyped(value, "25 °C", plant.instruments["CELL"].pk, more.pop("rinsed", ""))
    reason = more.pop("reason", "misread the display by a digit")
    return services.correct_reading(
        by=plant.by(), reading_id=row.pk, reading=typed, category=more.pop("category", "slip"), reason=reason
    ).result


@pytest.mark.requirement("ER-19")
def test_a_reading_keeps_what_was_typed_beside_what_it_means(plant: SmallPlant, rinsing: Batch) -> None:
    plant.forward(minutes=5)
    row = factories.reading(plant, rinsing, "0.05 Mohm-cm", celsius=18)
    assert (row.value_as_typed, row.unit_as_typed, row.temperature_as_typed) == ("0.05", "Mohm-cm", "18 °C")
    assert row.conductivity_siemens_per_m == pytest.approx(20e-4)  # 0.05 MΩ·cm is exactly 20 µS/cm
    assert row.conductivity_25_siemens_per_m > row.conductivity_siemens_per_m  # colder water conducts less
    assert meaning_of_row(rinsing, row).at_25_siemens_per_m == row.conductivity_25_siemens_per_m


def test_one_reading_inside_the_limit_does_not_end_the_rinse(plant: SmallPlant, rinsing: Batch) -> None:
    plant.forward(minutes=60)
    factories.reading(plant, rinsing, "2 µS/cm")
    assert not end_point(rinsing).is_met
    assert any("1 of 3 readings in a row" in reason for reason in end_point(rinsing).reasons)


@pytest.mark.requirement("ER-20")
def test_readings_of_an_overdue_cell_inform_and_never_end_the_rinse(
    plant: SmallPlant, rinsing: Batch
) -> None:
    plant.forward(minutes=60)
    for value in (5.0, 4.9, 4.8, 4.7, 4.6, 4.5):
        plant.forward(minutes=4)
        row = factories.reading(plant, rinsing, f"{value} µS/cm", cell="OLD-CELL")
    end = end_point(rinsing)
    assert row.instrument_was_valid is False
    assert not end.is_met and end.held_readings == 0
    assert end.not_counted == ("Readings of OLD-CELL are for information: it was out of calibration.",)


def test_better_than_water_can_be_is_kept_and_points_to_the_cell(plant: SmallPlant, rinsing: Batch) -> None:
    """WQ-04: pure water ends at 18.28 MΩ·cm at 25 °C (Otten 1981), 18.46 with a meter good to 1 %."""
    plant.forward(minutes=60)
    row = factories.reading(plant, rinsing, "18.9 Mohm-cm")
    assert "18.9" in row.instrument_check and "18.46" in row.instrument_check
    assert end_point(rinsing).latest_siemens_per_m is None


def test_a_pool_that_holds_its_limit_meets_the_end_point(plant: SmallPlant, rinsing: Batch) -> None:
    plant.forward(minutes=60)
    factories.rinse_down(plant, rinsing)
    end = end_point(rinsing)
    assert end.is_met and end.reasons == ()
    held = rinse_page(rinsing, plant.now).end_point.held_from_s
    first = rinsing.readings.order_by("occurred_at").first()
    assert first is not None and held == first.occurred_at.timestamp()


def test_a_reading_sent_twice_is_one_reading(plant: SmallPlant, rinsing: Batch) -> None:
    plant.forward(minutes=5)
    factories.reading(plant, rinsing, "80 µS/cm")
    with pytest.raises(RecordRefused, match="sent twice"):
        factories.reading(plant, rinsing, "80 µS/cm")
    plant.forward(minutes=4)
    factories.reading(plant, rinsing, "80 µS/cm")
    assert rinsing.readings.count() == 2


def test_a_list_of_equal_readings_written_later_is_not_taken_for_one_sent_twice(
    plant: SmallPlant, rinsing: Batch
) -> None:
    plant.forward(minutes=30)
    typed = ReadingAsTyped("80 µS/cm", "25 °C", plant.instruments["CELL"].pk)
    for minutes in (20, 10):
        by = plant.by().happening_at(plant.now - timedelta(minutes=minutes))
        services.record_reading(
            by=by,
            batch_id=rinsing.pk,
            reading=typed,
            late=Reason("late", "copied from the slip of the night shift"),
        )
    assert rinsing.readings.count() == 2


CANNOT_BE: tuple[tuple[str, str, type[Exception]], ...] = (
    ("", "20 °C", UnitNotUnderstood),
    ("eight", "20 °C", UnitNotUnderstood),
    ("8 kg", "20 °C", UnitNotUnderstood),
    ("0 µS/cm", "20 °C", OutOfRange),
    ("-3 µS/cm", "20 °C", OutOfRange),
    ("8 µS/cm", "-2 °C", RecordRefused),
    ("8 µS/cm", "120 °C", RecordRefused),
)


def test_what_cannot_be_a_reading_is_refused_and_nothing_is_kept(plant: SmallPlant, rinsing: Batch) -> None:
    for value, temperature, kind in CANNOT_BE:
        typed = ReadingAsTyped(value, temperature, plant.instruments["CELL"].pk)
        with pytest.raises(kind):
            services.record_reading(by=plant.by(), batch_id=rinsing.pk, reading=typed)
    assert rinsing.readings.count() == 0


def test_a_reading_is_refused_outside_the_fast_rinse_in_the_future_and_before_it_began(
    plant: SmallPlant,
) -> None:
    batch = factories.frozen_batch(plant, "sba_1")
    typed = ReadingAsTyped("8 µS/cm", "20 °C", plant.instruments["CELL"].pk)
    with pytest.raises(RecordRefused, match="is not in its final rinse"):
        services.record_reading(by=plant.by(), batch_id=batch.pk, reading=typed)
    factories.run_to(plant, batch, StepKind.FAST_RINSE)
    for hours, message in ((1, "lies in the future"), (-1, "before Fast rinse started")):
        by = plant.by().happening_at(plant.now + timedelta(hours=hours))
        with pytest.raises(RecordRefused, match=message):
            services.record_reading(by=by, batch_id=batch.pk, reading=typed)


# --- corrections ------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-01")
def test_a_correction_replaces_the_reading_and_keeps_it_readable(plant: SmallPlant, rinsing: Batch) -> None:
    plant.forward(minutes=5)
    old = factories.reading(plant, rinsing, "8 µS/cm")
    plant.forward(minutes=2)
    new = correct(plant, old, "80 µS/cm")
    assert new.occurred_at == old.occurred_at and new.replaces_id == old.pk
    assert [row.pk for row in rinse_page(rinsing, plant.now).readings] == [new.pk, old.pk]
    assert end_point(rinsing).latest_siemens_per_m == pytest.approx(80e-4)


def test_a_correction_without_a_volume_keeps_that_of_the_old_reading(
    plant: SmallPlant, rinsing: Batch
) -> None:
    plant.forward(minutes=5)
    old = factories.reading(plant, rinsing, "8 µS/cm", rinsed="1200 L")
    assert correct(plant, old, "80 µS/cm").rinsed_bv == old.rinsed_bv
    newer = rinsing.readings.order_by("-pk")[0]
    assert correct(plant, newer, "81 µS/cm", rinsed="612 L").rinsed_bv == pytest.approx(
        0.612 / rinsing.resin_volume_m3
    )


def test_a_correction_needs_a_reason_and_is_made_once(plant: SmallPlant, rinsing: Batch) -> None:
    plant.forward(minutes=5)
    old = factories.reading(plant, rinsing, "8 µS/cm")
    with pytest.raises(RecordRefused, match="at least 10 characters"):
        correct(plant, old, "80 µS/cm", reason="typo")
    correct(plant, old, "80 µS/cm")
    with pytest.raises(RecordRefused, match="already corrected"):
        correct(plant, RinseReading.objects.get(pk=old.pk), "81 µS/cm")


def test_readings_are_closed_once_the_batch_is_judged(plant: SmallPlant) -> None:
    batch = factories.passed_batch(plant, "sba_1")
    row = batch.readings.order_by("occurred_at")[0]
    with pytest.raises(RecordRefused, match="its readings are closed"):
        correct(plant, row, "8 µS/cm")


# --- the page -----------------------------------------------------------------------------------------------------------
def test_a_softener_shows_its_readings_though_its_rinse_has_no_conductivity_limit(plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_na")
    factories.run_to(plant, batch, StepKind.FAST_RINSE)
    plant.forward(minutes=5)
    factories.reading(plant, batch, "900 µS/cm")
    page = rinse_page(batch, plant.now)
    assert page.limit is None and page.flow_m3_per_s is not None
    assert page.points == ((pytest.approx(5.0), pytest.approx(900e-4)),)


def test_earlier_rinses_of_the_pool_are_ghosts_newest_first(plant: SmallPlant) -> None:
    first = factories.filled_batch(plant, "sac_h")
    second = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, second, StepKind.FAST_RINSE)
    ghosts = rinse_page(second, plant.now).ghosts
    assert [ghost.batch_number for ghost in ghosts] == [first.number]
    assert len(ghosts[0].points) == first.readings.count()
    first.refresh_from_db()
    assert rinse_page(first, plant.now).ghosts == (), "a later rinse is no earlier one"


def test_the_rinse_page_asks_a_fixed_number_of_queries(
    plant: SmallPlant, rinsing: Batch, django_assert_num_queries
) -> None:  # type: ignore[no-untyped-def]
    for _ in range(3):
        plant.forward(minutes=4)
        factories.reading(plant, rinsing, "80 µS/cm")
    few = Batch.objects.select_related("vessel", "resin_type", "specification_version").get(pk=rinsing.pk)
    with django_assert_num_queries(8):
        rinse_page(few, plant.now)
    for _ in range(12):
        plant.forward(minutes=4)
        factories.reading(plant, rinsing, "80 µS/cm")
    many = Batch.objects.select_related("vessel", "resin_type", "specification_version").get(pk=rinsing.pk)
    with django_assert_num_queries(8):
        rinse_page(many, plant.now)
