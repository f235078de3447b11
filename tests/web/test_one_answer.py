"""What is wrong with a signature's form is named in one answer, each beside its field, and no password is tried for it."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.test import Client, RequestFactory
from django.urls import reverse

from regenplant.audit.models import AuditEvent
from regenplant.batches import services as batch_services
from regenplant.batches.failures import ReworkNeeds
from regenplant.batches.models import Batch, Deviation
from regenplant.core.process.vocabulary import StepKind
from regenplant.people.signing import FULL_CREDENTIALS
from regenplant.quality import services as quality_services
from regenplant.quality.models import QcDecision
from regenplant.quality.signed_content import FAIL_MEANING
from regenplant.web.areas.batches.forms import ReworkTogetherForm
from regenplant.web.areas.handover.forms import TakeForm
from regenplant.web.signing import SigningForm, is_whole, sign
from tests import factories
from tests.web.pages import errors_of, has_signed

pytestmark = pytest.mark.django_db

NO_PASSWORD = "Nothing is signed without your password."
SHORT = "The reason is too short. Say in at least 10 characters why it failed."


@pytest.fixture
def plant(db: None) -> factories.SmallPlant:
    return factories.plant_today()


@pytest.fixture
def sampled(plant: factories.SmallPlant) -> Batch:
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.SAMPLE, finish=True)
    batch.refresh_from_db()
    return batch


def refused(answer: Any, **errors: str) -> Any:
    """The form of an answer that names exactly these, and nothing above it."""
    assert answer.status_code == 422
    assert errors_of(answer) == {name: [sentence] for name, sentence in errors.items()}
    page = answer.content.decode()
    for name in errors:
        assert f'id="id_{name}_error"' in page or f'id="id_{name}-error"' in page, (
            f"{name} says nothing beside it"
        )
    return answer.context["form"]


def test_a_verdict_with_everything_wrong_is_answered_once(plant, client_of, sampled) -> None:
    client, url = client_of(plant.people["qc"]), reverse("qc-decision", args=[sampled.number])
    data = {"verdict": "fail", "reason": " no good  ", "version": sampled.version}
    before = AuditEvent.objects.count()
    form = refused(client.post(url, data), reason=SHORT, username=FULL_CREDENTIALS, password=NO_PASSWORD)
    assert form["reason"].value().strip() == "no good"
    again = client.post(url, data | {"username": plant.people["qc"].username, "password": "wrong"})
    form = refused(again, reason=SHORT)
    assert form["username"].value() == plant.people["qc"].username
    assert b"wrong" not in again.content.split(b'name="password"')[1].split(b">")[0]
    assert AuditEvent.objects.count() == before, "no password was tried, so no failure is counted"
    assert not QcDecision.objects.exists()


def test_after_a_signature_the_user_name_is_not_asked_for(plant, client_of, sampled) -> None:
    client = has_signed(client_of(plant.people["qc"]), plant.people["qc"])
    url = reverse("qc-decision", args=[sampled.number])
    data = {"verdict": "fail", "reason": "short", "version": sampled.version}
    refused(client.post(url, data), reason=SHORT, password=NO_PASSWORD)


def test_a_signed_record_is_opened_again_with_kind_reason_name_and_password(
    plant, client_of, sampled
) -> None:
    client = client_of(plant.people["supervisor"])
    data = {"category": "", "reason": "ph", "version": sampled.version}
    answer = client.post(reverse("review-reopen", args=[sampled.number]), data)
    assert set(errors_of(answer)) == {"category", "reason", "username", "password"}
    assert "what is wrong in the signed record" in errors_of(answer)["reason"][0]


def test_a_review_is_told_of_both_credentials(plant, client_of, sampled) -> None:
    url = reverse("review-batch", args=[sampled.number])
    answer = client_of(plant.people["supervisor"]).post(
        url, {"remarks": "looked", "version": sampled.version}
    )
    assert errors_of(answer) == {"username": [FULL_CREDENTIALS], "password": [NO_PASSWORD]}


@pytest.mark.parametrize(("severity", "is_asked"), [("minor", False), ("major", True)])
def test_a_decision_on_a_deviation_is_judged_whole(plant, client_of, severity: str, is_asked: bool) -> None:
    step = factories.run_to(plant, factories.frozen_batch(plant, "sac_h"), StepKind.BACKWASH)
    found: Deviation = batch_services.open_deviation(
        by=plant.by(), batch_id=step.batch_id, what="a hose dripped on the floor", severity=severity
    ).result
    data = {"version": found.version, "decision": "fine", "cause_category": "", "cause": ""}
    answer = client_of(plant.people["supervisor"]).post(
        reverse("deviations-detail", args=[found.number]), data
    )
    errors = errors_of(answer)
    assert set(errors) - {"cause"} == {"kind", "decision", "cause_category", "username", "password"}
    assert ("cause" in errors) is is_asked
    assert answer.context["form"]["decision"].value() == "fine"


def test_a_cause_that_stands_already_is_enough(plant, client_of) -> None:
    step = factories.run_to(plant, factories.frozen_batch(plant, "sac_h"), StepKind.BACKWASH)
    found: Deviation = batch_services.open_deviation(
        by=plant.by(), batch_id=step.batch_id, what="a hose dripped on the floor", severity="major"
    ).result
    batch_services.describe_deviation(
        by=plant.by(), deviation_id=found.pk, cause_category="equipment", cause="the hose was worn at its end"
    )
    found.refresh_from_db()
    data = {"version": found.version, "decision": "fine", "cause_category": "", "cause": ""}
    answer = client_of(plant.people["supervisor"]).post(
        reverse("deviations-detail", args=[found.number]), data
    )
    assert set(errors_of(answer)) == {"kind", "decision", "username", "password"}


def test_a_handover_asks_for_a_look_and_the_credentials_at_once(rf: RequestFactory, plant) -> None:
    request = request_of(rf, plant)
    asked = TakeForm(request.POST, look_first="2 of the lines name chemical in a bed. Look first.")
    assert not is_whole(asked, request)
    assert set(asked.errors) == {"has_seen", "username", "password", "version"} | {"__all__"}
    assert asked.errors["has_seen"] == ["2 of the lines name chemical in a bed. Look first."]
    assert "has_seen" not in TakeForm(request.POST).fields, "without a hazard nothing is asked"


def test_a_third_rework_names_every_field_at_once(rf: RequestFactory, plant) -> None:
    request = request_of(rf, plant, recipe="7", cause="bad", version="1")
    form = ReworkTogetherForm(
        request.POST, needs=ReworkNeeds(3), recipes=[("7", "as before"), ("8", "another")], recipe_before=7
    )
    assert not is_whole(form, request)
    assert set(form.errors) == {
        "cause", "cause_category", "same_recipe_reason", "username", "password", "second_username", "second_password",
    }  # fmt: skip
    assert form.errors["same_recipe_reason"] == [ReworkNeeds(3).same_recipe]
    other = ReworkTogetherForm(
        request_of(rf, plant, recipe="8").POST,
        needs=ReworkNeeds(3),
        recipes=[("8", "another")],
        recipe_before=7,
    )
    assert "same_recipe_reason" not in other.errors


def test_a_form_that_was_not_judged_whole_is_never_signed(rf: RequestFactory, plant) -> None:
    request = request_of(rf, plant, username="a", password="b", version="1")
    form = SigningForm(request.POST)
    assert form.is_valid()
    with pytest.raises(RuntimeError, match="only after is_whole"):
        sign(
            form, request, batch_services.close_deviation, meaning="deviation decided", about=("a", "b", "c")
        )


def test_a_page_that_is_only_looked_at_names_nothing(client_of, plant, sampled) -> None:
    answer = client_of(plant.people["qc"]).get(
        reverse("qc-decision", args=[sampled.number]), {"verdict": "fail"}
    )
    assert answer.status_code == 200
    assert errors_of(answer) == {}


def request_of(rf: RequestFactory, plant: factories.SmallPlant, **data: str) -> Any:
    """What was sent in a session that has signed nothing yet."""
    request = rf.post("/", data)
    request.user = plant.people["operator"]
    request.session = Client().session
    return request


# --- the pages --------------------------------------------------------------------------------------------------------
@pytest.fixture
def thrice(plant: factories.SmallPlant) -> Batch:
    """A resin that failed three times."""
    batch = factories.frozen_batch(plant, "sac_na")
    for number in (1, 2, 3):
        factories.run_to(plant, batch, StepKind.SAMPLE, finish=True)
        quality_services.decide_batch(
            by=plant.by("qc"),
            batch_id=batch.pk,
            verdict="fail",
            reason="hardness leaks far above its limit",
            permit=factories.permit(plant, "qc", FAIL_MEANING),
        )
        batch.refresh_from_db()
        if number < 3:
            batch = batch_services.plan_rework(
                by=plant.by("supervisor"),
                batch_id=batch.pk,
                recipe_version_id=batch.recipe_version_id,
                cause="too little brine was drawn",
                cause_category="equipment",
                same_recipe_reason="the pump is repaired, the recipe is right",
            ).result
    return batch


def test_the_third_rework_shows_work_then_you_then_the_second_person(plant, client_of, thrice) -> None:
    client, url = client_of(plant.people["supervisor"]), reverse("batches-rework", args=[thrice.number])
    page = client.get(url).content.decode()
    order = [
        page.index(f'name="{name}"')
        for name in ("cause", "recipe", "username", "password", "second_username")
    ]
    assert order == sorted(order)
    assert page.index("You sign") < page.index('name="username"') < page.index("The second person signs here")
    answer = client.post(url, {"version": thrice.version, "cause": "bad", "recipe": thrice.recipe_version_id})
    assert set(errors_of(answer)) == {
        "cause", "cause_category", "same_recipe_reason", "username", "password", "second_username", "second_password",
    }  # fmt: skip
    signed = has_signed(client_of(plant.people["supervisor"]), plant.people["supervisor"])
    assert 'name="username"' not in signed.get(url).content.decode(), "asked for only where it is needed"


def test_where_people_sign_the_browser_stops_at_no_field_and_no_enter_signs(
    plant, client_of, sampled, thrice
) -> None:
    """A browser that checks by itself names one field after the other, in words of its own."""
    supervisor = client_of(plant.people["supervisor"])
    pages = [
        client_of(plant.people["qc"]).get(reverse("qc-decision", args=[sampled.number]), {"verdict": "fail"}),
        client_of(plant.people["supervisor 2"]).get(reverse("review-batch", args=[thrice.number])),
        supervisor.get(reverse("batches-rework", args=[thrice.number])),
        supervisor.get(reverse("handover")),
    ]
    for page in pages:
        assert page.status_code == 200
        (form,) = re.findall(r"<form[^>]*data-signing[^>]*>(.{0,60})", page.content.decode(), re.S)
        (tag,) = re.findall(r"<form[^>]*data-signing[^>]*>", page.content.decode())
        assert " novalidate" in tag
        assert form.lstrip().startswith('<button type="submit" disabled hidden>'), form
