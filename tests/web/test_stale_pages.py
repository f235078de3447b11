"""Two people write to the same record: the second is refused, sees what the first wrote, and loses nothing of their own."""

from __future__ import annotations

import pytest
from django.urls import reverse

from regenplant.batches import services as batch_services
from regenplant.core.process.vocabulary import StepKind
from regenplant.plant.models import PlantProfile, Vessel
from regenplant.web.seen import SeenVersionField, seen_act
from tests import factories
from tests.web.test_batches import at, refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.plant_today()


def fields_of(response, form="form"):
    """What a page would send if nothing were changed."""
    found = response.context[form]
    values = {bound.html_name: bound.value() for bound in found}
    return {name: "" if value is None else value for name, value in values.items() if value is not False}


@pytest.mark.requirement("ER-22")
def test_of_a_vessel(plant, client_of):
    url = reverse("setup-vessel-change", args=["C1"])
    first, second = client_of(plant.people["supervisor"]), client_of(plant.people["supervisor 2"])
    mine, theirs = fields_of(second.get(url)), fields_of(first.get(url))
    assert first.post(url, theirs | {"name": "Cation vessel one"}).status_code == 302
    response = second.post(url, mine | {"name": "Big cation vessel"})
    text = refused(response, "was changed since you opened it", 409)
    assert "name from Vessel C1 to Cation vessel one" in text and "Supervisor 1" in text
    assert "Big cation vessel" in text and "Write on top of the present state" in text
    assert Vessel.objects.get(code="C1").name == "Cation vessel one"
    assert second.post(url, fields_of(response)).status_code == 302
    assert Vessel.objects.get(code="C1").name == "Big cation vessel"


@pytest.mark.requirement("ER-22")
def test_of_the_plants_profile(plant, client_of):
    url = reverse("setup-plant-change")
    first, second = client_of(plant.people["supervisor"]), client_of(plant.people["supervisor 2"])
    mine, theirs = fields_of(second.get(url)), fields_of(first.get(url))
    assert first.post(url, theirs | {"hall_name": "north hall"}).status_code == 302
    text = refused(
        second.post(url, mine | {"hall_name": "south hall"}), "was changed since you opened it", 409
    )
    assert "hall name from empty to north hall" in text and "south hall" in text
    assert PlantProfile.objects.get().hall_name == "north hall"


@pytest.mark.requirement("ER-22")
def test_of_a_batch(plant, client_of):
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.BACKWASH, finish=True)
    client = client_of(plant.people["operator"])
    seen = client.get(at("hold", batch)).context["form"]["version"].value()
    batch_services.open_deviation(
        by=plant.by("qc"), batch_id=batch.pk, what="the pump makes a noise", severity="minor"
    )
    response = client.post(at("hold", batch), {"version": seen, "reason": "waiting for the fitter"})
    text = refused(response, "moved on since this page was shown", 409)
    assert "(minor) was opened: the pump makes a noise" in text and "QC technician 1" in text
    assert response.context["form"]["reason"].value() == "waiting for the fitter"


@pytest.mark.requirement("ER-22")
def test_of_a_step_that_somebody_else_just_ended(plant, client_of):
    batch = factories.frozen_batch(plant, "sac_h")
    step = factories.run_to(plant, batch, StepKind.BACKWASH)
    factories.write_required(plant, step, is_before=False)
    client = client_of(plant.people["operator"])
    seen = client.get(at("detail", batch)).context["step_form"]["version"].value()
    batch_services.finish_step(by=plant.by("supervisor"), step_id=step.pk)
    text = refused(client.post(at("step-finish", batch, step.number), {"version": seen}), "moved on", 409)
    assert "Changed since you opened it" in text and "Backwash, done" in text and "Supervisor 1" in text


def test_a_page_that_does_not_say_what_it_showed_is_refused_all_the_same(plant, client_of):
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.BACKWASH, finish=True)
    batch.refresh_from_db()
    for version in (str(batch.version - 1), f"{batch.version - 1}.x", f"{batch.version - 1}.{'9' * 40}"):
        response = client_of(plant.people["operator"]).post(
            at("hold", batch), {"version": version, "reason": "waiting for the fitter"}
        )
        assert "does not say which state it showed" in refused(response, "moved on", 409)


def test_the_hidden_field_reads_both_ways(plant):
    field = SeenVersionField()
    shown = field.prepare_value(7)
    assert shown.startswith("7.") and field.clean(shown) == 7 and field.clean("7") == 7
    assert seen_act(shown) is not None and seen_act("7") is None and seen_act("7.-2") is None
