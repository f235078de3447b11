"""Calibrations with points, out of service, and what an instrument proves on which day."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from functools import partial
from typing import Any

import pytest
from django.db import connection

from regenplant.audit import locks
from regenplant.audit.by import By
from regenplant.audit.selectors import story
from regenplant.core.errors import DomainError, NotAllowed, RecordRefused, StaleRecord
from regenplant.people.models import Person
from regenplant.plant import in_use, services
from regenplant.plant.calibrations import (
    CALIBRATED_AS,
    INTERVAL_DAYS,
    Due,
    due_of,
    failures_to_look_at,
    good_before,
    interval_days,
)
from regenplant.plant.models import Calibration, Instrument, OutOfService
from regenplant.plant.selectors import is_instrument_valid
from regenplant.plant.services import CalibrationEvidence, InstrumentSettings, PointAsTyped
from regenplant.plant.verification import check_calibrations, check_instruments
from tests.conftest import Clock
from tests.factories import BY_CERTIFICATE

Acts = Callable[..., By]
INSTRUMENT = InstrumentSettings("CE-3", "Cell", "conductivity", 0.01, "neutral", 0.01)
GOOD = PointAsTyped("84 µS/cm", "83.5 µS/cm", "", "2 %")
FOUND_OUTSIDE = PointAsTyped("84 µS/cm", "76 µS/cm", "84.2 µS/cm", "2 %")
LEFT_OUTSIDE = PointAsTyped("84 µS/cm", "76 µS/cm", "80 µS/cm", "2 %")
TODAY = date(2026, 3, 2)


def evidence(*points: PointAsTyped, **changes: Any) -> CalibrationEvidence:
    whole = CalibrationEvidence(
        reference_kind="solution",
        reference="84 µS/cm at 25 °C",
        certificate="INV-1",
        reference_expires_on=date(2026, 12, 31),
        points=points,
    )
    return replace(whole, **changes)


@pytest.fixture
def cell(supervisor: Person, by: Acts) -> Instrument:
    return services.save_instrument(by=by(supervisor), instrument=INSTRUMENT).result


@pytest.fixture
def calibrate(cell: Instrument, qc_technician: Person, by: Acts) -> Callable[..., Instrument]:
    def write(*points: PointAsTyped, on: date = TODAY, due: date | None = None, **changes: Any) -> Instrument:
        outcome = services.record_calibration(
            by=by(qc_technician),
            instrument_id=cell.pk,
            calibrated_on=on,
            due_on=due,
            evidence=evidence(*points, **changes) if points else replace(BY_CERTIFICATE, **changes),
        )
        return outcome.result

    return write


def newest(cell: Instrument) -> Calibration:
    found = Calibration.objects.filter(instrument=cell).order_by("-id").first()
    assert found is not None
    return found


# --- the outcome ------------------------------------------------------------------------------------------------------
def test_points_are_kept_as_typed_and_the_outcome_is_worked_out(
    cell: Instrument, calibrate: Callable[..., Instrument]
) -> None:
    calibrate(GOOD, PointAsTyped("0.2 MΩ·cm", "0.199 MΩ·cm"))
    row = newest(cell)
    assert (row.found_within, row.left_within, row.certificate) == (True, True, "INV-1")
    first, second = row.points.all()
    assert (first.reference_as_typed, first.found_as_typed, first.tolerance_as_typed) == (
        "84 µS/cm",
        "83.5 µS/cm",
        "2 %",
    )
    assert first.reference_value == pytest.approx(84e-4) and first.left_value is None
    assert second.reference_value == pytest.approx(5e-4)  # 1 / 0.2 MΩ·cm is 5 µS/cm
    assert second.tolerance == 0.02  # the proposal of its kind


def test_the_next_one_is_due_by_the_interval_of_the_instrument(
    cell: Instrument, calibrate: Callable[..., Instrument], supervisor: Person, by: Acts
) -> None:
    assert calibrate(GOOD).calibration_due_on == TODAY + timedelta(days=INTERVAL_DAYS["conductivity"])
    settings = replace(INSTRUMENT, interval_days=30)
    changed = services.save_instrument(by=by(supervisor), instrument=settings, version=2).result
    assert interval_days(changed) == 30
    assert calibrate(GOOD).calibration_due_on == TODAY + timedelta(days=30)


def test_every_kind_of_instrument_has_an_interval_and_a_kind_of_point() -> None:
    assert set(INTERVAL_DAYS) == set(CALIBRATED_AS) == set(Instrument.Kind.values)


def test_found_outside_and_left_within_it_proves_something_and_waits_for_a_look(
    cell: Instrument, calibrate: Callable[..., Instrument]
) -> None:
    stands = calibrate(FOUND_OUTSIDE)
    assert is_instrument_valid(stands, TODAY)
    assert [row.pk for row in failures_to_look_at()] == [newest(cell).pk]


def test_left_outside_it_is_out_of_service_and_the_last_good_one_stays_on_record(
    cell: Instrument, calibrate: Callable[..., Instrument]
) -> None:
    calibrate(GOOD, on=TODAY - timedelta(days=20))
    stands = calibrate(LEFT_OUTSIDE)
    assert stands.calibrated_on == TODAY - timedelta(days=20)
    assert stands.out_of_service_at is not None and not is_instrument_valid(stands, TODAY)
    assert is_instrument_valid(stands, TODAY - timedelta(days=1))
    assert OutOfService.objects.get().cause == "left_outside"
    assert good_before(newest(cell)) == Calibration.objects.earliest("id")


def test_a_calibration_without_points_names_whose_certificate_stands_for_them(
    cell: Instrument, calibrate: Callable[..., Instrument]
) -> None:
    stands = calibrate(on=TODAY, due=date(2026, 9, 1))
    row = newest(cell)
    assert (row.laboratory, row.certificate, row.done_by) == ("Moorhen Bench Laboratory", "MB 1", None)
    assert (row.found_within, row.left_within, row.is_good) == (None, None, True)
    assert is_instrument_valid(stands, TODAY)
    said = story([("instrument", str(cell.pk))])[-1].sentence
    assert "no as-found on record" in said


def test_one_of_an_older_program_without_points_still_holds_and_is_corrected_with_evidence_only(
    cell: Instrument, calibrate: Callable[..., Instrument], qc_technician: Person, by: Acts
) -> None:
    calibrate(on=TODAY, due=date(2026, 9, 1))
    with connection.cursor() as cursor:
        locks.remove()
        cursor.execute(
            "UPDATE plant_calibration SET laboratory = '', certificate = '', done_by_id = entered_by_id"
        )
        locks.install()
    assert is_instrument_valid(Instrument.objects.get(pk=cell.pk), TODAY)
    why = {"category": "slip", "reason": "The day was read wrongly.", "calibrated_on": TODAY}
    correct = partial(
        services.correct_calibration, by=by(qc_technician), calibration_id=newest(cell).pk, **why
    )
    with pytest.raises(RecordRefused, match="No point is written"):
        correct()
    assert correct(evidence=evidence(GOOD)).result.calibrated_on == TODAY


def test_what_it_had_before_calibrations_were_rows_becomes_one(
    cell: Instrument, calibrate: Callable[..., Instrument], supervisor: Person, by: Acts
) -> None:
    """As after the migration: the instrument has its two days, and no row."""
    calibrate(GOOD, on=date(2026, 1, 1), due=date(2026, 2, 1))
    with connection.cursor() as cursor:
        _without_rows(cursor)
    stands = calibrate(GOOD)
    rows = Calibration.objects.filter(instrument=cell).order_by("id")
    assert [(row.is_taken_over, row.done_on) for row in rows] == [(True, date(2026, 1, 1)), (False, TODAY)]
    assert is_instrument_valid(stands, date(2026, 1, 20)) and not is_instrument_valid(
        stands, date(2026, 2, 20)
    )


def _without_rows(cursor: Any) -> None:
    locks.remove()
    cursor.execute("DELETE FROM plant_calibrationpoint")
    cursor.execute("DELETE FROM plant_calibration")
    locks.install()


# --- refusals -----------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"reference_kind": ""}, "reference_kind"),
        ({"reference": ""}, "reference"),
        ({"certificate": ""}, "certificate"),
        ({"reference_expires_on": None}, "reference_expires_on"),
        ({"reference_expires_on": TODAY - timedelta(days=1)}, "reference_expires_on"),
        ({"done_at": datetime(2026, 3, 1, 12, tzinfo=UTC)}, "done_time"),
        ({"points": (replace(GOOD, reference_text=""),)}, "reference_1"),
        ({"points": (GOOD, replace(GOOD, found_text="84 °C"))}, "found_2"),
        ({"points": (replace(GOOD, found_text=""),)}, "found_1"),
        ({"points": (replace(GOOD, tolerance_text="80 %"),)}, "tolerance_1"),
        ({"points": (replace(GOOD, tolerance_text="wide"),)}, "tolerance_1"),
        ({"points": (GOOD,) * 9}, "reference_1"),
        ({"points": ()}, "reference_1"),
        ({"points": (), "laboratory": "Moorhen Bench Laboratory"}, "reference_1"),
        ({"points": (), "is_without_points": True}, "laboratory"),
        (
            {
                "points": (),
                "is_without_points": True,
                "laboratory": "Moorhen Bench Laboratory",
                "certificate": "",
            },
            "certificate",
        ),
        ({"is_without_points": True}, "without_points"),
    ],
)
def test_what_makes_no_calibration_is_refused_at_its_field(
    cell: Instrument, qc_technician: Person, by: Acts, changes: dict[str, Any], field: str
) -> None:
    with pytest.raises(DomainError) as refused:
        services.record_calibration(
            by=by(qc_technician), instrument_id=cell.pk, calibrated_on=TODAY, evidence=evidence(GOOD, **{"points": (GOOD,)} | changes) if "points" not in changes else replace(evidence(GOOD), **changes)
        )  # fmt: skip
    assert refused.value.field == field
    assert not Calibration.objects.exists()


def test_an_outside_laboratory_is_named_in_words(
    cell: Instrument, calibrate: Callable[..., Instrument]
) -> None:
    calibrate(GOOD, laboratory="Moorhen Bench Laboratory")
    row = newest(cell)
    assert row.laboratory == "Moorhen Bench Laboratory" and row.done_by is None


def test_a_page_from_before_another_write_is_refused(
    cell: Instrument, calibrate: Callable[..., Instrument], qc_technician: Person, by: Acts
) -> None:
    calibrate(GOOD)
    with pytest.raises(StaleRecord):
        services.record_calibration(
            by=by(qc_technician),
            instrument_id=cell.pk,
            calibrated_on=TODAY,
            version=1,
            evidence=evidence(GOOD),
        )


# --- out of service -------------------------------------------------------------------------------------------------------
def take_out(by_: By, cell: Instrument, **changes: Any) -> Instrument:
    asked: dict[str, Any] = {"cause": "damaged", "reason": "Fell from the bench onto the floor."} | changes
    return services.take_out_of_service(by=by_, instrument_id=cell.pk, **asked).result


def test_from_the_moment_it_fell_nothing_counts_until_a_calibration_after_it(
    cell: Instrument,
    calibrate: Callable[..., Instrument],
    operator: Person,
    by: Acts,
    clock: Clock,
) -> None:
    calibrate(GOOD, on=TODAY - timedelta(days=10))
    clock.forward(hours=6)
    fell = clock.now - timedelta(hours=2)
    out = take_out(by(operator), cell, from_at=fell)
    assert out.out_of_service_at == fell and not is_instrument_valid(out, TODAY)
    assert is_instrument_valid(out, TODAY, fell - timedelta(minutes=1))
    assert not is_instrument_valid(out, TODAY, fell + timedelta(minutes=1))
    with pytest.raises(RecordRefused, match="comes back by the points"):
        calibrate(due=date(2026, 9, 1))
    clock.forward(hours=1)
    back = calibrate(GOOD)
    assert back.out_of_service_at is None and is_instrument_valid(back, TODAY)
    assert is_instrument_valid(back, TODAY, clock.now)
    # What happened between is judged by then, also when it is written down today.
    assert not is_instrument_valid(back, TODAY, fell + timedelta(minutes=1))


def test_a_calibration_made_before_it_fell_puts_it_not_back(
    cell: Instrument, calibrate: Callable[..., Instrument], operator: Person, by: Acts, clock: Clock
) -> None:
    calibrate(GOOD, on=TODAY - timedelta(days=10))
    clock.forward(hours=6)
    take_out(by(operator), cell, from_at=clock.now - timedelta(hours=1))
    stands = calibrate(GOOD, done_at=clock.now - timedelta(hours=2))
    assert stands.calibrated_on == TODAY and stands.out_of_service_at is not None


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"cause": "left_outside"}, "cause"),
        ({"cause": "bored"}, "cause"),
        ({"reason": "fell"}, "reason"),
        ({"from_at": datetime(2027, 1, 1, tzinfo=UTC)}, "from_at"),
    ],
)
def test_what_takes_nothing_out_is_refused(
    cell: Instrument, operator: Person, by: Acts, changes: dict[str, Any], field: str
) -> None:
    with pytest.raises(RecordRefused) as refused:
        take_out(by(operator), cell, **changes)
    assert refused.value.field == field


def test_who_may_not_take_out_and_calibrate_is_refused(
    cell: Instrument, planner: Person, operator: Person, by: Acts
) -> None:
    with pytest.raises(NotAllowed):
        take_out(by(planner), cell)
    take_out(by(operator), cell)
    with pytest.raises(NotAllowed):
        services.record_calibration(
            by=by(operator), instrument_id=cell.pk, calibrated_on=TODAY, evidence=evidence(GOOD)
        )


# --- settings that ask for a calibration ----------------------------------------------------------------------------------
@pytest.mark.parametrize("change", [{"cell_constant_per_cm": 0.1}, {"compensation": "acid"}])
def test_another_cell_constant_or_compensation_asks_for_a_calibration(
    cell: Instrument,
    calibrate: Callable[..., Instrument],
    supervisor: Person,
    by: Acts,
    clock: Clock,
    change: dict[str, Any],
) -> None:
    calibrate(GOOD)
    clock.forward(minutes=5)
    changed = services.save_instrument(
        by=by(supervisor), instrument=replace(INSTRUMENT, **change), version=2
    ).result
    assert not is_instrument_valid(changed, TODAY) and OutOfService.objects.get().cause == "changed"
    clock.forward(minutes=5)
    assert is_instrument_valid(calibrate(GOOD), TODAY)


def test_settings_that_no_calibration_rests_on_change_nothing(
    cell: Instrument, calibrate: Callable[..., Instrument], supervisor: Person, by: Acts
) -> None:
    calibrate(GOOD)
    changed = services.save_instrument(
        by=by(supervisor), instrument=replace(INSTRUMENT, name="Cell at the line"), version=2
    ).result
    assert is_instrument_valid(changed, TODAY)


def test_the_cell_constant_stays_while_something_reads_with_it(
    cell: Instrument, supervisor: Person, by: Acts, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(in_use, "_ASKED", {"rinse": lambda pk: "B-1 is rinsing and reads with it"})
    with pytest.raises(RecordRefused, match="B-1 is rinsing and reads with it"):
        services.save_instrument(
            by=by(supervisor), instrument=replace(INSTRUMENT, cell_constant_per_cm=0.1), version=1
        )
    services.save_instrument(by=by(supervisor), instrument=replace(INSTRUMENT, name="Cell 3"), version=1)


# --- history --------------------------------------------------------------------------------------------------------------
def test_a_day_is_judged_by_the_calibration_of_then(
    cell: Instrument, calibrate: Callable[..., Instrument]
) -> None:
    calibrate(GOOD, on=date(2026, 1, 1), due=date(2026, 2, 1))
    stands = calibrate(GOOD, on=date(2026, 2, 20), due=date(2026, 8, 20))
    days = [date(2025, 12, 31), date(2026, 1, 15), date(2026, 2, 10), date(2026, 2, 25), date(2026, 8, 21)]
    assert [is_instrument_valid(stands, day) for day in days] == [False, True, False, True, False]
    at = [datetime(day.year, day.month, day.day, 12, tzinfo=UTC) for day in days]
    assert [is_instrument_valid(stands, day, one) for day, one in zip(days, at, strict=True)] == [
        False,
        True,
        False,
        True,
        False,
    ]


def test_the_morning_before_a_calibration_is_not_judged_by_it(
    cell: Instrument, calibrate: Callable[..., Instrument], clock: Clock
) -> None:
    clock.forward(hours=4)
    stands = calibrate(GOOD, done_at=clock.now - timedelta(hours=1))
    assert not is_instrument_valid(stands, TODAY, clock.now - timedelta(hours=2))
    assert is_instrument_valid(stands, TODAY, clock.now)


def test_todays_standing_costs_no_query(
    cell: Instrument, calibrate: Callable[..., Instrument], django_assert_num_queries: Any
) -> None:
    stands = calibrate(GOOD)
    with django_assert_num_queries(0):
        assert is_instrument_valid(stands, TODAY)


# --- corrections ------------------------------------------------------------------------------------------------------------
def correct(by_: By, row: Calibration, **changes: Any) -> Instrument:
    asked: dict[str, Any] = {
        "calibrated_on": TODAY, "category": "slip", "reason": "Two figures were turned round.", "evidence": evidence(GOOD),
    } | changes  # fmt: skip
    return services.correct_calibration(by=by_, calibration_id=row.pk, **asked).result


def test_a_correction_is_a_new_row_and_the_old_one_stays(
    cell: Instrument, calibrate: Callable[..., Instrument], qc_technician: Person, by: Acts
) -> None:
    calibrate(LEFT_OUTSIDE)
    old = newest(cell)
    stands = correct(by(qc_technician), old)
    assert stands.out_of_service_at is None and is_instrument_valid(stands, TODAY)
    assert newest(cell).replaces == old and Calibration.objects.count() == 2
    assert not failures_to_look_at().exists()
    with pytest.raises(StaleRecord, match="corrected already"):
        correct(by(qc_technician), old)


@pytest.mark.parametrize(
    ("changes", "field"),
    [
        ({"reason": "typo"}, "reason"),
        ({"category": ""}, "category"),
        ({"evidence": CalibrationEvidence()}, "reference_1"),
    ],
)
def test_a_correction_that_says_too_little_is_refused(
    cell: Instrument,
    calibrate: Callable[..., Instrument],
    qc_technician: Person,
    by: Acts,
    changes: dict[str, Any],
    field: str,
) -> None:
    calibrate(GOOD)
    with pytest.raises(RecordRefused) as refused:
        correct(by(qc_technician), newest(cell), **changes)
    assert refused.value.field == field


# --- due ----------------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("due_in", "due"),
    [(-1, Due.OVERDUE), (0, Due.TODAY), (7, Due.SOON), (8, Due.IN_TIME)],
)
def test_due_dates_bite_in_their_order(due_in: int, due: Due) -> None:
    cell = Instrument(
        code="X", calibrated_on=date(2026, 1, 1), calibration_due_on=TODAY + timedelta(days=due_in)
    )
    assert due_of(cell, TODAY, 7.0) is due
    assert is_instrument_valid(cell, TODAY) is not due.proves_nothing


def test_out_of_service_never_calibrated_and_out_of_use_are_told_apart() -> None:
    assert due_of(Instrument(code="X"), TODAY, 7.0) is Due.NEVER
    assert due_of(Instrument(code="X", is_active=False), TODAY, 7.0) is Due.NOT_IN_USE
    out = Instrument(code="X", out_of_service_at=datetime(2026, 3, 1, tzinfo=UTC))
    assert due_of(out, TODAY, 7.0) is Due.OUT_OF_SERVICE


# --- the record -----------------------------------------------------------------------------------------------------------------
class _Look:
    def saw(self, count: int = 1) -> None: ...


def test_what_was_written_verifies(
    cell: Instrument, calibrate: Callable[..., Instrument], qc_technician: Person, by: Acts
) -> None:
    calibrate(GOOD, on=date(2026, 1, 1))
    calibrate(LEFT_OUTSIDE, on=date(2026, 2, 1))
    calibrate(FOUND_OUTSIDE)
    correct(by(qc_technician), newest(cell))
    assert list(check_calibrations(_Look())) == [] and list(check_instruments(_Look())) == []  # type: ignore[arg-type]
