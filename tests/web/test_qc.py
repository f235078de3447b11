"""Quality control through HTTP: queue, measuring, the signed decision, the signed release; refusals for each rule."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.contrib.auth.models import Group
from django.db.models import QuerySet
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from regenplant.audit.selectors import acts_since
from regenplant.batches import services as batch_services
from regenplant.batches.models import Batch
from regenplant.core.process.vocabulary import StepKind
from regenplant.people.models import Signature
from regenplant.quality.models import QcDecision, QcMeasurement, Release
from tests import factories
from tests.batches.meter_logs import take
from tests.factories import SmallPlant
from tests.web.pages import has_signed
from tests.web.pages import markup_of as text_of

pytestmark = pytest.mark.django_db
START = timezone.now() - timedelta(hours=9)


def given() -> QuerySet[Signature]:
    """Signatures on batches; those under recipes and specifications were given before."""
    return Signature.objects.exclude(record_kind__endswith="_version")


@pytest.fixture
def plant(db: None) -> SmallPlant:
    return factories.small_plant(now=factories.hours_ago(9))


@pytest.fixture
def sampled(plant: SmallPlant) -> Batch:
    """A hydrogen-form cation that awaits QC: hardness at most 1 mg/L is still to measure."""
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.SAMPLE, finish=True)
    batch.refresh_from_db()
    return batch


@pytest.fixture
def measured(plant: SmallPlant, sampled: Batch) -> Batch:
    factories.measured_sample(plant, sampled)
    sampled.refresh_from_db()
    return sampled


@pytest.fixture
def as_who(plant: SmallPlant, client_of):  # type: ignore[no-untyped-def]
    """A browser in which this person is signed in and has signed before: the password alone is asked for."""
    return lambda who: has_signed(client_of(plant.people[who]), plant.people[who])


def url(batch: Batch, name: str = "qc-decision", *more: object) -> str:
    return reverse(name, args=[batch.number, *more])


def signing(batch: Batch, verdict: str = "pass", **changes: str) -> dict[str, str]:
    return {"verdict": verdict, "version": str(batch.version), "password": factories.PASSWORD, **changes}


def result(plant: SmallPlant, value: str = "0.4 mg/L", *, kit: str = "KIT", **changes: str) -> dict[str, str]:
    data = {
        "value": value,
        "instrument": str(plant.instruments[kit].pk),
        "temperature": "",
        "method": "",
        "occurred_at": "",
    }
    return {f"hardness-{key}": text for key, text in {**data, **changes}.items()}


# --- the queue ----------------------------------------------------------------------------------------------------------
def test_the_queue_shows_what_waits_for_whom(as_who, plant: SmallPlant, sampled: Batch) -> None:
    rinsing = factories.frozen_batch(plant, "sba_1")
    factories.run_to(plant, rinsing, StepKind.FAST_RINSE)
    plant.forward(minutes=4)
    factories.reading(plant, rinsing, "60 µS/cm")
    page = text_of(as_who("qc").get(reverse("qc")))
    assert "One rinses, one awaits QC." in page
    assert f'href="{url(sampled)}"' in page and "Measured on the sample: 0 of 1." in page
    assert f'href="{url(rinsing, "rinse")}"' in page and "at most 10 µS/cm." in page


def test_the_queue_shows_what_a_meter_sent_since_the_last_reading_by_hand(as_who, plant: SmallPlant) -> None:
    batch = factories.frozen_batch(plant, "sba_1")
    factories.run_to(plant, batch, StepKind.FAST_RINSE)
    plant.forward(minutes=4)
    factories.reading(plant, batch, "60 µS/cm")
    log = take(plant, batch, [50.0 - index for index in range(12)], source="mqtt", every_s=5.0)
    at = f"{timezone.localtime(log.last_at):%H:%M}"
    assert f"39.00 µS/cm at {at}" in text_of(as_who("qc").get(reverse("qc")))


def test_an_empty_queue_says_so(as_who) -> None:
    page = text_of(as_who("qc").get(reverse("qc")))
    assert "Nothing rinses, nothing waits for QC." in page
    assert "No batch awaits QC. The next one comes from the rinse." in page


# --- measuring ----------------------------------------------------------------------------------------------------------
def test_a_result_is_written_and_stands_against_its_limit(as_who, plant: SmallPlant, sampled: Batch) -> None:
    there = url(sampled, "qc-measure", "hardness")
    page = text_of(
        as_who("qc").post(there, result(plant, method="titration", temperature="20 C"), follow=True)
    )
    assert "Written: Hardness 0.40 mg/L as CaCO₃" in page
    assert "3 of 3 tests inside." in page and "titration" in page and "0.4 mg/L at 20.0 °C" in page


def test_a_result_is_said_where_the_next_one_is_written(as_who, plant: SmallPlant, sampled: Batch) -> None:
    client, there = as_who("qc"), url(sampled, "qc-measure", "hardness")
    answer = client.post(there, result(plant))
    assert answer["Location"] == f"{url(sampled)}#measure"
    page = text_of(client.get(url(sampled)))
    assert page.index('id="measure"') < page.index("Written: Hardness 0.40 mg/L") < page.index('id="verdict"')
    assert page.count("Written: Hardness") == 1


def test_every_result_has_a_button_that_names_it(as_who, sampled: Batch) -> None:
    assert ">Write it down: hardness</button>" in text_of(as_who("qc").get(url(sampled)))
    assert 'aria-disabled="true">Write it down: hardness</span>' in text_of(
        as_who("operator").get(url(sampled))
    )


def test_an_instrument_in_calibration_is_named_shortly_and_an_overdue_one_says_why(
    as_who, plant: SmallPlant, sampled: Batch
) -> None:
    kit = plant.instruments["KIT"]
    choice = f">{kit.code}, {kit.name}"
    assert f"{choice}</option>" in text_of(as_who("qc").get(url(sampled)))
    due = (plant.now - timedelta(days=2)).date()
    factories.calibrated(plant, kit.pk, due_on=due)
    assert f"{choice}: was due {due}, informs only</option>" in text_of(as_who("qc").get(url(sampled)))


def test_a_result_of_an_overdue_instrument_informs_only(as_who, plant: SmallPlant, sampled: Batch) -> None:
    kit = plant.instruments["KIT"]
    factories.calibrated(plant, kit.pk, due_on=(plant.now - timedelta(days=2)).date())
    page = text_of(as_who("qc").post(url(sampled, "qc-measure", "hardness"), result(plant), follow=True))
    assert "The instrument is out of calibration, so it informs only." in page
    assert "Does not count" in page and "2 of 3 tests inside." in page


def test_what_cannot_be_a_result_is_said_beside_the_field(as_who, plant: SmallPlant, sampled: Batch) -> None:
    client, there = as_who("qc"), url(sampled, "qc-measure", "hardness")
    for changes, message in (
        ({"value": ""}, "Nothing is written here yet, and it is needed."),
        ({"value": "soft"}, "is not a number with a unit"),
        ({"value": "3 us/cm"}, "is not a hardness"),
        ({"value": "-1 mg/L"}, "cannot be a hardness"),
        ({"instrument": ""}, "Nothing is written here yet, and it is needed."),
        ({"instrument": str(plant.instruments["PH"].pk)}, "is no choice here"),
        ({"temperature": "hot"}, "is not a number with a unit"),
        ({"occurred_at": "2199-01-01 00:00"}, "is still to come"),
        ({"method": "x" * 121}, "121 characters are written, at most 120."),
    ):
        page = text_of(client.post(there, result(plant, **changes)), 422)
        assert message in page, changes
    assert QcMeasurement.objects.count() == 0


def test_a_test_that_the_specification_does_not_name_is_no_page(as_who, sampled: Batch) -> None:
    client = as_who("qc")
    assert client.post(url(sampled, "qc-measure", "radium"), {}).status_code == 404
    assert client.get(url(sampled, "qc-measure", "hardness")).status_code == 302


def test_only_a_qc_technician_writes_results(as_who, plant: SmallPlant, sampled: Batch) -> None:
    for who in ("operator", "supervisor", "planner"):
        client = as_who(who)
        assert client.post(url(sampled, "qc-measure", "hardness"), result(plant)).status_code == 403, who
        assert "This takes a QC technician." in text_of(client.get(url(sampled))), who


def test_a_correction_is_a_page_with_a_reason(as_who, plant: SmallPlant, sampled: Batch) -> None:
    client = as_who("qc")
    client.post(url(sampled, "qc-measure", "hardness"), result(plant, "4 mg/L"))
    row = QcMeasurement.objects.get()
    there = url(sampled, "qc-correct", row.pk)
    assert 'value="4 mg/L"' in text_of(client.get(there))
    data = {"value": "0.4 mg/L", "instrument": str(plant.instruments["KIT"].pk), "category": "slip"}
    assert "at least 10 characters" in text_of(client.post(there, {**data, "reason": "typo"}), 422)
    page = text_of(client.post(there, {**data, "reason": "the point was missing"}, follow=True))
    assert "the point was missing" in page and "<s>4 mg/L</s>" in page
    assert "already corrected" in text_of(client.get(there))
    assert client.get(url(sampled, "qc-correct", 987654)).status_code == 404


# --- exceptions ---------------------------------------------------------------------------------------------------------
def test_exceptions_are_said_in_words_none_included(as_who, plant: SmallPlant, measured: Batch) -> None:
    page = text_of(as_who("qc").get(url(measured)))
    assert "No deviation, value outside its limits, missing second check," in page and "late entry" in page
    batch_services.open_deviation(
        by=plant.by(), batch_id=measured.pk, what="the drain valve stuck", severity="major"
    )
    page = text_of(as_who("qc").get(url(measured)))
    assert "major: the drain valve stuck. It is open." in page
    assert "No value outside its limits, missing second check," in page


# --- the decision -------------------------------------------------------------------------------------------------------
def test_a_pass_is_signed_with_the_figures_and_the_digest_shown(as_who, measured: Batch) -> None:
    client = as_who("qc")
    page = text_of(client.get(url(measured)))
    assert "3 of 3 tests inside. You may judge it." in page
    assert "met specification Q-H version 1." in page
    assert 'type="password"' in page and 'autocomplete="current-password"' in page
    page = text_of(client.post(url(measured), signing(measured), follow=True))
    signature = given().get()
    assert (signature.record_key, signature.meaning) == (measured.number, "QC judgement: pass")
    assert f"Digest {signature.digest[:4]} {signature.digest[4:8]}." in page
    measured.refresh_from_db()
    assert measured.state == "passed" and "Go on: fill the tanks" in page


def test_all_specifications_of_several_customers_are_named_once(as_who, plant: SmallPlant) -> None:
    factories.customers_own_specification(plant, "sac_h", "Q-H-X", hold_time_s=1000.0)
    batch = factories.frozen_batch(plant, "sac_h")
    factories.run_to(plant, batch, StepKind.SAMPLE, finish=True)
    factories.measured_sample(plant, batch)
    page = text_of(as_who("qc").get(url(batch)))
    assert "met the strictest of Q-H version 1 and Q-H-X version 1." in page
    head = page[page.index('id="against"') : page.index("Each figure, and where it comes from")]
    assert "The strictest of: Q-H version 1 for all and Q-H-X version 1 for Moonbase" in head
    assert head.count("Q-H-X version 1") == 1 and "version 1, version 1" not in page


def test_a_wrong_password_signs_nothing_is_recorded_and_loses_nothing_else(as_who, measured: Batch) -> None:
    data = signing(measured, "fail", reason="beads of another colour seen", password="not the password")
    page = text_of(as_who("qc").post(url(measured), data), 422)
    assert "The password does not fit, so nothing was signed." in page
    assert "beads of another colour seen" in page
    assert "not the password" not in page
    assert given().count() == 0 and QcDecision.objects.count() == 0
    (refused,) = acts_since(["signature.refused"], START)
    assert refused.subject_key == measured.number and "QC judgement: fail" in refused.sentence


@pytest.mark.requirement("ER-07")
def test_too_many_wrong_passwords_lock_the_account_for_signing(as_who, measured: Batch) -> None:
    client = as_who("qc")
    for _ in range(5):
        answer = client.post(url(measured), signing(measured, password="not the password"))
    page = text_of(answer, 422)
    assert "After 5 wrong passwords the account rests for a quarter of an hour" in page
    assert "This account rests, so nothing was signed." in text_of(
        client.post(url(measured), signing(measured)), 422
    )
    assert given().count() == 0
    assert len(acts_since(["signature.refused"], START)) >= 5


def test_a_fail_needs_its_reason(as_who, measured: Batch) -> None:
    client = as_who("qc")
    page = text_of(client.get(f"{url(measured)}?verdict=fail"))
    assert "Why it fails" in page and "Fail and sign" in page
    for reason in ("", "bad"):
        assert client.post(url(measured), signing(measured, "fail", reason=reason)).status_code == 422
    page = text_of(
        client.post(
            url(measured), signing(measured, "fail", reason="beads of another colour seen"), follow=True
        )
    )
    assert "beads of another colour seen" in page and "To the review: rework or scrap" in page
    measured.refresh_from_db()
    assert measured.state == "failed"


def test_a_pass_is_not_offered_and_refused_while_a_test_is_open(as_who, sampled: Batch) -> None:
    client = as_who("qc")
    page = text_of(client.get(url(sampled)))
    assert "Hardness is not measured yet; allowed is at most 1 mg/L as CaCO₃." in page
    assert 'type="password"' not in page and "You would sign" in page
    assert "Hardness is not measured yet" in text_of(client.post(url(sampled), signing(sampled)), 422)
    assert given().count() == 0


def test_an_operator_is_told_who_may_judge(as_who, measured: Batch) -> None:
    client = as_who("operator")
    page = text_of(client.get(url(measured)))
    assert "Only a QC technician may do this." in page
    assert "so another person must judge it. May judge: QC technician 1 or QC technician 2." in page
    assert client.post(url(measured), signing(measured)).status_code == 403
    assert given().count() == 0


def test_a_performer_does_not_judge_even_with_the_role(as_who, plant: SmallPlant, measured: Batch) -> None:
    plant.people["operator"].groups.add(Group.objects.get(name="QC technician"))
    page = text_of(as_who("operator").post(url(measured), signing(measured)), 422)
    assert "so another person must judge it" in page
    assert given().count() == 0


@pytest.mark.requirement("ER-22")
def test_a_page_shown_before_the_last_result_signs_nothing(
    as_who, plant: SmallPlant, measured: Batch
) -> None:
    shown = signing(measured)
    plant.forward(minutes=5)
    factories.measured_sample(plant, measured, outside="hardness")
    page = text_of(as_who("qc 2").post(url(measured), shown), 409)
    assert "moved on since this page was shown" in page
    measured.refresh_from_db()
    assert (
        f'name="version" value="{measured.version}"' not in page
    )  # outside now: nothing can be signed as a pass
    assert given().count() == 0


def test_a_page_that_lost_its_version_or_verdict_signs_nothing(as_who, measured: Batch) -> None:
    client = as_who("qc")
    for version in ("", "abc", "-"):
        page = text_of(client.post(url(measured), signing(measured, version=version)), 422)
        assert "The page did not come back whole, so nothing was signed." in page
    assert client.post(url(measured), signing(measured, "maybe")).status_code == 400
    assert client.post(url(measured), signing(measured, password="")).status_code == 422
    assert given().count() == 0


def test_a_judged_batch_is_not_judged_again(as_who, measured: Batch) -> None:
    client = as_who("qc")
    client.post(url(measured), signing(measured))
    measured.refresh_from_db()
    client.post(url(measured), signing(measured))
    client.post(url(measured), signing(measured, "fail", reason="on second thoughts no"))
    assert QcDecision.objects.get().verdict == "pass" and given().count() == 1


# --- the release --------------------------------------------------------------------------------------------------------
@pytest.fixture
def filled(plant: SmallPlant) -> Batch:
    batch = factories.filled_batch(plant, "sac_h")
    factories.reviewed(plant, batch)
    batch.refresh_from_db()
    return batch


def test_a_person_who_took_no_part_releases_with_a_signature(as_who, filled: Batch) -> None:
    client = as_who("qc 2")
    page = text_of(client.get(url(filled, "qc-release")))
    assert "3 tanks filled and waiting. You took no part in it." in page
    assert "Sign and release" in page and "You took no part in this batch." in page
    page = text_of(client.post(url(filled, "qc-release"), signing(filled), follow=True))
    filled.refresh_from_db()
    assert filled.state == "released" and "Released by QC technician 2" in page
    assert Release.objects.get().signature.printed_name == "QC technician 2"


def test_a_refused_signature_comes_back_at_the_signature(as_who, measured: Batch) -> None:
    """The form stands far below the head of its page: without a script, too, the refusal is what is seen."""
    client = as_who("qc")
    assert f'action="{url(measured)}#verdict"' in text_of(client.get(url(measured)))
    answer = client.post(url(measured), {**signing(measured), "verdict": "pass"})
    assert answer["Location"] == f"{url(measured)}#main"


def test_after_the_release_the_papers_are_at_hand(as_who, filled: Batch) -> None:
    client, there = as_who("qc 2"), url(filled, "qc-release")
    page = text_of(client.get(there))
    assert f'action="{there}#release"' in page and "Print the tank tags" not in page
    answer = client.post(there, signing(filled))
    assert answer["Location"] == f"{there}#main"
    page = text_of(client.get(there))
    for paper in ("paper-batch-tags", "paper-batch-sheet"):
        assert f'href="{reverse(paper, args=[filled.number])}"' in page


def test_what_goes_out_is_said_with_its_volume_and_a_digest_says_of_what(as_who, filled: Batch) -> None:
    page = text_of(as_who("qc 2").get(url(filled, "qc-release")))
    volume_m3 = filled.tank_links.select_related("visit").first().visit.refilled_volume_m3
    assert f"filled with {volume_m3 * 1000:.1f} L (" in page
    assert page.count("Digest of what was signed") == 1 and page.count("Digest of what is signed") == 1


@pytest.mark.requirement("ER-15")
def test_those_who_took_part_are_told_why_not_and_who_may(as_who, filled: Batch) -> None:
    for who, part in (("qc", "measured the sample"), ("operator", "filled its tanks")):
        client = as_who(who)
        page = text_of(client.get(url(filled, "qc-release")))
        assert part in page and "so another person must release it." in page, who
        assert "May release: QC technician 2, Supervisor 1 or Supervisor 2." in page, who
        assert 'type="password"' not in page, who
        assert client.post(url(filled, "qc-release"), signing(filled)).status_code in (403, 422), who
    assert not Release.objects.exists()


@pytest.mark.requirement("ER-17")
def test_an_open_deviation_keeps_everybody_from_releasing(as_who, plant: SmallPlant, filled: Batch) -> None:
    batch_services.open_deviation(
        by=plant.by(), batch_id=filled.pk, what="the drain valve stuck", severity="minor"
    )
    filled.refresh_from_db()
    client = as_who("qc 2")
    assert "1 deviation is open." in text_of(client.get(url(filled, "qc-release")))
    assert "1 deviation is open." in text_of(client.post(url(filled, "qc-release"), signing(filled)), 422)
    assert not Release.objects.exists()


def test_a_wrong_password_releases_nothing(as_who, filled: Batch) -> None:
    data = signing(filled, password="not the password")
    page = text_of(as_who("qc 2").post(url(filled, "qc-release"), data), 422)
    assert "nothing was signed" in page and "not the password" not in page
    assert not Release.objects.exists()


def test_a_batch_that_is_not_filled_is_not_released(as_who, measured: Batch) -> None:
    client = as_who("qc 2")
    page = text_of(client.get(url(measured, "qc-release")))
    assert "it is released when it has passed and its tanks are filled" in page
    assert "cannot release" in text_of(client.post(url(measured, "qc-release"), signing(measured)), 422)


def test_nobody_judges_or_releases_without_signing_in(client: Client, measured: Batch) -> None:
    for name in ("qc-decision", "qc-release"):
        answer = client.post(url(measured, name), signing(measured))
        assert answer.status_code in (302, 401)  # 401: what was typed is kept until somebody signs in
    assert given().count() == 0
