"""The monthly report: every figure against the rows, frozen when it is signed, a new revision for what came later."""

from __future__ import annotations

import pytest

from regenplant.core.errors import NotAllowed, RecordRefused, StaleRecord
from regenplant.core.process.canonical import canonical_text
from regenplant.people.signing import holds
from regenplant.waste import services
from regenplant.waste.models import DischargeReport
from regenplant.waste.month import MonthContent, content_at, content_of, month_of, report_with, shown_mark
from tests import factories
from tests.factories import SmallPlant
from tests.waste.sewer import discharged, opened, plant_with_permit, proven, read, release

pytestmark = pytest.mark.django_db


def sign(plant: SmallPlant, who: str = "supervisor", **more: str) -> DischargeReport:
    month = month_of(plant.now)
    return services.sign_month(
        by=plant.by(who), month=month, permit=factories.permit(plant, who, services.REPORT_MEANING), **more
    ).result


@pytest.fixture
def plant() -> SmallPlant:
    """A bad reading before one discharge, and two discharges of one day."""
    made = plant_with_permit(chloride_kg_per_day=35.0)
    row = opened(made, 0.8)
    made.forward(minutes=15)
    for ph in (4.9, 6.1, 6.4):
        read(made, row, ph)
        made.forward(minutes=10)
    row = release(made, row)
    services.close_discharge(by=made.by(), discharge_id=row.pk, volume_m3=0.8)
    discharged(made, 0.5)
    return made


def test_the_month_says_what_the_rows_say(plant: SmallPlant) -> None:
    """Worked by hand: 0.8 and 0.5 m³ with 20 kg/m³ of chloride and 36 of dissolved solids."""
    content = content_at(month_of(plant.now), plant.now)
    first, second = content.discharges
    assert (first.ph_lowest, first.ph_highest, first.readings, first.readings_outside) == (6.1, 6.4, 3, 1)
    assert (second.ph_lowest, second.ph_highest, second.instruments) == (7.1, 7.2, ("PH",))
    [day] = content.days
    assert (day.count, day.volume_m3) == (2, pytest.approx(1.3))
    assert (day.loads.chloride_kg, day.loads.tds_kg) == (pytest.approx(26.0), pytest.approx(46.8))
    assert day.budget_kg == {"chloride": 35.0} and not day.is_over
    assert content.loads == day.loads and content.permits == ("Permit Demo 7, version 1",)
    assert not content.is_over and first.by_analysis == ("chloride", "sodium", "sulfate", "tds")


def test_a_signed_report_stays_as_it_was_and_the_next_revision_says_what_came_later(
    plant: SmallPlant,
) -> None:
    first = sign(plant)
    was = canonical_text(content_of(first))
    assert holds(first.signature) and first.signature.content == first.content == was
    with pytest.raises(RecordRefused, match="says the same"):
        sign(plant)
    plant.forward(hours=1)
    discharged(plant, 0.2)
    second = sign(plant, "safety")
    assert (second.revision, len(content_of(second).discharges)) == (2, 3)
    first.refresh_from_db()
    assert canonical_text(content_of(first)) == was and report_with(first.key) == first


def test_a_page_that_is_old_signs_nothing_and_who_has_no_right_neither(plant: SmallPlant) -> None:
    shown = shown_mark(content_at(month_of(plant.now), plant.now))
    plant.forward(minutes=5)
    assert shown == shown_mark(content_at(month_of(plant.now), plant.now))  # the clock alone changes nothing
    services.report_excursion(by=plant.by(), words="foam at the outlet for a minute")
    with pytest.raises(StaleRecord, match="changed since"):
        sign(plant, shown=shown)
    with pytest.raises(NotAllowed):
        sign(plant, "operator")
    assert not DischargeReport.objects.exists()


def test_a_discharge_that_runs_is_closed_first(plant: SmallPlant) -> None:
    release(plant, proven(plant, 0.1))
    with pytest.raises(RecordRefused, match="released and not closed"):
        sign(plant)


@pytest.mark.parametrize("month", ["2026-13", "26-01", "", "2026-1"])
def test_what_is_no_month_is_refused(plant: SmallPlant, month: str) -> None:
    with pytest.raises(RecordRefused, match="is no month"):
        content_at(month, plant.now)


def test_a_month_to_come_is_refused_and_an_empty_one_says_nothing_went(plant: SmallPlant) -> None:
    with pytest.raises(RecordRefused, match="still to come"):
        content_at("2099-01", plant.now)
    empty = content_at("2020-01", plant.now)
    assert (
        empty == MonthContent(empty.plant, empty.zone, "2020-01", empty.stood_at, True, (), (), (), ())
        and empty.volume_m3 == 0.0
    )


def test_a_day_that_took_more_is_marked(plant: SmallPlant) -> None:
    """16 and 10 kg of chloride went, 4 were released, and 14 more went: 40 of 35 kg."""
    row = release(plant, proven(plant, 0.2))
    services.close_discharge(by=plant.by(), discharge_id=row.pk, volume_m3=0.7)
    content = content_at(month_of(plant.now), plant.now)
    [day] = content.days
    assert day.loads.chloride_kg == pytest.approx(40.0) and day.is_over
    assert [one.kind for one in content.excursions] == ["otherwise", "more than the day takes"]
