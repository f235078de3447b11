"""Writing down through HTTP: entries, ticks and corrections, with every way in which they are refused."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from regenplant.batches import services as batch_services
from regenplant.batches.frozen import plan_of
from regenplant.batches.models import Deviation, StepEntry, StepRun
from regenplant.core.process.plan import EntrySpec
from regenplant.core.process.vocabulary import StepKind
from regenplant.plant import services as plant_services
from regenplant.plant.models import Instrument
from regenplant.plant.services.instruments import InstrumentSettings
from regenplant.web.areas.batches.forms import CorrectEntryForm, EntryForm, StepForm
from regenplant.web.presenters.batch_entries import likely_slip, pad_units
from tests import factories
from tests.web.pages import text_of
from tests.web.test_batches import at, entry, refused, typed_twice

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.plant_today()


@pytest.fixture
def operator_client(plant, client_of):
    return client_of(plant.people["operator"])


@pytest.fixture
def acid(plant) -> StepRun:
    """A batch with its acid injection running."""
    return factories.run_to(plant, factories.frozen_batch(plant, "sac_h"), StepKind.INJECT)


# --- entries ----------------------------------------------------------------------------------------------------------
def test_an_entry_is_kept_as_typed_and_understood_in_both_systems(plant, operator_client, acid):
    answer = operator_client.post(at("entry", acid.batch, 4), entry("flow", "4.7 gpm"), follow=True)
    # 4.7 US gallons per minute x 3.785411784 L = 17.79 L/min (US gallon: 231 cubic inches, exactly)
    assert "Written: flow through the bed 17.8 L/min · 4.7 US gpm at" in text_of(answer)
    row = StepEntry.objects.get(step=acid, key="flow")
    assert (row.value_as_typed, row.unit_as_typed) == ("4.7", "gpm")
    assert row.value == pytest.approx(4.7 * 3.785411784e-3 / 60.0)


def test_a_bare_number_is_in_the_persons_own_unit(plant, operator_client, acid):
    operator_client.post(reverse("preferences"), {"unit_system": "us", "theme": ""})
    assert operator_client.post(at("entry", acid.batch, 4), entry("flow", "4.7")).status_code == 302
    row = StepEntry.objects.get(step=acid, key="flow")
    assert (row.value_as_typed, row.unit_as_typed) == ("4.7", "US gpm")


def test_bad_entries_are_refused_beside_the_field_and_nothing_is_lost(plant, operator_client, acid):
    before = StepEntry.objects.count()
    for key, typed, sentence in (
        ("strength", "", "Nothing is written"), ("strength", "abc", "is not a number"), ("strength", "5 kg", "is not a strength"),
        ("strength", "-5 %", "cannot be"), ("strength", "1e30 %", "cannot be"), ("strength", "5 blorb", "is not known"),
        ("flow", "1,416 L/min", "can be read in two ways"), ("flow", "9" * 80, "Too long"), ("temperature", "-300 °C", "cannot be"),
        ("contact_time", "34 °C", "is not a time"), ("strength", "5\x00", "not"),
    ):  # fmt: skip
        response = operator_client.post(at("entry", acid.batch, 4), entry(key, typed))
        text = text_of(response)
        assert response.status_code == 422 and sentence in text, (key, typed, text)
        if "\x00" not in typed:
            assert response.context["cards"][0]["entry_form"]["value"].value() == typed
        assert response.context["cards"][0]["chosen"].spec.key == key
    assert StepEntry.objects.count() == before


def test_times_that_cannot_be_are_refused_and_the_value_stays(plant, operator_client, acid):
    before = StepEntry.objects.count()
    for typed, sentence in (
        ("24:61", "is no time"), ("x" * 40, "Too long for a time"),
        (f"{timezone.localtime() + timedelta(days=1):%Y-%m-%d %H:%M}", "is still to come"),
        (f"{timezone.localtime() - timedelta(days=3):%Y-%m-%d %H:%M}", "The time lies before Acid injection started."),
    ):  # fmt: skip
        response = operator_client.post(
            at("entry", acid.batch, 4), entry("strength", "5.1 %", occurred_at=typed)
        )
        refused(response, sentence)
        assert response.context["cards"][0]["entry_form"]["value"].value() == "5.1 %"
    assert StepEntry.objects.count() == before


@pytest.mark.requirement("ER-12")
def test_an_entry_of_a_while_ago_keeps_both_times(plant, operator_client, acid):
    when = timezone.localtime(acid.started_at + timedelta(minutes=5))
    data = entry("flow", "17.8 L/min", occurred_at=f"{when:%Y-%m-%d %H:%M}")
    response = operator_client.post(at("entry", acid.batch, 4), data)
    refused(response, "after 15 min it is written late. Say why it is written only now.")
    assert response.context["cards"][0]["entry_form"]["value"].value() == "17.8 L/min"
    refused(
        operator_client.post(at("entry", acid.batch, 4), data | {"late_words": "copied from my slip"}),
        "what kind of reason",
    )
    data |= {"late_category": "late", "late_words": "copied from my slip"}
    assert operator_client.post(at("entry", acid.batch, 4), data).status_code == 302
    row = StepEntry.objects.get(step=acid, key="flow")
    assert row.is_late and row.occurred_at < row.entered_at - timedelta(minutes=15)
    text = text_of(operator_client.get(at("detail", acid.batch)))
    assert "Written late, at" in text and "known later: copied from my slip" in text


def test_outside_the_limits_the_number_comes_back_with_two_ways_on(plant, operator_client, acid):
    url = at("entry", acid.batch, 4)
    response = operator_client.post(url, entry("strength", "51 %"))
    text = refused(
        response, "51.00 % is outside the limits 4.50 % to 6.00 %. Correct it, or say that it is true."
    )
    assert "Did you mean 5.1 %?" in text and "It is true: write it down" in text
    assert not StepEntry.objects.filter(step=acid, key="strength").exists()
    assert typed_twice(operator_client, url, entry("strength", "51 %", outside="51 %")).status_code == 302
    answer = operator_client.get(at("detail", acid.batch))
    assert "It is outside its limits, so a deviation is open." in text_of(answer)
    assert Deviation.objects.get(batch=acid.batch).severity == "major"


def test_saying_that_it_is_true_holds_for_the_number_that_was_shown_only(plant, operator_client, acid):
    response = operator_client.post(at("entry", acid.batch, 4), entry("strength", "61 %", outside="51 %"))
    refused(response, "61.00 % is outside the limits")
    assert not StepEntry.objects.filter(step=acid, key="strength").exists()


def test_the_same_entry_sent_twice_is_written_once(plant, operator_client, acid):
    url = at("entry", acid.batch, 4)
    assert operator_client.post(url, entry("flow", "17.8 L/min")).status_code == 302
    refused(operator_client.post(url, entry("flow", "17.8 L/min")), "it was sent twice")
    assert StepEntry.objects.filter(step=acid, key="flow").count() == 1
    assert operator_client.post(url, entry("flow", "17.9 L/min")).status_code == 302


def test_a_step_that_moved_on_keeps_what_was_typed_in_the_note(plant, operator_client, acid):
    factories.run_to(plant, acid.batch, StepKind.DISPLACE)
    response = operator_client.post(at("entry", acid.batch, 4), entry("strength", "5.1 %"))
    refused(response, "You typed “5.1 %”; nothing was written.")


def test_who_may_not_record_is_refused(plant, client_of, outsider, acid):
    for person in (plant.people["planner"], plant.people["safety"], outsider):
        client = client_of(person)
        assert client.post(at("entry", acid.batch, 4), entry("strength", "5.1 %")).status_code == 403
        assert client.post(at("ticks", acid.batch, 4), {"tick": ["gear_on"]}).status_code == 403
    assert not StepEntry.objects.filter(step=acid, key="strength").exists()


def test_unknown_entries_are_no_page(plant, operator_client, acid):
    for key in ("nothing", "", "x" * 500, "\x00"):
        assert operator_client.post(at("entry", acid.batch, 4), entry(key, "5")).status_code == 404


def test_ticks_are_written_together_or_not_at_all(plant, operator_client):
    batch = factories.frozen_batch(plant, "sac_h")
    refused(operator_client.post(at("ticks", batch, 1), {}), "Nothing is ticked.")
    response = operator_client.post(at("ticks", batch, 1), {"tick": ["gear_on", "no_such_thing"]})
    refused(response, "has no entry of this name")
    assert not StepEntry.objects.filter(step__batch=batch).exists()
    assert operator_client.post(at("ticks", batch, 1), {"tick": ["gear_on", "gear_on"]}).status_code == 302
    refused(operator_client.post(at("ticks", batch, 1), {"tick": ["gear_on"]}), "it was sent twice")
    assert StepEntry.objects.filter(step__batch=batch, key="gear_on").count() == 1


def test_only_instruments_that_prove_something_can_be_named(plant, operator_client, acid):
    made = {}
    for code, days in (("FM-1", 60), ("FM-2", -5)):
        settings = InstrumentSettings(code, f"Flow meter {code}", "flow", None, "")
        made[code] = plant_services.save_instrument(by=plant.by("supervisor"), instrument=settings).result
        due = (plant.now + timedelta(days=days)).date()
        factories.calibrated(plant, made[code].pk, days_ago=30, due_on=due)
    page = operator_client.get(f"{at('detail', acid.batch)}?entry=flow").content.decode()
    assert "FM-1" in page and "FM-2" not in page
    for bad in (made["FM-2"].pk, "x", 999999):
        refused(
            operator_client.post(at("entry", acid.batch, 4), entry("flow", "17 L/min", instrument=bad)),
            "no choice here",
        )
    good = entry("flow", "17 L/min", instrument=made["FM-1"].pk)
    assert operator_client.post(at("entry", acid.batch, 4), good).status_code == 302
    assert StepEntry.objects.get(step=acid, key="flow").instrument == Instrument.objects.get(code="FM-1")


def test_the_field_stands_for_what_is_asked_or_for_what_is_missing_first(plant, operator_client, acid):
    assert operator_client.get(at("detail", acid.batch)).context["cards"][0]["chosen"].spec.key == "strength"
    assert (
        operator_client.get(f"{at('detail', acid.batch)}?entry=volume_fed")
        .context["cards"][0]["chosen"]
        .spec.key
        == "volume_fed"
    )
    assert (
        operator_client.get(f"{at('detail', acid.batch)}?entry=%00x").context["cards"][0]["chosen"].spec.key
        == "strength"
    )


# --- corrections ------------------------------------------------------------------------------------------------------
@pytest.fixture
def written(plant, acid) -> StepEntry:
    return batch_services.write_entry(
        by=plant.by(), step_id=acid.pk, key="strength", text="5.9 %", again="5.9 %"
    ).result


def test_a_correction_strikes_the_old_value_and_says_why(plant, operator_client, acid, written):
    url = at("entry-correct", acid.batch, written.pk)
    assert "5.9 %" in text_of(operator_client.get(url))
    data = {"value": "5.1 %", "category": "slip", "reason": "read the wrong line"}
    assert typed_twice(operator_client, url, data, "form").status_code == 302
    answer = operator_client.get(at("detail", acid.batch))
    assert "<s>5.9 %</s>" in answer.content.decode()
    assert "slip of the pen or key: read the wrong line" in text_of(answer)


def test_corrections_are_refused_beside_their_field(plant, operator_client, client_of, acid, written):
    url = at("entry-correct", acid.batch, written.pk)
    for data, sentence, status in (
        ({"value": "5.1 %", "reason": "slip of the key", "category": ""}, "Choose what kind of reason", 422),
        ({"value": "5.1 %", "reason": "oops"}, "at least 10 characters", 422), ({"value": "", "reason": "slip of the key"}, "Nothing is written", 422),
        ({"value": "wet", "reason": "slip of the key"}, "is not a number", 422), ({"value": "5.1 %", "reason": ""}, "Nothing is written", 422),
        ({"value": "51 %", "reason": "slip of the key"}, "outside the limits", 422), ({"value": "5 %", "reason": "x" * 400}, "at most 300", 422),
    ):  # fmt: skip
        refused(operator_client.post(url, {"category": "slip"} | data), sentence, status)
    good = {"value": "5.1 %", "category": "slip", "reason": "slip of the key"}
    assert client_of(plant.people["planner"]).post(url, good).status_code == 403
    assert typed_twice(operator_client, url, good, "form").status_code == 302
    refused(operator_client.post(url, good), "already corrected")
    assert StepEntry.objects.filter(step=acid, key="strength").count() == 2


def test_a_correction_outside_the_limits_is_written_when_it_is_true(plant, operator_client, acid, written):
    url = at("entry-correct", acid.batch, written.pk)
    data = {"value": "6.6 %", "category": "other", "reason": "read again, it is so", "outside": "6.6 %"}
    assert typed_twice(operator_client, url, data, "form").status_code == 302
    assert Deviation.objects.filter(batch=acid.batch).count() == 1


@pytest.mark.requirement("ER-11")
def test_a_tick_that_was_not_true_becomes_not_done_and_a_deviation(plant, operator_client, acid):
    gear = StepEntry.objects.get(step=acid, key="gear_on")
    url = at("entry-correct", acid.batch, gear.pk)
    assert "value" not in operator_client.get(url).context["form"].fields
    data = {"standing": "not_done", "category": "slip", "reason": "ticked it before I had them on"}
    assert operator_client.post(url, data).status_code == 302
    row = StepEntry.objects.get(replaces=gear)
    assert (row.standing, row.value, row.value_as_typed) == ("not_done", None, "")
    deviation = Deviation.objects.get(batch=acid.batch)
    assert deviation.source == "not_done" and "Gear on stands as not done" in deviation.what


def test_foreign_entries_are_no_page(plant, operator_client, acid, written):
    other = factories.frozen_batch(plant, "sac_na")
    assert operator_client.get(at("entry-correct", other, written.pk)).status_code == 404


def test_a_judged_batch_takes_no_correction(plant, operator_client):
    batch = factories.passed_batch(plant, "sac_na")
    row = StepEntry.objects.filter(step__batch=batch, key="strength").first()
    response = operator_client.post(
        at("entry-correct", batch, row.pk), {"value": "9 %", "category": "slip", "reason": "slip of the key"}
    )
    refused(response, "its steps are closed")
    assert "Press a time to correct" not in text_of(operator_client.get(at("detail", batch)))


# --- small words ------------------------------------------------------------------------------------------------------
SPEC = EntrySpec("t", "Temperature", "temperature", low=308.15, high=322.15)


def test_a_likely_slip_is_a_decimal_point_or_the_other_system():
    assert likely_slip("190 C", SPEC, "metric") == ""
    assert likely_slip("105 C", SPEC, "metric") == "105 °F"
    assert likely_slip("41 F", SPEC, "us") == "41 °C"
    assert likely_slip("4.5", SPEC, "metric") == "45 °C"
    flow = EntrySpec("f", "Flow", "flow", low=0.9e-3, high=1.2e-3)
    assert likely_slip("17.4", flow, "metric") == "17.4 US gpm"
    assert likely_slip("yes", EntrySpec("c", "Choice", "choice"), "metric") == ""


def test_nobody_is_led_to_write_a_number_that_passes():
    left = EntrySpec("left", "Sanitizer left", "concentration", low=None, high=1e-4)
    assert likely_slip("0.105 mg/L", left, "metric") == "", "any smaller number would pass"
    water = EntrySpec("ph", "pH", "ph", low=1.0, high=10.5)
    assert likely_slip("11.03", water, "metric") == "", "a pH is no measure that loses its decimal point"
    strength = EntrySpec("strength", "Strength", "strength", low=0.005, high=0.06)
    assert likely_slip("6.5 %", strength, "metric") == "", "just outside is a reading, not a slip"
    assert likely_slip("51 %", strength, "metric") == "5.1 %"


def test_the_pad_has_keys_for_both_systems_without_a_space():
    assert pad_units("flow") == "L/min gpm"
    assert pad_units("liquid_volume") == "L gal"
    assert pad_units("ph") == ""


def test_forms_of_a_step_read_what_a_person_writes(plant, acid):
    spec = next(one for one in plan_of(acid.batch).step(4).entries if one.key == "strength")
    form = EntryForm({"key": "strength", "value": "5,1 %", "occurred_at": ""}, spec=spec, system="metric")
    assert form.is_valid() and form.arguments()["outside_is_true"] is False
    row = StepEntry.objects.get(step=acid, key="dilution_water_flow")
    correction = CorrectEntryForm({"value": "x", "reason": ""}, spec=spec, row=row, system="metric")
    assert set(correction.errors) == {"value", "category", "reason"}
    assert StepForm({"version": "1", "occurred_at": "nonsense"}).errors.keys() == {"occurred_at"}
