"""Acts on a batch with a reason, and filling its tanks: allowed, not qualified, refused with a sentence, sent twice, old page."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
from django.urls import reverse
from django.utils import timezone

from regenplant.batches.models import Batch, BatchTank, Deviation, StepRun
from regenplant.core.process.vocabulary import StepKind
from regenplant.tanks.models import TankVisit
from regenplant.web.areas.batches.forms import (
    ActForm,
    AsideForm,
    DeviationForm,
    FillForm,
    FilterForm,
    ReasonForm,
    ReworkForm,
    ShellForm,
)
from tests import factories
from tests.web.pages import text_of
from tests.web.test_batches import at, failed_batch, refused, version_of

pytestmark = pytest.mark.django_db
WHY = "the acid truck is late today"


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.plant_today()


@pytest.fixture
def operator_client(plant, client_of):
    return client_of(plant.people["operator"])


@pytest.fixture
def supervisor_client(plant, client_of):
    return client_of(plant.people["supervisor"])


@pytest.fixture
def acid(plant) -> StepRun:
    return factories.run_to(plant, factories.frozen_batch(plant, "sac_h"), StepKind.INJECT)


@pytest.fixture
def settled(plant) -> Batch:
    """A batch that may be held: it stands in water."""
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.BACKWASH, finish=True)
    return batch


def reason(batch: Batch, text: str = WHY, name: str = "reason", **more: Any) -> dict[str, Any]:
    return {name: text, "version": version_of(batch), **more}


# --- hold, stop by itself, go on --------------------------------------------------------------------------------------
def test_nothing_is_held_with_acid_in_the_bed_and_the_page_shows_the_other_way(plant, operator_client, acid):
    page = operator_client.get(at("hold", acid.batch))
    text = text_of(page)
    assert "Do not stop here: Hydrochloric acid stands in the bed." in text
    assert at("interrupt", acid.batch) in page.content.decode()
    refused(operator_client.post(at("hold", acid.batch), reason(acid.batch)), "Do not stop here")
    assert Batch.objects.get(pk=acid.batch_id).state == "running"


def test_a_hold_and_going_on_are_written_with_their_words(plant, operator_client, settled):
    when = timezone.localtime(plant.now + timedelta(minutes=3))
    data = reason(settled, occurred_at=f"{when:%Y-%m-%d %H:%M}")
    refused(operator_client.post(at("hold", settled), data), "Say why it is written only now.")
    data |= {"late_category": "late", "late_words": "no hand was free at the vessel"}
    answer = operator_client.post(at("hold", settled), data, follow=True)
    assert f"Written: {settled.number} is held." in text_of(answer) and WHY in text_of(answer)
    assert settled.holds.get().held_at.replace(second=0) == when.replace(second=0, microsecond=0)
    answer = operator_client.post(
        at("resume", settled), reason(settled, "acid is here now", "note"), follow=True
    )
    assert f"Written: {settled.number} goes on." in text_of(answer)
    assert Batch.objects.get(pk=settled.pk).state == "running"


def test_bad_reasons_times_and_old_pages_are_refused_and_the_words_stay(plant, operator_client, settled):
    for data, sentence, status in (
        (reason(settled, ""), "Nothing is written here yet", 422),
        (reason(settled, "short"), "at least 10 characters", 422),
        (reason(settled, "x" * 500), "at most 300", 422),
        (reason(settled, occurred_at="26:00"), "is no time", 422),
        (reason(settled, occurred_at="2020-01-01 10:00"), "The time lies before it started.", 422),
        (reason(settled) | {"version": version_of(settled) - 1}, "moved on since this page was shown", 409),
        ({"reason": WHY}, "does not say which state", 422),
        ({"reason": WHY, "version": "one"}, "does not say which state", 422),
    ):
        response = operator_client.post(at("hold", settled), data)
        refused(response, sentence, status)
        assert response.context["form"]["reason"].value() == data["reason"]
    assert Batch.objects.get(pk=settled.pk).state == "running"


def test_after_an_old_page_the_same_words_act_on_the_present_state(plant, operator_client, settled):
    response = operator_client.post(
        at("hold", settled), reason(settled) | {"version": version_of(settled) - 1}
    )
    refused(response, "what you typed is kept below", 409)
    form = response.context["form"]
    again = {name: form[name].value() for name in ("version", "reason")}
    assert again["version"].startswith(f"{version_of(settled)}.") and again["reason"] == WHY
    assert operator_client.post(at("hold", settled), again).status_code == 302


def test_a_hold_sent_twice_is_one_hold(plant, operator_client, settled):
    data = reason(settled)
    assert operator_client.post(at("hold", settled), data).status_code == 302
    refused(operator_client.post(at("hold", settled), data), "moved on since this page was shown", 409)
    assert settled.holds.count() == 1


def test_who_may_hold_and_who_may_go_on(plant, client_of, outsider, settled):
    assert client_of(outsider).post(at("hold", settled), reason(settled)).status_code == 403
    assert client_of(plant.people["planner"]).post(at("hold", settled), reason(settled)).status_code == 403
    assert client_of(plant.people["qc"]).post(at("hold", settled), reason(settled)).status_code == 302
    words = reason(settled, "looked at it, all is well", "note")
    assert client_of(plant.people["qc"]).post(at("resume", settled), words).status_code == 403
    assert "It is not possible now." in text_of(client_of(plant.people["qc"]).get(at("resume", settled)))
    assert client_of(plant.people["operator"]).post(at("resume", settled), words).status_code == 302


def test_a_stop_by_itself_opens_a_critical_deviation(plant, operator_client, acid):
    answer = operator_client.post(
        at("interrupt", acid.batch), reason(acid.batch, "power dip, acid pump stopped"), follow=True
    )
    text = text_of(answer)
    assert "A critical deviation is open." in text and "Hydrochloric acid stands in the bed." in text
    assert Deviation.objects.get(batch=acid.batch).severity == "critical"
    refused(
        operator_client.post(at("resume", acid.batch), reason(acid.batch, "no", "note")),
        "at least 10 characters",
    )


def test_acts_that_do_not_fit_the_state_say_so(plant, supervisor_client, settled):
    for name, field in (("resume", "note"), ("scrap", "reason")):
        assert "this act does not fit" in text_of(supervisor_client.get(at(name, settled)))
        response = supervisor_client.post(at(name, settled), reason(settled, WHY, field))
        refused(response, "A batch that is running cannot")
    assert Batch.objects.get(pk=settled.pk).state == "running"


# --- ending for good --------------------------------------------------------------------------------------------------
def test_an_unstarted_batch_is_aborted_and_its_tanks_wait_again(plant, operator_client, supervisor_client):
    batch = factories.frozen_batch(plant, "sac_h")
    assert operator_client.post(at("abort", batch), reason(batch)).status_code == 403
    assert "its tanks go back to the waiting list" in text_of(supervisor_client.get(at("abort", batch)))
    assert supervisor_client.post(at("abort", batch), reason(batch)).status_code == 302
    batch.refresh_from_db()
    assert batch.state == "aborted" and not batch.tank_links.filter(is_current=True).exists()
    text = text_of(supervisor_client.get(at("detail", batch)))
    assert "Rework it: This batch was never started" in text


def test_a_failed_batch_is_reworked_as_a_child(plant, operator_client, supervisor_client):
    batch = failed_batch(plant)
    url, data = (
        at("rework", batch),
        reason(batch, "caustic was too cold", "cause", recipe=plant.recipe["sba_1"].pk),
    )
    assert operator_client.post(url, data).status_code == 403
    refused(supervisor_client.post(url, {**data, "cause": "cold"}), "at least 10 characters")
    refused(supervisor_client.post(url, {**data, "cause": ""}), "Nothing is written here yet")
    for bad in ("", "x", "999999", str(plant.recipe["sac_h"].pk)):
        response = supervisor_client.post(url, {**data, "recipe": bad})
        assert response.status_code == 422 and response.context["form"].errors["recipe"]
    answer = supervisor_client.post(url, data, follow=True)
    child = Batch.objects.get(parent=batch)
    assert f"Written: {child.number} reworks {batch.number}" in text_of(answer)
    assert f"Rework of {batch.number}: caustic was too cold" in text_of(answer)
    refused(supervisor_client.post(url, data | {"version": version_of(batch)}), "already under way")
    assert f"Reworked as {child.number}." in text_of(supervisor_client.get(at("detail", batch)))
    assert Batch.objects.filter(parent=batch).count() == 1


def test_failed_resin_is_scrapped_by_a_supervisor_once(plant, operator_client, supervisor_client):
    batch = failed_batch(plant)
    data = reason(batch, "not worth another try")
    assert operator_client.post(at("scrap", batch), data).status_code == 403
    refused(supervisor_client.post(at("scrap", batch), {**data, "reason": "no"}), "at least 10 characters")
    assert supervisor_client.post(at("scrap", batch), data).status_code == 302
    refused(supervisor_client.post(at("scrap", batch), data), "moved on since this page was shown", 409)
    assert Batch.objects.get(pk=batch.pk).state == "scrapped"


# --- deviations -------------------------------------------------------------------------------------------------------
def test_a_deviation_is_opened_and_leads_to_its_page(plant, client_of, acid):
    batch = acid.batch
    url, data = at("deviation", batch), reason(batch, "a hose dripped on the floor", "what", severity="minor")
    operator = client_of(plant.people["operator"])
    for change, sentence in (
        ({"what": "drip"}, "at least 10 characters"), ({"what": ""}, "Nothing is written here yet"),
        ({"severity": ""}, "Choose one."), ({"severity": "awful"}, "no choice here"), ({"what": "x" * 500}, "at most 400"),
    ):  # fmt: skip
        refused(operator.post(url, data | change), sentence)
    assert client_of(plant.people["planner"]).post(url, data).status_code == 403
    answer = operator.post(url, data, follow=True)
    row = Deviation.objects.get(batch=batch)
    assert f"{row.number}, minor, is open." in text_of(answer)
    assert reverse("deviations-detail", args=[row.number]) in answer.content.decode()


# --- filling ----------------------------------------------------------------------------------------------------------
@pytest.fixture
def passed(plant) -> Batch:
    return factories.passed_batch(plant, "sac_h")


def first_link(batch: Batch) -> BatchTank:
    return batch.tank_links.select_related("visit__tank").order_by("position")[0]


def test_tanks_are_filled_one_after_the_other(plant, operator_client, passed):
    serials = [
        link.visit.tank.serial
        for link in passed.tank_links.select_related("visit__tank").order_by("position")
    ]
    page = operator_client.get(at("fill", passed))
    assert (
        "3 tanks still to fill from C1." in text_of(page) and page.context["view"].tank.serial == serials[0]
    )
    assert "Filling is done: No tank is filled from this batch yet." in text_of(page)
    refused(
        operator_client.post(at("fill-finish", passed), {"version": version_of(passed)}), "No tank is filled"
    )
    for serial in serials[:2]:
        visit = TankVisit.objects.get(tank__serial=serial)
        url = at("fill-tank", passed, serial)
        answer = operator_client.post(
            url, {"act": "shell", "shell": "sound", "version": visit.version}, follow=True
        )
        assert answer.context["view"].tank.serial == serial
        answer = operator_client.post(url, {"act": "fill", "volume": "3.6 ft3"}, follow=True)
        # 3.6 cubic feet x 28.316846592 L (1 ft = 0.3048 m, exactly)
        assert f"Written: {serial} is filled with 101.9 L · 3.60 ft³." in text_of(answer)
    assert answer.context["view"].tank.serial == serials[2]
    url = at("fill-tank", passed, serials[2])
    answer = operator_client.post(url, {"act": "aside", "reason": "the riser is broken"}, follow=True)
    assert "All 3 tanks are filled or set aside." in text_of(answer)
    answer = operator_client.post(at("fill-finish", passed), {"version": version_of(passed)}, follow=True)
    assert "waits for its release; C1 is free" in text_of(answer)
    assert Batch.objects.get(pk=passed.pk).state == "filled"


def test_a_shell_is_looked_at_before_it_is_filled(plant, operator_client, passed):
    link = first_link(passed)
    url = at("fill-tank", passed, link.visit.tank.serial)
    refused(
        operator_client.post(url, {"act": "fill", "volume": "100 L"}), "The empty shell is not inspected yet."
    )
    version = TankVisit.objects.get(pk=link.visit_id).version
    refused(operator_client.post(url, {"act": "shell", "version": version}), "Choose one.")
    refused(
        operator_client.post(url, {"act": "shell", "shell": "shiny", "version": version}), "no choice here"
    )
    refused(
        operator_client.post(url, {"act": "shell", "shell": "unsound", "note": "", "version": version}),
        "What is wrong with the shell",
    )
    refused(
        operator_client.post(url, {"act": "shell", "shell": "sound", "version": version + 7}), "changed", 409
    )
    data = {"act": "shell", "shell": "unsound", "note": "crack at the neck", "version": version}
    answer = operator_client.post(url, data, follow=True)
    assert "Its shell is not sound. It is not filled again: set it aside." in text_of(answer)
    refused(operator_client.post(url, {"act": "fill", "volume": "100 L"}), "The shell is not sound.")
    refused(operator_client.post(url, {"act": "aside", "reason": "no"}), "Too short.")
    refused(operator_client.post(url, {"act": "aside", "reason": ""}), "Nothing is written here yet")
    assert operator_client.post(url, {"act": "aside", "reason": "crack at the neck"}).status_code == 302
    refused(
        operator_client.post(url, {"act": "aside", "reason": "crack at the neck"}),
        "already filled or set aside",
    )


def test_volumes_that_cannot_be_are_refused_beside_the_field(plant, operator_client, passed):
    link = first_link(passed)
    visit = TankVisit.objects.get(pk=link.visit_id)
    url = at("fill-tank", passed, link.visit.tank.serial)
    operator_client.post(url, {"act": "shell", "shell": "sound", "version": visit.version})
    for typed, sentence in (
        ("", "Nothing is written here yet"), ("full", "is not a number"), ("-5 L", "cannot be"), ("0", "fills nothing"),
        ("9e9 L", "cannot be"), ("100 kg", "is not a resin volume"), ("1,020 L", "can be read in two ways"), ("115 L", "holds at most 113 L"),
    ):  # fmt: skip
        response = operator_client.post(url, {"act": "fill", "volume": typed})
        refused(response, sentence)
        assert response.context["fill_form"]["volume"].value() == typed
    assert operator_client.post(url, {"act": "fill", "volume": "100 L"}).status_code == 302
    refused(operator_client.post(url, {"act": "fill", "volume": "100 L"}), "already filled or set aside")
    assert TankVisit.objects.get(pk=link.visit_id).refilled_volume_m3 == pytest.approx(0.1)


def test_tanks_never_take_more_than_the_bed_gave(plant, operator_client):
    batch = factories.passed_batch(plant, "sac_na")
    # 306 L loaded; a softening resin does not change its volume; 5 % counting band: 321.3 L at most, 3 x 110 L is 330 L
    answers = []
    for link in batch.tank_links.select_related("visit__tank").order_by("position"):
        url = at("fill-tank", batch, link.visit.tank.serial)
        operator_client.post(
            url,
            {"act": "shell", "shell": "sound", "version": TankVisit.objects.get(pk=link.visit_id).version},
        )
        answers.append(operator_client.post(url, {"act": "fill", "volume": "110 L"}))
    assert [answer.status_code for answer in answers] == [302, 302, 422]
    refused(answers[2], "gave about 306 L and 220 L are in tanks; 110 L was written. Count again.")


def test_filling_is_for_who_runs_and_for_tanks_of_the_batch(plant, client_of, operator_client, passed):
    link = first_link(passed)
    serial, version = link.visit.tank.serial, TankVisit.objects.get(pk=link.visit_id).version
    sound = {"act": "shell", "shell": "sound", "version": version}
    for who in ("qc", "planner"):
        client = client_of(plant.people[who])
        assert client.post(at("fill-tank", passed, serial), sound).status_code == 403
        assert client.post(at("fill-finish", passed), {"version": version_of(passed)}).status_code == 403
        assert "Write it down: This takes an operator or supervisor." in text_of(
            client.get(at("fill", passed))
        )
    stranger = factories.accepted_tank(plant, "sac_na").tank.serial
    for name in (stranger, "T-99999", "x"):
        assert operator_client.post(at("fill-tank", passed, name), sound).status_code == 404
    assert operator_client.post(at("fill-tank", passed, serial), {"act": "polish"}).status_code == 404
    assert operator_client.get(f"{at('fill', passed)}?tank=nonsense%00").status_code == 200


def test_a_batch_that_did_not_pass_has_no_tank_to_fill(plant, operator_client, acid):
    text = text_of(operator_client.get(at("fill", acid.batch)))
    assert "tanks are filled from a batch that passed QC" in text
    serial = acid.batch.tank_links.first().visit.tank.serial
    refused(
        operator_client.post(at("fill-tank", acid.batch, serial), {"act": "fill", "volume": "100 L"}),
        "tanks are filled from a batch",
    )


# --- forms by themselves ----------------------------------------------------------------------------------------------
def test_every_form_says_what_is_missing():
    for form, missing in (
        (ActForm({}), {"version"}), (ReasonForm({}), {"version", "reason"}), (ReworkForm({}, recipes=[]), {"version", "cause", "recipe"}),
        (DeviationForm({}), {"version", "what", "severity"}), (ShellForm({}), {"shell"}), (FillForm({}), {"volume"}), (AsideForm({}), {"reason"}),
    ):  # fmt: skip
        assert set(form.errors) == missing
    assert FilterForm({"vessel": "Z9"}).wanted() == {"text": "", "vessel": "", "family": "", "state": ""}


def test_links_of_the_floor_lead_here(plant, operator_client, passed):
    page = operator_client.get(reverse("floor"))
    assert at("detail", passed) in page.content.decode()
