"""What rests on an instrument since its last good calibration, and what a failed one would change."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest

from regenplant.batches.models import Batch, RinseReading
from regenplant.core.errors import NotAllowed, RecordRefused, StaleRecord
from regenplant.core.process.vocabulary import StepKind
from regenplant.plant import services as plant_services
from regenplant.plant.calibrations import failures_to_look_at
from regenplant.plant.models import Calibration, ImpactLook, Instrument
from regenplant.plant.services import CalibrationEvidence, PointAsTyped
from regenplant.quality.instrument_impact import Impact, impact_of
from regenplant.quality.services import look_at_impact
from tests import factories
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant()


@pytest.fixture
def passed(plant: SmallPlant) -> Batch:
    """An anion batch that passed by the cell CELL and, for silica, by the kit."""
    return factories.passed_batch(plant, "sba_1")


def found(plant: SmallPlant, shown: str, *, code: str = "CELL", left: str = "84 µS/cm") -> Calibration:
    """A calibration that found ``shown`` where 84 µS/cm was."""
    plant.forward(minutes=10)
    plant_services.record_calibration(
        by=plant.by("qc"),
        instrument_id=plant.instruments[code].pk,
        calibrated_on=plant.now.date(),
        due_on=(plant.now + timedelta(days=90)).date(),
        evidence=CalibrationEvidence(
            reference_kind="solution",
            reference="84 µS/cm at 25 °C",
            certificate="INV-1",
            reference_expires_on=(plant.now + timedelta(days=30)).date(),
            points=(PointAsTyped("84 µS/cm", shown, left, "2 %"),),
        ),
    )
    return Calibration.objects.latest("id")


def cell(plant: SmallPlant) -> Instrument:
    return Instrument.objects.get(code="CELL")


def rinse_of(impact: Impact) -> Any:
    return next(one for one in impact.results if "rinse" in one.what)


def test_the_end_point_of_a_passed_batch_rests_on_its_cell(plant: SmallPlant, passed: Batch) -> None:
    one = rinse_of(impact_of(cell(plant)))
    assert (one.batch, one.what, one.verdict) == (passed, "End point of the rinse", "pass")
    assert one.margin == pytest.approx((one.high - one.value) / one.high) and one.margin >= 0
    assert one.with_error is None and not one.holds_no_longer
    assert {tank.customer for tank in one.tanks} and not one.is_shipped


def test_the_reading_nearest_to_the_limit_stands_for_the_end_point(plant: SmallPlant, passed: Batch) -> None:
    one = rinse_of(impact_of(cell(plant)))
    within = RinseReading.objects.filter(batch=passed, conductivity_25_siemens_per_m__lte=one.high)
    assert one.value == pytest.approx(max(row.conductivity_25_siemens_per_m for row in within))


def test_the_sample_rests_on_the_kit(plant: SmallPlant, passed: Batch) -> None:
    results = impact_of(Instrument.objects.get(code="KIT")).results
    assert results and all(one.what.endswith(", sample") for one in results)


def test_the_nearest_to_its_limit_comes_first(plant: SmallPlant, passed: Batch) -> None:
    factories.passed_batch(plant, "sac_h")
    margins = [one.nearness for one in impact_of(cell(plant)).results]
    assert len(margins) > 1 and margins == sorted(margins)


def test_the_error_found_is_taken_off_each_result(plant: SmallPlant, passed: Batch) -> None:
    """It showed half of what was there: what it showed as the value was twice that."""
    failure = found(plant, "42 µS/cm")
    one = rinse_of(impact_of(cell(plant), failure))
    assert one.with_error == pytest.approx(2 * one.value, rel=0.01)
    assert one.margin_with_error == pytest.approx((one.high - one.with_error) / one.high)
    assert one.holds_no_longer is (one.with_error > one.high)


def test_an_error_to_the_safe_side_changes_no_verdict(plant: SmallPlant, passed: Batch) -> None:
    failure = found(plant, "100 µS/cm")
    impact = impact_of(cell(plant), failure)
    assert impact.results and impact.no_longer == 0
    assert rinse_of(impact).with_error < rinse_of(impact).value


def test_the_period_begins_at_the_last_good_calibration_and_ends_at_the_failed_one(
    plant: SmallPlant, passed: Batch
) -> None:
    failure = found(plant, "42 µS/cm")
    assert impact_of(cell(plant)).results == ()  # since it was left within, nothing was measured
    within = impact_of(cell(plant), failure)
    assert within.period.until == failure.done_at and within.period.since is not None
    assert within.period.since < min(row.occurred_at for row in passed.readings.all())


def test_what_never_counted_rests_on_nothing(plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sba_1")
    factories.run_to(plant, batch, StepKind.FAST_RINSE)
    plant.forward(minutes=4)
    old = plant.instruments["OLD-CELL"]
    row = factories.reading(plant, batch, "8 µS/cm", cell="OLD-CELL")
    assert row.instrument_was_valid is False
    assert impact_of(old).results == ()


def test_nothing_that_was_written_is_rewritten(plant: SmallPlant, passed: Batch) -> None:
    before = list(RinseReading.objects.values().order_by("id"))
    found(plant, "42 µS/cm")
    assert list(RinseReading.objects.values().order_by("id")) == before
    assert all(row["instrument_was_valid"] for row in before)


# --- the look -----------------------------------------------------------------------------------------------------------
WORDS = "Both batches were measured again with the portable cell."


def test_it_waits_until_a_supervisor_has_looked(plant: SmallPlant, passed: Batch) -> None:
    failure = found(plant, "42 µS/cm")
    assert list(failures_to_look_at()) == [failure]
    impact = impact_of(cell(plant), failure)
    look = look_at_impact(
        by=plant.by("supervisor"), calibration_id=failure.pk, words=WORDS, seen_digest=impact.digest
    ).result
    assert (look.results, look.no_longer) == (len(impact.results), impact.no_longer)
    assert not failures_to_look_at().exists()
    with pytest.raises(StaleRecord, match="already"):
        look_at_impact(by=plant.by("supervisor"), calibration_id=failure.pk, words=WORDS)


def test_who_may_not_and_what_is_too_little_is_refused(plant: SmallPlant, passed: Batch) -> None:
    failure = found(plant, "42 µS/cm")
    for who in ("operator", "qc", "planner"):
        with pytest.raises(NotAllowed):
            look_at_impact(by=plant.by(who), calibration_id=failure.pk, words=WORDS)
    with pytest.raises(RecordRefused, match="at least 10"):
        look_at_impact(by=plant.by("supervisor"), calibration_id=failure.pk, words="fine")
    with pytest.raises(StaleRecord, match="list changed"):
        look_at_impact(
            by=plant.by("supervisor"), calibration_id=failure.pk, words=WORDS, seen_digest="0" * 64
        )
    assert not ImpactLook.objects.exists()


def test_a_calibration_that_found_nothing_waits_for_nobody(plant: SmallPlant, passed: Batch) -> None:
    good = found(plant, "84 µS/cm")
    assert not failures_to_look_at().exists()
    with pytest.raises(RecordRefused, match="nothing outside"):
        look_at_impact(by=plant.by("supervisor"), calibration_id=good.pk, words=WORDS)
    with pytest.raises(RecordRefused, match="not known here"):
        look_at_impact(by=plant.by("supervisor"), calibration_id=0, words=WORDS)


# --- an instrument in use -------------------------------------------------------------------------------------------------
def test_the_cell_constant_stays_while_a_rinse_reads_with_the_cell(plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sba_1")
    factories.run_to(plant, batch, StepKind.FAST_RINSE)
    plant.forward(minutes=4)
    factories.reading(plant, batch, "60 µS/cm")
    row = cell(plant)
    settings = plant_services.InstrumentSettings(row.code, row.name, row.kind, 0.2, row.compensation)
    with pytest.raises(RecordRefused, match=f"{batch.number} is rinsing and reads with it"):
        plant_services.save_instrument(by=plant.by("supervisor"), instrument=settings, version=row.version)


def test_an_instrument_out_of_service_cannot_satisfy_an_end_point(plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sba_1")
    factories.run_to(plant, batch, StepKind.FAST_RINSE)
    plant.forward(minutes=4)
    assert factories.reading(plant, batch, "60 µS/cm").instrument_was_valid is True
    plant_services.take_out_of_service(
        by=plant.by("operator"), instrument_id=cell(plant).pk, cause="damaged", reason="Fell onto the floor."
    )
    plant.forward(minutes=4)
    assert factories.reading(plant, batch, "8 µS/cm").instrument_was_valid is False
