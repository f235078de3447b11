"""The other ways through HTTP: rinse on, propose a rework, go down, keep and discard a sample; each refusal on the page."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from regenplant.batches.models import Batch
from regenplant.people.models import Signature
from regenplant.quality import services
from regenplant.quality.models import (
    Downgrade,
    QcDecision,
    RetainedSample,
    ReworkProposal,
    RinseContinuation,
    SampleDiscard,
)
from regenplant.quality.signed_content import FAIL_MEANING
from tests import factories
from tests.core.process.test_rework_recipes import dosed
from tests.factories import PASSWORD, SmallPlant
from tests.quality import test_ways as acts
from tests.web.pages import has_signed

pytestmark = pytest.mark.django_db


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=factories.hours_ago(9))


@pytest.fixture
def as_who(plant: SmallPlant, client_of):  # type: ignore[no-untyped-def]
    return lambda who: has_signed(client_of(plant.people[who]), plant.people[who])


@pytest.fixture
def leaking(plant: SmallPlant) -> Batch:
    """Its hardness is three times its limit."""
    batch = acts.handed_over(plant)
    factories.measured_sample(plant, batch, outside="hardness")
    batch.refresh_from_db()
    return batch


def page(client: Client, name: str, *args: Any) -> Any:
    return client.get(reverse(name, args=args))


def post(client: Client, name: str, number: str, **data: Any) -> Any:
    """Sent with the version that the page shows."""
    form = client.get(reverse(name, args=[number])).context["form"]
    version = form["version"].value() if form["version"].value() is not None else ""
    return client.post(reverse(name, args=[number]), {"version": version, **data})


# --- the page -------------------------------------------------------------------------------------------------------
def test_the_decision_page_shows_what_it_rests_on_and_the_ways(as_who, leaking: Batch) -> None:
    shown = page(as_who("qc"), "qc-decision", leaking.number).content.decode()
    for words in (
        "Instruments",
        "in calibration",
        "Rinse on",
        "Lower product",
        "Inject half the dose again",
        "Test first",
    ):
        assert words in shown, words
    assert "Separate and regenerate again" not in shown and "By the plan about" in shown


def test_an_overdue_instrument_is_said_on_the_decision_page(
    as_who, plant: SmallPlant, leaking: Batch
) -> None:
    cell = plant.instruments["CELL"]
    type(cell).objects.filter(pk=cell.pk).update(calibration_due_on=(plant.now - timedelta(days=1)).date())
    shown = page(as_who("qc"), "qc-decision", leaking.number)
    row = next(row for row in shown.context["instruments"] if row.code == "CELL")
    assert row.is_then_valid and not row.is_now_valid and "was due" in row.now


def test_forecasts_are_told_with_where_the_end_point_came() -> None:
    from regenplant.web.presenters.qc_ways import came_out_words

    assert came_out_words(5.68, "metric").replace("\u00a0", " ") == "It came after 5.68 BV."
    assert came_out_words(None, "metric") == "It was not met."


# --- the rinse goes on ------------------------------------------------------------------------------------------------
def test_qc_hands_a_batch_back_to_its_rinse(as_who, leaking: Batch) -> None:
    answer = post(as_who("qc"), "qc-continue", leaking.number, reason=acts.REASON, allowance="200 L")
    assert answer.status_code == 302 and RinseContinuation.objects.get().allowance_bv == pytest.approx(
        0.2 / leaking.resin_volume_m3
    )
    leaking.refresh_from_db()
    assert leaking.state == "rinsing"
    board = page(as_who("operator"), "batches-detail", leaking.number).content.decode()
    assert "continued" in board


@pytest.mark.parametrize(
    ("data", "words"),
    [
        ({"reason": "short"}, "at least 10 characters"),
        ({"reason": acts.REASON, "allowance": "20 m3"}, "more than is left"),
        ({"reason": acts.REASON, "allowance": "a lot"}, "a lot"),
    ],
)
def test_what_is_wrong_is_said_beside_the_field(
    as_who, leaking: Batch, data: dict[str, str], words: str
) -> None:
    answer = post(as_who("qc"), "qc-continue", leaking.number, **data)
    assert answer.status_code == 422 and words in answer.content.decode()
    assert not RinseContinuation.objects.exists()


def test_an_operator_does_not_rinse_on_or_go_down(as_who, leaking: Batch) -> None:
    for name in ("qc-continue", "qc-downgrade"):
        answer = as_who("operator").post(reverse(name, args=[leaking.number]), {"reason": acts.REASON})
        assert answer.status_code == 403
    assert not RinseContinuation.objects.exists() and not Downgrade.objects.exists()


def test_a_page_that_is_old_does_not_rinse_on(as_who, plant: SmallPlant, leaking: Batch) -> None:
    client = as_who("qc")
    version = client.get(reverse("qc-continue", args=[leaking.number])).context["form"]["version"].value()
    factories.measured_sample(plant, leaking)
    answer = client.post(
        reverse("qc-continue", args=[leaking.number]), {"version": version, "reason": acts.REASON}
    )
    assert answer.status_code == 409 and not RinseContinuation.objects.exists()


# --- rework is proposed -----------------------------------------------------------------------------------------------
def test_a_fail_is_signed_with_the_rework_that_is_proposed(as_who, leaking: Batch) -> None:
    client = as_who("qc")
    client.get(reverse("qc-decision", args=[leaking.number]))
    answer = client.post(
        reverse("qc-decision", args=[leaking.number]),
        {
            "verdict": "fail", "version": str(leaking.version), "reason": "hardness leaks three times over",
            "proposal": "inject_half", "password": PASSWORD,
        },
    )  # fmt: skip
    assert answer.status_code == 302, answer.content.decode()[:2000]
    assert ReworkProposal.objects.get().kind == "inject_half"
    shown = page(client, "qc-decision", leaking.number).content.decode()
    assert "Rework that QC proposes" in shown
    planned = page(as_who("supervisor"), "batches-rework", leaking.number).content.decode()
    assert "QC proposes: Inject half the dose again. First: Check the strength" in planned
    assert "No recipe in use does that" in planned


def test_the_recipe_that_does_what_qc_proposes_stands_first_with_the_reason(
    as_who, plant: SmallPlant, leaking: Batch
) -> None:
    half = dosed(replace(factories.usual_recipe("sac_h"), code="Z-HALF", name="Half a dose"), 0.5)
    version = factories.approved_recipe(plant, half)
    services.decide_batch(
        by=plant.by("qc"), batch_id=leaking.pk, verdict="fail", reason="hardness leaks three times over",
        proposal="inject_half", permit=factories.permit(plant, "qc", FAIL_MEANING),
    )  # fmt: skip
    shown = page(as_who("supervisor"), "batches-rework", leaking.number)
    form = shown.context["form"]
    first, second = form.fields["recipe"].choices[1:3]
    assert first[0] == str(version.pk) and "as QC proposes: it feeds 50 % of the dose of before" in first[1]
    assert "as QC proposes" not in second[1] and form["recipe"].value() in (None, "")
    assert "No recipe in use does that" not in shown.content.decode()


def test_a_rework_that_does_not_fit_is_no_choice(as_who, leaking: Batch) -> None:
    answer = as_who("qc").post(
        reverse("qc-decision", args=[leaking.number]),
        {
            "verdict": "fail", "version": str(leaking.version), "reason": "hardness leaks three times over",
            "proposal": "separate", "password": PASSWORD,
        },
    )  # fmt: skip
    assert answer.status_code == 422 and not QcDecision.objects.exists()


# --- down to a lower product ------------------------------------------------------------------------------------------
@pytest.fixture
def low(plant: SmallPlant) -> tuple[Batch, Any]:
    """Inside its own limit no longer, inside a lower product's."""
    present = factories.usual_specification("sac_h")
    limit = present.limit("conductivity")
    assert limit is not None and limit.high is not None
    version = acts.lower(plant, present, "LOW", 4.0)
    batch = acts.handed_over(plant, microsiemens=limit.high * 1e4 * 2.0)
    factories.measured_sample(plant, batch)
    batch.refresh_from_db()
    return batch, version


def going_down(plant: SmallPlant, version: Any, **more: Any) -> dict[str, Any]:
    assert plant.customer is not None
    key = plant.customer.pk
    return {
        "target_version": f"{version.pk}:D", "reason": "It stands on a plateau above its limit.",
        f"order_{key}": "PO-7", f"accepted_by_{key}": "R. Moonwright", f"accepted_on_{key}": f"{timezone.localdate()}",
        "password": PASSWORD, "second_username": plant.people["supervisor 2"].username, "second_password": PASSWORD, **more,
    }  # fmt: skip


def test_two_people_sign_a_downgrade_on_one_page(as_who, plant: SmallPlant, low: tuple[Batch, Any]) -> None:
    batch, version = low
    client = as_who("qc")
    assert "The measured values meet LOW" in page(client, "qc-decision", batch.number).content.decode()
    answer = post(client, "qc-downgrade", batch.number, **going_down(plant, version))
    assert answer.status_code == 302, answer.content.decode()
    batch.refresh_from_db()
    assert batch.state == "passed" and Downgrade.objects.get().orders.get().order_number == "PO-7"
    shown = page(client, "qc-decision", batch.number).content.decode()
    assert "the lower product it went down to" in shown and "accepted by R. Moonwright" in shown
    curve = shown.replace("\u00a0", " ").replace("\u202f", " ")
    assert "limit ≤ 200 µS/cm" in curve and "limit ≤ 50 µS/cm" not in curve


def test_a_downgrade_page_refuses(as_who, plant: SmallPlant, low: tuple[Batch, Any]) -> None:
    batch, version = low
    assert plant.customer is not None
    key, client = plant.customer.pk, as_who("qc")
    for change, words in (
        (
            {f"order_{key}": "", f"accepted_by_{key}": "", f"accepted_on_{key}": ""},
            "order accepts the lower product",
        ),
        ({f"accepted_by_{key}": ""}, "An order is written whole"),
        ({"second_username": plant.people["qc 2"].username}, "may"),
        ({"second_username": plant.people["qc"].username}, "other"),
        ({"second_password": "wrong password"}, "signed"),
        ({"target_version": f"{plant.specification['sba_1'].pk}:D"}, "no choice here"),
        ({"target_version": f"{version.pk}:B"}, "no choice here"),
    ):
        answer = post(client, "qc-downgrade", batch.number, **going_down(plant, version, **change))
        assert answer.status_code in (403, 422) and words in answer.content.decode(), (
            change,
            answer.status_code,
        )
    assert not Downgrade.objects.exists() and not Signature.objects.filter(record_kind="downgrade").exists()


# --- retained samples -------------------------------------------------------------------------------------------------
def test_a_sample_is_written_down_found_by_its_code_and_discarded(
    as_who, plant: SmallPlant, leaking: Batch
) -> None:
    operator, qc = as_who("operator"), as_who("qc")
    answer = post(operator, "qc-sample", leaking.number, volume="0.5 L", place="shelf 3")
    sample = RetainedSample.objects.get()
    assert answer.status_code == 302 and answer["Location"] == reverse("samples-one", args=[sample.number])
    assert operator.get(reverse("scan"), {"code": sample.number.lower()})["Location"] == answer["Location"]
    assert "shelf 3" in page(operator, "samples-one", sample.number).content.decode()
    assert sample.number in page(operator, "samples").content.decode()
    assert operator.post(reverse("samples-discard", args=[sample.number]), {"why": "used"}).status_code == 403
    early = post(qc, "samples-discard", sample.number, why="due", reason="Nobody needs it any more.")
    assert early.status_code == (302 if sample.keep_until < timezone.localdate() else 422)
    gone = post(qc, "samples-discard", sample.number, why="used", reason="All of it went into a silica test.")
    assert gone.status_code == 302 and SampleDiscard.objects.get().why == "used"
    listed = page(qc, "samples").content.decode()
    assert listed.count('<th scope="col">Gone</th>') == 1 and "used" in listed.split(">Gone</th>")[1]
    assert page(qc, "samples-one", "RS-9").status_code == 404


def test_a_sample_that_cannot_be_is_refused_on_the_page(as_who, leaking: Batch) -> None:
    for data, words in (
        ({"volume": "500 L", "place": "shelf 3"}, "is no sample"),
        ({"volume": "", "place": "shelf 3"}, "needed"),
        ({"volume": "0.5 L", "place": ""}, "needed"),
    ):
        answer = post(as_who("operator"), "qc-sample", leaking.number, **data)
        assert answer.status_code == 422 and words in answer.content.decode()
    assert not RetainedSample.objects.exists()


def test_the_label_of_a_sample_is_a_paper_of_its_own(as_who, plant: SmallPlant, leaking: Batch) -> None:
    services.keep_sample(by=plant.by("operator 2"), batch_id=leaking.pk, volume_text="0.5 L", place="shelf 3")
    answer = as_who("qc").get(reverse("paper-sample-label", args=["RS-1001"]))
    assert answer.status_code == 200 and answer.content[:5] == b"%PDF-"


def test_the_release_page_says_that_the_sample_is_missing(as_who, plant: SmallPlant) -> None:
    acts.class_c_vessel(plant)
    batch = acts.handed_over(plant, letter="C")
    factories.measured_sample(plant, batch)
    services.decide_batch(
        by=plant.by("qc"),
        batch_id=batch.pk,
        verdict="pass",
        permit=factories.permit(plant, "qc", factories.PASS_MEANING),
    )
    shown = page(as_who("qc 2"), "qc-release", batch.number).content.decode()
    assert "No retained sample is written down" in shown
    assert "No retained sample is written down" in page(as_who("qc"), "samples").content.decode()
