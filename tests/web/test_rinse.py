"""The rinse-down through HTTP: what it shows, what it takes, what it refuses, for whom."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from regenplant.batches.models import Batch, RinseReading
from regenplant.batches.selectors import rinse_page
from regenplant.drawing.rinse import Counts
from regenplant.plant.services import InstrumentSettings, save_instrument
from regenplant.web.presenters.rinse import rinse_down
from tests import factories
from tests.batches.meter_logs import take
from tests.factories import SmallPlant
from tests.web.pages import markup_of as text_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=factories.hours_ago(8))


@pytest.fixture
def rinsing(plant: SmallPlant) -> Batch:
    """An anion batch (limit 10 µS/cm) in its fast rinse, with two readings by the operator."""
    return factories.rinsing_batch(plant, "400 µS/cm", "60 µS/cm")


@pytest.fixture
def as_qc(plant: SmallPlant, client_of) -> Client:  # type: ignore[no-untyped-def]
    return client_of(plant.people["qc"])


def url(batch: Batch, name: str = "rinse", *more: object) -> str:
    return reverse(name, args=[batch.number, *more])


def typed(plant: SmallPlant, **changes: str) -> dict[str, str]:
    return {
        "value": "8.9 us/cm",
        "temperature": "20 C",
        "instrument": str(plant.instruments["CELL"].pk),
        "rinsed": "",
        "occurred_at": "",
        **changes,
    }


# --- the page -----------------------------------------------------------------------------------------------------------
def test_the_page_opens_with_its_state_and_the_newest_value(as_qc: Client, rinsing: Batch) -> None:
    page = text_of(as_qc.get(url(rinsing)))
    assert f"Rinse-down {rinsing.number}" in page
    assert "Not at its end point yet." in page
    assert ">60.00<" in page and "0.017 MΩ·cm" in page
    assert "limit ≤ 10 µS/cm" in page


def test_all_three_parts_of_the_end_point_stand_beside_each_other(as_qc: Client, rinsing: Batch) -> None:
    page = text_of(as_qc.get(url(rinsing)))
    for caption in ("Conductivity", "Held, 0 of 3 readings", "Rinsed"):
        assert f'<span class="cap">{caption}</span>' in page
    assert "Limit at least 4.7 BV." in page and "Limit at least 15 min." in page


def test_the_verdict_names_who_may_judge_and_who_may_release(
    as_qc: Client, plant: SmallPlant, rinsing: Batch
) -> None:
    page = text_of(as_qc.get(url(rinsing)))
    assert "Operator 1 took these readings, so another person must release this batch." in page
    assert "May judge: QC technician 1 or QC technician 2." in page
    assert "Pass: end point not met" in page


def test_every_cell_is_offered_with_what_its_calibration_says(
    as_qc: Client, plant: SmallPlant, rinsing: Batch
) -> None:
    page = text_of(as_qc.get(url(rinsing)))
    due = {code: plant.instruments[code].calibration_due_on for code in ("CELL", "OLD-CELL")}
    assert f"CELL, calibrated to {due['CELL']}" in page
    assert f"OLD-CELL, was due {due['OLD-CELL']}, informs only" in page


def test_a_batch_before_its_rinse_says_when_readings_are_written(as_qc: Client, plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sac_na")
    page = text_of(as_qc.get(url(batch)))
    assert "The fast rinse has not started." in page
    assert "Readings are written in the fast rinse." in page
    assert 'id="reading-form"' not in page


def test_the_entry_is_one_press_from_the_top_for_whoever_may_write(
    as_qc: Client, client_of, plant: SmallPlant, rinsing: Batch
) -> None:  # type: ignore[no-untyped-def]
    way = '<a class="btn" href="#reading-form">Write a reading</a>'
    assert way in text_of(as_qc.get(url(rinsing)))
    assert way in text_of(
        as_qc.get(url(rinsing, "rinse-now"), {"seen": "older"})
    )  # and stays when the head renews itself
    assert way not in text_of(client_of(plant.people["planner"]).get(url(rinsing)))
    waiting = factories.frozen_batch(plant, "sac_na")
    assert way not in text_of(as_qc.get(url(waiting)))


def test_both_fields_show_a_unit_before_anything_is_typed(as_qc: Client, plant: SmallPlant) -> None:
    batch = factories.rinsing_batch(plant)
    assert "With its unit, such as 18 °C or 64 °F." in text_of(as_qc.get(url(batch)))
    plant.forward(minutes=4)
    factories.reading(plant, batch, "400 µS/cm")
    page = text_of(as_qc.get(url(batch)))
    row = RinseReading.objects.get(batch=batch)
    assert f"Last {row.temperature_as_typed} at " in page and "With its unit" not in page
    assert "Last 400.0 µS/cm at " in page
    correcting = text_of(as_qc.get(url(batch, "rinse-correct", row.pk)))
    assert "Last " not in correcting  # it is held against its own old values


def test_more_readings_than_needed_are_not_counted_against_the_need() -> None:
    from types import SimpleNamespace as Some

    from regenplant.web.presenters.rinse import held_caption

    for held, words in (
        (2, "Held, 2 of 3 readings"),
        (3, "Held, 3 of 3 readings"),
        (11, "Held, 11 readings"),
    ):
        assert held_caption(Some(end_point=Some(held_readings=held, readings_needed=3))) == words  # type: ignore[arg-type]


def test_an_unknown_batch_is_no_page(as_qc: Client, plant: SmallPlant) -> None:
    for number in ("B-99999", "x", "B-10001'", "B-\x00", "9" * 200):
        assert as_qc.get(reverse("rinse", args=[number])).status_code == 404


def test_the_page_asks_a_fixed_number_of_queries(
    as_qc: Client, plant: SmallPlant, rinsing: Batch, django_assert_max_num_queries
) -> None:  # type: ignore[no-untyped-def]
    as_qc.get(url(rinsing))
    for _ in range(12):
        plant.forward(minutes=1)
        factories.reading(plant, rinsing, "50 µS/cm")
    with django_assert_max_num_queries(40):
        as_qc.get(url(rinsing))


def test_a_rinse_that_only_a_meter_reads_is_not_called_unread(as_qc: Client, plant: SmallPlant) -> None:
    batch = factories.rinsing_batch(plant)
    assert "No reading is written yet. The first one starts the curve." in text_of(as_qc.get(url(batch)))
    take(plant, batch, [400.0 * 0.8**minute + 20.0 for minute in range(20)])
    page = text_of(as_qc.get(url(batch)))
    assert "No reading is written yet" not in page
    assert "No reading is written by hand. What meters sent is in the curve and under Logs of meters." in page


# --- writing ------------------------------------------------------------------------------------------------------------
def test_a_reading_is_written_as_typed_and_said_back(
    as_qc: Client, plant: SmallPlant, rinsing: Batch
) -> None:
    response = as_qc.post(url(rinsing), typed(plant, value="0.112 Mohm-cm"), follow=True)
    row = RinseReading.objects.latest("pk")
    assert (row.value_as_typed, row.unit_as_typed, row.temperature_as_typed) == ("0.112", "Mohm-cm", "20 C")
    assert row.entered_by == plant.people["qc"]
    page = text_of(response)
    assert "Written: 0.112 Mohm-cm at 20 C" in page and "at 25 °C." in page


def test_a_bare_number_is_taken_in_the_unit_of_the_page_and_that_unit_is_kept(
    as_qc: Client, plant: SmallPlant, rinsing: Batch
) -> None:
    as_qc.post(url(rinsing), typed(plant, value="8.9", temperature="20"))
    row = RinseReading.objects.latest("pk")
    assert (row.value_as_typed, row.unit_as_typed) == ("8.9", "µS/cm")
    assert row.conductivity_siemens_per_m == pytest.approx(8.9e-4)


def test_us_units_of_the_person_hold_for_the_temperature(
    as_qc: Client, plant: SmallPlant, rinsing: Batch
) -> None:
    person = plant.people["qc"]
    person.unit_system = "us"
    person.save(update_fields=["unit_system"])
    as_qc.post(url(rinsing), typed(plant, temperature="68"))
    assert RinseReading.objects.latest("pk").temperature_kelvin == pytest.approx(293.15)


def test_a_reading_may_have_happened_earlier_today_and_be_read_at_a_totalizer(
    as_qc: Client, plant: SmallPlant, rinsing: Batch
) -> None:
    moment = timezone.now() - timedelta(minutes=3)
    as_qc.post(url(rinsing), typed(plant, occurred_at=f"{moment:%Y-%m-%d %H:%M}", rinsed="1836 L"))
    row = RinseReading.objects.latest("pk")
    assert row.occurred_at == moment.replace(second=0, microsecond=0)
    assert row.rinsed_bv == pytest.approx(1.836 / rinsing.resin_volume_m3)


def test_a_reading_of_an_overdue_cell_is_taken_and_informs_only(
    as_qc: Client, plant: SmallPlant, rinsing: Batch
) -> None:
    page = text_of(
        as_qc.post(url(rinsing), typed(plant, instrument=str(plant.instruments["OLD-CELL"].pk)), follow=True)
    )
    assert "OLD-CELL is out of calibration, so it informs only." in page
    assert "Informs only: the cell was out of calibration." in page
    assert "Readings of OLD-CELL are for information: it was out of calibration." in page


def test_what_a_limit_does_not_take_is_drawn_as_on_the_certificate_and_said(
    as_qc: Client, plant: SmallPlant, rinsing: Batch
) -> None:
    """A flat 2 %/K holds above 10 µS/cm only: below it the reading informs, calibrated or not."""
    settings = InstrumentSettings("FLAT", "Flat cell", "conductivity", 0.1, "flat_2")
    flat = save_instrument(by=plant.by("supervisor"), instrument=settings).result
    factories.calibrated(plant, flat.pk, days_ago=0)
    page = text_of(as_qc.post(url(rinsing), typed(plant, instrument=str(flat.pk)), follow=True))
    assert page.count("informs only. Readings of FLAT below 10 µS/cm are compensated by a flat 2 %/K") == 1
    assert page.count("Informs only. Readings of FLAT below 10 µS/cm are compensated by a flat 2 %/K") == 1
    drawn = rinse_down(rinse_page(rinsing, timezone.now()), timezone.now()).readings
    assert [one.counts for one in drawn] == [Counts.YES, Counts.YES, Counts.INFORMS]


def test_better_than_water_can_be_is_an_amber_instrument_check(
    as_qc: Client, plant: SmallPlant, rinsing: Batch
) -> None:
    page = text_of(
        as_qc.post(url(rinsing), typed(plant, value="18.9 Mohm-cm", temperature="25 C"), follow=True)
    )
    assert '<div class="note amber">' in page
    assert "18.9 MΩ·cm cannot be: at 25 °C water ends at 18.28 MΩ·cm" in page
    assert (
        ">60.00<" in page and "a newer reading points to its cell" in page
    )  # the head shows what can be believed


REFUSED = [
    ({"value": ""}, "Nothing is written here yet, and it is needed."),
    ({"value": "eight"}, "is not a number with a unit"),
    ({"value": "8 kg"}, "is not a conductivity"),
    ({"value": "-3 us/cm"}, "cannot be a conductivity here"),
    ({"value": "1e99 us/cm"}, "cannot be a conductivity here"),
    ({"value": "1,416 us/cm"}, "can be read in two ways"),
    ({"temperature": ""}, "Nothing is written here yet, and it is needed."),
    ({"temperature": "-2 C"}, "Rinse water is between 0 and 100 °C (32 and 212 °F)."),
    ({"temperature": "20 bar"}, "is not a temperature"),
    ({"instrument": ""}, "Nothing is written here yet, and it is needed."),
    ({"instrument": "987654"}, "is no choice here"),
    ({"instrument": "1 OR 1=1"}, "is no choice here"),
    ({"rinsed": "lots"}, "is not a number with a unit"),
    ({"occurred_at": "yesterday"}, "is no time. Write 14:02"),
    ({"occurred_at": "25:99"}, "is no time. Write 14:02"),
    ({"occurred_at": "2199-01-01 10:00"}, "is still to come"),
    ({"occurred_at": "2001-01-01 10:00"}, "The time lies before Fast rinse started."),
]


def test_what_cannot_be_is_said_beside_the_field_and_nothing_is_lost(
    as_qc: Client, plant: SmallPlant, rinsing: Batch
) -> None:
    for changes, message in REFUSED:
        page = text_of(as_qc.post(url(rinsing), typed(plant, **changes)), 422)
        assert message in page, changes
        kept = {**typed(plant), **changes}
        assert kept["value"] in page and kept["temperature"] in page, changes
    assert RinseReading.objects.count() == 2


def test_the_same_page_sent_twice_writes_one_reading(
    as_qc: Client, plant: SmallPlant, rinsing: Batch
) -> None:
    as_qc.post(url(rinsing), typed(plant))
    page = text_of(as_qc.post(url(rinsing), typed(plant)), 422)
    assert "it was sent twice" in page
    assert RinseReading.objects.count() == 3


def test_who_may_write_readings_and_who_sees_a_grey_button(
    client_of, plant: SmallPlant, rinsing: Batch
) -> None:  # type: ignore[no-untyped-def]
    button = '<button class="btn do" type="submit">Write it down</button>'
    for who, status in (("operator", 302), ("supervisor", 302), ("planner", 403), ("safety", 403)):
        client = client_of(plant.people[who])
        data = typed(plant, value=f"8.{status} us/cm", temperature=f"{20 + len(who)} C")
        assert client.post(url(rinsing), data).status_code == status, who
        assert (button in text_of(client.get(url(rinsing)))) == (status == 302), who


def test_nobody_sees_a_rinse_without_signing_in(client: Client, rinsing: Batch) -> None:
    assert client.get(url(rinsing)).status_code == 302
    assert client.post(url(rinsing), {}).status_code == 401


# --- fragments ----------------------------------------------------------------------------------------------------------
def seen_on(page: str) -> str:
    """What the page that stands open says it has seen."""
    found = re.search(r"now/\?seen=([^&\"]+)&", page)
    assert found is not None
    return found[1]


def test_while_nothing_is_new_the_page_is_told_so_and_nothing_else(
    as_qc: Client, rinsing: Batch, monkeypatch: pytest.MonkeyPatch
) -> None:
    seen = seen_on(text_of(as_qc.get(url(rinsing))))
    at = timezone.now()
    monkeypatch.setattr("regenplant.web.areas.rinse.views.timezone.now", lambda: at)
    seen = f"{seen.rpartition('.')[0]}.{at:%H%M}"
    answer = as_qc.get(url(rinsing, "rinse-now"), {"seen": seen})
    assert (answer.status_code, answer.content) == (204, b"")


def test_a_minute_later_the_curve_alone_is_renewed_for_the_line_of_now(as_qc: Client, rinsing: Batch) -> None:
    seen = seen_on(text_of(as_qc.get(url(rinsing)))).rpartition(".")[0]
    same = text_of(as_qc.get(url(rinsing, "rinse-now"), {"seen": f"{seen}.0000x"}))
    assert 'id="rinse-curve"' in same and "hx-swap-oob" not in same


def test_a_new_reading_brings_everything_but_the_form(
    as_qc: Client, plant: SmallPlant, rinsing: Batch
) -> None:
    seen = seen_on(text_of(as_qc.get(url(rinsing))))
    factories.reading(plant, rinsing, "30 µS/cm")
    moved = text_of(as_qc.get(url(rinsing, "rinse-now"), {"seen": seen}))
    for part in ("rinse-head", "rinse-forecast", "rinse-end", "rinse-table", "rinse-verdict"):
        assert f'id="{part}" hx-swap-oob="true"' in moved
    assert 'id="reading-form"' not in moved


def test_asking_whether_something_is_new_is_cheap(
    as_qc: Client, rinsing: Batch, django_assert_max_num_queries
) -> None:  # type: ignore[no-untyped-def]
    seen = seen_on(text_of(as_qc.get(url(rinsing))))
    with django_assert_max_num_queries(8):
        as_qc.get(url(rinsing, "rinse-now"), {"seen": seen})


def test_the_axis_counts_bed_volumes_by_a_link(as_qc: Client, rinsing: Batch) -> None:
    page = text_of(as_qc.get(url(rinsing)))
    assert 'href="?x=bv#rinse-curve"' in page and "bed volumes of rinse water" not in page
    by_volume = text_of(as_qc.get(url(rinsing), {"x": "bv"}))
    assert "bed volumes of rinse water" in by_volume and 'href="?x=time#rinse-curve"' in by_volume
    assert re.search(r'id="rinse-curve" hx-get="[^"]*x=bv"', by_volume)


def test_a_reading_that_points_to_its_cell_is_marked_by_its_shape(
    as_qc: Client, plant: SmallPlant, rinsing: Batch
) -> None:
    plant.forward(minutes=2)
    factories.reading(plant, rinsing, "0.01 µS/cm")
    page = text_of(as_qc.get(url(rinsing)))
    assert 'class="pt off"' in page and "instrument check, not counted" in page


def test_the_pad_remembers_unit_and_cell_of_the_last_reading(
    as_qc: Client, plant: SmallPlant, rinsing: Batch
) -> None:
    as_qc.post(url(rinsing), typed(plant, value="0.112 Mohm-cm", temperature="68 F"))
    page = text_of(as_qc.get(url(rinsing)))
    assert 'data-pad="id_value id_temperature"' in page
    assert 'data-unit="MΩ·cm" data-of="id_value" aria-pressed="true"' in page
    assert 'data-unit="°F" data-of="id_temperature" aria-pressed="true"' in page
    assert f'<option value="{plant.instruments["CELL"].pk}" selected>' in page


def test_what_a_reading_means_is_said_before_it_is_written(
    as_qc: Client, plant: SmallPlant, rinsing: Batch
) -> None:
    page = text_of(as_qc.get(url(rinsing, "rinse-understood"), typed(plant)))
    assert "at 25 °C" in page and "µS/cm" in page and "MΩ·cm" in page
    assert "not compensated by the meter; brought to 25 °C as water with a trace of caustic" in page
    assert "CELL, calibrated to" in page
    assert RinseReading.objects.count() == 2


def test_while_it_means_nothing_the_line_stays_empty(
    as_qc: Client, plant: SmallPlant, rinsing: Batch
) -> None:
    for changes in ({"value": "x"}, {"temperature": ""}, {"instrument": "0"}, {"temperature": "500 C"}):
        page = text_of(as_qc.get(url(rinsing, "rinse-understood"), typed(plant, **changes)))
        assert "nothing written yet" in page, changes


# --- corrections --------------------------------------------------------------------------------------------------------
def test_a_correction_strikes_the_old_value_and_tells_why(
    as_qc: Client, plant: SmallPlant, rinsing: Batch
) -> None:
    old = rinsing.readings.latest("occurred_at")
    page = text_of(as_qc.get(url(rinsing, "rinse-correct", old.pk)))
    assert 'value="60 µS/cm"' in page
    data = {**typed(plant, value="6.0 us/cm"), "category": "slip", "reason": "one nought too many"}
    page = text_of(as_qc.post(url(rinsing, "rinse-correct", old.pk), data, follow=True))
    assert "<s>60 µS/cm</s>" in page and "one nought too many" in page


def test_a_correction_is_refused_without_a_reason_and_a_second_time(
    as_qc: Client, plant: SmallPlant, rinsing: Batch
) -> None:
    old = rinsing.readings.latest("occurred_at")
    there = url(rinsing, "rinse-correct", old.pk)
    assert "Choose what kind of reason" in text_of(
        as_qc.post(there, {**typed(plant), "reason": "one nought too many"}), 422
    )
    assert "at least 10 characters" in text_of(
        as_qc.post(there, {**typed(plant), "category": "slip", "reason": "typo"}), 422
    )
    as_qc.post(there, {**typed(plant), "category": "slip", "reason": "one nought too many"})
    assert "already corrected" in text_of(as_qc.get(there))
    assert "already corrected" in text_of(
        as_qc.post(there, {**typed(plant), "category": "slip", "reason": "one nought too many"}), 422
    )


def test_a_reading_of_another_batch_is_not_corrected_here(
    as_qc: Client, plant: SmallPlant, rinsing: Batch
) -> None:
    other = factories.frozen_batch(plant, "sac_h")
    row = rinsing.readings.latest("occurred_at")
    assert as_qc.get(url(other, "rinse-correct", row.pk)).status_code == 404
    for nobody in (987654, 10**30):
        assert as_qc.get(url(rinsing, "rinse-correct", nobody)).status_code == 404
