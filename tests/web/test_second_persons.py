"""Critical values through HTTP: typed twice out of sight, checked by a second person, ticked by two; and nothing of three kinds."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from regenplant.batches import services as batch_services
from regenplant.batches.models import Deviation, EntryCheck, StepEntry, StepRun
from regenplant.core.process.vocabulary import StepKind
from regenplant.web.twice import TwiceForm
from tests import factories
from tests.factories import PASSWORD
from tests.web.pages import text_of
from tests.web.test_batches import at, entry, refused, typed_twice, version_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.plant_today()


@pytest.fixture
def operator_client(plant, client_of):
    return client_of(plant.people["operator"])


@pytest.fixture
def acid(plant) -> StepRun:
    return factories.run_to(plant, factories.frozen_batch(plant, "sac_h"), StepKind.INJECT)


@pytest.fixture
def by_two(plant):
    """A plant that wants class D checked by a second person."""
    batch_services.set_check_rules(
        by=plant.by("supervisor"),
        methods={"D": "second_person"},
        reason="the customers of this plant ask for it",
    )


# --- typed twice ------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-21")
def test_the_second_typing_stands_in_an_empty_field_and_shows_nothing_of_the_first(operator_client, acid):
    url = at("entry", acid.batch, acid.number)
    asked = operator_client.post(url, entry("strength", "5.1 %"))
    form = next(card["entry_form"] for card in asked.context["cards"] if card["returned"])
    assert asked.status_code == 200 and form["value"].value() == "" and not form.errors
    assert (
        "Once more: strength at the bed, measured" in text_of(asked) and "5.1 %" not in asked.content.decode()
    )
    assert not StepEntry.objects.filter(step=acid, key="strength").exists()
    assert typed_twice(operator_client, url, entry("strength", "5.1 %")).status_code == 302
    assert EntryCheck.objects.get(entry__key="strength").method == "twice"
    assert "Typed twice." in text_of(operator_client.get(at("detail", acid.batch)))


@pytest.mark.requirement("ER-21")
def test_a_mismatch_blocks_and_begins_anew(operator_client, acid):
    url = at("entry", acid.batch, acid.number)
    asked = operator_client.post(url, entry("strength", "5.1 %"))
    first = next(card["entry_form"]["first"].value() for card in asked.context["cards"] if card["returned"])
    response = operator_client.post(url, entry("strength", "5.7 %", first=first))
    refused(response, "Nothing was written.")
    form = next(card["entry_form"] for card in response.context["cards"] if card["returned"])
    assert form["value"].value() == "" and not form.is_second
    assert not StepEntry.objects.filter(step=acid, key="strength").exists()


def test_a_first_typing_that_was_altered_or_belongs_elsewhere_counts_as_none(operator_client, acid):
    url = at("entry", acid.batch, acid.number)
    asked = operator_client.post(url, entry("strength", "5.1 %"))
    first = next(card["entry_form"]["first"].value() for card in asked.context["cards"] if card["returned"])
    for sealed in (first[:-2], "x", "x" * 3000, f"{first}:{first}"):
        answer = operator_client.post(url, entry("strength", "5.1 %", first=sealed))
        assert answer.status_code in (200, 422)
    operator_client.post(url, entry("volume_fed", "598 L", first=first))
    assert not StepEntry.objects.filter(step=acid, key__in=("strength", "volume_fed")).exists()
    assert TwiceForm({"first": first}).first_typing is None


@pytest.mark.requirement("ER-21")
def test_the_reading_of_the_end_point_is_typed_twice(plant, operator_client):
    batch = factories.frozen_batch(plant, "sba_1")
    factories.run_to(plant, batch, StepKind.FAST_RINSE)
    plant.forward(minutes=60)
    factories.rinse_down(plant, batch)
    batch.refresh_from_db()
    when = timezone.localtime(plant.now + timedelta(minutes=4))
    data = {
        "value": "4.1 us/cm", "temperature": "25 C", "instrument": str(plant.instruments["CELL"].pk),
        "occurred_at": f"{when:%Y-%m-%d %H:%M}", "late_category": "late", "late_words": "written from my slip",
    }  # fmt: skip
    url, count = reverse("rinse", args=[batch.number]), batch.readings.count()
    asked = operator_client.post(url, data)
    assert asked.status_code == 200 and "Once more: reading of the cell" in text_of(asked)
    assert batch.readings.count() == count
    first = asked.context["form"]["first"].value()
    refused(operator_client.post(url, data | {"first": first, "value": "1.4 us/cm"}), "Nothing was written.")
    assert operator_client.post(url, data | {"first": first}).status_code == 302
    assert EntryCheck.objects.filter(reading=batch.readings.latest("occurred_at"), method="twice").exists()


# --- second person ----------------------------------------------------------------------------------------------------
@pytest.fixture
def written(plant, acid, by_two) -> StepEntry:
    return batch_services.write_entry(by=plant.by(), step_id=acid.pk, key="strength", text="5.1 %").result


def test_who_wrote_it_hands_the_tablet_over(plant, operator_client, acid, written):
    page = operator_client.get(at("detail", acid.batch))
    url = at("check", acid.batch, "entry", written.pk)
    assert url in page.content.decode() and "hand the tablet over" in text_of(page)
    assert "Operator 1 stays signed in." in text_of(operator_client.get(url))
    second = plant.people["operator 2"]
    for name, password, sentence in (
        ("operator-1", PASSWORD, "must be another one"), (second.username, "wrong", "do not fit"),
        ("planner-1", PASSWORD, "may not do this"), ("", PASSWORD, "Nothing is written"),
    ):  # fmt: skip
        data = {"second_username": name, "second_password": password}
        refused(operator_client.post(url, data), sentence)
    assert not EntryCheck.objects.exists()
    data = {"second_username": second.username, "second_password": PASSWORD}
    assert operator_client.post(url, data).status_code == 302
    assert EntryCheck.objects.get().checked_by == second
    assert "Checked by Operator 2, second person." in text_of(operator_client.get(at("detail", acid.batch)))


@pytest.mark.requirement("ER-16")
def test_another_person_checks_under_their_own_name(plant, client_of, acid, written):
    url, qc = at("check", acid.batch, "entry", written.pk), plant.people["qc"]
    client = client_of(qc)
    data = {"version": version_of(acid.batch), "username": qc.username, "password": PASSWORD}
    refused(client.post(url, data | {"password": "wrong"}), "do not fit")
    assert client.post(url, data).status_code == 302
    assert EntryCheck.objects.get().signature.person == qc
    refused(client.post(url, data), "is checked already")
    assert client_of(plant.people["planner"]).post(url, data).status_code == 403


def test_the_checks_are_set_class_by_class(plant, client_of):
    url = reverse("setup-entry-checks")
    client = client_of(plant.people["supervisor"])
    form = client.get(url).context["form"]
    assert {name: form[name].value() for name in ("class_A", "class_D")} == {
        "class_A": "second_person",
        "class_D": "twice",
    }
    data = {bound.html_name: bound.value() or "" for bound in form} | {"class_D": "second_person"}
    refused(client.post(url, data), "Nothing is written here yet")
    data |= {"reason": "the customers of this plant ask for it"}
    assert client_of(plant.people["operator"]).post(url, data).status_code == 403
    refused(client.post(url, data | {"class_D": "never"}), "no choice here")
    assert client.post(url, data).status_code == 302
    assert client.get(url).context["form"]["class_D"].value() == "second_person"
    refused(
        client.post(url, data | {"class_D": "twice", "version": 0}), "was changed since you opened it", 409
    )


def test_nothing_else_is_checked(plant, operator_client, acid, written):
    other = factories.frozen_batch(plant, "sac_na")
    for batch, kind, pk in (
        (other, "entry", written.pk),
        (acid.batch, "entry", 10**9),
        (acid.batch, "batch", 1),
    ):
        assert operator_client.get(at("check", batch, kind, pk)).status_code == 404


@pytest.mark.requirement("ER-16")
def test_two_people_tick_the_connection(plant, operator_client):
    definition = factories.usual_recipe("sac_h")
    steps = tuple(replace(step, asks_second_person=step.kind is StepKind.INJECT) for step in definition.steps)
    recipe = factories.approved_recipe(plant, replace(definition, code="TWO-AT-IT", steps=steps))
    batch = factories.frozen_batch(plant, "sac_h", recipe_version_id=recipe.pk)
    factories.run_to(plant, batch, StepKind.SETTLE, finish=True)
    step = batch.steps.get(kind=StepKind.INJECT.value)
    url = at("entry-together", batch, step.number, "connection_checked")
    page = operator_client.get(at("detail", batch))
    assert url in page.content.decode() and "Two people check" in text_of(page)
    shown = operator_client.get(url)
    assert dict(shown.context["facts"])["Vessel"] == batch.vessel.code
    assert dict(shown.context["facts"])["Chemical"] == "Hydrochloric acid"
    assert "You tick it; the second person signs for it here." in text_of(shown)
    data = {"second_username": "operator-1", "second_password": PASSWORD}
    refused(operator_client.post(url, data), "must be another one")
    assert operator_client.post(url, data | {"second_username": "operator-2"}).status_code == 302
    row = StepEntry.objects.get(step=step, key="connection_checked")
    assert (row.entered_by, row.check_of_it.checked_by) == (
        plant.people["operator"],
        plant.people["operator 2"],
    )
    assert operator_client.get(at("entry-together", batch, step.number, "gear_on")).status_code == 404


# --- three kinds of nothing -------------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-10", "ER-11")
def test_not_done_is_said_on_a_page_of_its_own_and_shown_as_that(plant, operator_client, acid):
    url = at("entry-leave", acid.batch, acid.number, "flow")
    assert url in operator_client.get(at("detail", acid.batch)).content.decode()
    data = {"standing": "not_done", "category": "instrument", "reason": "the flow meter was away for repair"}
    for change, sentence in (
        ({"standing": ""}, "Choose one."), ({"category": ""}, "Choose what kind of reason"), ({"reason": "away"}, "at least 10 characters"),
        ({"standing": "forgotten"}, "no choice here"), ({"standing": "not_applicable"}, "Only a supervisor may say"),
    ):  # fmt: skip
        refused(operator_client.post(url, data | change), sentence, 403 if "Only" in sentence else 422)
    assert operator_client.post(url, data).status_code == 302
    text = text_of(operator_client.get(at("detail", acid.batch)))
    assert "not done" in text and "Not done: instrument: the flow meter was away for repair" in text
    assert Deviation.objects.get(batch=acid.batch).source == "not_done"
    gear = at("entry-leave", acid.batch, acid.number, "gear_on")
    refused(operator_client.post(gear, data), "It is done, or the step does not start")


# --- too soon ---------------------------------------------------------------------------------------------------------
def test_an_end_that_comes_too_soon_is_asked_about(plant, operator_client, acid):
    factories.write_required(plant, acid, is_before=False)
    typed = f"{(acid.started_at + timedelta(minutes=2)).isoformat(timespec='minutes')[:16]}"
    data = {
        "version": version_of(acid.batch),
        "occurred_at": typed,
        "late_category": "late",
        "late_words": "written from my slip",
    }
    url = at("step-finish", acid.batch, acid.number)
    response = operator_client.post(url, data)
    text = refused(response, "or say that it is true")
    assert f'href="#done-{acid.number}"' in response.content.decode(), (
        "the way to the answer stands beside the refusal"
    )
    assert f'id="done-{acid.number}"' in response.content.decode()
    assert "It is true: step done" in text and "written from my slip" in response.content.decode()
    assert operator_client.post(url, data | {"soon": "yes"}).status_code == 302
    assert Deviation.objects.get(batch=acid.batch).source == "time"
