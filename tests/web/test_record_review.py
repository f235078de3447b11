"""The review of a record, opening a signed one, its versions side by side, and signing anew, through HTTP."""

from __future__ import annotations

import re
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse

from regenplant.batches import services as batch_services
from regenplant.batches.models import Batch
from regenplant.core.process.review_rules import Unusual
from regenplant.core.process.vocabulary import StepKind
from regenplant.people.models import Signature
from regenplant.quality.exceptions import exceptions_of
from regenplant.quality.models import QcDecision, QcMeasurement, RecordReopening, RecordReview, Release
from tests import factories, families
from tests.factories import SmallPlant
from tests.web.pages import has_signed
from tests.web.pages import markup_of as text_of

pytestmark = pytest.mark.django_db
WHY = "The kit was read in grains and written as mg/L."


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=factories.hours_ago(9))


@pytest.fixture
def filled(plant: SmallPlant) -> Batch:
    batch = factories.filled_batch(plant, "sac_h")
    batch.refresh_from_db()
    return batch


@pytest.fixture
def released(plant: SmallPlant) -> Batch:
    batch = factories.frozen_batch(plant, "sac_h")
    families.to_release(plant, batch)
    batch.refresh_from_db()
    return batch


@pytest.fixture
def as_who(plant: SmallPlant, client_of):  # type: ignore[no-untyped-def]
    """A browser in which this person is signed in and has signed before."""
    return lambda who: has_signed(client_of(plant.people[who]), plant.people[who])


def url(batch: Batch, name: str = "review-batch") -> str:
    return reverse(name, args=[batch.number])


def signing(batch: Batch, **more: str) -> dict[str, Any]:
    batch.refresh_from_db()
    return {"version": batch.version, "password": factories.PASSWORD, **more}


# --- the review ---------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-17")
def test_a_supervisor_reviews_by_exception_and_signs(as_who, plant: SmallPlant, filled: Batch) -> None:
    client = as_who("supervisor")
    board = text_of(client.get(reverse("review")))
    assert "One record waits for review" in board and url(filled) in board
    page = text_of(client.get(url(filled)))
    assert page.index("look here first") < page.index("Whole record") < page.index("Reviewed, sign")
    assert "No deviation, value outside its limits" in page and "You took no part in this batch." in page
    page = text_of(
        client.post(url(filled), signing(filled, remarks="Looked at the rinse curve."), follow=True)
    )
    review = RecordReview.objects.get()
    assert (review.remarks, review.reviewed_by) == ("Looked at the rinse curve.", plant.people["supervisor"])
    assert "Reviewed as it stands." in page and "Looked at the rinse curve." in page
    assert "One batch waits for release" in text_of(client.get(reverse("review")))


def test_the_whole_record_opens_in_order(as_who, plant: SmallPlant, filled: Batch) -> None:
    client = as_who("supervisor")
    page = text_of(client.get(url(filled)))
    assert page.count("<details") > filled.steps.count() and " open>" not in page
    page = text_of(client.get(f"{url(filled)}?open=all"))
    steps = [f'id="step-{step.number}"' for step in filled.steps.order_by("number")]
    places = [page.index(step) for step in steps]
    assert places == sorted(places) and page.count(" open>") > len(steps)


@pytest.mark.requirement("ER-15")
def test_who_took_part_or_lacks_the_right_is_told_and_refused(
    as_who, plant: SmallPlant, filled: Batch
) -> None:
    for who in ("qc", "operator", "planner"):
        client = as_who(who)
        page = text_of(client.get(url(filled)))
        assert 'type="password"' not in page and "May review: Supervisor 1 or Supervisor 2." in page, who
        assert client.post(url(filled), signing(filled)).status_code == 403, who
    assert not RecordReview.objects.exists()


@pytest.mark.requirement("ER-22")
def test_a_page_older_than_the_record_and_a_wrong_password_sign_nothing(
    as_who, plant: SmallPlant, filled: Batch
) -> None:
    client, old = as_who("supervisor"), signing(filled, remarks="Seen it all.")
    page = text_of(client.post(url(filled), signing(filled, password="not the password")), 422)
    assert "nothing was signed" in page and "not the password" not in page
    batch_services.open_deviation(
        by=plant.by(), batch_id=filled.pk, what="a label was torn off", severity="minor"
    )
    page = text_of(client.post(url(filled), old), 409)
    assert "moved on since this page was shown" in page and "open. Decide first, then review." in page
    page = text_of(client.post(url(filled), signing(filled)), 422)
    assert "open. Decide first, then review." in page
    assert not RecordReview.objects.exists()


@pytest.mark.requirement("ER-17")
def test_the_release_page_says_that_nobody_reviewed_it(as_who, filled: Batch) -> None:
    client = as_who("qc 2")
    page = text_of(client.get(url(filled, "qc-release")))
    assert (
        "Nobody who took no part has reviewed the record yet." in page
        and "Sign and release</button>" not in page
    )
    assert client.post(url(filled, "qc-release"), signing(filled)).status_code == 422
    assert not Release.objects.exists()


# --- opened, corrected, signed anew -------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-01")
def test_a_signed_record_is_opened_corrected_signed_anew_reviewed_and_released_anew(
    as_who, plant: SmallPlant, released: Batch
) -> None:
    supervisor, qc = as_who("supervisor"), as_who("qc")
    row = QcMeasurement.objects.get(batch=released)
    correct = reverse("qc-correct", args=[released.number, row.pk])
    typed = {"value": "0.31 mg/L", "instrument": row.instrument_id, "category": "unit", "reason": WHY}
    assert "its QC results are closed" in text_of(qc.post(correct, typed), 422)
    page = text_of(
        supervisor.post(
            url(released, "review-reopen"), signing(released, category="unit", reason=WHY), follow=True
        )
    )
    assert "is open for correction" in page and RecordReopening.objects.get().reason == WHY
    assert "Record open for correction" in text_of(supervisor.get(url(released, "batches-detail")))
    assert "One signed record is amended or open" in text_of(supervisor.get(reverse("review")))
    page = text_of(qc.get(url(released, "qc-decision")))
    assert "Open for correction." in page and WHY in page and "it becomes version 2" in page
    assert qc.post(correct, typed, follow=True).status_code == 200
    page = text_of(qc.post(url(released, "qc-decision"), signing(released, verdict="pass"), follow=True))
    assert "version 2" in page and [row.version for row in QcDecision.objects.order_by("version")] == [1, 2]
    page = text_of(supervisor.get(url(released, "review-versions")))
    assert "Decision, version 2" in page and "Decision, version 1" in page and "Why it was amended." in page
    assert re.search(r"<s>0\.5[^<]*</s></td><td><b>0\.31[^<]*</b>", page), "old and new stand side by side"
    text_of(supervisor.post(url(released), signing(released), follow=True))
    page = text_of(as_who("qc 2").post(url(released, "qc-release"), signing(released), follow=True))
    assert "released anew" in page and [row.version for row in Release.objects.order_by("version")] == [1, 2]
    assert "amended" not in text_of(supervisor.get(reverse("review"))).split("<main")[1].split("Record")[0]


def test_opening_asks_for_reason_right_and_password(as_who, released: Batch) -> None:
    client = as_who("supervisor")
    for data, words in (
        ({"category": "", "reason": WHY}, "Choose what kind of reason it is."),
        ({"category": "unit", "reason": "typo"}, "at least 10 characters"),
        ({"category": "unit", "reason": WHY, "password": "not the password"}, "nothing was signed"),
    ):
        assert words in text_of(client.post(url(released, "review-reopen"), signing(released, **data)), 422)
    for who in ("qc", "operator"):
        answer = as_who(who).post(
            url(released, "review-reopen"), signing(released, category="unit", reason=WHY)
        )
        assert answer.status_code == 403, who
        assert "This takes a supervisor." in text_of(as_who(who).get(url(released, "review-reopen")))
    assert not RecordReopening.objects.exists()


def test_what_nobody_signed_is_not_opened(as_who, plant: SmallPlant) -> None:
    running = factories.frozen_batch(plant, "sac_na")
    client = as_who("supervisor")
    assert "Nobody signed for this batch yet." in text_of(client.get(url(running, "review-reopen")))
    assert (
        client.post(url(running, "review-reopen"), signing(running, category="unit", reason=WHY)).status_code
        == 422
    )
    assert "Nobody has judged this batch yet." in text_of(client.get(url(running, "review-versions")))
    assert "reviewed when its tanks are filled, or it failed" in text_of(client.get(url(running)))


def test_who_worked_on_the_bed_does_not_sign_anew(as_who, plant: SmallPlant, released: Batch) -> None:
    as_who("supervisor").post(url(released, "review-reopen"), signing(released, category="unit", reason=WHY))
    page = text_of(as_who("operator").get(url(released, "qc-decision")))
    assert "so another person must judge it" in page and 'type="password"' not in page
    assert (
        as_who("operator").post(url(released, "qc-decision"), signing(released, verdict="pass")).status_code
        == 403
    )
    assert QcDecision.objects.count() == 1


def test_the_pages_are_for_people_who_are_signed_in(client: Client, released: Batch) -> None:
    before = Signature.objects.count()
    for name in ("review-batch", "review-reopen", "review-versions"):
        assert client.get(url(released, name)).status_code == 302
    for name in ("review-batch", "review-reopen"):
        assert client.post(url(released, name), signing(released)).status_code in (302, 401)
    assert Signature.objects.count() == before
    for name in ("review-batch", "review-reopen", "review-versions"):
        assert client.get(reverse(name, args=["B-1"])).status_code in (302, 404)


# --- two typings that differed ------------------------------------------------------------------------------------------
@pytest.mark.requirement("ER-21")
def test_two_typings_that_differ_write_no_value_and_are_shown_to_the_reviewer(
    as_who, plant: SmallPlant
) -> None:
    step = factories.run_to(plant, factories.frozen_batch(plant, "sac_h"), StepKind.INJECT)
    client, there = as_who("operator"), reverse("batches-entry", args=[step.batch.number, step.number])
    asked = client.post(there, {"key": "strength", "value": "5.1 %", "occurred_at": ""})
    (form,) = [card["entry_form"] for card in asked.context["cards"] if card["returned"]]
    data = {"key": "strength", "value": "5.7 %", "occurred_at": "", "first": form["first"].value()}
    assert client.post(there, data).status_code == 422
    assert not step.entries.filter(key="strength").exists()
    (found,) = exceptions_of(step.batch).of(Unusual.TYPED)
    assert "was typed as 5.10 % and then as 5.70 %" in found.sentence.replace("\u00a0", " ")
    assert "Operator 1" in found.sentence
