"""Results of the sample: kept as typed, judged by the newest valid one, corrected with a reason."""

from __future__ import annotations

from datetime import timedelta

import pytest

from regenplant.batches.models import Batch
from regenplant.core.errors import NotAllowed, OutOfRange, RecordRefused, UnitNotUnderstood
from regenplant.core.process.acceptance import Outcome
from regenplant.core.process.vocabulary import StepKind
from regenplant.quality import services
from regenplant.quality.bench import instruments_for
from regenplant.quality.models import QcMeasurement
from regenplant.quality.services import MeasurementAsTyped
from regenplant.quality.specification import judgement, sample_limits
from tests import factories
from tests.factories import SmallPlant

pytestmark = pytest.mark.django_db


@pytest.fixture
def sampled(plant: SmallPlant) -> Batch:
    """A hydrogen-form cation that awaits QC: hardness at most 1 mg/L as CaCO₃ is still to measure."""
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.SAMPLE, finish=True)
    batch.refresh_from_db()
    return batch


def measure(
    plant: SmallPlant, batch: Batch, value: str, *, kit: str = "KIT", who: str = "qc", **more: str
) -> QcMeasurement:
    typed = MeasurementAsTyped("hardness", value, plant.instruments[kit].pk, **more)
    return services.record_measurement(by=plant.by(who), batch_id=batch.pk, measurement=typed).result


@pytest.mark.requirement("ER-19")
def test_a_result_keeps_what_was_typed_in_the_unit_it_was_typed_in(plant: SmallPlant, sampled: Batch) -> None:
    row = measure(plant, sampled, "0.05 gr/gal", temperature_text="68 F", method="titration")
    assert (row.value_as_typed, row.unit_as_typed, row.method) == ("0.05", "gr/gal", "titration")
    # 1 grain is 64.79891 mg and 1 US gallon 3.785411784 L, both by definition: 0.05 gr/gal is 0.856 mg/L
    assert row.value == pytest.approx(0.05 * 64.79891e-6 / 3.785411784e-3)
    assert row.temperature_kelvin == pytest.approx(293.15)


def test_the_batch_is_ready_to_pass_once_everything_is_measured_inside(
    plant: SmallPlant, sampled: Batch
) -> None:
    assert judgement(sampled).verdict.outcome is Outcome.INCOMPLETE
    measure(plant, sampled, "0.4 mg/L")
    assert judgement(sampled).verdict.outcome is Outcome.PASS


@pytest.mark.requirement("ER-20")
def test_a_result_of_an_overdue_kit_informs_and_proves_nothing(plant: SmallPlant, sampled: Batch) -> None:
    row = measure(plant, sampled, "0.4 mg/L", kit="OLD-CELL")
    assert row.instrument_was_valid is False
    verdict = judgement(sampled).verdict
    assert verdict.outcome is Outcome.INCOMPLETE
    assert "out of calibration" in " ".join(reason.sentence for reason in verdict.open_reasons)


@pytest.mark.requirement("ER-01")
def test_a_correction_decides_and_the_wrong_value_stays_readable(plant: SmallPlant, sampled: Batch) -> None:
    wrong = measure(plant, sampled, "4 mg/L")
    assert judgement(sampled).verdict.outcome is Outcome.FAIL
    right = MeasurementAsTyped("hardness", "0.4 mg/L", plant.instruments["KIT"].pk)
    services.correct_measurement(
        by=plant.by("qc"),
        measurement_id=wrong.pk,
        measurement=right,
        category="slip",
        reason="the point was not typed",
    )
    judged = judgement(sampled)
    assert judged.verdict.outcome is Outcome.PASS
    assert [row.value_as_typed for row in judged.measurements] == ["0.4"]
    assert QcMeasurement.objects.filter(batch=sampled).count() == 2


def test_a_correction_needs_a_reason_the_same_test_and_the_newest_value(
    plant: SmallPlant, sampled: Batch
) -> None:
    row = measure(plant, sampled, "4 mg/L")

    def correct(reason: str, key: str = "hardness") -> None:
        typed = MeasurementAsTyped(key, "0.4 mg/L", plant.instruments["KIT"].pk)
        services.correct_measurement(
            by=plant.by("qc"), measurement_id=row.pk, measurement=typed, category="slip", reason=reason
        )

    with pytest.raises(RecordRefused, match="at least 10 characters"):
        correct("typo")
    with pytest.raises(RecordRefused, match="another measurement is written down on its own"):
        correct("it was another test", key="silica")
    correct("the point was not typed")
    with pytest.raises(RecordRefused, match="already corrected"):
        correct("the point was not typed")


def test_what_cannot_be_a_result_is_refused(plant: SmallPlant, sampled: Batch) -> None:
    for value, kind in (
        ("", UnitNotUnderstood),
        ("soft", UnitNotUnderstood),
        ("1 µS/cm", UnitNotUnderstood),
        ("-1 mg/L", OutOfRange),
    ):
        with pytest.raises(kind):
            measure(plant, sampled, value)
    assert QcMeasurement.objects.count() == 0


def test_a_result_names_its_instrument_and_a_test_of_the_specification(
    plant: SmallPlant, sampled: Batch
) -> None:
    for typed, message in (
        (MeasurementAsTyped("hardness", "0.4 mg/L", None), "Choose the instrument"),
        (MeasurementAsTyped("hardness", "0.4 mg/L", 987654), "Choose the instrument"),
        (
            MeasurementAsTyped("radium", "0.4 mg/L", plant.instruments["KIT"].pk),
            "does not name this measurement",
        ),
    ):
        with pytest.raises(RecordRefused, match=message):
            services.record_measurement(by=plant.by("qc"), batch_id=sampled.pk, measurement=typed)


def test_only_a_qc_technician_measures_and_only_while_the_batch_awaits_qc(
    plant: SmallPlant, sampled: Batch
) -> None:
    for who in ("operator", "supervisor", "planner"):
        with pytest.raises(NotAllowed):
            measure(plant, sampled, "0.4 mg/L", who=who)
    fresh = factories.frozen_batch(plant, "sac_na")
    with pytest.raises(RecordRefused, match="while it awaits QC"):
        measure(plant, fresh, "0.4 mg/L")


def test_a_result_sent_twice_is_one_result(plant: SmallPlant, sampled: Batch) -> None:
    measure(plant, sampled, "0.4 mg/L")
    with pytest.raises(RecordRefused, match="sent twice"):
        measure(plant, sampled, "0.4 mg/L")
    plant.now += timedelta(minutes=5)
    measure(plant, sampled, "0.4 mg/L")
    assert QcMeasurement.objects.count() == 2


def test_the_bench_offers_what_fits_the_test_those_in_calibration_first(plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sba_1")
    bench = instruments_for(sample_limits(batch), plant.now.date())
    assert [item.instrument.code for item in bench["silica"]] == ["KIT"]
    assert [item.instrument.code for item in bench["ph"]] == ["PH"]
