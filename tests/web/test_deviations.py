"""The pages of deviations: the list, one of them, its acts and its signed decision."""

from __future__ import annotations

from typing import Any

import pytest
from django.urls import reverse

from regenplant.batches import services as batch_services
from regenplant.batches.models import Deviation
from regenplant.core.process.vocabulary import StepKind
from regenplant.people.authority import Role
from regenplant.web.areas.deviations.forms import (
    AssignForm,
    DecisionForm,
    DescribeForm,
    FilterForm,
    FollowForm,
)
from tests import factories
from tests.factories import PASSWORD
from tests.web.pages import text_of
from tests.web.test_batches import refused

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.plant_today()


@pytest.fixture
def deviation(plant) -> Deviation:
    step = factories.run_to(plant, factories.frozen_batch(plant, "sac_h"), StepKind.BACKWASH)
    return batch_services.open_deviation(
        by=plant.by(), batch_id=step.batch_id, what="a hose dripped on the floor", severity="major"
    ).result


def page(deviation: Deviation, what: str = "detail") -> str:
    return reverse(f"deviations-{what}", args=[deviation.number])


def decision(deviation: Deviation, who: Any, **more: Any) -> dict[str, Any]:
    return {
        "version": deviation.version, "kind": "accept", "decision": "no acid was lost, accepted as it is",
        "cause_category": "equipment", "cause": "the hose was worn at its end", "username": who.username,
        "password": PASSWORD, **more,
    }  # fmt: skip


@pytest.mark.requirement("ER-17")
def test_a_supervisor_decides_with_a_signature(plant, client_of, deviation):
    client = client_of(plant.people["supervisor"])
    data = decision(deviation, plant.people["supervisor"])
    assert client.post(page(deviation), data).status_code == 302
    deviation.refresh_from_db()
    assert (deviation.decision_kind, deviation.cause_category) == ("accept", "equipment")
    assert deviation.signature is not None
    text = text_of(client.get(page(deviation)))
    assert "meaning: deviation decided" in text and "equipment: the hose was worn at its end" in text
    assert "A decision is never undone" in text
    refused(client.post(page(deviation), data), "is already decided")


def test_what_is_missing_is_said_and_nothing_typed_is_lost(plant, client_of, deviation):
    client, who = client_of(plant.people["supervisor"]), plant.people["supervisor"]
    for change, sentence in (
        ({"kind": ""}, "Choose one."), ({"decision": "fine"}, "at least 10 characters what was decided"),
        ({"cause_category": ""}, "Nothing is decided without its cause"), ({"cause": ""}, "at least 10 characters what caused it"),
        ({"password": "wrong"}, "do not fit"), ({"password": ""}, "Nothing is signed without your password."),
    ):  # fmt: skip
        response = client.post(page(deviation), decision(deviation, who, **change))
        refused(response, sentence)
        if "decision" not in change:
            assert response.context["form"]["decision"].value() == "no acid was lost, accepted as it is"
    deviation.refresh_from_db()
    assert deviation.is_open


@pytest.mark.requirement("ER-15")
def test_who_opened_or_worked_it_reads_why_and_who_may(plant, client_of, deviation):
    operator, supervisor = plant.people["operator"], plant.people["supervisor"]
    text = text_of(client_of(operator).get(page(deviation)))
    assert f"You opened {deviation.number}, so another person decides it." in text
    assert "Free to decide: Supervisor 1 and Supervisor 2." in text
    assert client_of(operator).post(page(deviation), decision(deviation, operator)).status_code == 403
    own = batch_services.open_deviation(
        by=plant.by("supervisor"),
        batch_id=deviation.batch_id,
        what="a label came off the drum",
        severity="minor",
    ).result
    refused(client_of(supervisor).post(page(own), decision(own, supervisor)), "another person must decide it")
    assert Deviation.objects.filter(decided_at__isnull=True).count() == 2


def test_owner_day_measure_and_cause_are_written(plant, client_of, deviation):
    client = client_of(plant.people["supervisor"])
    data = {"version": 1, "owner": plant.people["qc"].pk, "due_on": f"{plant.now.date().replace(year=2100)}"}
    assert client.post(page(deviation, "assign"), data).status_code == 302
    data = {
        "version": 2,
        "measure": "hose changed",
        "cause_category": "equipment",
        "cause": "worn at its end",
    }
    assert client_of(plant.people["operator"]).post(page(deviation, "describe"), data).status_code == 302
    text = text_of(client.get(page(deviation)))
    assert "QC technician 1" in text and "2100-" in text and "hose changed" in text
    assert "done at once: hose changed; cause: equipment: worn at its end" in text
    assert client_of(plant.people["operator"]).post(page(deviation, "assign"), data).status_code == 403


@pytest.mark.requirement("ER-22")
def test_the_second_writer_sees_what_the_first_wrote_and_may_write_on_top(plant, client_of, deviation):
    first, second = client_of(plant.people["operator"]), client_of(plant.people["qc"])
    seen = second.get(page(deviation, "describe")).context["form"]["version"].value()
    first.post(
        page(deviation, "describe"),
        {"version": 1, "measure": "hose changed", "cause_category": "", "cause": ""},
    )
    mine = {"version": seen, "measure": "bucket put under it", "cause_category": "", "cause": ""}
    response = second.post(page(deviation, "describe"), mine)
    text = refused(response, "it is at version 2, you had version 1", 409)
    assert (
        "Changed since you opened it" in text
        and "done at once: hose changed" in text
        and "Operator 1" in text
    )
    assert "You typed" in text and "Write on top of the present state" in text
    form = response.context["form"]
    assert form["measure"].value() == "bucket put under it"
    deviation.refresh_from_db()
    assert deviation.measure == "hose changed"
    again = {name: form[name].value() for name in ("version", "measure", "cause_category", "cause")}
    assert second.post(page(deviation, "describe"), again).status_code == 302
    deviation.refresh_from_db()
    assert (deviation.measure, deviation.version) == ("bucket put under it", 3)


def test_a_decided_one_is_followed_by_a_new_one(plant, client_of, deviation):
    client, what = client_of(plant.people["qc"]), {"what": "the new hose drips as well", "severity": "minor"}
    refused(client.post(page(deviation, "follow"), what), "is open still")
    factories.decided(plant, deviation)
    assert client.post(page(deviation, "follow"), what).status_code == 302
    again = Deviation.objects.get(follows=deviation)
    assert again.is_open and deviation.number in text_of(client.get(page(again)))
    refused(client.post(page(deviation, "describe"), {"version": 2, "measure": "x"}), "already decided")


def test_the_list_begins_with_what_is_open_and_is_narrowed(plant, client_of, deviation):
    client = client_of(plant.people["supervisor"])
    minor = batch_services.open_deviation(
        by=plant.by(), batch_id=deviation.batch_id, what="a label came off the drum", severity="minor"
    ).result
    factories.decided(plant, minor, who="supervisor 2")
    here = reverse("deviations")  # what is not understood narrows nothing
    opened = client.get(here)
    assert "One deviation is open." in text_of(opened)
    assert deviation.number in text_of(opened) and minor.number not in text_of(opened)
    for query, shown in (
        ("?state=decided", {minor.number}), ("?state=", {deviation.number, minor.number}), ("?severity=minor", {minor.number}),
        ("?find=hose", {deviation.number}), ("?owner=nobody&state=open", {deviation.number}), ("?owner=mine", set()),
        ("?owner=99999x&severity=%00&state=odd", {deviation.number, minor.number}), ("?state=overdue", set()), ("?state=old", set()),
    ):  # fmt: skip
        table = text_of(client.get(here + query))
        assert {number for number in (deviation.number, minor.number) if number in table} == shown, query


def test_unknown_numbers_are_no_page_and_the_old_address_leads_here(plant, client_of, deviation):
    client = client_of(plant.people["supervisor"])
    for number in ("D-99999", "x", "%00"):
        assert client.get(f"/deviations/{number}/").status_code == 404
    assert client.get(f"/review/deviations/{deviation.number}/").url == page(deviation)


def test_forms_say_what_is_missing(plant):
    factories.person(Role.OPERATOR)
    for form, missing in (
        (AssignForm({}), {"version", "owner"}), (DescribeForm({}), {"version"}), (FollowForm({}), {"what", "severity"}),
        (DecisionForm({}), {"version", "kind", "decision", "password", "__all__"}), (FilterForm({}), set()),
    ):  # fmt: skip
        assert set(form.errors) == missing
